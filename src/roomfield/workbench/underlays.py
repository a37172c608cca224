"""What is brought to the plan editor: a picture or page to trace over, or a plan file to take in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

from roomfield.errors import FormatError, InputError
from roomfield.workbench.plans import PlanSheet
from roomfield.workbench.surveys import Records, keep_file

MOST_PIXELS = 60_000_000
"""Largest picture [pixel]; more than a browser can hold beside the drawing."""


@dataclass(frozen=True)
class Underlay:
    """What came of a file.

    Parameters
    ----------
    sha256 : str
        Hash of the picture to trace over; empty for a plan file.
    plan : PlanSheet or None
        What a plan file holds; None for a picture.
    """

    sha256: str = ""
    plan: PlanSheet | None = None


def take_in(records: Records, survey_id: str, content: bytes, file_name: str, page: int = 1) -> Underlay:
    """Take in a file for the plan.

    Parameters
    ----------
    content : bytes
        The file.
    file_name : str
        What the user calls it; a label only.
    page : int
        Page of a PDF, from 1.

    Raises
    ------
    FormatError
        If it is none of the forms that are read, or broken.
    InputError
        If the picture is too large.
    """
    picture = picture_size(content)
    if picture is not None:
        media_type, width, height = picture
        if width * height > MOST_PIXELS or min(width, height) < 1:
            raise InputError(
                f"the picture has {width} by {height} pixels; at most {MOST_PIXELS // 1_000_000} million are taken.",
                where=file_name,
                mend="Save it smaller.",
            )
        return Underlay(keep_file(records, survey_id, content, file_name, media_type).sha256)
    raise FormatError(
        f"files ending in {PurePath(file_name).suffix or 'nothing'!r} are not read here.",
        where=file_name,
        mend="Bring a PNG, JPEG or WebP picture, a PDF page, a DXF or a GeoJSON file.",
    )


def picture_size(content: bytes) -> tuple[str, int, int] | None:
    """Media type, width and height [pixel] from the head of a PNG, JPEG or WebP; None for anything else.

    Parameters
    ----------
    content : bytes
        The file; only its head is looked at, so that a bomb is never unpacked.
    """
    if content[:8] == b"\x89PNG\r\n\x1a\n" and content[12:16] == b"IHDR":
        return "image/png", int.from_bytes(content[16:20], "big"), int.from_bytes(content[20:24], "big")
    if content[:3] == b"\xff\xd8\xff":
        return _jpeg_size(content)
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return _webp_size(content)
    return None


def _jpeg_size(content: bytes) -> tuple[str, int, int] | None:
    at = 2
    while at + 9 < len(content) and content[at] == 0xFF:
        marker, length = content[at + 1], int.from_bytes(content[at + 2 : at + 4], "big")
        if 0xC0 <= marker <= 0xCF and marker not in {0xC4, 0xC8, 0xCC}:
            height = int.from_bytes(content[at + 5 : at + 7], "big")
            return "image/jpeg", int.from_bytes(content[at + 7 : at + 9], "big"), height
        at += 2 + length
    return None


def _webp_size(content: bytes) -> tuple[str, int, int] | None:
    form = content[12:16]
    if form == b"VP8X":
        width = int.from_bytes(content[24:27], "little") + 1
        return "image/webp", width, int.from_bytes(content[27:30], "little") + 1
    if form == b"VP8 " and content[23:26] == b"\x9d\x01\x2a":
        width = int.from_bytes(content[26:28], "little") & 0x3FFF
        return "image/webp", width, int.from_bytes(content[28:30], "little") & 0x3FFF
    if form == b"VP8L":
        bits = int.from_bytes(content[21:25], "little")
        return "image/webp", (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    return None
