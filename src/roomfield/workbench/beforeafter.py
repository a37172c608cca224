"""Did it work: the same places by the same meter on two visits, as ratios in which the meter's own error cancels."""

from __future__ import annotations

import math
from dataclasses import dataclass

from roomfield.errors import InputError, TooEarlyError
from roomfield.quantities.level import UncertainLevel, ratio
from roomfield.survey import Survey
from roomfield.workbench.levels import level_table

COVERAGE = 0.95


@dataclass(frozen=True)
class PlaceChange:
    """One kind of level at one place, on the first visit and on the second.

    Parameters
    ----------
    before_w_m2, after_w_m2 : (float, float, float)
        Low end, median, high end of the 95 % interval [W/m²]; open ends are 0 or infinity.
    change_db : (float, float, float)
        After over before [dB]; open ends are infinite.
    outcome : str
        ``lower``, ``higher`` or ``open`` by whether the interval of the change holds zero.
    """

    place: str
    kind: str
    before_w_m2: tuple[float, float, float]
    after_w_m2: tuple[float, float, float]
    change_db: tuple[float, float, float]
    outcome: str


def changes(survey: Survey, first_visit: str, second_visit: str) -> tuple[PlaceChange, ...]:
    """Changes at every place read on both visits as found, with the same meter and in the same kind.

    Raises
    ------
    TooEarlyError
        If nothing was read on both visits.
    """
    first, second = level_table(survey, first_visit), level_table(survey, second_visit)
    found = []
    for item in first.levels:
        if item.state_id != first.base_state.id:
            continue
        other = second.find(item.place_id, second.base_state.id, item.kind)
        if other is not None and other.meter_id == item.meter_id:
            name = survey.place(item.place_id).name
            found.append(_change(name, item.kind.value, item.combined.level, other.combined.level))
    if not found:
        raise TooEarlyError(
            "no place was read on both visits with the same meter and kind.",
            mend="Repeat the readings of the first visit on the second one.",
        )
    return tuple(found)


def _change(place: str, kind: str, before: UncertainLevel, after: UncertainLevel) -> PlaceChange:
    try:
        quotient = ratio(after, before)
    except InputError:
        low, middle, high = -math.inf, 0.0, math.inf  # both only bounded on one side: nothing is known
    else:
        low, high = quotient.interval_db(COVERAGE)
        middle = quotient.ratio_db
    outcome = "lower" if high < 0.0 else "higher" if low > 0.0 else "open"
    return PlaceChange(place, kind, _ends(before), _ends(after), (low, middle, high), outcome)


def _ends(level: UncertainLevel) -> tuple[float, float, float]:
    span = level.interval(COVERAGE)
    return span.low_w_m2, level.median_w_m2, span.high_w_m2
