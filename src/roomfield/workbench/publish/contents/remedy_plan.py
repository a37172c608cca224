"""The agreed plan as a work order, with its odds and the curve it was chosen from, as the report shows it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from roomfield.errors import InputError
from roomfield.quantities import Kind
from roomfield.remedy.choice import Choice
from roomfield.remedy.order import WorkStage, WorkStep
from roomfield.remedy.prediction import PlaceOutcome, Prediction, Span, predict
from roomfield.report.document import ReportContent
from roomfield.show.chapters import LevelStep, PlacePrediction, Remedy, TradeOffPoint, WorkItem
from roomfield.show.evidence import Caution
from roomfield.show.findings import Level, StepGroup
from roomfield.show.phrase import Text, phrase
from roomfield.survey import AdoptedPlan, Survey, VisitPurpose
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan.outcomes import everywhere, limiting, most_remains, worsening
from roomfield.workbench.plan.plan_choice import PlanTerms, choice_of
from roomfield.workbench.plan.target_places import asked_of, names_of
from roomfield.workbench.publish.contents.followup import follow_up_letter, verification
from roomfield.workbench.record.visit_choice import visit_asked_or_before

_GROUP = {
    WorkStage.INNER_SOURCES: StepGroup.INNER,
    WorkStage.PLACES: StepGroup.INNER,
    WorkStage.OUTER_SOURCES: StepGroup.OUTER,
    WorkStage.MEASURE_AGAIN: StepGroup.MEASURE,
}


def with_remedy(content: ReportContent, survey: Survey, visit_id: str) -> ReportContent:
    """The content with the agreed plan, or with verification and letter if the visit is a follow-up.

    Parameters
    ----------
    visit_id : str
        The visit that the report is about.
    """
    visit = survey.visit(visit_id)
    before = visit_asked_or_before(survey, "", visit_id)
    if visit.purpose is VisitPurpose.FOLLOW_UP and before is not visit:
        checked = verification(survey, before.id, visit_id)
        letter = follow_up_letter(survey, before.id, visit_id, content.issued_at)
        return replace(content, verification=checked, letter=letter)
    return replace(content, remedy=_remedy(survey, visit_id)) if survey.adopted_plan else content


def _remedy(survey: Survey, visit_id: str) -> Remedy | None:
    plan = survey.adopted_plan
    actions = [a for a in survey.actions if plan is not None and a.id in plan.action_ids]
    if plan is None or not actions:
        return None
    asked = asked_of(survey, plan)
    posterior, kind = posterior_of(survey, visit_id), Kind(plan.target_kind)
    found = predict(
        posterior, actions, kind=kind, target_w_m2=plan.target_w_m2, asked=asked, tied=tie_of(posterior, kind)
    )
    choice = _choice(survey, visit_id, plan)
    names = {p.id: p.name for p in survey.places}
    return Remedy(
        plan.target_w_m2,
        Kind(plan.target_kind),
        plan.confidence,
        actions[0].cost.currency,
        tuple(_item(step) for step in found.work),
        tuple(_prediction(names, outcome, found) for outcome in found.outcomes),
        _curve(survey, plan, found, choice) if choice else (),
        _statement(plan, found, choice),
        tuple(worsening(one) for one in found.worse),
        names_of(survey, asked),
        tuple(most_remains(found, names)) if choice and not choice.reachable else (),
        _lowest(survey, plan, choice) if choice and not choice.reachable else (),
        tuple(_chosen_for(plan, found, choice)),
    )


def _lowest(survey: Survey, plan: AdoptedPlan, choice: Choice) -> tuple[LevelStep, ...]:
    names = {action.id: action.name for action in survey.actions}
    return tuple(
        LevelStep(
            p.plan.cost, p.level_w_m2, p.reduction_db, {*p.plan.action_ids} == {*plan.action_ids},
            tuple(names[i] for i in p.plan.action_ids),
        )
        for p in choice.lowest
    )  # fmt: skip


def _choice(survey: Survey, visit_id: str, plan: AdoptedPlan) -> Choice | None:
    """The best plans for the agreed target; None if the list is too long or in several currencies."""
    try:
        return choice_of(survey, visit_id, _terms(survey, plan))
    except InputError:
        return None


def _terms(survey: Survey, plan: AdoptedPlan) -> PlanTerms:
    return PlanTerms(plan.target_w_m2, plan.target_kind, plan.confidence, place_ids=asked_of(survey, plan))


def _curve(survey: Survey, plan: AdoptedPlan, found: Prediction, choice: Choice) -> tuple[TradeOffPoint, ...]:
    """The curve with the agreed plan on or under it."""
    names = {action.id: action.name for action in survey.actions}
    agreed = {*plan.action_ids}
    others = tuple(
        TradeOffPoint(p.cost, p.probability, actions=tuple(names[i] for i in p.action_ids))
        for p in choice.curve
        if {*p.action_ids} != agreed
    )
    own = TradeOffPoint(
        _mean_cost(found), found.probability_all, chosen=True, actions=tuple(s.action.name for s in found.work)
    )
    return (*others, own)


def _statement(plan: AdoptedPlan, found: Prediction, choice: Choice | None) -> Text:
    """Whether the plan does what was asked; if not, whether anything on the list does."""
    chance, asked, where = found.probability_all, plan.confidence, everywhere(not found.everywhere)
    if chance >= asked:
        return phrase("remedy.reaches", chance=chance, where=where)
    if choice is None:
        return phrase("remedy.falls_short", chance=chance, asked=asked, where=where)
    if choice.cheapest is None:
        best = choice.best
        return phrase(
            "remedy.nothing_reaches", chance=chance, asked=asked, best=best.probability, low=best.cost_low,
            high=best.cost_high, where=where,
        )  # fmt: skip
    other = choice.cheapest
    return phrase(
        "remedy.another_reaches", chance=chance, asked=asked, other=other.probability, low=other.cost_low,
        high=other.cost_high, where=where,
    )  # fmt: skip


def _chosen_for(plan: AdoptedPlan, found: Prediction, choice: Choice | None) -> Iterator[Text]:
    """The cheapest plan that costs less and is surer, if there is one, and the reason on record for the agreed one."""
    chance, cost = found.probability_all, _mean_cost(found)
    better = next((p for p in choice.curve if p.cost < cost and p.probability > chance), None) if choice else None
    if better is not None:
        yield phrase("remedy.cheaper_and_surer", chance=better.probability, low=better.cost_low, high=better.cost_high)
    if plan.note:
        yield phrase("remedy.agreed_note", note=plan.note)
    elif better is not None:
        yield phrase("remedy.no_reason")


def _mean_cost(found: Prediction) -> float:
    return sum((s.action.cost.low + s.action.cost.high) / 2.0 for s in found.work)


def _item(step: WorkStep) -> WorkItem:
    quantity: Text = ""
    if step.material_m2:
        quantity = phrase("remedy.sheet", area=step.material_m2, edge=step.edge_m or 0.0)
    return WorkItem(
        step.action.name,
        _GROUP[step.step],
        step.action.note,
        quantity,
        step.action.cost.low if step.action.cost.stated else None,
        step.action.cost.high if step.action.cost.stated else None,
        tuple(Caution(c.topic, c.text, c.group) for c in step.cautions),
    )


def _prediction(names: dict[str, str], outcome: PlaceOutcome, found: Prediction) -> PlacePrediction:
    split = len(found.outcomes) > len({o.place_id for o in found.outcomes})
    place: Text = names[outcome.place_id]
    if split:
        place = phrase(f"remedy.by_{outcome.period}", place=names[outcome.place_id])
    return PlacePrediction(
        place,
        _level(outcome.before_w_m2),
        _level(outcome.after_w_m2),
        outcome.probability_met,
        limiting(outcome),
        outcome.asked,
        outcome.place_id,
    )


def _level(span: Span) -> Level:
    return Level(span.median, span.low, span.high)
