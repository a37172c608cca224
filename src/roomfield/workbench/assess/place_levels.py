"""Levels at places: every reading of a visit, put together by place, radio state and kind."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from statistics import fmean

from roomfield.errors import TooEarlyError
from roomfield.exposure.level_sums import total
from roomfield.instrument import CombinedLevel, between, combine, has_drifted, shortest_pulse_s, with_clipped_averages
from roomfield.quantities import Censoring, Kind, UncertainLevel
from roomfield.survey import Activity, Meter, Period, RadioState, Reading, Survey, Visit
from roomfield.workbench.assess.place_use import is_for_sleeping
from roomfield.workbench.record.editing import moment_in
from roomfield.workbench.record.visit_choice import visit_asked_or_first

_PUT_TO_USE = (Activity.IN_USE, Activity.FORCED)


@dataclass(frozen=True)
class MeasuredLevel:
    """The level of one kind at one place in one radio state, by one meter.

    Parameters
    ----------
    place_id, state_id, meter_id : str
        Where, in which radio state, and with which meter.
    combined : CombinedLevel
        The level with the readings behind it.
    period : Period or None
        Night or day; None if the time of the readings was not noted.
    """

    place_id: str
    state_id: str
    meter_id: str
    combined: CombinedLevel
    period: Period | None = None

    @property
    def kind(self) -> Kind:
        """Peak, highest held or average."""
        return self.combined.kind


@dataclass(frozen=True)
class LevelTable:
    """All levels of one visit.

    Parameters
    ----------
    visit : Visit
        The visit.
    base_state : RadioState
        The state in which everything was as found.
    levels : tuple of MeasuredLevel
        In the order of the survey's places, then radio states, then kinds; where night and day were both read, the
        night at sleeping places, the higher elsewhere.
    other_times : tuple of MeasuredLevel
        What was read at the other time of day: a finding of its own.
    parts : tuple of MeasuredLevel
        Levels of single bands, read with a frequency-selective instrument: parts of the level at a place. Where nothing
        else was read, their sum stands in ``levels``.
    """

    visit: Visit
    base_state: RadioState
    levels: tuple[MeasuredLevel, ...]
    other_times: tuple[MeasuredLevel, ...] = ()
    parts: tuple[MeasuredLevel, ...] = ()

    def find(self, place_id: str, state_id: str, kind: Kind, meter_id: str = "") -> MeasuredLevel | None:
        """The level asked for, by the first meter if none is named; None if nothing was read."""
        for item in self.levels:
            same = (item.place_id, item.state_id, item.kind) == (place_id, state_id, kind)
            if same and meter_id in ("", item.meter_id):
                return item
        return None


def level_table(survey: Survey, visit_id: str | None = None) -> LevelTable:
    """Levels of a visit at all places in all radio states.

    Parameters
    ----------
    survey : Survey
        The record; amendments are applied.
    visit_id : str, optional
        The visit; the first one if left out.

    Raises
    ------
    TooEarlyError
        If there is no visit or no reading yet.
    """
    visit = visit_asked_or_first(survey, visit_id)
    readings = [r for r in survey.current_readings(visit.id) if r.place_id]
    if not readings:
        raise TooEarlyError(
            f"visit {visit.id!r} has no reading at a place yet.",
            where=survey.title,
            mend="Enter or import readings first.",
        )
    read = {r.radio_state_id for r in readings}
    banded = {m.id for m in survey.meters if m.shows_part}
    found = tuple(_combined(survey, visit, readings))
    first = [spot[0] for spot in found]
    parts = tuple(item for item in first if item.meter_id in banded)
    levels = tuple(item for item in first if item.meter_id not in banded) or tuple(_sums(survey, parts))
    other_times = tuple(item for spot in found for item in spot[1:] if item.meter_id not in banded)
    return LevelTable(visit, base_state(visit, read), levels, other_times, parts)


def _sums(survey: Survey, parts: Sequence[MeasuredLevel]) -> Iterator[MeasuredLevel]:
    """Where bands alone were read: their sum at each spot, under the first of them."""
    spots: dict[tuple[str, str, Kind], list[MeasuredLevel]] = defaultdict(list)
    for item in parts:
        spots[item.place_id, item.state_id, item.kind].append(item)
    for (place, state, _), items in spots.items():
        used = apart(survey, items)
        whole = CombinedLevel(
            total([item.combined.level for item in used]),
            tuple(r for item in used for r in item.combined.readings),
            tuple(dict.fromkeys(flag for item in used for flag in item.combined.flags)),
        )
        yield MeasuredLevel(place, state, used[0].meter_id, whole, used[0].period)


def apart(survey: Survey, items: Sequence[MeasuredLevel]) -> tuple[MeasuredLevel, ...]:
    """Levels of bands that do not overlap, rising in frequency: of two that do, the one that begins first counts.

    Parameters
    ----------
    items : sequence of MeasuredLevel
        At one place, in one radio state.
    """
    kept: list[MeasuredLevel] = []
    reached_hz = 0.0
    for item in sorted(items, key=lambda one: survey.meter(one.meter_id).receives_hz):
        low_hz, high_hz = survey.meter(item.meter_id).receives_hz
        if low_hz >= reached_hz * (1.0 - 1e-9):
            kept.append(item)
            reached_hz = high_hz
    return tuple(kept)


def base_state(visit: Visit, read: Collection[str] = ()) -> RadioState:
    """The radio state in which everything was as found: the least switched off, and the least put to use.

    Parameters
    ----------
    read : collection of str
        Ids of the radio states that have readings; empty to take any.
    """
    states = [s for s in visit.radio_states if not read or s.id in read]
    return min(states, key=lambda s: (len(s.off_groups), sum(a.activity in _PUT_TO_USE for a in s.activities)))


_Spot = tuple[str, str, Kind, str]
"""Place, radio state, kind, meter."""


def _combined(survey: Survey, visit: Visit, readings: Sequence[Reading]) -> Iterator[tuple[MeasuredLevel, ...]]:
    """Every spot's level, and after it what was read there at another time of day."""
    groups: dict[_Spot, list[Reading]] = defaultdict(list)
    for reading in with_clipped_averages(readings, survey.meters):
        groups[reading.place_id, reading.radio_state_id, reading.kind, reading.meter_id].append(reading)
    places = {p.id: i for i, p in enumerate(survey.places)}
    states = {s.id: i for i, s in enumerate(visit.radio_states)}
    kinds = {k: i for i, k in enumerate(Kind)}
    meters, pulse_s = {m.id: m for m in survey.meters}, shortest_pulse_s(survey)
    for spot in sorted(groups, key=lambda g: (places[g[0]], states[g[1]], kinds[g[2]], g[3])):
        place, state, _, meter_id = spot
        meter = meters[meter_id]
        found = [
            MeasuredLevel(place, state, meter_id, _together(rows, meter, visit, pulse_s), period)
            for period, rows in _by_period(groups[spot])
        ]
        night_counts = is_for_sleeping(survey.place(place))
        yield tuple(sorted(found, key=lambda item: _rank(item, night_counts)))


def _together(rows: Sequence[Reading], meter: Meter, visit: Visit, pulse_s: float | None) -> CombinedLevel:
    return combine(rows, meter, on_date=visit.started_at, pulse_s=pulse_s, frequency_hz=meter.middle_hz)


@dataclass(frozen=True)
class LevelBetween:
    """The level of one radio state at the moment when another was read, from readings before and after it.

    Parameters
    ----------
    before, after : UncertainLevel
        From all readings before that moment, and from all after it.
    level : UncertainLevel
        At that moment.
    """

    before: UncertainLevel
    after: UncertainLevel
    level: UncertainLevel

    @property
    def drifted(self) -> bool:
        """Whether the readings before and after differ by more than the meter repeats."""
        return has_drifted(self.before, self.after)


def level_between(survey: Survey, visit: Visit, item: MeasuredLevel, other: MeasuredLevel) -> LevelBetween | None:
    """The level of one radio state at the mean moment of another's readings.

    Parameters
    ----------
    item : MeasuredLevel
        On, before and after.
    other : MeasuredLevel
        Off; same place, kind and meter.

    Returns
    -------
    LevelBetween or None
        None without readings on both sides of that moment, without their times, where a side is only a bound, and for
        sums over bands.
    """
    rows, between_them = item.combined.readings, other.combined.readings
    if {r.meter_id for r in rows} != {item.meter_id} or not all(r.period for r in (*rows, *between_them)):
        return None
    moment = _mean_moment_s(between_them)
    sides = [r for r in rows if moment_s(r) < moment], [r for r in rows if moment_s(r) > moment]
    if not all(sides):
        return None
    meter, pulse_s = survey.meter(item.meter_id), shortest_pulse_s(survey)
    before, after = (_together(side, meter, visit, pulse_s).level for side in sides)
    if not before.censoring is after.censoring is Censoring.NONE:
        return None
    start, end = (_mean_moment_s(side) for side in sides)
    return LevelBetween(before, after, between(before, after, (moment - start) / (end - start)))


def moment_s(reading: Reading) -> float:
    """When a reading was taken, in seconds of a clock that is the same for all of them."""
    return moment_in(reading.taken_at).timestamp()


def _mean_moment_s(readings: Sequence[Reading]) -> float:
    return fmean(moment_s(r) for r in readings)


def _by_period(readings: Sequence[Reading]) -> Iterator[tuple[Period | None, list[Reading]]]:
    """Readings by night and by day; those without a time of day go with the day if there is a night to tell from."""
    periods = {r.period for r in readings}
    if Period.NIGHT not in periods or periods == {Period.NIGHT}:
        yield next(iter(periods - {None}), None), list(readings)
        return
    yield Period.NIGHT, [r for r in readings if r.period is Period.NIGHT]
    yield Period.DAY, [r for r in readings if r.period is not Period.NIGHT]


def _rank(item: MeasuredLevel, night_counts: bool) -> tuple[bool, bool, float]:
    """Where people sleep the night comes first, elsewhere the higher level."""
    level = item.combined.level
    return (night_counts and item.period is not Period.NIGHT, level.censoring is not Censoring.ABOVE, -level.level_db)
