"""What handlers are given: the open record, a survey, a form's entries."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path as FilePath
from pathlib import PurePath
from typing import Annotated

from fastapi import Depends, Path, Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from roomfield.errors import InputError
from roomfield.survey import Survey
from roomfield.web.contexts import Head, head_of
from roomfield.workbench.record import survey_list
from roomfield.workbench.record.survey_list import Records

PIECE_BYTES = 1 << 20
_SPACED = re.compile(r"(?<=\d)[\s'’](?=\d{3}(?!\d))")
_AMOUNT = re.compile(r"\d+(?:[.,]\d{0,2})?|\d{1,3}(?:,\d{3})+(?:\.\d{0,2})?|\d{1,3}(?:\.\d{3})+(?:,\d{0,2})?")
_CENTS = re.compile(r"[.,](\d{0,2})$")


def the_records(request: Request) -> Records:
    """The open record of this server."""
    records: Records = request.app.state.records
    return records


Desk = Annotated[Records, Depends(the_records)]


@dataclass(frozen=True)
class OpenSurvey:
    """A survey on the desk.

    Parameters
    ----------
    records : Records
        Where it is kept.
    survey : Survey
        As it is now.
    revision : int
        To be handed back with a change.
    asked_visit : str
        The visit that the address asks for; empty if it does not.
    additions : int
        How often something was observed or amended.
    """

    records: Records
    survey: Survey
    revision: int
    asked_visit: str = ""
    additions: int = 0

    @property
    def head(self) -> Head:
        """Title block of its pages."""
        return self.head_at(self.asked_visit)

    def head_at(self, visit_id: str) -> Head:
        """Title block of a page that shows a certain visit."""
        return head_of(self.survey, self.revision, visit_id, asked=bool(self.asked_visit))


def the_survey(request: Request, records: Desk, survey_id: Annotated[str, Path(max_length=80)]) -> OpenSurvey:
    """The survey that the address names, and the visit if it names one."""
    stored = survey_list.opened(records, survey_id)
    asked = request.query_params.get("visit", "")
    return OpenSurvey(records, stored.survey, stored.revision, asked, stored.additions)


Opened = Annotated[OpenSurvey, Depends(the_survey)]


def number_in(text: str, where: str) -> float:
    """A number as it was typed; point and comma both read as decimal mark.

    Raises
    ------
    InputError
        If it is no number.
    """
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{text!r} is not a number.", where=where, mend="For example 2.5.")
    return value


def amount_in(text: str, where: str) -> float:
    """An amount of money as it was typed: 1200, 1,200.50, 1.200,50, 1 200 or 1'200.

    A single mark with three digits behind it parts thousands: no currency has three decimals here.

    Raises
    ------
    InputError
        If it is no amount, or below nought.
    """
    compact = _SPACED.sub("", text.strip())
    if _AMOUNT.fullmatch(compact) is None:
        raise InputError(
            f"{text!r} is not an amount of money.",
            where=where,
            mend="Type it with digits, for example 1200 or 1200.50.",
        )
    whole, mark, rest = compact, "", ""
    if len(compact) > 2 and (found := _CENTS.search(compact)):
        whole, mark, rest = compact[: found.start()], ".", found[1]
    return float(re.sub("[.,]", "", whole) + mark + rest)


@dataclass(frozen=True)
class Entries:
    """What stands in a form.

    Parameters
    ----------
    texts : dict of str to tuple of str
        Fields in the order of the form; a field may stand several times.
    files : dict of str to UploadFile
        Chosen files.
    """

    texts: dict[str, tuple[str, ...]]
    files: dict[str, UploadFile]

    def text(self, name: str, default: str = "") -> str:
        """A field as text, spaces at the ends taken off."""
        return self.texts.get(name, (default,))[0].strip()

    def number(self, name: str, default: float) -> float:
        """A field as a number; point and comma both read as decimal mark.

        Raises
        ------
        InputError
            If it is no number.
        """
        text = self.text(name)
        return number_in(text, name) if text else default

    def amount(self, name: str, default: float) -> float:
        """A field as an amount of money, see `amount_in`.

        Raises
        ------
        InputError
            If it is no amount.
        """
        text = self.text(name)
        return amount_in(text, name) if text else default

    def visit_and_state(self) -> tuple[str, str]:
        """The visit and the radio state chosen together; an older form may name the state alone."""
        visit_id, _, state_id = self.text("when").partition(" ")
        return visit_id or self.text("visit_id"), state_id or self.text("state_id")

    def revision(self) -> int | None:
        """The revision that the form was drawn from, if it says so."""
        text = self.text("revision")
        return int(text) if text.isdecimal() else None

    def file(self, name: str) -> UploadFile:
        """A chosen file.

        Raises
        ------
        InputError
            If none was chosen.
        """
        if name not in self.files:
            raise InputError("no file was chosen.", where=name, mend="Choose a file and send it again.")
        return self.files[name]


async def body_of(request: Request, most_bytes: int) -> bytes:
    """The body of a request, given up as soon as it is longer than it can be.

    Raises
    ------
    InputError
        If it is longer than ``most_bytes``.
    """
    parts: list[bytes] = []
    seen = 0
    async for part in request.stream():
        seen += len(part)
        if seen > most_bytes:
            raise InputError(f"it is longer than {most_bytes >> 20} MiB.", mend="Take out what is not needed.")
        parts.append(part)
    return b"".join(parts)


async def saved_upload(upload: UploadFile, folder: FilePath, name: str = "upload") -> FilePath:
    """A brought file written to a folder piece by piece, so that its length costs no memory.

    Parameters
    ----------
    upload : UploadFile
        As it came with the form.
    folder : Path
        Where it is put.
    name : str
        Under which name; never the one that came along.
    """
    path = folder / PurePath(name).name
    with path.open("wb") as file:
        while piece := await upload.read(PIECE_BYTES):
            await run_in_threadpool(file.write, piece)
    return path


async def the_entries(request: Request) -> Entries:
    """The form that came with the request."""
    form = await request.form(max_files=20, max_fields=200)
    texts: dict[str, list[str]] = {}
    files: dict[str, UploadFile] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            files[name] = value
        else:
            texts.setdefault(name, []).append(value)
    return Entries({name: tuple(values) for name, values in texts.items()}, files)


Form = Annotated[Entries, Depends(the_entries)]
