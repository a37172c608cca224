"""A photo from a file into the record, with what the camera's clock says in its words."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from roomfield.errors import InputError, UnknownNameError
from roomfield.regular_files import whole_file
from roomfield.show.words.message_catalogue import load_words
from roomfield.survey import Photograph, PhotoSubject
from roomfield.workbench.record.camera_clock import CameraNote, camera_says, drawn_anew
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.photos import PhotoNote, keep_photo
from roomfield.workbench.record.things import id_named
from roomfield.workbench.record.visit_choice import visit_asked_or_only

MOST_BYTES = 64 * 2**20


@dataclass(frozen=True)
class BroughtPhoto:
    """A photo that came into the record.

    Parameters
    ----------
    photo : Photograph
        As it is kept.
    camera : CameraNote
        What the camera says of it.
    """

    photo: Photograph
    camera: CameraNote


def bring_photo(
    job: Job, path: str | Path, caption: str, *, place: str = "", subject: str = "other", visit_id: str = "",
    taken_at: str = "", keeps_camera_data: bool = False,
) -> BroughtPhoto:  # fmt: skip
    """Keep a photo from a file; the moment by the camera's clock goes into its words, and is not taken as true.

    Parameters
    ----------
    job : Job
        A survey in a record.
    path : str or Path
        JPEG, PNG or WebP; drawn anew without what the camera put into it, unless that shall be kept.
    caption : str
        What it shows.
    place : str
        Name or id; empty for none.
    subject : str
        ``display``, ``place``, ``room``, ``house_front`` or ``other``.
    visit_id : str
        The visit; the only one if empty.
    taken_at : str
        When it was taken as you know it, ISO 8601; empty if you do not.
    keeps_camera_data : bool
        True to keep the camera's own file, with time and position.

    Raises
    ------
    FormatError, InputError
        If it is no picture, has no words, or cannot be read.
    UnknownNameError
        If there is no such place or subject.
    """
    if job.store is None:
        raise InputError("a survey document cannot take photos in.", mend="Unpack or make a record first.")
    if subject not in set(PhotoSubject):
        raise UnknownNameError("subject of a photo", subject, list(PhotoSubject))
    content = whole_file(Path(path), MOST_BYTES, "Make it smaller.")
    camera = camera_says(content)
    words = load_words(job.survey.assignment.language).say
    by_camera = camera.moment.replace("T", " ")
    told = words("photos.camera_clock", moment=by_camera) if by_camera and not taken_at else ""
    note = PhotoNote(
        f"{caption.strip()} ({told})" if told and caption.strip() else caption,
        subject=PhotoSubject(subject),
        place_id=id_named(job.survey, "place", place),
        visit_id=visit_asked_or_only(job.survey, visit_id).id,
        taken_at=taken_at,
        keeps_camera_data=keeps_camera_data,
    )
    kept = content if keeps_camera_data else drawn_anew(content)
    return BroughtPhoto(keep_photo(job.store, job.survey.id, kept, note), camera)
