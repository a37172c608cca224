"""Results as plain values for JSON, tables and data frames; densities in W/m²."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from roomfield.exposure.guideline import GuidelineResult
from roomfield.quantities import UncertainLevel
from roomfield.references.guidelines import CATEGORIES
from roomfield.references.limit_sets import LimitSet, LimitValue
from roomfield.show.findings import BandLevel
from roomfield.show.words import load_words
from roomfield.workbench.assess.assessment import AcrossMeters, Assessment, BesideTheLaw, GuidelineFinding, LawFinding
from roomfield.workbench.assess.place_levels import MeasuredLevel
from roomfield.workbench.assess.switching import AttributionFinding, PooledSwitch, QuotientFinding, SwitchFinding
from roomfield.workbench.publish.contents.place_findings import (
    band_levels,
    band_totals,
    category_chances,
    law_outcome,
    likely_outcome,
)
from roomfield.workbench.publish.contents.unsettled import doubt_texts
from roomfield.workbench.publish.files import report_content


@dataclass(frozen=True)
class PlaceRow:
    """One level at one place with what it means; a row of the summary.

    Parameters
    ----------
    low_w_m2, median_w_m2, high_w_m2 : float
        Interval and median [W/m²]; an open end is 0 or infinity.
    reference, bound_w_m2 : str, float
        What it was compared with; empty and None for a kind that nothing asks for.
    probability_below : (float, float) or None
        Range of the probability that the true level is below the bound.
    outcome, category : str
        Outcome by the decision rule, and categories of the guideline that the strongest service may fall into.
    upper_bound : bool
        True if the comparison rests on an upper bound: a total for a service, or a higher kind for a lower.
    """

    place_id: str
    place: str
    state: str
    kind: str
    censoring: str
    low_w_m2: float
    median_w_m2: float
    high_w_m2: float
    reference: str = ""
    bound_w_m2: float | None = None
    probability_below: tuple[float, float] | None = None
    outcome: str = ""
    category: str = ""
    flags: tuple[str, ...] = ()
    upper_bound: bool = False
    meter: str = ""

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return dict(vars(self))


def place_rows(assessment: Assessment, *, all_states: bool = False) -> tuple[PlaceRow, ...]:
    """Levels with what they mean, as found or in every radio state.

    Parameters
    ----------
    all_states : bool
        True for every radio state.
    """
    base = assessment.table.base_state.id
    rows = []
    for item in assessment.table.levels:
        if not all_states and item.state_id != base:
            continue
        compared = _compared(assessment, item)
        rows.append(
            PlaceRow(
                item.place_id,
                assessment.survey.place(item.place_id).name,
                item.state_id,
                item.kind.value,
                item.combined.level.censoring.value,
                *_ends(item.combined.level, assessment.terms.coverage),
                flags=item.combined.flags,
                meter=item.meter_id,
                **compared,
            )
        )
    return tuple(rows)


@dataclass(frozen=True)
class BesideRow:
    """A place against limits of the user's own."""

    place: str
    meter: str
    kind: str
    outcome: str
    probability_below: tuple[float, float]


def beside_rows(assessment: Assessment) -> tuple[tuple[str, tuple[BesideRow, ...]], ...]:
    """Limits of the user's own by title, each with the places as found."""
    base = assessment.table.base_state.id
    return tuple(
        (own.limits.title, tuple(_beside_place(assessment, f) for f in own.findings if f.state_id == base))
        for own in assessment.beside
    )


def _beside_place(assessment: Assessment, finding: LawFinding) -> BesideRow:
    chance = finding.verdict.probability_below
    name, kind = assessment.survey.place(finding.place_id).name, finding.measured.value
    return BesideRow(name, finding.meter_id, kind, law_outcome(finding.verdict).value, (chance.low, chance.high))


def _ends(level: UncertainLevel, coverage: float) -> tuple[float, float, float]:
    span = level.interval(coverage)
    return span.low_w_m2, level.median_w_m2, span.high_w_m2


def _compared(assessment: Assessment, item: MeasuredLevel) -> dict[str, Any]:
    spot = (item.place_id, item.state_id, item.meter_id)
    law = assessment.law_at(*spot)
    if law is not None and law.measured is item.kind and (law.is_upper_bound is False or assessment.guideline is None):
        return _against_law(assessment, law)
    found = assessment.precaution_at(*spot)
    if found is not None and found.results[0].level.kind is item.kind:
        return _against_guideline(assessment, found)
    return _against_law(assessment, law) if law is not None and law.measured is item.kind else {}


def _against_law(assessment: Assessment, law: LawFinding) -> dict[str, Any]:
    chance = law.verdict.probability_below
    return {
        "reference": assessment.limits.title,
        "bound_w_m2": law.verdict.bound.value_w_m2,
        "probability_below": (chance.low, chance.high),
        "outcome": law_outcome(law.verdict).value,
        "upper_bound": law.is_upper_bound,
    }


def _against_guideline(assessment: Assessment, found: GuidelineFinding) -> dict[str, Any]:
    result, within = found.strictest, found.probability_within
    return {
        "reference": result.guideline.title,
        "bound_w_m2": found.bound_w_m2,
        "probability_below": (within.low, within.high),
        "outcome": likely_outcome(within, assessment.terms.coverage).value,
        "category": _category(result),
        "upper_bound": result.is_upper_bound and not found.of_whole_level,
    }


def _category(result: GuidelineResult) -> str:
    """The most probable category; empty for targets."""
    if result.guideline.form != CATEGORIES:
        return ""
    return max(category_chances(result), key=lambda c: (c.chance.low + c.chance.high, c.name)).name


def law_row(assessment: Assessment, finding: LawFinding, reference: str) -> dict[str, Any]:
    """A comparison with the law or its condition on pulses as plain values."""
    verdict = finding.verdict
    return {
        "place_id": finding.place_id,
        "state": finding.state_id,
        "meter": finding.meter_id,
        "reference": reference,
        "measured": finding.measured.value,
        "upper_bound": finding.is_upper_bound,
        "bound_w_m2": verdict.bound.value_w_m2,
        "probability_below": (verdict.probability_below.low, verdict.probability_below.high),
        "decision": verdict.decision.value,
        "outcome": law_outcome(verdict).value,
        "expanded_db": verdict.expanded_db,
        "remarks": [remark.value for remark in verdict.remarks],
    }


def service_rows(assessment: Assessment, finding: GuidelineFinding) -> list[dict[str, Any]]:
    """A peak against every row of the guideline, for each service, as plain values."""
    return [
        {
            "place_id": finding.place_id,
            "state": finding.state_id,
            "meter": finding.meter_id,
            "service": chance.row.service_title,
            "row": chance.row.name,
            "upper_w_m2": chance.row.upper_w_m2,
            "probability_at_most": (chance.at_most.low, chance.at_most.high),
            "upper_bound": result.is_upper_bound,
        }
        for result in finding.results
        for chance in result.chances
    ]


def attribution_row(finding: AttributionFinding, coverage: float) -> dict[str, Any]:
    """Whether the on/off tests at a place add up, and what they demonstrate, as plain values."""
    found = finding.attribution
    left = found.remainder
    return {
        "place_id": finding.place_id,
        "meter": finding.meter_id,
        "kind": finding.kind.value,
        "adds_up": found.adds_up,
        "remainder_w_m2": None if left is None else (left.low_w_m2, left.high_w_m2),
        "remainder_coverage": finding.coverage,
        "demonstrated": [part.name for part in found.demonstrated(coverage)],
    }


def quotient_row(finding: QuotientFinding, coverage: float) -> dict[str, Any]:
    """Share of the limit with switched sources at their own frequencies, as plain values."""
    chance = finding.quotient.probability_below_one()
    return {
        "place_id": finding.place_id,
        "meter": finding.meter_id,
        "quotient": finding.quotient.median,
        "interval": finding.quotient.interval(coverage),
        "probability_below_one": (chance.low, chance.high),
        "limits_w_m2": {name: value.value_w_m2 for name, value in finding.quotient.limits},
        "rest_limit_w_m2": finding.quotient.rest.value_w_m2,
    }


def pooled_row(assessment: Assessment, item: PooledSwitch) -> dict[str, Any]:
    """All on/off pairs of a switch at a place taken together, as plain values."""
    part, chance = item.contribution.part(assessment.terms.coverage), item.contribution.probability_positive()
    return {
        "place_id": item.first.place_id,
        "meter": item.first.meter_id,
        "source": item.first.name,
        "kind": item.first.kind.value,
        "pairs": len(item.pairs),
        "difference_w_m2": part.median_w_m2,
        "low_w_m2": part.low_w_m2,
        "high_w_m2": part.high_w_m2,
        "only_at_least": part.is_at_least,
        "probability_contributes": (chance.low, chance.high),
        "includes_zero": item.contribution.includes_zero(assessment.terms.coverage),
    }


def switch_row(assessment: Assessment, finding: SwitchFinding) -> dict[str, Any]:
    """A difference between two radio states as plain values."""
    span = finding.difference.interval(assessment.terms.coverage)
    chance = finding.difference.probability_positive()
    return {
        "place_id": finding.place_id,
        "source": finding.name,
        "kind": finding.kind.value,
        "state_with": finding.state_with,
        "state_without": finding.state_without,
        "difference_w_m2": finding.difference.nominal_w_m2,
        "low_w_m2": span.low_w_m2,
        "high_w_m2": span.high_w_m2,
        "probability_contributes": (chance.low, chance.high),
        "includes_zero": finding.difference.includes_zero(assessment.terms.coverage),
    }


def across_row(assessment: Assessment, item: AcrossMeters) -> dict[str, Any]:
    """One level from several meters as plain values."""
    low, median, high = _ends(item.level, assessment.terms.coverage)
    return {"place_id": item.place_id, "state": item.state_id, "meters": list(item.meter_ids),
            "kind": item.level.kind.value, "low_w_m2": low, "median_w_m2": median, "high_w_m2": high}  # fmt: skip


def other_time_row(assessment: Assessment, item: MeasuredLevel) -> dict[str, Any]:
    """What was read at the other time of day as plain values."""
    low, median, high = _ends(item.combined.level, assessment.terms.coverage)
    return {"place_id": item.place_id, "state": item.state_id, "meter": item.meter_id, "kind": item.kind.value,
            "period": item.period.value if item.period else "", "low_w_m2": low, "median_w_m2": median,
            "high_w_m2": high}  # fmt: skip


def doubt_sentences(assessment: Assessment, language: str = "en") -> tuple[str, ...]:
    """What cannot be, or cannot all be right, one sentence each."""
    words = load_words(language)
    return tuple(words.text(text) for text in doubt_texts(assessment))


def _limits_row(limits: LimitSet, limit: LimitValue) -> dict[str, Any]:
    return {
        "id": limits.set_id,
        "title": limits.title,
        "value_w_m2": limit.value_w_m2,
        "averaging_s": limit.averaging_s,
        "standing": limit.standing.value,
        "source": limit.source.citation(),
        "how_known": limit.how_known,
    }


def _beside_row(assessment: Assessment, own: BesideTheLaw) -> dict[str, Any]:
    comparisons = [law_row(assessment, finding, own.limits.set_id) for finding in own.findings]
    return {**_limits_row(own.limits, own.limit), "comparisons": comparisons}


def band_row(one: BandLevel) -> dict[str, Any]:
    """The level of one band as plain values; densities in W/m², shares of the limit as pure numbers."""
    row = {name: value for name, value in asdict(one).items() if name not in ("level", "share", "verdict")}
    found = one.verdict
    return {
        **row,
        "kind": one.kind.value,
        "median_w_m2": one.level.median_w_m2,
        "low_w_m2": one.level.low_w_m2,
        "high_w_m2": one.level.high_w_m2,
        "censoring": one.level.censoring.value,
        "share_of_limit": None
        if one.share is None
        else {"median": one.share.median_w_m2, "low": one.share.low_w_m2, "high": one.share.high_w_m2},
        "guideline": None if found is None else found.reference_id,
        "probability_below": None if found is None else [found.probability_below.low, found.probability_below.high],
    }


def assessment_plain(assessment: Assessment, *, all_states: bool = False) -> dict[str, Any]:
    """An assessment as plain values; densities in W/m²."""
    return {
        "survey": assessment.survey.id,
        "visit": assessment.table.visit.id,
        "invented": assessment.survey.invented,
        "coverage": assessment.terms.coverage,
        "decision_rule": assessment.terms.rule,
        "law": _limits_row(assessment.limits, assessment.limit),
        "own_limits": [_beside_row(assessment, one) for one in assessment.beside],
        "guideline": assessment.guideline.set_id if assessment.guideline else None,
        "aim": None
        if assessment.aim is None
        else {
            "value_w_m2": assessment.aim.value_w_m2,
            "chosen": assessment.aim.chosen,
            "category": assessment.aim.category,
        },
        "answers": [one.to_dict() for one in report_content(assessment).shown],
        "places": [row.to_dict() for row in place_rows(assessment, all_states=all_states)],
        "switches": [switch_row(assessment, f) for f in assessment.switches],
        "contributions": [pooled_row(assessment, item) for item in assessment.pooled],
        "comparisons": [law_row(assessment, f, assessment.limits.set_id) for f in assessment.law],
        "pulses": [law_row(assessment, f, f.verdict.bound.label) for f in assessment.pulses],
        "services": [row for f in assessment.precaution for row in service_rows(assessment, f)],
        "on_off_tests": [attribution_row(f, assessment.terms.coverage) for f in assessment.attributions],
        "doubts": list(doubt_sentences(assessment)),
        "across_meters": [across_row(assessment, item) for item in assessment.across_meters],
        "other_times": [other_time_row(assessment, item) for item in assessment.table.other_times],
        "quotients": [quotient_row(f, assessment.terms.coverage) for f in assessment.quotients],
        "bands": [band_row(one) for one in band_levels(assessment)],
        "band_totals": [asdict(one) for one in band_totals(assessment)],
    }
