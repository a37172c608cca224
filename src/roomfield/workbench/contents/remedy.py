"""The agreed plan as a work order, and the follow-up against the visit before, as the report shows them."""

from __future__ import annotations

import math
from dataclasses import replace

from roomfield.quantities import Kind
from roomfield.remedy.order import Step, WorkStep
from roomfield.remedy.prediction import PlaceOutcome, Prediction, Span, predict
from roomfield.remedy.verification import COVERAGE, Agreement, PlaceCheck
from roomfield.remedy.verification import Verification as Checked
from roomfield.report.chapters import BeforeAfter, PlacePrediction, Remedy, Verification, WorkItem
from roomfield.report.document import ReportContent
from roomfield.report.findings import Level, Outcome, StepGroup
from roomfield.survey import ReadingKind, Survey, VisitPurpose
from roomfield.workbench.beforeafter import verification_of
from roomfield.workbench.contents.findings import likely_outcome, stated_level
from roomfield.workbench.understand import posterior_of

_GROUP = {
    Step.INNER_SOURCES: StepGroup.INNER,
    Step.PLACES: StepGroup.INNER,
    Step.OUTER_SOURCES: StepGroup.OUTER,
    Step.MEASURE_AGAIN: StepGroup.MEASURE,
}


def with_remedy(content: ReportContent, survey: Survey, visit_id: str) -> ReportContent:
    """The content with the agreed plan, and with the verification if the visit is a follow-up.

    Parameters
    ----------
    visit_id : str
        The visit that the report is about.
    """
    visit = survey.visit(visit_id)
    before = [v for v in survey.visits if v.started_at < visit.started_at]
    if visit.purpose is VisitPurpose.FOLLOW_UP and before:
        return replace(content, verification=_verification(survey, before[-1].id, visit_id))
    return replace(content, remedy=_remedy(survey, visit_id)) if survey.adopted_plan else content


def _remedy(survey: Survey, visit_id: str) -> Remedy | None:
    plan = survey.adopted_plan
    actions = [a for a in survey.actions if plan is not None and a.id in plan.action_ids]
    if plan is None or not actions:
        return None
    found = predict(posterior_of(survey, visit_id), actions, kind=Kind(plan.target_kind), target_w_m2=plan.target_w_m2)
    names = {p.id: p.name for p in survey.places}
    return Remedy(
        plan.target_w_m2,
        ReadingKind(plan.target_kind),
        plan.confidence,
        actions[0].cost.currency,
        tuple(_item(step) for step in found.work),
        tuple(_prediction(names, outcome, found) for outcome in found.outcomes),
        statement="; ".join(found.warnings),
    )


def _item(step: WorkStep) -> WorkItem:
    area = f"{step.material_m2:.1f} m²" if step.material_m2 else ""
    edge = f"{step.edge_m:.1f} m" if step.edge_m else ""
    return WorkItem(
        step.action.name,
        _GROUP[step.step],
        step.action.note,
        ", ".join(part for part in (area, edge) if part),
        step.action.cost.low,
        step.action.cost.high,
        tuple(f"{c.topic}: {c.text}" for c in step.cautions),
    )


def _prediction(names: dict[str, str], outcome: PlaceOutcome, found: Prediction) -> PlacePrediction:
    period = f" ({outcome.period})" if len(found.outcomes) > len({o.place_id for o in found.outcomes}) else ""
    return PlacePrediction(
        names[outcome.place_id] + period,
        _level(outcome.before_w_m2),
        _level(outcome.after_w_m2),
        outcome.probability_met,
        outcome.limiting,
    )


def _level(span: Span) -> Level:
    return Level(span.median, span.low, span.high)


def _verification(survey: Survey, first_id: str, second_id: str) -> Verification:
    found = verification_of(survey, first_id, second_id)
    done = {a.id: a.name for a in survey.actions}
    return Verification(
        tuple(_row(survey, found, check) for check in found.checks),
        tuple(done[name] for name in found.done_action_ids if name in done),
        found.statement,
        tuple(c.text for c in found.conditions),
        (*found.surprises, *found.causes),
        found.target_w_m2,
    )


def _row(survey: Survey, found: Checked, check: PlaceCheck) -> BeforeAfter:
    target: Outcome | None = None
    if found.target_w_m2 is not None:
        target = likely_outcome(check.after.probability_below(found.target_w_m2), COVERAGE)
    predicted = check.agreement is not Agreement.NOT_PREDICTED
    return BeforeAfter(
        survey.place(check.place_id).name,
        ReadingKind(check.kind.value),
        stated_level(check.before, COVERAGE),
        stated_level(check.after, COVERAGE),
        0.0 if math.isnan(check.reduction_db) else check.reduction_db,
        check.low_db,
        check.high_db,
        target_outcome=target,
        prediction_met=check.agreement is not Agreement.LESS if predicted else None,
    )
