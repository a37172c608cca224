"""The survey document: one survey as JSON, lossless both ways, with a published JSON Schema."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from pydantic_core import from_json as parse

from roomfield.errors import FormatError, InputError
from roomfield.regular_files import refuse_irregular
from roomfield.survey.json_codec import from_json, schema_of, to_json
from roomfield.survey.soundness import refuse_unsound
from roomfield.survey.survey_record import Survey

DOCUMENT: Final = "roomfield-survey"
VERSION: Final = 3
READABLE: Final = (1, 2, 3)
"""Version 1 called the held maximum ``max_hold``, and knew nothing of how a reading was held; version 2 knew nothing of
scans that were listened to."""
SCHEMA_ID = f"urn:{DOCUMENT}:{VERSION}"
MOST_BYTES = 128 * 1024 * 1024


@dataclass(frozen=True)
class SurveyDocument:
    """A survey and the form it is written in.

    Parameters
    ----------
    document : str
        Always ``roomfield-survey``.
    version : int
        Version of the form; a reader refuses one that it does not know.
    """

    document: Literal["roomfield-survey"]
    version: Literal[1, 2, 3]
    survey: Survey


def write_document(survey: Survey) -> bytes:
    """A survey as a survey document (UTF-8 JSON); the same survey always gives the same bytes.

    Raises
    ------
    InputError
        If a field has a wrong type or a number is not finite.
    """
    whole = SurveyDocument(DOCUMENT, VERSION, survey)
    return to_json(whole, SurveyDocument, where=f"survey {survey.id!r}").encode("utf-8") + b"\n"


def read_document(content: bytes, *, where: str = "survey document") -> Survey:
    """The survey in a survey document, once nothing in it has been found that cannot be.

    Parameters
    ----------
    content : bytes
        UTF-8 JSON.
    where : str
        Name for messages.

    Raises
    ------
    FormatError
        If it is no survey document, is of a version that this release does not know, or a field is wrong.
    InputError
        If it names what is not there, or holds a value that cannot be.
    """
    survey = parse_document(content, where=where)
    refuse_unsound(survey, where)
    return survey


def parse_document(content: bytes, *, where: str = "survey document") -> Survey:
    """The survey as the document writes it, of the right form but not looked at further.

    Parameters
    ----------
    content : bytes
        UTF-8 JSON.
    where : str
        Name for messages.

    Raises
    ------
    FormatError
        If it is no survey document, is of a version that this release does not know, or a field is wrong.
    """
    if len(content) > MOST_BYTES:
        raise _too_long(len(content), where)
    _check_head(content, where)
    whole: SurveyDocument = from_json(content, SurveyDocument, where=where)
    return whole.survey


def read_document_file(path: Path) -> Survey:
    """The survey in a file that holds a survey document.

    Raises
    ------
    InputError
        If the file cannot be read.
    FormatError
        As for ``read_document``.
    """
    try:
        refuse_irregular(path)
        if path.stat().st_size > MOST_BYTES:
            raise _too_long(path.stat().st_size, path.name)
        content = path.read_bytes()
    except OSError as fault:
        raise InputError(f"it cannot be read ({fault.strerror}).", where=path.name, mend="Check the path.") from None
    return read_document(content, where=path.name)


def document_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of the survey document."""
    schema = schema_of(SurveyDocument)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_ID,
        "title": "Survey document",
        "$ref": "#/$defs/SurveyDocument",
        "$defs": schema["$defs"],
    }


def _too_long(length: int, where: str) -> FormatError:
    return FormatError(
        f"it is {length / 2**20:.0f} MiB long; at most {MOST_BYTES >> 20} MiB are read.",
        where=where,
        mend="Keep recordings and logs in a survey package, not in the document.",
    )


def _check_head(content: bytes, where: str) -> None:
    try:
        head = parse(content)
    except ValueError as fault:
        raise FormatError(f"it is no JSON ({fault}).", where=where, mend="Choose a survey document.") from None
    if not isinstance(head, dict) or head.get("document") != DOCUMENT:
        raise FormatError("it is no survey document.", where=where, mend=f'One begins with "document": "{DOCUMENT}".')
    version = head.get("version")
    if version not in READABLE or isinstance(version, bool):
        raise FormatError(
            f"it is of version {version!r}; this release reads versions {READABLE[0]} to {VERSION}.",
            where=where,
            mend="Open it with a newer release.",
        )
