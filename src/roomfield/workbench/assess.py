"""What a visit's levels mean: against the law, against the chosen guideline, and by radio state."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.errors import UnknownNameError
from roomfield.exposure.averaging import as_time_average
from roomfield.exposure.decision import DEFAULT_RULE, Verdict, judge
from roomfield.exposure.differences import UncertainDifference, difference
from roomfield.exposure.guideline import GuidelineResult, compare_with_every_service
from roomfield.quantities import Censor, Kind
from roomfield.references.guidelines import GuidelineSet, guideline_set
from roomfield.references.limit_sets import LimitSet, LimitValue
from roomfield.references.limits import limit_set, select
from roomfield.references.user_limits import load_user_limits
from roomfield.survey import Emitter, RadioState, Survey
from roomfield.workbench.levels import LevelTable, PlaceLevel, level_table

WIDEST_VARIATION = "wifi"
"""Service whose spread over a day a total of unknown mix is given: the widest in the table."""


@dataclass(frozen=True)
class Terms:
    """How levels are compared.

    Parameters
    ----------
    coverage : float
        Probability content of every interval, 0 to 1.
    rule : str
        Decision rule for legal limits, see the references.
    """

    coverage: float = 0.95
    rule: str = DEFAULT_RULE


@dataclass(frozen=True)
class LawFinding:
    """One average level against the legal limit."""

    place_id: str
    state_id: str
    verdict: Verdict


@dataclass(frozen=True)
class GuidelineFinding:
    """One peak level against the chosen guideline, for each of its services.

    Parameters
    ----------
    results : tuple of GuidelineResult
        One for each service the guideline has rows for.
    """

    place_id: str
    state_id: str
    results: tuple[GuidelineResult, ...]

    @property
    def strictest(self) -> GuidelineResult:
        """The result least likely to be in the lowest category or at the target."""
        return min(self.results, key=lambda r: (r.chances[0].at_most.low, r.chances[0].row.upper_w_m2 or 0.0))


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
    """

    place_id: str
    group: str
    emitters: tuple[Emitter, ...]
    kind: Kind
    state_with: str
    state_without: str
    difference: UncertainDifference

    @property
    def name(self) -> str:
        """Names of what hangs on the switch."""
        return ", ".join(e.name for e in self.emitters) or self.group


@dataclass(frozen=True)
class Assessment:
    """Everything that follows from one visit's readings alone.

    Parameters
    ----------
    survey : Survey
        The record.
    terms : Terms
        Coverage and decision rule.
    table : LevelTable
        Levels at places.
    limits : LimitSet
        The legal limits used.
    limit : LimitValue
        The value used: the smallest in the meter's band, because the frequency of a total is not known.
    guideline : GuidelineSet or None
        The guideline that the client chose.
    law, precaution : tuple
        Comparisons, by place and radio state.
    switches : tuple of SwitchFinding
        Differences between radio states.
    """

    survey: Survey
    terms: Terms
    table: LevelTable
    limits: LimitSet
    limit: LimitValue
    guideline: GuidelineSet | None
    law: tuple[LawFinding, ...]
    precaution: tuple[GuidelineFinding, ...]
    switches: tuple[SwitchFinding, ...]

    def law_at(self, place_id: str, state_id: str | None = None) -> LawFinding | None:
        """Comparison with the law at a place; as found if no radio state is named."""
        wanted = (place_id, state_id or self.table.base_state.id)
        return next((f for f in self.law if (f.place_id, f.state_id) == wanted), None)

    def precaution_at(self, place_id: str, state_id: str | None = None) -> GuidelineFinding | None:
        """Comparison with the guideline at a place; as found if no radio state is named."""
        wanted = (place_id, state_id or self.table.base_state.id)
        return next((f for f in self.precaution if (f.place_id, f.state_id) == wanted), None)


def assess(
    survey: Survey,
    visit_id: str | None = None,
    *,
    terms: Terms | None = None,
    user_limits: str = "",
) -> Assessment:
    """Assess a visit.

    Parameters
    ----------
    survey : Survey
        The record; its assignment names jurisdiction and guideline.
    visit_id : str, optional
        The visit; the first one if left out.
    terms : Terms, optional
        Coverage and decision rule.
    user_limits : str
        Path of a TOML file with limits of your own; its first set replaces the jurisdiction's.

    Raises
    ------
    TooEarlyError
        If there is no reading yet.
    UnknownNameError
        If jurisdiction, guideline or rule are not in the tables.
    """
    chosen = terms or Terms()
    table = level_table(survey, visit_id)
    limits = chosen_limits(survey.assignment.jurisdiction, user_limits)
    limit = _limit_for(survey, table, limits)
    guideline = guideline_set(survey.assignment.guideline) if survey.assignment.guideline else None
    return Assessment(
        survey=survey,
        terms=chosen,
        table=table,
        limits=limits,
        limit=limit,
        guideline=guideline,
        law=tuple(_law(item, limit, chosen) for item in table.levels if item.kind is Kind.AVERAGE),
        precaution=tuple(_precaution(table, guideline)) if guideline else (),
        switches=tuple(_switches(survey, table)),
    )


def chosen_limits(jurisdiction: str, user_limits: str = "") -> LimitSet:
    """The set of legal limits that a survey names: by code, by name of the set, or from a user's file.

    Parameters
    ----------
    jurisdiction : str
        Code such as ``EU``, or name of a set such as ``icnirp-2020-public-whole-body``.
    user_limits : str
        Path of a TOML file; its first set is taken.
    """
    if user_limits:
        return load_user_limits(user_limits)[0]
    try:
        return limit_set(jurisdiction)
    except UnknownNameError:
        return select(jurisdiction)


def _limit_for(survey: Survey, table: LevelTable, limits: LimitSet) -> LimitValue:
    meters = [survey.meter(name) for name in dict.fromkeys(item.meter_id for item in table.levels)]
    low = min(m.band_low_hz for m in meters)
    high = max(m.band_high_hz for m in meters)
    return limits.smallest_in_band(low, high)


def _law(item: PlaceLevel, limit: LimitValue, terms: Terms) -> LawFinding:
    level = item.combined.level
    if limit.averaging_s is not None:
        level = as_time_average(level, WIDEST_VARIATION)
    return LawFinding(item.place_id, item.state_id, judge(level, limit, terms.rule))


def _precaution(table: LevelTable, guideline: GuidelineSet) -> list[GuidelineFinding]:
    return [
        GuidelineFinding(
            item.place_id, item.state_id, compare_with_every_service(item.combined.level, guideline.set_id)
        )
        for item in table.levels
        if item.kind is Kind.PEAK
    ]


def _switches(survey: Survey, table: LevelTable) -> list[SwitchFinding]:
    found = []
    by_key = {(i.place_id, i.state_id, i.kind, i.meter_id): i for i in table.levels}
    for without in table.visit.radio_states:
        for group, state in _one_switch_apart(table.visit.radio_states, without):
            emitters = tuple(e for e in survey.emitters if e.group == group)
            for (place, state_id, kind, meter), item in by_key.items():
                other = by_key.get((place, without.id, kind, meter))
                if state_id != state.id or other is None or _both_over(item, other):
                    continue
                change = difference(item.combined.level, other.combined.level)
                found.append(SwitchFinding(place, group, emitters, kind, state.id, without.id, change))
    return found


def _one_switch_apart(states: tuple[RadioState, ...], without: RadioState) -> list[tuple[str, RadioState]]:
    """The switch that is off in ``without`` and on in another state, if nothing else differs."""
    pairs = []
    for state in states:
        more = set(without.off_groups) - set(state.off_groups)
        if len(more) == 1 and set(state.off_groups) < set(without.off_groups):
            pairs.append((more.pop(), state))
    return pairs


def _both_over(one: PlaceLevel, other: PlaceLevel) -> bool:
    return one.combined.level.censor is Censor.ABOVE and other.combined.level.censor is Censor.ABOVE
