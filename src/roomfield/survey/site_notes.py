"""What is noted beside the measurements: photos, spots that sounded loud before measuring, and what was seen to."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.survey.dwelling import Point3


class PhotoSubject(StrEnum):
    """What a photo shows."""

    DISPLAY = "display"
    PLACE = "place"
    ROOM = "room"
    HOUSE_FRONT = "house_front"
    OTHER = "other"


@dataclass(frozen=True)
class Photograph:
    """A photo as evidence; the picture itself is a stored file.

    Parameters
    ----------
    sha256 : str
        Hash of the picture in the record.
    caption : str
        What it shows, in words.
    entry_id : str
        Entry whose readings it belongs to; their ids begin with it. Empty for none.
    taken_at : str
        ISO 8601; empty if not noted.
    in_report : bool
        True if it shall stand in the report; otherwise it stays in the record.
    small_sha256 : str
        Hash of a smaller copy for the report; empty for none.
    camera_data : bool
        True if the file holds what the camera put into it, such as the position.
    """

    id: str
    sha256: str
    caption: str
    subject: PhotoSubject = PhotoSubject.OTHER
    place_id: str = ""
    visit_id: str = ""
    radio_state_id: str = ""
    entry_id: str = ""
    taken_at: str = ""
    in_report: bool = False
    small_sha256: str = ""
    camera_data: bool = False


@dataclass(frozen=True)
class HotSpot:
    """A spot that sounded loud on the orienting walk, before anything was measured.

    Parameters
    ----------
    position : (float, float, float)
        On the plan [m].
    heard : str
        What kind of sound it was, in a word; empty if not noted.
    noted_at : str
        ISO 8601.
    """

    id: str
    visit_id: str
    position: Point3
    heard: str = ""
    noted_at: str = ""


@dataclass(frozen=True)
class Tick:
    """A row of a checklist that was seen to.

    Parameters
    ----------
    row : str
        Id of the row.
    visit_id : str
        The visit it was for; empty for the job as a whole.
    at : str
        When, ISO 8601.
    """

    row: str
    visit_id: str = ""
    at: str = ""
