"""Content to PDF/A-2a and PDF/UA-1: the template lays out, the text arrives as data."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from roomfield.errors import FormatError, StoreError
from roomfield.extras import library
from roomfield.report.compose import Sheet, compose
from roomfield.report.compose.blocks import Figure
from roomfield.report.document import ReportContent
from roomfield.report.render.fonts import font_book
from roomfield.report.render.plain import breakable, plain, strictly_plain, unbroken
from roomfield.show.words import load_words

typst = library("typst", "pdf")

STANDARDS: tuple[Literal["a-2a"], Literal["ua-1"]] = ("a-2a", "ua-1")
"""Archival and accessible: ISO 19005-2 level A and ISO 14289-1."""


def render_pdf(
    content: ReportContent,
    path: str | Path | None = None,
    *,
    language: str,
    parts: Collection[str] | None = None,
) -> bytes:
    """The report as PDF; the same content gives the same bytes.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    path : str or Path, optional
        Where to write it; nothing is written if left out.
    language : str
        For example ``en`` or ``de``.
    parts : collection of str, optional
        Names of parts to keep, see :class:`roomfield.report.compose.Part`.

    Returns
    -------
    bytes
        The PDF file.

    Raises
    ------
    UnknownNameError
        If there is no such language.
    FormatError
        If the page cannot be set.
    StoreError
        If the file cannot be written.
    """
    words = load_words(language)
    sheet = compose(content, words, parts)
    extra = {"author": content.parties.assessor, "running": content.title, "found": words.say("front.found")}
    made = set_page("report.typ", lambda clean: sheet_data(sheet, extra, clean), issued_at=content.issued_at)
    if path is not None:
        write_whole(Path(path), made)
    return made


def sheet_data(sheet: Sheet, extra: dict[str, str], clean: Callable[[str], str]) -> dict[str, Any]:
    """A document as plain data for the template.

    Parameters
    ----------
    sheet : Sheet
        What is to be set.
    extra : dict
        Author, running title and heading of the first page.
    clean : callable
        Makes a text showable.
    """
    data: dict[str, Any] = as_data(sheet, clean)
    data["labels"] = {**dict(data["labels"]), "found": clean(extra["found"])}
    data["author"] = clean(extra["author"])
    data["running"] = _short(clean(extra["running"]))
    return data


def _short(text: str, length: int = 80) -> str:
    return text if len(text) <= length else text[: length - 1].rstrip() + "…"


def as_data(value: Any, clean: Callable[[str], str]) -> Any:
    """Dataclasses to dictionaries with their type's name, texts made showable.

    Parameters
    ----------
    value : object
        Dataclass, tuple, text, number or None.
    clean : callable
        Makes a text showable; the source of a picture is passed through it unbroken.
    """
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, Figure):
        data = {"svg": unbroken(clean(value.svg)), "alt": clean(value.alt), "caption": clean(value.caption)}
        return {"type": "Figure", **data}
    if isinstance(value, (tuple, list)):
        return [as_data(v, clean) for v in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {
            "type": type(value).__name__,
            **{name: as_data(getattr(value, name), clean) for name in _field_names(type(value))},
        }
    return value


@cache
def _field_names(kind: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(kind))


def timestamp(iso: str) -> int:
    """Seconds since 1970 of a date and time; without an offset it is taken as UTC.

    Parameters
    ----------
    iso : str
        ISO 8601.

    Raises
    ------
    FormatError
        If it is no date.
    """
    try:
        moment = datetime.fromisoformat(iso)
    except ValueError as fault:
        raise FormatError(
            f"{iso!r} is not a date and time.",
            where="issued_at",
            mend="Give it as 2026-03-01T10:00:00+01:00.",
        ) from fault
    return int((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp())


def set_page(template: str, data: Callable[[Callable[[str], str]], dict[str, Any]], *, issued_at: str) -> bytes:
    """Sets a template with data.

    Parameters
    ----------
    template : str
        Name of a template of this package.
    data : callable
        Gives the data when told how to make texts showable.
    issued_at : str
        The PDF's only time stamp, ISO 8601.

    Raises
    ------
    FormatError
        If the page cannot be set.
    """
    seconds = timestamp(issued_at)
    source = (resources.files("roomfield.report") / "templates" / template).read_bytes()
    try:
        return _set(source, data(_once(lambda text: breakable(plain(text)))), seconds)
    except _Unshowable:
        return _set(source, data(_once(lambda text: breakable(strictly_plain(text)))), seconds)


def _once(clean: Callable[[str], str]) -> Callable[[str], str]:
    """The same, each text made showable once: a large report says most of its words hundreds of times."""
    return cache(clean)


class _Unshowable(FormatError):
    """A character sequence has no glyphs although its characters have."""


def _set(source: bytes, data: dict[str, Any], seconds: int) -> bytes:
    compiler = typst.Compiler(source, font_paths=font_book(), ignore_system_fonts=True)
    inputs = {"doc": json.dumps(data, ensure_ascii=False, allow_nan=False)}
    try:
        made = compiler.compile(format="pdf", pdf_standards=list(STANDARDS), sys_inputs=inputs, timestamp=seconds)
    except typst.TypstError as fault:
        kind = _Unshowable if "could not be displayed" in str(fault) else FormatError
        raise kind(f"the page cannot be set: {fault}", mend="Please report this with the survey.") from fault
    if not isinstance(made, bytes):
        raise FormatError("the typesetter gave no PDF.", mend="Please report this with the survey.")
    return made


def write_whole(path: Path, content: bytes) -> None:
    """Writes a file whole or not at all.

    Parameters
    ----------
    path : Path
        Target.
    content : bytes
        All of it.

    Raises
    ------
    StoreError
        If it cannot be written.
    """
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    except OSError as fault:
        beside.unlink(missing_ok=True)
        raise StoreError(
            f"the file cannot be written: {fault.strerror or fault}.",
            where=str(path),
            mend="Choose a folder that exists and may be written to.",
        ) from fault
