"""A photo, an image or a page of a PDF under the plan, scaled by two points whose distance is known."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from roomfield.errors import FormatError, RangeError
from roomfield.extras import library
from roomfield.regular_files import whole_file

pypdfium2 = library("pypdfium2", "plans")

MOST_BYTES = 64 * 2**20
MOST_PIXELS = 60_000_000
LONGEST_SIDE_PX = 4000
_PNG = b"\x89PNG\r\n\x1a\n"
_SIZE_MARKERS = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})


@dataclass(frozen=True)
class UnderlayImage:
    """An image that can lie under a plan.

    Parameters
    ----------
    content : bytes
        PNG or JPEG.
    width_px, height_px : int
        Size [pixel].
    pages : int
        Pages of the document it came from; 1 for an image.
    """

    content: bytes
    media_type: str
    width_px: int
    height_px: int
    pages: int = 1


def read_plan_page(path: Path, *, page: int = 1) -> UnderlayImage:
    """An image as it is, or one page of a PDF drawn as an image.

    Parameters
    ----------
    page : int
        Page of a PDF, 1 for the first.

    Raises
    ------
    FormatError
        If it is neither PNG, JPEG, WebP nor PDF, is damaged, locked or too large.
    """
    content = whole_file(path, MOST_BYTES, "Make it smaller.")
    if content.startswith(b"%PDF-"):
        return _pdf_page(content, page, path.name)
    if content.startswith(_PNG):
        size, media_type = _png_size(content, path.name), "image/png"
    elif content.startswith(b"\xff\xd8\xff"):
        size, media_type = jpeg_size(content, path.name), "image/jpeg"
    elif content.startswith(b"RIFF") and content[8:12] == b"WEBP":
        size, media_type = _webp_size(content, path.name), "image/webp"
    else:
        raise FormatError("it is neither PNG, JPEG, WebP nor PDF.", where=path.name, mend="Save it as one of these.")
    if not 0 < size[0] * size[1] <= MOST_PIXELS:
        raise FormatError(
            f"it has {size[0]} x {size[1]} pixels; at most {MOST_PIXELS // 1_000_000} million are taken.",
            where=path.name,
            mend="Make it smaller.",
        )
    if media_type == "image/png" and not _png_is_whole(content):
        raise FormatError("it is a PNG file that is cut off or damaged.", where=path.name, mend="Save it again.")
    return UnderlayImage(content, media_type, *size)


def _png_size(content: bytes, where: str) -> tuple[int, int]:
    if len(content) < 33 or content[12:16] != b"IHDR":
        raise FormatError("it is a damaged PNG file.", where=where, mend="Save it again.")
    width, height = struct.unpack(">II", content[16:24])
    return int(width), int(height)


def _png_is_whole(content: bytes) -> bool:
    """Whether every chunk is there with its checksum, up to the end mark (ISO/IEC 15948, clause 5)."""
    at, pixels = len(_PNG), False
    while at + 12 <= len(content):
        (length,) = struct.unpack(">I", content[at : at + 4])
        name, after = content[at + 4 : at + 8], at + 12 + length
        if (
            after > len(content)
            or zlib.crc32(content[at + 4 : after - 4]).to_bytes(4, "big") != content[after - 4 : after]
        ):
            return False
        pixels = pixels or name == b"IDAT"
        if name == b"IEND":
            return pixels
        at = after
    return False


def jpeg_size(content: bytes, where: str) -> tuple[int, int]:
    """Width and height of a JPEG picture [pixel].

    Parameters
    ----------
    where : str
        Name for messages.

    Raises
    ------
    FormatError
        If it is damaged or cut off.
    """
    at = 2
    while at + 9 <= len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if marker in _SIZE_MARKERS:
            if content.rfind(b"\xff\xd9") < at:  # the end mark, ITU-T T.81, table B.1
                raise FormatError("it is a JPEG file that is cut off.", where=where, mend="Save it again.")
            height, width = struct.unpack(">HH", content[at + 5 : at + 9])
            return int(width), int(height)
        at += 1 if marker == 0xFF else 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    raise FormatError("it is a damaged JPEG file.", where=where, mend="Save it again.")


def _webp_size(content: bytes, where: str) -> tuple[int, int]:
    """Width and height of the canvas or of the only frame (RFC 9649, sections 2.5 to 2.7; RFC 6386, section 9.1)."""
    if len(content) < 8 + int.from_bytes(content[4:8], "little"):
        raise FormatError("it is a WebP file that is cut off.", where=where, mend="Save it again.")
    form, body = content[12:16], content[20:30]
    if form == b"VP8X" and len(body) == 10:
        return 1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little")
    if form == b"VP8 " and body[3:6] == b"\x9d\x01\x2a":
        return int.from_bytes(body[6:8], "little") & 0x3FFF, int.from_bytes(body[8:10], "little") & 0x3FFF
    if form == b"VP8L" and len(body) == 10 and body[0] == 0x2F:
        bits = int.from_bytes(body[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    raise FormatError("it is a damaged WebP file.", where=where, mend="Save it again.")


def _pdf_page(content: bytes, page: int, where: str) -> UnderlayImage:
    try:
        document = pypdfium2.PdfDocument(content)
    except pypdfium2.PdfiumError as fault:
        locked = "password" in str(fault).lower()
        what = "it is locked with a password." if locked else "it is a damaged PDF file."
        raise FormatError(what, where=where, mend="Save it again without a password.") from None
    try:
        pages = len(document)
        if not 1 <= page <= pages:
            raise RangeError("page", page, (1, pages), "", where=where, mend="Choose another page.")
        sheet = document[page - 1]
        width_pt, height_pt = sheet.get_size()
        scale = min(150 / 72, LONGEST_SIDE_PX / max(width_pt, height_pt, 1e-6))
        pixels = sheet.render(scale=scale, no_smoothtext=False).to_numpy()
    except pypdfium2.PdfiumError as fault:
        raise FormatError(f"page {page} cannot be drawn ({fault}).", where=where, mend="Save it again.") from None
    finally:
        document.close()
    shown = np.ascontiguousarray(pixels[:, :, 2::-1])
    return UnderlayImage(_png(shown), "image/png", shown.shape[1], shown.shape[0], pages)


def _png(pixels: np.ndarray[tuple[int, int, int], np.dtype[np.uint8]]) -> bytes:
    height, width, _ = pixels.shape
    rows = np.concatenate([np.zeros((height, 1), np.uint8), pixels.reshape(height, width * 3)], axis=1)
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(rows.tobytes(), 6)),
        (b"IEND", b""),
    )
    return _PNG + b"".join(_chunk(name, body) for name, body in chunks)


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
