"""Which actions to take: the trade-off of cost against certainty, and the plan that is agreed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.remedy.as_built import with_work_done
from roomfield.remedy.branch_and_bound import Progress, clash
from roomfield.remedy.choice import LEAST_PROBABILITY, Choice, LevelPoint, PlanPoint, asked_evaluator, choose_asked
from roomfield.remedy.order import WorkStage, WorkStep
from roomfield.remedy.prediction import PlaceOutcome, Prediction, predict
from roomfield.show.chapters import LevelStep, TradeOffPoint
from roomfield.show.figures.tradeoff import lowest_levels, trade_off
from roomfield.show.words import Words, load_words
from roomfield.survey import Action, AdoptedPlan, CostRange, Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan.exclusions import with_exclusions
from roomfield.workbench.plan.outcomes import limiting, reach, worsening
from roomfield.workbench.record.editing import now


@dataclass(frozen=True)
class PlanTerms:
    """What the plan must reach.

    Parameters
    ----------
    target_w_m2 : float
        Level to be met [W/m²].
    kind : str
        Of the level.
    confidence : float
        Probability with which it is to be met, 0 to 1.
    budget : float or None
        Most that may be spent.
    place_ids : tuple of str
        Places at which it is to be met, see `roomfield.workbench.plan.target_places`; empty for all.
    """

    target_w_m2: float
    kind: str = "peak"
    confidence: float = 0.9
    budget: float | None = None
    place_ids: tuple[str, ...] = ()


@dataclass(frozen=True)
class NamedPlan:
    """One plan of the curve with the names of its actions."""

    plan: PlanPoint
    names: tuple[str, ...]


@dataclass(frozen=True)
class LowestPlan:
    """One plan by the level it brings, with the names of its actions."""

    point: LevelPoint
    names: tuple[str, ...]


@dataclass(frozen=True)
class Offer:
    """The trade-off as it is shown.

    Parameters
    ----------
    svg : str
        The curve of cost against probability; of cost against level if no plan comes near the target.
    plans : tuple of NamedPlan
        Every plan no other beats, from cheap to dear.
    suggested : NamedPlan or None
        The cheapest that reaches the target as sure as asked; within the budget if there is one.
    shown : NamedPlan
        The suggested plan. If none reaches the target, the surest one, or that of the lowest level if no plan comes
        near the target.
    steps : tuple of (str, tuple of str)
        The shown plan in order of work: heading and actions.
    limits : tuple of (str, str)
        For each place, what limits the result of the shown plan.
    worse : tuple of str
        What the shown plan makes worse.
    reach : tuple of str
        Whether the target is reached; if not, the lowest that can be had, and where it then remains from what.
    asked : tuple of str
        Names of the places for which the target was asked; empty for all.
    places : tuple of PlaceOutcome
        What the shown plan brings at every place, also where the target was not asked.
    lowest : tuple of LowestPlan
        If the target is not reached: what the lowest levels cost.
    """

    svg: str
    plans: tuple[NamedPlan, ...]
    suggested: NamedPlan | None
    currency: str
    shown: NamedPlan
    steps: tuple[tuple[str, tuple[str, ...]], ...]
    limits: tuple[tuple[str, str], ...]
    worse: tuple[str, ...]
    reach: tuple[str, ...]
    asked: tuple[str, ...]
    places: tuple[tuple[str, PlaceOutcome], ...]
    lowest: tuple[LowestPlan, ...] = ()

    @property
    def by_level(self) -> bool:
        """True if plans are shown by the level they bring, for none comes near the target."""
        return bool(self.lowest) and self.shown.plan.probability < LEAST_PROBABILITY


def candidates(survey: Survey, visit_id: str) -> tuple[Action, ...]:
    """Actions that can still be chosen from at a visit: those not done by then, on emitters that are still there.

    Raises
    ------
    TooEarlyError
        If there is none.
    """
    visit = survey.visit(visit_id)
    done = {name for v in survey.visits if v.started_at <= visit.started_at for name in v.done_action_ids}
    there = {emitter.id for emitter in with_work_done(survey, visit.id).emitters}
    left = tuple(a for a in survey.actions if a.id not in done and there.issuperset(a.emitter_ids))
    if not left:
        raise TooEarlyError("there is no action to choose from yet.", mend="Try something on the plan and keep it.")
    return with_exclusions(left)


def choice_of(survey: Survey, visit_id: str, terms: PlanTerms, progress: Progress | None = None) -> Choice:
    """The exact choice among the actions of a survey.

    Parameters
    ----------
    progress : callable, optional
        Called with the share of the work done, 0 to 1.

    Raises
    ------
    TooEarlyError
        If there is no action or nothing to infer from.
    InputError
        If target, confidence or budget cannot be, or there are too many actions.
    """
    return _choice(survey, visit_id, terms) if progress is None else _chosen(survey, visit_id, terms, progress)


@in_turn
@lru_cache(maxsize=16)
def _choice(survey: Survey, visit_id: str, terms: PlanTerms) -> Choice:
    return _chosen(survey, visit_id, terms, None)


def _chosen(survey: Survey, visit_id: str, terms: PlanTerms, progress: Progress | None) -> Choice:
    posterior = posterior_of(survey, visit_id)
    places = tuple(p for p in posterior.survey.places if p.id in terms.place_ids) if terms.place_ids else None
    kind = Kind(terms.kind)
    evaluator = asked_evaluator(
        posterior, candidates(survey, visit_id), kind=kind, places=places, tied=tie_of(posterior, kind)
    )
    return choose_asked(
        evaluator, terms.target_w_m2, confidence=terms.confidence, budget=terms.budget, progress=progress
    )


def prediction_of(survey: Survey, visit_id: str, action_ids: Sequence[str], terms: PlanTerms) -> Prediction:
    """What a plan made of the survey's actions would bring.

    Raises
    ------
    UnknownNameError
        If an action is not on the list, or was done before.
    TooEarlyError
        If there is nothing to infer from.
    """
    actions = {action.id: action for action in candidates(survey, visit_id)}
    for name in action_ids:
        if name not in actions:
            raise UnknownNameError("action", name, actions)
    _refuse_clashes(with_exclusions([actions[name] for name in dict.fromkeys(action_ids)]))
    return _predicted(survey, visit_id, tuple(dict.fromkeys(action_ids)), terms)


@in_turn
@lru_cache(maxsize=16)
def _predicted(survey: Survey, visit_id: str, action_ids: tuple[str, ...], terms: PlanTerms) -> Prediction:
    actions = [action for action in survey.actions if action.id in action_ids]
    target = terms.target_w_m2 or None
    posterior = posterior_of(survey, visit_id)
    kind = Kind(terms.kind)
    tied = tie_of(posterior, kind)
    return predict(posterior, actions, kind=kind, target_w_m2=target, asked=terms.place_ids, tied=tied)


def _refuse_clashes(actions: Sequence[Action]) -> None:
    for a, b in combinations(actions, 2):
        if clash(a, b):
            raise InputError(f"{a.name!r} and {b.name!r} cannot be done together.", mend="Leave one of them out.")


@in_turn
@lru_cache(maxsize=16)
def offer(survey: Survey, visit_id: str, terms: PlanTerms, language: str = "en", choice: Choice | None = None) -> Offer:
    """The trade-off of the survey's actions.

    Parameters
    ----------
    choice : Choice, optional
        From `choice_of`, if it is at hand.

    Raises
    ------
    TooEarlyError
        If there is no action or nothing to infer from.
    InputError
        If target, confidence or budget cannot be.
    """
    found, words = choice or choice_of(survey, visit_id, terms), load_words(language)
    names = {action.id: action.name for action in survey.actions}
    best = suggested(found)
    shown = best or shown_instead(found)
    currency = candidates(survey, visit_id)[0].cost.currency
    expected = prediction_of(survey, visit_id, shown.action_ids, terms)
    places = {place.id: place.name for place in survey.places}
    return Offer(
        _figure(found, shown, words, currency),
        tuple(_named(point, names) for point in found.curve),
        _named(best, names) if best else None,
        currency,
        _named(shown, names),
        in_order(expected.work, words),
        tuple((places[o.place_id], words.text(limiting(o))) for o in expected.outcomes if o.limits),
        tuple(words.text(worsening(one)) for one in expected.worse),
        tuple(words.text(one) for one in reach(found, shown, expected, places)),
        tuple(places[name] for name in found.place_ids),
        tuple((places[o.place_id], o) for o in expected.outcomes),
        tuple(LowestPlan(point, _named(point.plan, names).names) for point in found.lowest),
    )


def shown_instead(found: Choice) -> PlanPoint:
    """What is shown if no plan reaches the target: the surest one, or that of the lowest level if none comes near."""
    surest = found.within_budget if found.within_budget is not None else found.best
    if surest.probability < LEAST_PROBABILITY and found.lowest:
        return found.lowest[-1].plan
    return surest


def _figure(found: Choice, shown: PlanPoint, words: Words, currency: str) -> str:
    if found.lowest and shown.probability < LEAST_PROBABILITY:
        return lowest_levels(level_steps(found, shown), words, currency=currency, target_w_m2=found.target_w_m2)
    points = [TradeOffPoint(p.cost, p.probability, chosen=p == shown) for p in found.curve]
    return trade_off(points, words, currency=currency, confidence=found.confidence)


def level_steps(found: Choice, chosen: PlanPoint) -> list[LevelStep]:
    """The plans of the lowest levels as points of a figure."""
    return [LevelStep(p.plan.cost, p.level_w_m2, p.reduction_db, p.plan == chosen) for p in found.lowest]


def _named(plan: PlanPoint, names: dict[str, str]) -> NamedPlan:
    return NamedPlan(plan, tuple(names[name] for name in plan.action_ids))


def in_order(work: Sequence[WorkStep], words: Words) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Actions under the headings of the order of work: inside, outside, measure again."""
    inner = tuple(s.action.name for s in work if s.step in (WorkStage.INNER_SOURCES, WorkStage.PLACES))
    outer = tuple(s.action.name for s in work if s.step is WorkStage.OUTER_SOURCES)
    groups = ((words.say("steps.inner"), inner), (words.say("steps.outer"), outer))
    again = (words.say("steps.measure"), (words.say("step.measure_again.title"),))
    return (*(group for group in groups if group[1]), again) if work else ()


def suggested(found: Choice) -> PlanPoint | None:
    """The cheapest plan that is sure enough; with a budget only if it lies within."""
    if found.cheapest is None or (found.budget is not None and found.cheapest.cost > found.budget + 1e-9):
        return None
    return found.cheapest


def adopted(survey: Survey, action_ids: tuple[str, ...], terms: PlanTerms) -> Survey:
    """The survey with a plan that the client agreed to.

    Raises
    ------
    InputError
        If an action is not there, or two cannot be done together.
    """
    known = {action.id for action in survey.actions}
    missing = [name for name in action_ids if name not in known]
    if missing or not action_ids:
        raise InputError("the plan names an action that is not there.", mend="Work out the plans again.")
    _refuse_clashes(with_exclusions([action for action in survey.actions if action.id in action_ids]))
    plan = AdoptedPlan(action_ids, terms.target_w_m2, terms.kind, terms.confidence, now(), place_ids=terms.place_ids)
    return replace(survey, adopted_plan=plan)


def with_cost(survey: Survey, action_id: str, name: str, low: float, high: float, *, stated: bool = True) -> Survey:
    """The survey with name and cost of an action changed.

    Parameters
    ----------
    stated : bool
        False if the cost is not known; it is then not told as free.

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
            replace(
                one, name=name.strip()[:200] or one.name, cost=CostRange(low, high, one.cost.currency, stated=stated)
            )
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
