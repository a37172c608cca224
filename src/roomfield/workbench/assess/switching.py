"""What on/off tests show: differences between radio states, whether they add up, and what they say of the law."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from roomfield.exposure.attribution import Attribution, attribute
from roomfield.exposure.averaging import as_time_average
from roomfield.exposure.decision import limit_kind
from roomfield.exposure.differences import PooledDifference, UncertainDifference, difference, pooled_difference
from roomfield.exposure.quotients import SwitchedPart, SwitchedQuotient, switched_quotient
from roomfield.quantities import Censoring, Kind, UncertainLevel
from roomfield.references.limit_sets import LimitSet
from roomfield.survey import Activity, Emitter, RadioState, Survey
from roomfield.workbench.assess.place_levels import LevelBetween, LevelTable, MeasuredLevel, level_between

WIDEST_VARIATION = "wifi"
"""Service whose spread over a day a total of unknown mix is given: the widest in the table."""
_Spot = tuple[str, Kind, str]


@dataclass(frozen=True)
class SwitchFinding:
    """What went away when a switch was turned off, at one place and in one kind.

    Parameters
    ----------
    group : str
        The switch.
    emitters : tuple of Emitter
        What hangs on it.
    state_with, state_without : str
        Radio states compared; nothing but this switch differs between them.
    meter_id : str
        Meter that took both readings.
    activity : Activity or None
        What hangs on the switch did while it was on, as far as that was noted.
    again : LevelBetween or None
        Where it was read on, off and on again: the readings with it on, whose level at the moment of "off" is the first
        of the difference. None where it was not; then all readings with it on are put together as at any place.
    """

    place_id: str
    group: str
    emitters: tuple[Emitter, ...]
    kind: Kind
    state_with: str
    state_without: str
    difference: UncertainDifference
    meter_id: str = ""
    activity: Activity | None = None
    again: LevelBetween | None = None

    @property
    def name(self) -> str:
        """Names of what hangs on the switch."""
        return switch_name(self.group, self.emitters)


@dataclass(frozen=True)
class PooledSwitch:
    """Every on/off pair of one switch at one place and in one kind, taken together.

    Parameters
    ----------
    pairs : tuple of SwitchFinding
        The one with the fewest other switches off comes first.
    contribution : PooledDifference
        Mean of the differences; its interval may include zero.
    """

    pairs: tuple[SwitchFinding, ...]
    contribution: PooledDifference

    @property
    def first(self) -> SwitchFinding:
        """The pair nearest to "as found"; it names place, switch, kind and meter."""
        return self.pairs[0]


@dataclass(frozen=True)
class AttributionFinding:
    """Whether the on/off tests at one place add up, in one kind.

    Parameters
    ----------
    coverage : float
        Probability content of the remainder's interval; wide enough that among all places tested a false alarm
        stays as rare as one interval's miss.
    """

    place_id: str
    meter_id: str
    kind: Kind
    attribution: Attribution
    coverage: float


@dataclass(frozen=True)
class QuotientFinding:
    """Share of the legal limit at one place with every switched source against the limit at its own frequency."""

    place_id: str
    meter_id: str
    quotient: SwitchedQuotient


def switch_name(group: str, emitters: tuple[Emitter, ...]) -> str:
    """Names of what hangs on a switch; its own name if nothing does."""
    return " + ".join(e.name for e in emitters) or group


def switch_findings(survey: Survey, table: LevelTable) -> tuple[SwitchFinding, ...]:
    """Differences between all radio states that differ by one switch.

    Parameters
    ----------
    survey : Survey
        The record.
    table : LevelTable
        Levels of the visit; only readings of one meter are compared with each other.
    """
    states = table.visit.radio_states
    pairs = [(group, state, off) for off in states for group, state in _one_switch_apart(states, off)]
    by_key = {(i.place_id, i.state_id, i.kind, i.meter_id): i for i in table.levels}
    found = []
    for group, state, off in pairs:
        emitters = _on_switch(survey, group)
        for (place, state_id, kind, meter), item in by_key.items():
            other = by_key.get((place, off.id, kind, meter))
            if state_id == state.id and other is not None and not _both_over(item, other):
                again = level_between(survey, table.visit, item, other)
                change = difference(again.level if again else item.combined.level, other.combined.level)
                doing = _doing(state, group, emitters)
                found.append(SwitchFinding(place, group, emitters, kind, state.id, off.id, change, meter, doing, again))
    return tuple(found)


def _on_switch(survey: Survey, group: str) -> tuple[Emitter, ...]:
    return tuple(e for e in survey.emitters if e.group == group)


def _one_switch_apart(states: tuple[RadioState, ...], off: RadioState) -> list[tuple[str, RadioState]]:
    """The switch that is off in ``off`` and on in another state, if nothing else differs, what others did neither."""
    pairs = []
    for state in states:
        more = set(off.off_groups) - set(state.off_groups)
        if len(more) == 1 and set(state.off_groups) < set(off.off_groups):
            group = more.pop()
            if _others(state, group) == _others(off, group):
                pairs.append((group, state))
    return pairs


def _others(state: RadioState, group: str) -> frozenset[tuple[str, Activity]]:
    """What transmitters other than those on one switch were noted to do."""
    return frozenset((a.name, a.activity) for a in state.activities if a.name != group)


def _doing(state: RadioState, group: str, emitters: tuple[Emitter, ...]) -> Activity | None:
    """What hangs on a switch did; None if it was not noted, or differs."""
    noted = {state.activity_of(e.id, group) for e in emitters} or {state.activity_of(group, group)}
    return noted.pop() if len(noted) == 1 else None


def _both_over(one: MeasuredLevel, other: MeasuredLevel) -> bool:
    return one.combined.level.censoring is Censoring.ABOVE and other.combined.level.censoring is Censoring.ABOVE


def pooled_switches(survey: Survey, table: LevelTable, findings: tuple[SwitchFinding, ...]) -> tuple[PooledSwitch, ...]:
    """All pairs of each switch at each place taken together, in the order of the findings.

    Parameters
    ----------
    findings : tuple of SwitchFinding
        From `switch_findings`.
    """
    groups: dict[tuple[str, str, Kind, str, Activity | None], list[SwitchFinding]] = defaultdict(list)
    for item in findings:
        groups[item.place_id, item.group, item.kind, item.meter_id, item.activity].append(item)
    off = {s.id: len(s.off_groups) for s in table.visit.radio_states}
    pooled = []
    for pairs in groups.values():
        ordered = tuple(sorted(pairs, key=lambda f: off[f.state_with]))
        levels = [(f.difference.first, f.difference.second) for f in ordered]
        pooled.append(PooledSwitch(ordered, pooled_difference(levels)))
    return tuple(pooled)


def attributions(
    survey: Survey, table: LevelTable, findings: tuple[SwitchFinding, ...], coverage: float
) -> tuple[AttributionFinding, ...]:
    """Contributions of all switches at each place, and whether they add up with what is left.

    Parameters
    ----------
    findings : tuple of SwitchFinding
        From `switch_findings`: where read on, off and on again, their level with everything on counts.
    coverage : float
        Probability that no place is called out although every one adds up.
    """
    cases = list(_cases(table))
    tested = sum(1 for case in cases if case[3] is not None)
    wide = 1.0 - (1.0 - coverage) / max(tested, 1)
    again: dict[_Spot, dict[str, UncertainLevel]] = defaultdict(dict)
    for item in findings:
        if item.again is not None and item.state_with == table.base_state.id:
            again[item.place_id, item.kind, item.meter_id][item.name] = item.again.level
    found = []
    for spot, as_found, without, background in cases:
        place, kind, meter = spot
        named = {switch_name(g, _on_switch(survey, g)): level for g, level in without.items()}
        result = attribute(as_found, named, background=background, at_off=again[spot], coverage=wide)
        found.append(AttributionFinding(place, meter, kind, result, wide))
    return tuple(found)


_Case = tuple[_Spot, UncertainLevel, dict[str, UncertainLevel], "UncertainLevel | None"]


def _cases(table: LevelTable) -> Iterator[_Case]:
    """Each place with its level as found, without each one switch, and without all of them."""
    base = table.base_state
    single = {
        next(iter(more)): s.id
        for s in table.visit.radio_states
        if len(more := _more_off(s, base)) == 1 and _others(s, next(iter(more))) == _others(base, next(iter(more)))
    }
    levels: dict[_Spot, dict[str, UncertainLevel]] = defaultdict(dict)
    for item in table.levels:
        levels[item.place_id, item.kind, item.meter_id][item.state_id] = item.combined.level
    for spot, by_state in levels.items():
        as_found = by_state.get(base.id)
        if as_found is None or as_found.censoring is Censoring.ABOVE:
            continue
        without = {group: by_state[s] for group, s in single.items() if s in by_state}
        if without:
            yield spot, as_found, without, _background(table, by_state, frozenset(without))


def _more_off(state: RadioState, base: RadioState) -> frozenset[str]:
    return frozenset(state.off_groups) - frozenset(base.off_groups)


def _background(
    table: LevelTable, by_state: dict[str, UncertainLevel], groups: frozenset[str]
) -> UncertainLevel | None:
    """The level with just these switches off; None for a single one, for then there is nothing to check."""
    if len(groups) < 2:
        return None
    base = table.base_state
    return next(
        (by_state[s.id] for s in table.visit.radio_states if s.id in by_state and _more_off(s, base) == groups), None
    )


def quotients(
    survey: Survey, table: LevelTable, limits: LimitSet, band_hz: tuple[float, float]
) -> tuple[QuotientFinding, ...]:
    """Share of the limit where on/off tests and known frequencies tell part of the exposure apart.

    Parameters
    ----------
    limits : LimitSet
        Legal limits.
    band_hz : (float, float)
        The meter's band [Hz].
    """
    wanted = limit_kind(limits.scope)
    found = []
    for (place, kind, meter), as_found, without, _ in _cases(table):
        if kind is not wanted:
            continue
        parts = tuple(_parts(survey, limits, without, band_hz))
        if parts:
            moved = as_limit_average(as_found, limits)
            found.append(QuotientFinding(place, meter, switched_quotient(moved, parts, limits, band_hz)))
    return tuple(found)


def _parts(
    survey: Survey, limits: LimitSet, without: dict[str, UncertainLevel], band_hz: tuple[float, float]
) -> Iterator[SwitchedPart]:
    for group, level in without.items():
        emitters = _on_switch(survey, group)
        used = tuple(e.frequency_hz for e in emitters if e.frequency_hz is not None)
        heard = all(band_hz[0] <= f <= band_hz[1] for f in used)
        if emitters and heard and len(used) == len(emitters) and all(limits.law_at(f) for f in used):
            yield SwitchedPart(switch_name(group, emitters), as_limit_average(level, limits), used)


def as_limit_average(level: UncertainLevel, limits: LimitSet) -> UncertainLevel:
    """A spot average widened to the limit's averaging time, if the limit is one of a time average.

    The variation is shared, so that it cancels between levels of one visit.
    """
    if level.kind is not Kind.AVERAGE or not any(law.averaging_min for law in limits.laws):
        return level
    return as_time_average(level, WIDEST_VARIATION, shared_key="time of day")
