"""What cannot be: an average above the peak of its place, or a peak above the highest held."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import RISING, Kind
from roomfield.survey.observation import Reading

SLACK = {True: 1.05, False: 1.2}
"""Factor by which two displays may differ without a word: in one scan (the last digit), and in two scans of one spot
(what changed between them). Our judgement, no source."""


@dataclass(frozen=True)
class OutOfOrder:
    """Two readings of one spot that cannot both be right.

    Parameters
    ----------
    lower : Reading
        Of the kind that is never the higher, yet shows more.
    higher : Reading
        Of the kind that is never the lower.
    """

    lower: Reading
    higher: Reading


def out_of_order(readings: Iterable[Reading]) -> tuple[OutOfOrder, ...]:
    """Pairs of readings that cannot both be right (common practice, no source: average <= peak <= highest held).

    Parameters
    ----------
    readings : iterable of Reading
        Of any places, radio states and meters; only readings of one spot, state, orientation and meter are held
        against each other. A bound is taken for what it says: a peak of "more than 2" is never too low.
    """
    spots: dict[tuple[object, ...], list[Reading]] = defaultdict(list)
    for reading in readings:
        spots[_spot(reading)].append(reading)
    return tuple(pair for found in spots.values() for pair in _pairs(found))


def kinds_out_of_order(values: Iterable[tuple[Kind, float]]) -> bool:
    """Whether the values of one scan cannot all be right; the same rule for a row that is no reading yet.

    Parameters
    ----------
    values : iterable of (Kind, float)
        Kind and power density [W/m²] of each value that is a number.
    """
    pairs = combinations(sorted(values, key=lambda v: RISING.index(v[0])), 2)
    return any(low[0] is not high[0] and low[1] > SLACK[True] * high[1] for low, high in pairs)


def _spot(reading: Reading) -> tuple[object, ...]:
    where = (reading.place_id, reading.position, reading.orientation)
    return (reading.visit_id, reading.radio_state_id, reading.meter_id, reading.accessory_id, *where)


def _pairs(readings: list[Reading]) -> Iterator[OutOfOrder]:
    for lower in readings:
        for same in (True, False):
            above = [r for r in readings if _is_higher(r, lower) and (r.replicate == lower.replicate) is same]
            # Another scan may have been quieter: only what exceeds every scan of the kind cannot be.
            highest = {
                k: max((r for r in above if r.kind is k), key=lambda r: r.value_w_m2, default=None) for k in Kind
            }
            found = [r for r in highest.values() if r is not None and _exceeds(lower, r, SLACK[same])]
            if found:
                yield OutOfOrder(lower, min(found, key=lambda r: r.value_w_m2))
            if above:
                break


def _is_higher(one: Reading, other: Reading) -> bool:
    return RISING.index(one.kind) > RISING.index(other.kind)


def _exceeds(lower: Reading, higher: Reading, slack: float) -> bool:
    if lower.censoring is Censoring.BELOW or higher.censoring is Censoring.ABOVE:
        return False
    return lower.value_w_m2 > slack * higher.value_w_m2
