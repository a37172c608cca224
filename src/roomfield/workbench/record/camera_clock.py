"""What a camera put into a photo: the moment by its own clock, and where it thought it was (Exif 2.32).

A camera's clock is set by hand, is often an hour off, and mostly says no offset from UTC. What it says is shown as such
and never becomes the moment of a photo by itself.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from roomfield.errors import FormatError
from roomfield.extras import library
from roomfield.survey import Photograph
from roomfield.workbench.record.survey_list import Records

pictures = library("PIL.Image", "photos")
operations = library("PIL.ImageOps", "photos")

_EXIF_IFD, _GPS_IFD = 0x8769, 0x8825
_TAKEN, _OFFSET, _CHANGED = 0x9003, 0x9011, 0x0132
"""DateTimeOriginal, OffsetTimeOriginal, DateTime."""
_OFFSET_FORM = re.compile(r"[+-]\d\d:\d\d")
LARGEST_SIDE_PX = 2400
QUALITY = 88


@dataclass(frozen=True)
class CameraNote:
    """What a camera says of a photo.

    Parameters
    ----------
    moment : str
        By its clock, ISO 8601, with its offset if it says one; empty if it says none, or one that cannot be.
    latitude_deg, longitude_deg : float or None
        WGS 84 as the camera found it [deg].
    """

    moment: str = ""
    latitude_deg: float | None = None
    longitude_deg: float | None = None


def camera_says(content: bytes) -> CameraNote:
    """What a camera put into a picture; empty where it says nothing that can be read.

    Parameters
    ----------
    content : bytes
        A picture.

    Raises
    ------
    FormatError
        If it is no picture.
    MissingExtraError
        If the library is not installed.
    """
    told = _opened(content).getexif()
    taken = told.get_ifd(_EXIF_IFD)
    moment = _moment(taken.get(_TAKEN) or told.get(_CHANGED), taken.get(_OFFSET))
    gps = told.get_ifd(_GPS_IFD)
    latitude, longitude = _angle(gps, 2, "S", 90.0), _angle(gps, 4, "W", 180.0)
    both = latitude is not None and longitude is not None
    return CameraNote(moment, latitude if both else None, longitude if both else None)


def camera_notes(records: Records, photos: Iterable[Photograph]) -> dict[str, CameraNote]:
    """What the camera says of each photo whose own file was kept, by the photo's id; empty if nothing can read it.

    Parameters
    ----------
    records : Records
        Holds the files.
    photos : iterable of Photograph
        Of a survey.
    """
    if find_spec("PIL") is None:
        return {}
    kept = [photo for photo in photos if photo.camera_data]
    return {photo.id: camera_says(records.media.path(photo.sha256).read_bytes()) for photo in kept}


def drawn_anew(content: bytes) -> bytes:
    """A picture as JPEG, upright, at most `LARGEST_SIDE_PX` wide or high, with nothing of the camera in it.

    Parameters
    ----------
    content : bytes
        A picture.

    Raises
    ------
    FormatError
        If it is no picture.
    """
    upright = operations.exif_transpose(_opened(content)).convert("RGB")
    upright.thumbnail((LARGEST_SIDE_PX, LARGEST_SIDE_PX))
    made = io.BytesIO()
    upright.save(made, "JPEG", quality=QUALITY, exif=b"")
    return made.getvalue()


def _opened(content: bytes) -> Any:
    try:
        picture = pictures.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP"))
        picture.load()
        return picture
    except (OSError, ValueError, SyntaxError, pictures.DecompressionBombError):
        raise FormatError(
            "it is no whole picture that can be read.", where="photo", mend="Bring a JPEG, PNG or WebP picture."
        ) from None


def _moment(written: object, offset: object) -> str:
    try:
        found = datetime.strptime(str(written).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return ""
    if not 1980 <= found.year <= 2099:
        return ""
    told = str(offset or "").strip("\0 ")
    return found.isoformat() + (told if _OFFSET_FORM.fullmatch(told) else "")


def _angle(gps: Mapping[int, Any], tag: int, negative: str, most: float) -> float | None:
    """Degrees, minutes and seconds as one angle [deg]; the sign stands in the tag before."""
    try:
        parts = [float(part) for part in gps[tag]]
        found = parts[0] + parts[1] / 60.0 + parts[2] / 3600.0
    except (KeyError, TypeError, ValueError, ZeroDivisionError, IndexError):
        return None
    signed = -found if str(gps.get(tag - 1, "")).strip("\0 ").upper() == negative else found
    return signed if math.isfinite(signed) and abs(signed) <= most else None
