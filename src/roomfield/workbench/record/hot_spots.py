"""The orienting walk: spots that sounded loud before measuring, and the order of readings that follows from them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from roomfield.errors import InputError
from roomfield.survey import HotSpot, Place, Point3, Survey
from roomfield.workbench.record.editing import now
from roomfield.workbench.record.plan_document import REACH_M
from roomfield.workbench.record.survey_list import Records, revise

BESIDE_M = 2.5
"""A place within this distance of a spot is measured early [m]; common practice, no source."""
SAME_M = 0.8
"""A spot within this distance of a place or a reading is not asked for by itself [m]; our judgement, no source."""
MOST_SPOTS = 200
LONGEST_WORD = 60


@dataclass(frozen=True)
class SpotMark:
    """A spot as it was tapped.

    Parameters
    ----------
    spot_id : str
        Made by the device; the same spot sent twice is kept once.
    position : (float, float, float)
        On the plan [m].
    heard : str
        What kind of sound, in a word; may stay empty.
    """

    spot_id: str
    visit_id: str
    position: Point3
    heard: str = ""
    noted_at: str = ""


@dataclass(frozen=True)
class Stop:
    """Where to measure next.

    Parameters
    ----------
    place_id, spot_id : str
        The place or the spot; one of them is empty.
    """

    place_id: str = ""
    spot_id: str = ""


def mark_spot(records: Records, survey_id: str, mark: SpotMark) -> HotSpot:
    """Keep a spot.

    Raises
    ------
    InputError
        If its position or id cannot be, or there are too many.
    UnknownNameError
        If there is no such visit.
    """
    if not mark.spot_id or len(mark.spot_id) > 60:
        raise InputError("a spot needs an id of 1 to 60 letters.", where="spot")
    if any(not math.isfinite(number) or abs(number) > REACH_M for number in mark.position):
        raise InputError("a spot lies on the plan.", where="spot", mend="Tap the plan.")
    heard = " ".join(mark.heard.split())[:LONGEST_WORD]
    spot = HotSpot(mark.spot_id, mark.visit_id, mark.position, heard, mark.noted_at or now())

    def change(survey: Survey) -> Survey:
        survey.visit(mark.visit_id)
        if any(one.id == spot.id for one in survey.hot_spots):
            return survey
        if len(survey.hot_spots) >= MOST_SPOTS:
            raise InputError(f"there are {MOST_SPOTS} spots already.", where="spot", mend="Take some away first.")
        return replace(survey, hot_spots=(*survey.hot_spots, spot))

    revise(records, survey_id, change)
    return spot


def take_spot_away(records: Records, survey_id: str, spot_id: str) -> None:
    """Take a spot away; nothing happens if it is gone. The record keeps that it was there."""

    def change(survey: Survey) -> Survey:
        return replace(survey, hot_spots=tuple(one for one in survey.hot_spots if one.id != spot_id))

    revise(records, survey_id, change)


def walk_order(survey: Survey, visit_id: str) -> tuple[Stop, ...]:
    """Where to measure, one stop after the other: places beside a loud spot, loud spots by themselves, the rest.

    Parameters
    ----------
    visit_id : str
        Only its spots count.
    """
    spots = [one for one in survey.hot_spots if one.visit_id == visit_id]
    if not spots:
        return tuple(Stop(place_id=place.id) for place in survey.places)
    gaps = {place.id: min(_gap_m(place, spot) for spot in spots) for place in survey.places}
    beside = sorted((place for place in survey.places if gaps[place.id] <= BESIDE_M), key=lambda place: gaps[place.id])
    alone = [spot for spot in spots if all(_gap_m(place, spot) > SAME_M for place in survey.places)]
    rest = [place for place in survey.places if gaps[place.id] > BESIDE_M]
    return (
        *(Stop(place_id=place.id) for place in beside),
        *(Stop(spot_id=spot.id) for spot in alone),
        *(Stop(place_id=place.id) for place in rest),
    )


def _gap_m(place: Place, spot: HotSpot) -> float:
    return math.inf if place.position is None else math.dist(place.position, spot.position)
