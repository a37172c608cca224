"""Places: where people sleep, sit and work."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.survey.dwelling import Point3


class PlaceKind(StrEnum):
    """What people do at a place."""

    BED = "bed"
    COT = "cot"
    DESK = "desk"
    SOFA = "sofa"
    TABLE = "table"
    PLAY = "play"
    OTHER = "other"


@dataclass(frozen=True)
class Place:
    """A place where somebody stays.

    Parameters
    ----------
    position : (float, float, float) or None
        Centre of the scanned volume [m]; None if there is no plan yet.
    night_hours, day_hours : float
        Usual stay per night and per day [h].
    """

    id: str
    name: str
    kind: PlaceKind = PlaceKind.OTHER
    room_id: str = ""
    storey_id: str = ""
    position: Point3 | None = None
    night_hours: float = 0.0
    day_hours: float = 0.0
    note: str = ""
