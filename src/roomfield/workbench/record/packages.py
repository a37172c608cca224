"""Survey packages: a whole survey as one checked file, for another computer or the archive."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from roomfield.errors import InputError
from roomfield.exchange.unpack import open_package
from roomfield.scratch import scratch_folder
from roomfield.survey import Survey
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.job import Job, take_in_opened
from roomfield.workbench.record.survey_list import Records, list_surveys

_IN_AN_ADDRESS = re.compile(r"[^/\\?#%]{1,80}")


@dataclass(frozen=True)
class PackedSurvey:
    """A package ready to be saved.

    Parameters
    ----------
    file_name : str
        Name to offer, of plain letters.
    content : bytes
        The ZIP file.
    sha256 : str
        Hash by which the package can be recognised.
    """

    file_name: str
    content: bytes
    sha256: str


def packed(records: Records, survey_id: str) -> PackedSurvey:
    """The survey with its files as a package.

    Raises
    ------
    UnknownNameError
        If there is no such survey.
    """
    survey = records.load(survey_id).survey
    with scratch_folder() as folder:
        target = folder / "package.zip"
        sha256 = Job(survey, records).write_package(target)
        return PackedSurvey(f"{plain_name(survey.title)}.zip", target.read_bytes(), sha256)


def take_in(records: Records, source: Path) -> str:
    """Take in a package, every checksum verified first; returns the survey's id.

    A survey that is here already comes in as a second one beside it.

    Parameters
    ----------
    source : Path
        Where the package lies.

    Raises
    ------
    FormatError
        If it is no survey package.
    IntegrityError
        If a checksum does not match.
    """
    if not source.stat().st_size:
        raise InputError("the file is empty.", where="package", mend="Choose the package again.")
    with open_package(source) as opened:
        return take_in_opened(records, opened, _free_id(records, opened.survey)).id


def plain_name(title: str) -> str:
    """A file name of plain letters from a title."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", title).strip("-").lower()
    return plain or "survey"


def _free_id(records: Records, survey: Survey) -> str:
    """The survey's own id, or another if it is taken or cannot stand in an address."""
    taken = {card.id for card in list_surveys(records)}
    return new_id("survey") if survey.id in taken or not _IN_AN_ADDRESS.fullmatch(survey.id) else survey.id
