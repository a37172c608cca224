"""Where a switch is to be read on, off and on again, for something else drifts or may have drifted."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

from roomfield.instrument import has_drifted, to_level
from roomfield.quantities import Censoring, Kind
from roomfield.survey import Reading, Survey
from roomfield.workbench.assess.place_levels import base_state, moment_s

OLD_S = 15.0 * 60.0
"""After so long the load of masts and people may be another one (our judgement)."""


def places_to_read_again(survey: Survey, visit_id: str) -> frozenset[str]:
    """Places where what was read as found is old beside the visit's last reading, or drifted.

    Readings without a time say nothing of it.
    """
    readings = [r for r in survey.current_readings(visit_id) if r.place_id]
    read = {r.radio_state_id for r in readings}
    timed = sorted((r for r in readings if r.period), key=moment_s)
    if not timed:
        return frozenset()
    base, now = base_state(survey.visit(visit_id), read), moment_s(timed[-1])
    places: dict[str, list[Reading]] = defaultdict(list)
    for reading in timed:
        if reading.radio_state_id == base.id:
            places[reading.place_id].append(reading)
    return frozenset(
        place for place, rows in places.items() if now - moment_s(rows[-1]) > OLD_S or _drifted(survey, rows)
    )


def _drifted(survey: Survey, rows: list[Reading]) -> bool:
    """Whether two successive readings of one kind by one meter, along one axis, differ by more than it repeats."""
    alike: dict[tuple[Kind, str, str], list[Reading]] = defaultdict(list)
    for row in rows:
        if row.censoring is Censoring.NONE:
            alike[row.kind, row.meter_id, row.orientation].append(row)
    levels = ([to_level(row, survey.meter(row.meter_id)).level for row in some] for some in alike.values())
    return any(has_drifted(one, other) for some in levels for one, other in pairwise(some))
