"""Results as plain values for JSON, tables and data frames; densities in W/m²."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from roomfield.quantities import Kind, UncertainLevel
from roomfield.workbench.assess import Assessment, SwitchFinding
from roomfield.workbench.contents.findings import category_name, law_outcome


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
        Outcome by the decision rule, or categories of the guideline that the interval touches.
    """

    place_id: str
    place: str
    state: str
    kind: str
    censored: str
    low_w_m2: float
    median_w_m2: float
    high_w_m2: float
    reference: str = ""
    bound_w_m2: float | None = None
    probability_below: tuple[float, float] | None = None
    outcome: str = ""
    category: str = ""
    flags: tuple[str, ...] = ()

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
        compared = _compared(assessment, item.place_id, item.state_id, item.kind)
        rows.append(
            PlaceRow(
                item.place_id,
                assessment.survey.place(item.place_id).name,
                item.state_id,
                item.kind.value,
                item.combined.level.censor.value,
                *_ends(item.combined.level, assessment.terms.coverage),
                flags=item.combined.flags,
                **compared,
            )
        )
    return tuple(rows)


def _ends(level: UncertainLevel, coverage: float) -> tuple[float, float, float]:
    span = level.interval(coverage)
    return span.low_w_m2, level.median_w_m2, span.high_w_m2


def _compared(assessment: Assessment, place_id: str, state_id: str, kind: Kind) -> dict[str, Any]:
    if kind is Kind.AVERAGE:
        law = assessment.law_at(place_id, state_id)
        if law is None:
            return {}
        chance = law.verdict.probability_below
        return {
            "reference": assessment.limits.title,
            "bound_w_m2": law.verdict.bound.value_w_m2,
            "probability_below": (chance.low, chance.high),
            "outcome": law_outcome(law.verdict).value,
        }
    found = assessment.precaution_at(place_id, state_id) if kind is Kind.PEAK else None
    if found is None:
        return {}
    result = found.strictest
    first = result.chances[0]
    return {
        "reference": result.guideline.title,
        "bound_w_m2": first.row.upper_w_m2,
        "probability_below": (first.at_most.low, first.at_most.high),
        "category": category_name(result),
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


def assessment_plain(assessment: Assessment, *, all_states: bool = False) -> dict[str, Any]:
    """An assessment as plain values; densities in W/m²."""
    limit = assessment.limit
    return {
        "survey": assessment.survey.id,
        "visit": assessment.table.visit.id,
        "invented": assessment.survey.invented,
        "coverage": assessment.terms.coverage,
        "decision_rule": assessment.terms.rule,
        "law": {
            "id": assessment.limits.set_id,
            "title": assessment.limits.title,
            "value_w_m2": limit.value_w_m2,
            "averaging_s": limit.averaging_s,
            "standing": limit.standing.value,
            "source": limit.source.citation(),
            "how_known": limit.how_known,
        },
        "guideline": assessment.guideline.set_id if assessment.guideline else None,
        "places": [row.to_dict() for row in place_rows(assessment, all_states=all_states)],
        "switches": [switch_row(assessment, f) for f in assessment.switches],
    }
