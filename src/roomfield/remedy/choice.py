"""The choice of a plan: the cheapest that meets a target, the best within a budget, and the whole curve between.

If no plan meets the target as surely as asked, the choice also holds what the lowest level costs that can be had.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from roomfield.errors import InputError
from roomfield.field.measured import Tie
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.remedy.branch_and_bound import Goal, Progress, best_plans, level_held
from roomfield.remedy.evaluator import Evaluator
from roomfield.survey.action import Action, ActionKind
from roomfield.survey.place import Place

_log = logging.getLogger("roomfield.remedy")

MOST_ACTIONS = 25
ON_PLACES = (ActionKind.MOVE_PLACE, ActionKind.CANOPY)
LEAST_PROBABILITY = 0.05
"""A target that no plan meets more often than this counts as out of reach of all of them (our judgement)."""
LEAST_STEP_DB = 0.5
"""A dearer plan is listed among the lowest only if it brings so much more [dB]."""


@dataclass(frozen=True)
class PlanPoint:
    """One plan.

    Parameters
    ----------
    cost : float
        Middle of its cost range, in the currency of the actions.
    cost_low, cost_high : float
        Cost range.
    probability : float
        Probability that the target is met at every place asked for, in every period, at once.
    action_ids : tuple of str
        What is done, in order of work.
    """

    cost: float
    cost_low: float
    cost_high: float
    probability: float
    action_ids: tuple[str, ...]

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "cost": self.cost,
            "cost_low": self.cost_low,
            "cost_high": self.cost_high,
            "probability": self.probability,
            "action_ids": list(self.action_ids),
        }


@dataclass(frozen=True)
class LevelPoint:
    """One plan by the level it brings, whether or not that meets the target.

    Parameters
    ----------
    plan : PlanPoint
        The plan; its probability is that of the target.
    level_w_m2 : float
        Level that is not exceeded at any place asked for, with the confidence of the choice [W/m²].
    reduction_db : float
        How far that lies under the same level as found [dB].
    """

    plan: PlanPoint
    level_w_m2: float
    reduction_db: float

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {**self.plan.to_dict(), "level_w_m2": self.level_w_m2, "reduction_db": self.reduction_db}


@dataclass(frozen=True)
class Choice:
    """What the actions can do for a target.

    Parameters
    ----------
    target_w_m2 : float
        The target [W/m²].
    kind : Kind
        What it is a level of.
    confidence : float
        Probability with which it is to be met.
    budget : float or None
        Most that may be spent.
    curve : tuple of PlanPoint
        Every plan that no other beats in both cost and probability, from cheap to dear.
    cheapest : PlanPoint or None
        Cheapest plan that meets the target with the confidence; None if there is none.
    within_budget : PlanPoint or None
        Plan of highest probability within the budget; None without a budget.
    best : PlanPoint
        Plan of highest probability at any cost.
    nodes : int
        Sets of plans looked at.
    place_ids : tuple of str
        Places for which the target was asked; empty for all.
    lowest : tuple of LevelPoint
        Only if no plan meets the target with the confidence, or none within the budget: what the lowest levels cost,
        from the plan of nothing to the lowest that can be had; within the budget, if there is one.
    """

    target_w_m2: float
    kind: Kind
    confidence: float
    budget: float | None
    curve: tuple[PlanPoint, ...]
    cheapest: PlanPoint | None
    within_budget: PlanPoint | None
    best: PlanPoint
    nodes: int
    place_ids: tuple[str, ...] = ()
    lowest: tuple[LevelPoint, ...] = ()

    @property
    def reachable(self) -> bool:
        """True if some plan on the list meets the target with the confidence."""
        return self.cheapest is not None

    @property
    def statement(self) -> str:
        """In words, whether the target can be reached."""
        where = "at every place asked for" if self.place_ids else "at every place"
        wanted = f"{_micro(self.target_w_m2)} µW/m² {where} with a probability of {self.confidence:.0%}"
        if self.cheapest is None:
            return f"Nothing on the list reaches {wanted}. {self._best_text} {self._lowest_text}".rstrip()
        if not self.cheapest.action_ids:
            return f"As found, the target of {wanted} is already met."
        return (
            f"The cheapest plan that reaches {wanted} costs {self.cheapest.cost_low:,.0f} to "
            f"{self.cheapest.cost_high:,.0f} (probability {_share(self.cheapest.probability)})."
        )

    @property
    def _best_text(self) -> str:
        best = self.best
        if best.probability < LEAST_PROBABILITY:
            return "No plan comes near it."
        return (
            f"The surest plan reaches it with a probability of {best.probability:.0%} at a cost of "
            f"{best.cost_low:,.0f} to {best.cost_high:,.0f}."
        )

    @property
    def _lowest_text(self) -> str:
        if not self.lowest:
            return ""
        last = self.lowest[-1]
        if not last.plan.action_ids:
            return "No action on the list lowers the highest level by as much as half a decibel."
        return (
            f"The lowest that can be had with that probability is {_micro(last.level_w_m2)} µW/m², "
            f"{last.reduction_db:.1f} dB lower than as found, at a cost of {last.plan.cost_low:,.0f} to "
            f"{last.plan.cost_high:,.0f}."
        )

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "target_w_m2": self.target_w_m2,
            "place_ids": list(self.place_ids),
            "kind": self.kind.value,
            "confidence": self.confidence,
            "budget": self.budget,
            "reachable": self.reachable,
            "statement": self.statement,
            "curve": [p.to_dict() for p in self.curve],
            "cheapest": self.cheapest.to_dict() if self.cheapest else None,
            "within_budget": self.within_budget.to_dict() if self.within_budget else None,
            "best": self.best.to_dict(),
            "lowest": [p.to_dict() for p in self.lowest],
            "nodes": self.nodes,
            "exact": True,
        }


def _micro(density_w_m2: float) -> str:
    value = float(f"{density_w_m2 * 1e6:.3g}")
    return f"{value:,.0f}" if value >= 1000.0 else f"{value:g}"


def _share(probability: float) -> str:
    return "over 99.9%" if probability > 0.999 else f"{probability:.0%}"


def choose(
    posterior: Posterior,
    actions: Sequence[Action],
    *,
    target_w_m2: float,
    kind: Kind = Kind.PEAK,
    confidence: float = 0.9,
    budget: float | None = None,
    places: Sequence[Place] | None = None,
    progress: Progress | None = None,
) -> Choice:
    """Find the best plans, exactly.

    Parameters
    ----------
    posterior : Posterior
        From `roomfield.field.infer`.
    actions : sequence of Action
        At most 25.
    target_w_m2 : float
        Level to be met at every place [W/m²].
    kind : Kind
        What the target is a level of.
    confidence : float
        Probability with which it is to be met, 0 to 1.
    budget : float, optional
        Most that may be spent (middle of the cost ranges).
    places : sequence of Place, optional
        Where the target is to hold; all places with a position if left out. What moves or covers another place is
        not weighed, for it cannot help there.
    progress : callable, optional
        Called with the share of the work done, 0 to 1.

    Raises
    ------
    InputError
        If there are too many actions, or target, confidence, budget or a cost is impossible.
    """
    evaluator = asked_evaluator(posterior, actions, kind=kind, places=places)
    return choose_asked(evaluator, target_w_m2, confidence=confidence, budget=budget, progress=progress)


def choose_asked(
    evaluator: Evaluator,
    target_w_m2: float,
    *,
    confidence: float = 0.9,
    budget: float | None = None,
    progress: Progress | None = None,
) -> Choice:
    """Like `choose`, with the evaluator of the places asked for, see `asked_evaluator`."""
    _check(evaluator.actions, target_w_m2, confidence, budget)
    every = {p.id for p in evaluator.posterior.survey.places if p.position is not None}
    asked = tuple(p.id for p in evaluator.places)
    found = choose_with(evaluator, target_w_m2, confidence=confidence, budget=budget, progress=progress)
    return replace(found, place_ids=() if every <= set(asked) else asked)


def asked_evaluator(
    posterior: Posterior,
    actions: Sequence[Action],
    *,
    kind: Kind,
    places: Sequence[Place] | None = None,
    tied: Tie | None = None,
) -> Evaluator:
    """The evaluator of a choice: at the places asked for, without what moves or covers another place."""
    if places is not None:
        asked = {p.id for p in places}
        actions = [a for a in actions if a.kind not in ON_PLACES or a.place_id in asked]
    return Evaluator(posterior, actions, kind=kind, places=places, tied=tied)


def _check(actions: Sequence[Action], target_w_m2: float, confidence: float, budget: float | None) -> None:
    if len(actions) > MOST_ACTIONS:
        raise InputError(f"{len(actions)} actions are too many.", mend=f"Offer at most {MOST_ACTIONS}.")
    if not (np.isfinite(target_w_m2) and target_w_m2 > 0.0):
        raise InputError(f"a target of {target_w_m2:g} W/m² cannot be met.", mend="Give a positive power density.")
    if not 0.0 < confidence < 1.0:
        raise InputError(f"a confidence of {confidence:g} is not a probability.", mend="Give it between 0 and 1.")
    if budget is not None and not budget >= 0.0:
        raise InputError(f"a budget of {budget:g} is not possible.", mend="Give 0 or more.")
    for action in actions:
        if not 0.0 <= action.cost.low <= action.cost.high < np.inf:
            raise InputError(
                f"action {action.id!r} costs {action.cost.low:g} to {action.cost.high:g}.",
                mend="Give the lower cost first, neither under 0.",
            )
    if len({a.cost.currency for a in actions}) > 1:
        raise InputError("the actions' costs are in several currencies.", mend="Give all costs in one currency.")


def choose_with(
    evaluator: Evaluator,
    target_w_m2: float,
    *,
    confidence: float = 0.9,
    budget: float | None = None,
    progress: Progress | None = None,
) -> Choice:
    """Like `choose`, with an evaluator at hand."""
    front, nodes = pareto_front(evaluator, target_w_m2, progress=_first_part(progress))
    _log.debug("chosen among %d actions: %d plans on the curve, %d nodes", len(evaluator.actions), len(front), nodes)
    draws = len(evaluator.posterior.x)
    points = tuple(_point(evaluator, ids, count / draws) for ids, count in front)
    good = [p for p in points if p.probability >= confidence]
    for one in points:
        _log.debug("plan %s: cost %g, reaches the target with %.3f", one.action_ids, one.cost, one.probability)
    most = math.inf if budget is None else budget + 1e-9
    afford = [p for p in points if budget is not None and p.cost <= most]
    lowest: tuple[LevelPoint, ...] = ()
    if not any(p.cost <= most for p in good):
        lowest = tuple(_lowest(evaluator, target_w_m2, confidence, most))
    _tell(progress, 1.0)
    return Choice(
        target_w_m2, evaluator.kind, confidence, budget, points,
        min(good, key=lambda p: p.cost) if good else None,
        max(afford, key=lambda p: p.probability) if afford else None,
        points[-1], nodes, lowest=lowest,
    )  # fmt: skip


def _lowest(evaluator: Evaluator, target_w_m2: float, confidence: float, most: float) -> Iterator[LevelPoint]:
    """What the lowest levels cost, in steps of half a decibel, up to a cost."""
    draws = len(evaluator.posterior.x)
    rank = max(math.ceil(confidence * draws - 1e-9), 1)
    found = level_held(evaluator, (), rank)
    reached = -math.inf
    for cost, _, ids in best_plans(evaluator, Goal(found, rank))[0]:
        level = level_held(evaluator, ids, rank)
        reduction = 10.0 * math.log10(found / max(level, 1e-30))
        if cost <= most and reduction >= reached + LEAST_STEP_DB:
            reached = reduction
            met = Goal(target_w_m2).worth(evaluator, ids) / draws
            yield LevelPoint(_point(evaluator, ids, met), level, reduction)


def _first_part(progress: Progress | None) -> Progress:
    """Progress of the search for probabilities; it stops short of the end, for levels may follow."""
    return lambda share: _tell(progress, 0.9 * share)


def _tell(progress: Progress | None, share: float) -> None:
    if progress is not None:
        progress(share)


def _point(evaluator: Evaluator, ids: Sequence[str], probability: float) -> PlanPoint:
    taken = [a for a in evaluator.actions if a.id in ids]
    low, high = sum(a.cost.low for a in taken), sum(a.cost.high for a in taken)
    return PlanPoint((low + high) / 2.0, low, high, probability, tuple(a.id for a in taken))


def pareto_front(
    evaluator: Evaluator, target_w_m2: float, *, progress: Progress | None = None
) -> tuple[list[tuple[tuple[str, ...], int]], int]:
    """Every plan that no other beats in both cost and probability.

    Returns
    -------
    list of (action ids, number of draws that meet the target), from cheap to dear, and the number of nodes.
    """
    found, nodes = best_plans(evaluator, Goal(target_w_m2), progress=progress)
    return [(ids, round(count)) for _, count, ids in found], nodes
