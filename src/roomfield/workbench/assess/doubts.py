"""What in a visit's readings cannot be, or cannot all be right; told at every door before anything rests on it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

from roomfield.exposure.level_sums import total
from roomfield.quantities import Kind, UncertainLevel, ratio
from roomfield.quantities.censoring import Censoring
from roomfield.survey import Emitter, Meter, Period, Survey, out_of_order
from roomfield.workbench.assess.place_levels import LevelTable, MeasuredLevel, apart
from roomfield.workbench.assess.switching import PooledSwitch

EXCLUDES = 0.99
"""Probability content at which two levels of one thing must overlap; so few false alarms among many places."""


class DoubtKind(StrEnum):
    """What is doubtful."""

    OUT_OF_ORDER = "out_of_order"
    """An average above its peak, or a peak above the highest held."""
    OFF_ABOVE_ON = "off_above_on"
    """More was read with a switch off than with it on."""
    DRIFTED = "drifted"
    """On, off, on again: the readings with it on differ by more than the meter repeats."""
    METERS_DISAGREE = "meters_disagree"
    """Two meters at one place that exclude each other."""
    OUTSIDE_BAND = "outside_band"
    """A transmitter that no meter used can receive."""
    SHORT_PULSES = "short_pulses"
    """Pulses too short for the meter's detector."""
    LOG_DISAGREES = "log_disagrees"
    """A reading that a log at its place excludes."""
    DAY_ABOVE_NIGHT = "day_above_night"
    """Where people sleep more was read by day than at night."""


@dataclass(frozen=True)
class Doubt:
    """One thing that a reader must be told.

    Parameters
    ----------
    place_id, state_id : str
        Where and in which radio state; empty if it is about no place.
    kind_first, kind_second : Kind or None
        Kinds of the two values, if it is about two.
    first_w_m2, second_w_m2 : float or None
        The two values that do not go together [W/m²].
    names : tuple of str
        What else it is about: a switch, meters, transmitters.
    """

    kind: DoubtKind
    place_id: str = ""
    state_id: str = ""
    kind_first: Kind | None = None
    kind_second: Kind | None = None
    first_w_m2: float | None = None
    second_w_m2: float | None = None
    names: tuple[str, ...] = ()


def doubts(survey: Survey, table: LevelTable, pooled: tuple[PooledSwitch, ...]) -> tuple[Doubt, ...]:
    """Everything doubtful about a visit's readings, the impossible first.

    Parameters
    ----------
    table : LevelTable
        Levels of the visit.
    pooled : tuple of PooledSwitch
        What each switch contributes.
    """
    return (
        *_out_of_order(survey, table),
        *_off_above_on(survey, pooled),
        *_drifted(pooled),
        *_meters_disagree(survey, table),
        *_parts_above_whole(survey, table),
        *_outside_band(survey, table),
        *_short_pulses(survey, table),
        *_day_above_night(table),
    )


def _out_of_order(survey: Survey, table: LevelTable) -> Iterator[Doubt]:
    for pair in out_of_order(survey.current_readings(table.visit.id)):
        lower, higher = pair.lower, pair.higher
        yield Doubt(
            DoubtKind.OUT_OF_ORDER, lower.place_id, lower.radio_state_id, lower.kind, higher.kind,
            lower.value_w_m2, higher.value_w_m2,
        )  # fmt: skip


def _off_above_on(survey: Survey, pooled: tuple[PooledSwitch, ...]) -> Iterator[Doubt]:
    for item in pooled:
        for pair in item.pairs:
            if shown_higher(pair.difference.second, pair.difference.first):
                on, off = pair.difference.first, pair.difference.second
                yield Doubt(
                    DoubtKind.OFF_ABOVE_ON, pair.place_id, pair.state_without, pair.kind, pair.kind,
                    off.median_w_m2, on.median_w_m2, (pair.name,),
                )  # fmt: skip


def _drifted(pooled: tuple[PooledSwitch, ...]) -> Iterator[Doubt]:
    """Of each switch at a place the first kind that drifted; switches tried between the same readings together."""
    told: set[tuple[str, str]] = set()
    found: dict[tuple[str, str, Kind, float, float], list[str]] = {}
    for pair in (pair for item in pooled for pair in item.pairs):
        spot = (pair.place_id, pair.group)
        if pair.again is not None and pair.again.drifted and spot not in told:
            told.add(spot)
            read = pair.again.before.median_w_m2, pair.again.after.median_w_m2
            found.setdefault((pair.place_id, pair.state_with, pair.kind, *read), []).append(pair.name)
    for (place, state, kind, before, after), names in found.items():
        yield Doubt(DoubtKind.DRIFTED, place, state, kind, kind, before, after, tuple(names))


def shown_higher(one: UncertainLevel, other: UncertainLevel) -> bool:
    """Whether one level is shown to be above the other."""
    if one.censoring is other.censoring and one.censoring is not Censoring.NONE:
        return False
    if one.level_db <= other.level_db:  # errors are symmetric, so that it is as likely below as above at best
        return False
    return ratio(one, other).probability_below_db(0.0).high < 1.0 - EXCLUDES


def _meters_disagree(survey: Survey, table: LevelTable) -> Iterator[Doubt]:
    spots: dict[tuple[str, str, Kind, Period | None], list[MeasuredLevel]] = {}
    for item in (*table.levels, *table.other_times):
        spots.setdefault((item.place_id, item.state_id, item.kind, item.period), []).append(item)
    for (place, state, kind, _), items in spots.items():
        for one, other in combinations(items, 2):
            first, second = one.combined.level, other.combined.level
            if shown_higher(first, second) or shown_higher(second, first):
                names = (survey.meter(one.meter_id).name, survey.meter(other.meter_id).name)
                yield Doubt(
                    DoubtKind.METERS_DISAGREE, place, state, kind, kind, first.median_w_m2, second.median_w_m2, names
                )


def _parts_above_whole(survey: Survey, table: LevelTable) -> Iterator[Doubt]:
    """Bands that together hold more than a meter showed that receives all of them."""
    for item in table.levels:
        meter = survey.meter(item.meter_id)
        if meter.shows_part:
            continue
        low, high = meter.receives_hz
        spot = (item.place_id, item.state_id, item.kind)
        here = [p for p in table.parts if (p.place_id, p.state_id, p.kind) == spot and p.kind is Kind.AVERAGE]
        within = [p for p in here if low <= survey.meter(p.meter_id).receives_hz[0] and
                  survey.meter(p.meter_id).receives_hz[1] <= high]  # fmt: skip
        if not within:
            continue
        used = apart(survey, within)
        bands = total([part.combined.level for part in used])
        if shown_higher(bands, item.combined.level):
            names = (" + ".join(survey.meter(part.meter_id).name for part in used), meter.name)
            yield Doubt(
                DoubtKind.METERS_DISAGREE, item.place_id, item.state_id, item.kind, item.kind, bands.median_w_m2,
                item.combined.level.median_w_m2, names,
            )  # fmt: skip


def _outside_band(survey: Survey, table: LevelTable) -> Iterator[Doubt]:
    read = (*table.levels, *table.parts)
    meters = [survey.meter(name) for name in dict.fromkeys(item.meter_id for item in read)]
    unheard = tuple(e.name for e in survey.emitters if not any(receives(m, e) for m in meters))
    if unheard:
        yield Doubt(DoubtKind.OUTSIDE_BAND, names=unheard)


def receives(meter: Meter, emitter: Emitter) -> bool:
    """Whether a meter can receive an emitter, as far as its band is stated and the frequency known."""
    frequency = emitter.frequency_hz
    if frequency is None:
        return True
    low, high = meter.receives_hz
    below = meter.band_low_hz is not None and frequency < low
    above = meter.band_high_hz is not None and frequency > high
    return not (below or above)


def _short_pulses(survey: Survey, table: LevelTable) -> Iterator[Doubt]:
    used = dict.fromkeys(i.meter_id for i in table.levels if "short_pulses" in i.combined.flags)
    if used:
        yield Doubt(DoubtKind.SHORT_PULSES, names=tuple(survey.meter(m).name for m in used))


def _day_above_night(table: LevelTable) -> Iterator[Doubt]:
    by_day = {(i.place_id, i.state_id, i.kind, i.meter_id): i for i in table.other_times if i.period is Period.DAY}
    for item in table.levels:
        day = by_day.get((item.place_id, item.state_id, item.kind, item.meter_id))
        if day is not None and day.combined.level.level_db > item.combined.level.level_db:
            yield Doubt(
                DoubtKind.DAY_ABOVE_NIGHT, item.place_id, item.state_id, item.kind, item.kind,
                day.combined.level.median_w_m2, item.combined.level.median_w_m2,
            )  # fmt: skip
