"""What a place is used for, and which places a guideline or an aim is held against."""

from __future__ import annotations

from roomfield.references.guidelines import CATEGORIES, GuidelineSet, guideline_set
from roomfield.show.findings import ShownAim
from roomfield.survey import Assignment, Place, PlaceKind

SLEEPING = (PlaceKind.BED, PlaceKind.COT)
LONG_STAY_HOURS = 4.0
"""Daily stay from which a place counts as one of long stay [h]; as the Italian decree of 8 July 2003, art. 3 (2), does
for its attention values (permanence of no less than four hours a day)."""
USUAL_CATEGORY = 1
"""Number of the category whose upper edge is the usual aim where people sleep: the second (common practice)."""


def is_for_sleeping(place: Place) -> bool:
    """True for beds and cots, and wherever somebody stays at night."""
    return place.kind in SLEEPING or place.night_hours > 0.0


def is_long_stay(place: Place) -> bool:
    """True for sleeping places, for a stay of four hours a day and more, and for desks of which no stay is stated."""
    unstated = place.day_hours == 0.0 and place.night_hours == 0.0
    desk = place.kind is PlaceKind.DESK and unstated
    return is_for_sleeping(place) or desk or place.day_hours >= LONG_STAY_HOURS


def is_meant(place: Place, guideline: GuidelineSet | None) -> bool:
    """Whether a guideline is for a place; without a guideline an aim is for places where people sleep."""
    scope = guideline.scope if guideline else "sleeping"
    if scope == "sleeping":
        return is_for_sleeping(place)
    return scope == "everywhere" or is_long_stay(place)


def aim_of(assignment: Assignment, guideline: GuidelineSet | None) -> ShownAim | None:
    """The client's aim; None if none was set and the guideline has no scale of categories.

    Parameters
    ----------
    assignment : Assignment
        May name an aim.
    guideline : GuidelineSet or None
        The guideline that the client chose.
    """
    scale = guideline is not None and guideline.form == CATEGORIES
    rows = guideline.levels_for() if guideline is not None and scale else ()
    value = assignment.aim_w_m2
    if value is None:
        value = rows[USUAL_CATEGORY].upper_w_m2 if len(rows) > USUAL_CATEGORY else None
    if value is None:
        return None
    name = next((r.name for r in rows if r.upper_w_m2 and abs(r.upper_w_m2 - value) <= 1e-9 * value), "")
    return ShownAim(value, assignment.aim_w_m2 is not None, name)


def aim_in(assignment: Assignment) -> ShownAim | None:
    """The aim of an assignment with the guideline that it names, see `aim_of`."""
    return aim_of(assignment, guideline_set(assignment.guideline) if assignment.guideline else None)
