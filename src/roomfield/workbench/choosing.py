"""Which actions to take: the trade-off of cost against certainty, and the plan that is agreed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from roomfield.errors import InputError, TooEarlyError
from roomfield.quantities import Kind
from roomfield.remedy.choice import Choice, PlanPoint, choose
from roomfield.report.chapters import TradeOffPoint
from roomfield.report.figures.tradeoff import trade_off
from roomfield.report.words import load_words
from roomfield.survey import AdoptedPlan, CostRange, Survey
from roomfield.workbench.editing import now
from roomfield.workbench.turns import in_turn
from roomfield.workbench.understand import posterior_of


@dataclass(frozen=True)
class Terms:
    """What the plan must reach.

    Parameters
    ----------
    target_w_m2 : float
        Level to be met at every place [W/m²].
    kind : str
        Of the level.
    confidence : float
        Probability with which it is to be met, 0 to 1.
    budget : float or None
        Most that may be spent.
    """

    target_w_m2: float
    kind: str = "peak"
    confidence: float = 0.9
    budget: float | None = None


@dataclass(frozen=True)
class NamedPlan:
    """One plan of the curve with the names of its actions."""

    plan: PlanPoint
    names: tuple[str, ...]


@dataclass(frozen=True)
class Offer:
    """The trade-off as it is shown.

    Parameters
    ----------
    svg : str
        The curve.
    plans : tuple of NamedPlan
        Every plan no other beats, from cheap to dear.
    suggested : NamedPlan or None
        The cheapest that reaches the target as sure as asked; within the budget if there is one.
    """

    svg: str
    plans: tuple[NamedPlan, ...]
    suggested: NamedPlan | None
    currency: str


@in_turn
@lru_cache(maxsize=16)
def offer(survey: Survey, visit_id: str, terms: Terms, language: str = "en") -> Offer:
    """The trade-off of the survey's actions.

    Raises
    ------
    TooEarlyError
        If there is no action or nothing to infer from.
    InputError
        If target, confidence or budget cannot be.
    """
    if not survey.actions:
        raise TooEarlyError("there is no action to choose from yet.", mend="Try something on the plan and keep it.")
    found = choose(
        posterior_of(survey, visit_id),
        survey.actions,
        target_w_m2=terms.target_w_m2,
        kind=Kind(terms.kind),
        confidence=terms.confidence,
        budget=terms.budget,
    )
    names = {action.id: action.name for action in survey.actions}
    named = {point: NamedPlan(point, tuple(names[i] for i in point.action_ids)) for point in found.curve}
    best = _best(found)
    currency = survey.actions[0].cost.currency
    points = [TradeOffPoint(p.cost, p.probability, chosen=p == best) for p in found.curve]
    svg = trade_off(points, load_words(language), currency=currency, confidence=terms.confidence)
    return Offer(svg, tuple(named.values()), named.get(best) if best else None, currency)


def adopted(survey: Survey, action_ids: tuple[str, ...], terms: Terms) -> Survey:
    """The survey with a plan that the client agreed to.

    Raises
    ------
    InputError
        If an action is not there.
    """
    known = {action.id for action in survey.actions}
    missing = [name for name in action_ids if name not in known]
    if missing or not action_ids:
        raise InputError("the plan names an action that is not there.", mend="Work out the plans again.")
    plan = AdoptedPlan(action_ids, terms.target_w_m2, terms.kind, terms.confidence, now())
    return replace(survey, adopted_plan=plan)


def with_cost(survey: Survey, action_id: str, name: str, low: float, high: float) -> Survey:
    """The survey with name and cost of an action changed.

    Raises
    ------
    InputError
        If the cost cannot be, or there is no such action.
    """
    if not 0.0 <= low <= high < 1e9:
        raise InputError(f"a cost from {low:g} to {high:g} cannot be.", mend="Give the lower figure first.")
    if action_id not in {action.id for action in survey.actions}:
        raise InputError("there is no such action.", mend="Load the page again.")
    return replace(
        survey,
        actions=tuple(
            replace(one, name=name.strip()[:200] or one.name, cost=CostRange(low, high, one.cost.currency))
            if one.id == action_id
            else one
            for one in survey.actions
        ),
    )


def without_action(survey: Survey, action_id: str) -> Survey:
    """The survey without an action.

    Raises
    ------
    InputError
        If the agreed plan, or a visit, names it.
    """
    in_plan = survey.adopted_plan is not None and action_id in survey.adopted_plan.action_ids
    if in_plan or any(action_id in visit.done_action_ids for visit in survey.visits):
        raise InputError("the agreed plan or a visit names this action.", mend="Agree on another plan first.")
    return replace(survey, actions=tuple(one for one in survey.actions if one.id != action_id))


def _best(found: Choice) -> PlanPoint | None:
    if found.budget is None or (found.cheapest is not None and found.cheapest.cost <= found.budget):
        return found.cheapest
    return found.within_budget
