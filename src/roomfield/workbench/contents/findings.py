"""Findings as the report says them: levels, comparisons, contributions of switches."""

from __future__ import annotations

from roomfield.exposure.decision import Decision
from roomfield.exposure.decision import Verdict as LawVerdict
from roomfield.exposure.guideline import GuidelineResult
from roomfield.quantities import Censor, Kind, ProbabilityRange, UncertainLevel
from roomfield.references.guidelines import CATEGORIES
from roomfield.report.findings import (
    Contribution,
    Level,
    Outcome,
    PlaceFinding,
    PlaceLevel,
    Shown,
    StateEntry,
    Verdict,
)
from roomfield.report.phrase import phrase
from roomfield.survey import Censoring, Place, PlaceKind, ReadingKind, Survey
from roomfield.workbench.assess import Assessment, GuidelineFinding, LawFinding, SwitchFinding
from roomfield.workbench.levels import PlaceLevel as MeasuredLevel

SLEEPING = (PlaceKind.BED, PlaceKind.COT)
LIKELY = 0.8
_CENSORING = {
    Censor.NONE: Censoring.NONE,
    Censor.BELOW: Censoring.BELOW_FLOOR,
    Censor.ABOVE: Censoring.OVERLOAD,
}


def reading_kind(kind: Kind) -> ReadingKind:
    """The record's name of a kind."""
    return ReadingKind(kind.value)


def stated_level(level: UncertainLevel, coverage: float) -> Level:
    """A level as the report states it: median and interval, or one end."""
    span = level.interval(coverage)
    return Level(level.median_w_m2, span.low_w_m2, span.high_w_m2, _CENSORING[level.censor])


def place_findings(assessment: Assessment) -> tuple[PlaceFinding, ...]:
    """Every place that was measured, with its levels; sleeping places first."""
    survey = assessment.survey
    measured = {item.place_id for item in assessment.table.levels}
    places = [p for p in survey.places if p.id in measured]
    ordered = sorted(places, key=lambda p: p.kind not in SLEEPING)
    return tuple(_place(assessment, place) for place in ordered)


def _place(assessment: Assessment, place: Place) -> PlaceFinding:
    survey = assessment.survey
    rooms = {r.id: r.name for r in survey.dwelling.rooms}
    storeys = {s.id: s.name for s in survey.dwelling.storeys}
    levels = tuple(
        _place_level(item, assessment.terms.coverage) for item in assessment.table.levels if item.place_id == place.id
    )
    return PlaceFinding(
        place.id,
        place.name,
        rooms.get(place.room_id, ""),
        storeys.get(place.storey_id, ""),
        place.kind in SLEEPING,
        place.night_hours,
        place.day_hours,
        levels,
        place.note,
    )


def _place_level(item: MeasuredLevel, coverage: float) -> PlaceLevel:
    readings = item.combined.readings
    highest = max(readings, key=lambda r: r.value_w_m2)
    return PlaceLevel(
        item.state_id,
        reading_kind(item.kind),
        stated_level(item.combined.level, coverage),
        Shown(highest.value_w_m2, highest.censoring),
        item.combined.replicates,
        phrase(f"orientation.{highest.orientation.value}"),
        note="; ".join(dict.fromkeys(r.note for r in readings if r.note)),
    )


def state_entries(assessment: Assessment) -> tuple[StateEntry, ...]:
    """Radio states of the visit, with the names of what was off."""
    names = group_names(assessment.survey)
    visit = assessment.table.visit
    return tuple(
        StateEntry(s.id, s.name, visit.id, tuple(names.get(g, g) for g in s.off_groups), s.note)
        for s in visit.radio_states
    )


def group_names(survey: Survey) -> dict[str, str]:
    """What hangs on each switch, in words."""
    groups: dict[str, list[str]] = {}
    for emitter in survey.emitters:
        groups.setdefault(emitter.group, []).append(emitter.name)
    return {group: ", ".join(names) for group, names in groups.items()}


def verdicts(assessment: Assessment) -> tuple[Verdict, ...]:
    """Every comparison with the law and the guideline."""
    law = [_law_verdict(f, assessment.limits.set_id) for f in assessment.law]
    return (*law, *(_guideline_verdict(f) for f in assessment.precaution))


def _law_verdict(finding: LawFinding, reference_id: str) -> Verdict:
    verdict = finding.verdict
    return Verdict(
        finding.place_id,
        finding.state_id,
        ReadingKind.AVERAGE,
        reference_id,
        law_outcome(verdict),
        verdict.bound.value_w_m2,
        cautious(verdict.probability_below, verdict.level),
        verdict.acceptance_limit_w_m2,
    )


def cautious(probability: ProbabilityRange, level: UncertainLevel) -> float:
    """One number for a probability known between two bounds: the one that claims less.

    A level that is only known to lie below some bound is below the reference at least that surely; one that
    is only known to lie above is below at most that surely.
    """
    return probability.high if level.censor is Censor.ABOVE else probability.low


def law_outcome(verdict: LawVerdict) -> Outcome:
    """Outcome in the report's terms: the rule decides, and where it does not, how likely either side is."""
    fixed = {
        Decision.BELOW: Outcome.BELOW,
        Decision.ABOVE: Outcome.ABOVE,
        Decision.NOT_TESTABLE: Outcome.NOT_COMPARABLE,
    }
    if verdict.decision in fixed:
        return fixed[verdict.decision]
    return leaning(verdict.probability_below)


def leaning(probability: ProbabilityRange) -> Outcome:
    """Likely below, open, or likely above."""
    if probability.low >= LIKELY:
        return Outcome.LIKELY_BELOW
    return Outcome.LIKELY_ABOVE if probability.high <= 1.0 - LIKELY else Outcome.UNDECIDED


def likely_outcome(probability: ProbabilityRange, coverage: float) -> Outcome:
    """Outcome by probability alone, for guidelines, which know no statement of conformity."""
    if probability.low >= coverage:
        return Outcome.BELOW
    return Outcome.ABOVE if probability.high <= 1.0 - coverage else leaning(probability)


def _guideline_verdict(finding: GuidelineFinding) -> Verdict:
    result = finding.strictest
    first = result.chances[0]
    return Verdict(
        finding.place_id,
        finding.state_id,
        reading_kind(result.level.kind),
        result.guideline.set_id,
        likely_outcome(first.at_most, 0.95),
        first.row.upper_w_m2 or 0.0,
        cautious(first.at_most, result.level),
        category=category_name(result),
        upper_bound_only=result.is_upper_bound,
    )


def category_name(result: GuidelineResult) -> str:
    """The categories that the interval touches, lowest first; empty for a guideline with targets."""
    if result.guideline.form != CATEGORIES:
        return ""
    names = [chance.row.name for chance in result.plausible()]
    return names[0] if len(names) == 1 else f"{names[0]} – {names[-1]}"


def switch_contributions(assessment: Assessment) -> tuple[Contribution, ...]:
    """What each switch contributes, from the state in which the fewest other switches were off."""
    best: dict[tuple[str, str, Kind], SwitchFinding] = {}
    for finding in assessment.switches:
        key = (finding.place_id, finding.group, finding.kind)
        if key not in best or _others_off(assessment, finding) < _others_off(assessment, best[key]):
            best[key] = finding
    return tuple(_contribution(f, assessment.terms.coverage) for f in best.values())


def _others_off(assessment: Assessment, finding: SwitchFinding) -> int:
    return len(assessment.survey.radio_state(assessment.table.visit.id, finding.state_with).off_groups)


def _contribution(finding: SwitchFinding, coverage: float) -> Contribution:
    span = finding.difference.interval(coverage)
    return Contribution(
        finding.place_id,
        finding.name,
        reading_kind(finding.kind),
        finding.difference.nominal_w_m2,
        span.low_w_m2,
        span.high_w_m2,
        state_with=finding.state_with,
        state_without=finding.state_without,
    )
