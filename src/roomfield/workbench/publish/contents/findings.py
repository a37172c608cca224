"""Findings as the report says them: levels, comparisons, contributions of switches."""

from __future__ import annotations

from dataclasses import replace

from roomfield.exposure.decision import Decision
from roomfield.exposure.decision import Verdict as LawVerdict
from roomfield.exposure.guideline import GuidelineResult
from roomfield.quantities import Censor, Kind, ProbabilityRange, UncertainLevel
from roomfield.references.guidelines import CATEGORIES
from roomfield.show.findings import (
    Contribution,
    Level,
    Outcome,
    PlaceFinding,
    PlaceLevel,
    Shown,
    StateEntry,
    Verdict,
)
from roomfield.show.phrase import Text, phrase
from roomfield.survey import Censoring, Place, ReadingKind, Survey
from roomfield.workbench.assess.assessment import SLEEPING, Assessment, GuidelineFinding, LawFinding
from roomfield.workbench.assess.place_levels import PlaceLevel as MeasuredLevel
from roomfield.workbench.assess.switching import PooledSwitch

PULSES = "/pulses"
"""Added to the id of the limits to name their condition on pulses."""
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
    measured = {(item.place_id, item.meter_id) for item in assessment.table.levels}
    pairs = [(p, m) for p in survey.places for m in assessment.meter_ids if (p.id, m) in measured]
    ordered = sorted(pairs, key=lambda pair: pair[0].kind not in SLEEPING)
    return tuple(_place(assessment, place, meter) for place, meter in ordered)


def finding_id(assessment: Assessment, place_id: str, meter_id: str) -> str:
    """Id of a place in the report: what several meters read at one place is never put together."""
    meters = _meters_at(assessment, place_id)
    return place_id if meter_id in meters[:1] else f"{place_id}/{meter_id}"


def _meters_at(assessment: Assessment, place_id: str) -> list[str]:
    used = {item.meter_id for item in assessment.table.levels if item.place_id == place_id}
    return [m for m in assessment.meter_ids if m in used]


def _place(assessment: Assessment, place: Place, meter_id: str) -> PlaceFinding:
    survey = assessment.survey
    rooms = {r.id: r.name for r in survey.dwelling.rooms}
    storeys = {s.id: s.name for s in survey.dwelling.storeys}
    levels = tuple(
        _place_level(item, assessment.terms.coverage)
        for item in assessment.table.levels
        if (item.place_id, item.meter_id) == (place.id, meter_id)
    )
    several = len(assessment.meter_ids) > 1
    return PlaceFinding(
        finding_id(assessment, place.id, meter_id),
        f"{place.name} ({survey.meter(meter_id).name})" if several else place.name,
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
    """Every comparison with the law, its condition on pulses, and the guideline."""
    law_id = assessment.limits.set_id
    law = [_law_verdict(assessment, f, law_id) for f in assessment.law]
    pulses = [_law_verdict(assessment, f, law_id + PULSES) for f in assessment.pulses]
    return (*law, *pulses, *(_guideline_verdict(assessment, f) for f in assessment.precaution))


def _law_verdict(assessment: Assessment, finding: LawFinding, reference_id: str) -> Verdict:
    verdict = finding.verdict
    return Verdict(
        finding_id(assessment, finding.place_id, finding.meter_id),
        finding.state_id,
        reading_kind(finding.measured),
        reference_id,
        law_outcome(verdict),
        verdict.bound.value_w_m2,
        cautious(verdict.probability_below, verdict.level),
        verdict.acceptance_limit_w_m2,
        conversion=_conversion(assessment, finding),
    )


def _conversion(assessment: Assessment, finding: LawFinding) -> Text:
    """How a level came to be comparable, or what the on/off tests add to the comparison."""
    if finding.is_upper_bound:
        asked, read = (phrase(f"kind_noun.{k.value}") for k in (finding.verdict.level.kind, finding.measured))
        return phrase("conversion.from_bound", asked=asked, read=read)
    spot = (finding.place_id, finding.meter_id, finding.state_id)
    base = assessment.table.base_state.id
    for item in assessment.quotients:
        if (item.place_id, item.meter_id, base) == spot and finding.verdict.limit is not None:
            high = item.quotient.interval(assessment.terms.coverage)[1]
            return phrase("conversion.quotient", ratio=1.0 / high) if 0.0 < high < float("inf") else ""
    return ""


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


def _guideline_verdict(assessment: Assessment, finding: GuidelineFinding) -> Verdict:
    result, row = finding.strictest, finding.headline()
    within = finding.probability_within
    return Verdict(
        finding_id(assessment, finding.place_id, finding.meter_id),
        finding.state_id,
        reading_kind(result.level.kind),
        result.guideline.set_id,
        likely_outcome(within, assessment.terms.coverage),
        row.row.upper_w_m2 or 0.0,
        cautious(row.at_most, result.level),
        category=_category(finding),
        upper_bound_only=result.is_upper_bound,
        conversion=_each_service(assessment, finding),
    )


def _category(finding: GuidelineFinding) -> Text:
    result = finding.strictest
    if result.guideline.form != CATEGORIES:
        return phrase("guide.target", service=finding.headline().row.service_title, target=finding.headline().row.name)
    name = category_name(result)
    return phrase("guide.strongest", category=name) if result.is_upper_bound else name


def _each_service(assessment: Assessment, finding: GuidelineFinding) -> Text:
    """For a guideline with values for named services: which of them the total is shown to be within."""
    if len(finding.results) < 2:
        return ""
    names: dict[bool, list[str]] = {True: [], False: []}
    for result in finding.results:
        row = finding.headline(result)
        names[row.at_most.low >= assessment.terms.coverage].append(row.row.service_title)
    within, still_open = (", ".join(names[key]) or phrase("conversion.none") for key in (True, False))
    return phrase("conversion.services", within=within, open=still_open)


def category_name(result: GuidelineResult) -> str:
    """Categories that the strongest single service may fall into, lowest first; empty for targets."""
    if result.guideline.form != CATEGORIES:
        return ""
    names = [chance.row.name for chance in result.strongest_plausible()]
    return names[0] if len(names) == 1 else f"{names[0]} – {names[-1]}"


def switch_contributions(assessment: Assessment) -> tuple[Contribution, ...]:
    """What each switch contributes, all its on/off pairs taken together."""
    return tuple(_contribution(assessment, item) for item in assessment.pooled)


def _contribution(assessment: Assessment, item: PooledSwitch) -> Contribution:
    first, span = item.first, item.contribution.interval(assessment.terms.coverage)
    made = Contribution(
        finding_id(assessment, first.place_id, first.meter_id),
        first.name,
        reading_kind(first.kind),
        item.contribution.nominal_w_m2,
        span.low_w_m2,
        span.high_w_m2,
        state_with=first.state_with,
        state_without=first.state_without,
    )
    return replace(made, basis=phrase("basis.pooled", n=len(item.pairs))) if len(item.pairs) > 1 else made
