"""Survey packages: a whole survey as one checked file, for another computer or the archive."""

from __future__ import annotations

import re
from dataclasses import dataclass

from roomfield.errors import InputError
from roomfield.workbench.surveys import Records

LARGEST_PACKAGE_BYTES = 2 * 1024**3


@dataclass(frozen=True)
class PackedSurvey:
    """A package ready to be saved.

    Parameters
    ----------
    file_name : str
        Name to offer, of plain letters.
    content : bytes
        The ZIP file.
    """

    file_name: str
    content: bytes


def packed(records: Records, survey_id: str) -> PackedSurvey:
    """The survey with its files as a package.

    Raises
    ------
    UnknownNameError
        If there is no such survey.
    """
    raise InputError("packages are not written yet.", where=survey_id)


def take_in(records: Records, content: bytes) -> str:
    """Take in a package; returns the survey's id.

    Raises
    ------
    IntegrityError
        If a checksum does not match.
    """
    raise InputError("packages are not read yet.")


def file_name_of(title: str) -> str:
    """A file name of plain letters from a title."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", title).strip("-").lower()
    return f"{plain or 'survey'}.zip"
