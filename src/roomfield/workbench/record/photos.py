"""Photos as evidence: of a display, a place, a room, a house front; kept without what a camera puts into them.

A photo stays in the record unless it is chosen for the report, where a smaller copy of it stands. Both are the user's
own choice, photo by photo; what the camera noted, such as the position, is kept only where that was chosen as well.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.exchange.plan_page import read_plan_page
from roomfield.survey import MediaItem, Photograph, PhotoSubject, Survey
from roomfield.workbench.record.survey_list import Records, opened, revise

CAMERA_DATA = b"Exif\x00\x00"
SEARCHED = 1 << 17
"""How far into a file the camera's data can begin [byte]."""
LONGEST_CAPTION = 300
LARGEST_COPY_BYTES = 400_000
"""Largest copy for the report [byte]; ten photos then make it 4 MB longer at most."""


@dataclass(frozen=True)
class PhotoNote:
    """What is said of a photo when it is kept.

    Parameters
    ----------
    id : str
        Made by the device; the same photo sent twice is kept once. One is made of its hash if empty.
    keeps_camera_data : bool
        True if the user chose to keep what the camera put into the file.
    """

    caption: str
    id: str = ""
    subject: PhotoSubject = PhotoSubject.OTHER
    place_id: str = ""
    visit_id: str = ""
    radio_state_id: str = ""
    entry_id: str = ""
    taken_at: str = ""
    keeps_camera_data: bool = False


def keep_photo(records: Records, survey_id: str, content: bytes, note: PhotoNote) -> Photograph:
    """Keep a photo with what it shows.

    Parameters
    ----------
    content : bytes
        A JPEG picture, drawn anew by the page that sends it so that nothing of the camera is left in it, unless the
        note says that it shall be.
    note : PhotoNote
        What it shows: subject, place, radio state, what for.

    Raises
    ------
    FormatError
        If it is no whole JPEG picture.
    InputError
        If it still holds where and with what it was taken without this being chosen, or the caption is missing.
    """
    words = _caption(note.caption)
    has_data = _holds_camera_data(content)
    if has_data and not note.keeps_camera_data:
        raise InputError(
            "the photo holds data of the camera, such as where it was taken.",
            where="photo",
            mend="Take it in through the walk, which leaves these out, or remove them first.",
        )
    item = _stored(records, content, words)
    made = Photograph(
        note.id[:60] or f"photo-{item.sha256[:16]}",
        item.sha256,
        words,
        note.subject,
        note.place_id,
        note.visit_id,
        note.radio_state_id,
        note.entry_id,
        note.taken_at,
        camera_data=has_data,
    )
    records.attach(survey_id, item)
    revise(records, survey_id, lambda survey: _with_photo(survey, made))
    return made


def choose_photo(
    records: Records, survey_id: str, photo_id: str, *, in_report: bool, caption: str = "", small: bytes = b""
) -> Photograph:
    """Choose whether a photo stands in the report, and change its words.

    Parameters
    ----------
    caption : str
        New words; those it has if empty.
    small : bytes
        A smaller copy for the report (JPEG, nothing of the camera in it); needed the first time it is chosen.

    Raises
    ------
    UnknownNameError
        If there is no such photo.
    InputError
        If the copy is missing, too large, or holds what the camera put into it.
    """
    survey = opened(records, survey_id).survey
    photo = next((one for one in photos_of(survey) if one.id == photo_id), None)
    if photo is None:
        raise UnknownNameError("photo", photo_id, [one.id for one in photos_of(survey)])
    chosen = replace(photo, in_report=in_report, caption=_caption(caption) if caption.strip() else photo.caption)
    if small:
        if len(small) > LARGEST_COPY_BYTES or _holds_camera_data(small):
            raise InputError(
                "the copy for the report is too large, or holds data of the camera.",
                where="photo",
                mend=f"Send at most {LARGEST_COPY_BYTES // 1000} kB, drawn anew.",
            )
        copy = _stored(records, small, chosen.caption)
        records.attach(survey_id, replace(copy, caption=""))
        chosen = replace(chosen, small_sha256=copy.sha256)
    if chosen.in_report and not chosen.small_sha256:
        raise InputError("a photo in the report needs a smaller copy.", where="photo", mend="Choose it on the page.")
    revise(records, survey_id, lambda now: _with_photo(now, chosen, anew=True))
    return chosen


def photos_of(survey: Survey) -> tuple[Photograph, ...]:
    """Photos of a survey in the order in which they came; those without notes of their own, from before, stand first.

    Pictures under the plan are none.
    """
    traced = {image.media_sha256 for image in survey.dwelling.plan_images}
    noted = {one.sha256 for one in survey.photographs} | {one.small_sha256 for one in survey.photographs}
    bare = (
        Photograph(f"photo-{one.sha256[:16]}", one.sha256, one.caption)
        for one in survey.media
        if one.media_type == "image/jpeg" and one.caption and one.sha256 not in traced | noted
    )
    return (*bare, *survey.photographs)


def _with_photo(survey: Survey, photo: Photograph, *, anew: bool = False) -> Survey:
    there = any(one.id == photo.id for one in survey.photographs)
    if there and not anew:
        return survey
    kept = tuple(photo if one.id == photo.id else one for one in survey.photographs)
    return replace(survey, photographs=kept if there else (*kept, photo))


def _caption(words: str) -> str:
    if not words.strip():
        raise InputError("a photo needs words that say what it shows.", where="photo", mend="Name the place.")
    return " ".join(words.split())[:LONGEST_CAPTION]


def _holds_camera_data(content: bytes) -> bool:
    return CAMERA_DATA in content[:SEARCHED]


def _stored(records: Records, content: bytes, caption: str) -> MediaItem:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        path.write_bytes(content)
        sheet = read_plan_page(path)
    if sheet.media_type != "image/jpeg":
        raise FormatError("the photo is no JPEG picture.", where="photo", mend="Send it as JPEG.")
    return records.media.put(sheet.content, file_name="photo.jpg", media_type=sheet.media_type, caption=caption)
