"""Findings as the report says them: levels, comparisons, contributions of switches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from roomfield.exposure.decision import Decision
from roomfield.exposure.decision import ReferenceVerdict as LawVerdict
from roomfield.exposure.guideline import GuidelineResult
from roomfield.quantities import ProbabilityRange, UncertainLevel
from roomfield.references.guidelines import CATEGORIES
from roomfield.references.limit_sets import LimitSet
from roomfield.show.findings import (
    BandLevel,
    BandTotal,
    CategoryChance,
    Chance,
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
from roomfield.show.shown_place import ANSWERING
from roomfield.survey import Control, Place, Survey
from roomfield.workbench.assess.assessment import Assessment, GuidelineFinding, LawFinding
from roomfield.workbench.assess.bands import BandFinding
from roomfield.workbench.assess.place_levels import MeasuredLevel as MeasuredLevel
from roomfield.workbench.assess.place_use import is_for_sleeping, is_meant
from roomfield.workbench.assess.switching import PooledSwitch

AIM = "aim"
"""Id of the client's aim where no guideline was chosen."""
PULSES = "/pulses"
"""Added to the id of the limits to name their condition on pulses."""
LIKELY = 0.8


def stated_level(level: UncertainLevel, coverage: float) -> Level:
    """A level as the report states it: median and interval, or one end."""
    span = level.interval(coverage)
    return Level(level.median_w_m2, span.low_w_m2, span.high_w_m2, level.censoring)


def place_findings(assessment: Assessment) -> tuple[PlaceFinding, ...]:
    """Every place that was measured, with its levels; sleeping places first."""
    survey = assessment.survey
    measured = {(item.place_id, item.meter_id) for item in assessment.table.levels}
    pairs = [(p, m) for p in survey.places for m in assessment.meter_ids if (p.id, m) in measured]
    ordered = sorted(pairs, key=lambda pair: not is_for_sleeping(pair[0]))
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
        is_for_sleeping(place),
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
        item.kind,
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
    """Every comparison with the law, its condition on pulses, limits of the user's own, and the guideline."""
    limits = assessment.limits
    law = [_law_verdict(assessment, f, limits, limits.set_id) for f in assessment.law]
    pulses = [_law_verdict(assessment, f, limits, limits.set_id + PULSES) for f in assessment.pulses]
    beside = [(one.limits, finding) for one in assessment.beside for finding in one.findings]
    own = [_law_verdict(assessment, finding, mine, mine.set_id) for mine, finding in beside]
    aimed = () if assessment.guideline else _aim_alone(assessment)
    return (*law, *pulses, *own, *(_guideline_verdict(assessment, f) for f in assessment.precaution), *aimed)


def aim_reference(assessment: Assessment) -> str:
    """Id of what places are held against beside the law: the guideline, else the client's own aim; empty for none."""
    if assessment.guideline is not None:
        return assessment.guideline.set_id
    return AIM if assessment.aim else ""


def _aim_alone(assessment: Assessment) -> Iterator[Verdict]:
    """Sleeping places against the client's aim where no guideline was chosen: the highest kind that was read."""
    aim = assessment.aim
    if aim is None:
        return
    answering: dict[tuple[str, str, str], MeasuredLevel] = {}
    for item in sorted(assessment.table.levels, key=lambda i: ANSWERING.index(i.kind)):
        if is_meant(assessment.survey.place(item.place_id), None):
            answering.setdefault((item.place_id, item.state_id, item.meter_id), item)
    for item in answering.values():
        level = item.combined.level
        within = level.probability_below(aim.value_w_m2)
        yield Verdict(
            finding_id(assessment, item.place_id, item.meter_id),
            item.state_id,
            item.kind,
            AIM,
            likely_outcome(within, assessment.terms.coverage),
            aim.value_w_m2,
            chance(within),
            compared=stated_level(level, assessment.terms.coverage),
        )


def _law_verdict(assessment: Assessment, finding: LawFinding, limits: LimitSet, reference_id: str) -> Verdict:
    verdict = finding.verdict
    outcome = law_outcome(verdict)
    if limits.installations_only and not _own_radios_off(assessment, finding.state_id):
        outcome = outcome if outcome in (Outcome.BELOW, Outcome.LIKELY_BELOW) else Outcome.NOT_COMPARABLE
    return Verdict(
        finding_id(assessment, finding.place_id, finding.meter_id),
        finding.state_id,
        finding.measured,
        reference_id,
        outcome,
        verdict.bound.value_w_m2,
        chance(verdict.probability_below),
        verdict.acceptance_limit_w_m2,
        stated_level(verdict.level, assessment.terms.coverage),
        conversion=_conversion(assessment, finding),
    )


def _own_radios_off(assessment: Assessment, state_id: str) -> bool:
    """Whether everything that the client decides about was off, so that what is left comes from installations."""
    state = assessment.survey.radio_state(assessment.table.visit.id, state_id)
    own = {e.group for e in assessment.survey.emitters if e.control is Control.CLIENT}
    return own <= set(state.off_groups)


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


def chance(probability: ProbabilityRange) -> Chance:
    """A probability as it is shown, with both ends."""
    return Chance(probability.low, probability.high)


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
    result, coverage = finding.strictest, assessment.terms.coverage
    within = finding.probability_within
    scale = result.guideline.form == CATEGORIES
    row = finding.headline().row
    return Verdict(
        finding_id(assessment, finding.place_id, finding.meter_id),
        finding.state_id,
        result.level.kind,
        result.guideline.set_id,
        likely_outcome(within, coverage),
        finding.bound_w_m2,
        chance(within),
        compared=stated_level(result.level, coverage),
        categories=category_chances(result) if scale else (),
        target="" if scale else phrase("guide.target", service=row.service_title, target=row.name),
        upper_bound_only=result.is_upper_bound and not finding.of_whole_level,
        conversion=_each_service(assessment, finding),
    )


def band_levels(assessment: Assessment) -> tuple[BandLevel, ...]:
    """Levels of single bands as found, by place, rising in frequency."""
    coverage, base = assessment.terms.coverage, assessment.table.base_state.id
    return tuple(
        BandLevel(
            assessment.survey.place(one.place_id).name,
            one.name,
            one.low_hz,
            one.high_hz,
            one.kind,
            stated_level(one.level, coverage),
            one.limit.value_w_m2 if one.limit is not None else None,
            stated_level(one.share, coverage) if one.share is not None else None,
            _band_verdict(one, coverage) if one.guideline is not None else None,
        )
        for one in assessment.bands
        if one.state_id == base
    )


def band_totals(assessment: Assessment) -> tuple[BandTotal, ...]:
    """Shares of the limit of all bands of each place together, as found."""
    return tuple(
        BandTotal(
            assessment.survey.place(one.place_id).name,
            len(one.names),
            stated_level(one.quotient.normalised, assessment.terms.coverage),
        )
        for one in assessment.band_sums
        if one.state_id == assessment.table.base_state.id
    )


def _band_verdict(one: BandFinding, coverage: float) -> Verdict | None:
    """One band against the guideline, as one service: nothing is left open about its part of a total."""
    result = one.guideline
    if result is None:
        return None
    first = result.chances[0]
    scale = result.guideline.form == CATEGORIES
    return Verdict(
        one.place_id,
        one.state_id,
        one.kind,
        result.guideline.set_id,
        likely_outcome(first.at_most, coverage),
        first.row.upper_w_m2 or 0.0,
        chance(first.at_most),
        compared=stated_level(one.level, coverage),
        categories=category_chances(result) if scale else (),
        target="" if scale else phrase("bands.target", service=first.row.service_title, least=first.at_most.low),
    )


def category_chances(result: GuidelineResult) -> tuple[CategoryChance, ...]:
    """Every category with the probability that the strongest single service falls into it, lowest first."""
    pairs = zip(result.chances, result.strongest_in_each(), strict=True)
    return tuple(CategoryChance(c.row.name, chance(found), c.row.upper_w_m2) for c, found in pairs)


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


def switch_contributions(assessment: Assessment) -> tuple[Contribution, ...]:
    """What each switch contributes, all its on/off pairs taken together."""
    return tuple(_contribution(assessment, item) for item in assessment.pooled)


def _contribution(assessment: Assessment, item: PooledSwitch) -> Contribution:
    first, part = item.first, item.contribution.part(assessment.terms.coverage)
    made = Contribution(
        finding_id(assessment, first.place_id, first.meter_id),
        first.name,
        first.kind,
        part.median_w_m2,
        part.low_w_m2,
        part.high_w_m2,
        state_with=first.state_with,
        state_without=first.state_without,
    )
    return replace(made, basis=phrase("basis.pooled", n=len(item.pairs))) if len(item.pairs) > 1 else made
