"""Photos as evidence: of a display, a place, a room; kept without the data that a camera puts into them."""

from __future__ import annotations

import tempfile
from pathlib import Path

from roomfield.errors import FormatError, InputError
from roomfield.exchange.plan_page import read_plan_page
from roomfield.survey import MediaItem, Survey
from roomfield.workbench.record.survey_list import Records

CAMERA_DATA = b"Exif\x00\x00"
SEARCHED = 1 << 17
"""How far into a file the camera's data can begin [byte]."""
LONGEST_CAPTION = 300


def keep_photo(records: Records, survey_id: str, content: bytes, caption: str) -> MediaItem:
    """Keep a photo with what it shows.

    Parameters
    ----------
    content : bytes
        A JPEG picture, drawn anew by the page that sends it so that nothing of the camera is left in it.
    caption : str
        What it shows: place, radio state, what for.

    Raises
    ------
    FormatError
        If it is no whole JPEG picture.
    InputError
        If it still holds where and with what it was taken, or the caption is missing.
    """
    if not caption.strip():
        raise InputError("a photo needs words that say what it shows.", where="photo", mend="Name the place.")
    if CAMERA_DATA in content[:SEARCHED]:
        raise InputError(
            "the photo holds data of the camera, such as where it was taken.",
            where="photo",
            mend="Take it in through the walk, which leaves these out, or remove them first.",
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        path.write_bytes(content)
        sheet = read_plan_page(path)
    if sheet.media_type != "image/jpeg":
        raise FormatError("the photo is no JPEG picture.", where="photo", mend="Send it as JPEG.")
    words = " ".join(caption.split())[:LONGEST_CAPTION]
    item = records.media.put(sheet.content, file_name="photo.jpg", media_type=sheet.media_type, caption=words)
    records.attach(survey_id, item)
    return item


def photos_of(survey: Survey) -> tuple[MediaItem, ...]:
    """Photos of a survey in the order in which they came; pictures under the plan are none."""
    traced = {image.media_sha256 for image in survey.dwelling.plan_images}
    return tuple(
        one for one in survey.media if one.media_type == "image/jpeg" and one.caption and one.sha256 not in traced
    )
