"""The choice of a plan: the cheapest that meets a target, the best within a budget, and the whole curve between.

Exact: every plan is either evaluated or ruled out by a bound. The bound of a set of plans that share a beginning is
the plan that takes every open action where it weakens a path and nowhere where it strengthens one; no plan of the
set can be under it, for levels are sums of products of the actions' factors and rise with each of them.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.remedy import kernels
from roomfield.remedy.effects import Effect
from roomfield.remedy.evaluator import Evaluator, State, Variant
from roomfield.survey.action import Action
from roomfield.survey.place import Place

Array = NDArray[np.float64]
Progress = Callable[[float], None]
MOST_ACTIONS = 25
_PREFIX = 4
_ROOM = 4096
_MOST_EXPLORED = 300


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
        Probability that the target is met at every place and period at once.
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

    @property
    def reachable(self) -> bool:
        """True if some plan on the list meets the target with the confidence."""
        return self.cheapest is not None

    @property
    def statement(self) -> str:
        """In words, whether the target can be reached."""
        wanted = f"{_micro(self.target_w_m2)} µW/m² at every place with a probability of {self.confidence:.0%}"
        if self.cheapest is None:
            return (
                f"Nothing on the list reaches {wanted}. The best plan reaches it with a probability of "
                f"{self.best.probability:.0%} at a cost of {self.best.cost_low:.0f} to {self.best.cost_high:.0f}."
            )
        if not self.cheapest.action_ids:
            return f"As found, the target of {wanted} is already met."
        return (
            f"The cheapest plan that reaches {wanted} costs {self.cheapest.cost_low:.0f} to "
            f"{self.cheapest.cost_high:.0f} (probability {self.cheapest.probability:.0%})."
        )

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "target_w_m2": self.target_w_m2,
            "kind": self.kind.value,
            "confidence": self.confidence,
            "budget": self.budget,
            "reachable": self.reachable,
            "statement": self.statement,
            "curve": [p.to_dict() for p in self.curve],
            "cheapest": self.cheapest.to_dict() if self.cheapest else None,
            "within_budget": self.within_budget.to_dict() if self.within_budget else None,
            "best": self.best.to_dict(),
            "nodes": self.nodes,
            "exact": True,
        }


def _micro(density_w_m2: float) -> str:
    value = float(f"{density_w_m2 * 1e6:.3g}")
    return f"{value:,.0f}" if value >= 1000.0 else f"{value:g}"


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
        Left out: all places with a position.
    progress : callable, optional
        Called with the share of the work done, 0 to 1.

    Raises
    ------
    InputError
        If there are too many actions, or target, confidence, budget or a cost is impossible.
    """
    _check(actions, target_w_m2, confidence, budget)
    evaluator = Evaluator(posterior, actions, kind=kind, places=places)
    return choose_with(evaluator, target_w_m2, confidence=confidence, budget=budget, progress=progress)


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
    front, nodes = pareto_front(evaluator, target_w_m2, progress=progress)
    draws = len(evaluator.posterior.x)
    points = tuple(_point(evaluator, ids, count / draws) for ids, count in front)
    good = [p for p in points if p.probability >= confidence]
    afford = [p for p in points if budget is not None and p.cost <= budget + 1e-9]
    return Choice(
        target_w_m2, evaluator.kind, confidence, budget, points,
        min(good, key=lambda p: p.cost) if good else None,
        max(afford, key=lambda p: p.probability) if afford else None,
        points[-1], nodes,
    )  # fmt: skip


def _point(evaluator: Evaluator, ids: Sequence[str], probability: float) -> PlanPoint:
    taken = [a for a in evaluator.actions if a.id in ids]
    low, high = sum(a.cost.low for a in taken), sum(a.cost.high for a in taken)
    return PlanPoint((low + high) / 2.0, low, high, probability, tuple(a.id for a in taken))


def middle_cost(action: Action) -> float:
    """Middle of an action's cost range."""
    return (action.cost.low + action.cost.high) / 2.0


def pareto_front(
    evaluator: Evaluator, target_w_m2: float, *, progress: Progress | None = None
) -> tuple[list[tuple[tuple[str, ...], int]], int]:
    """Every plan that no other beats in both cost and probability.

    Returns
    -------
    list of (action ids, number of draws that meet the target), from cheap to dear, and the number of nodes.
    """
    found: list[tuple[float, int, tuple[str, ...]]] = []
    nodes, choices = 0, list(_move_choices(evaluator))
    for done, moves in enumerate(choices):
        search = _Search(evaluator, evaluator.variant([e.action.id for e in moves]), moves, target_w_m2)
        nodes += search.run(found, _part_of(progress, done, len(choices)))
        found = search.result(found)
    found.sort()
    _tell(progress, 1.0)
    return [(_needed(evaluator, ids, count, target_w_m2), count) for _, count, ids in found], nodes


def _needed(evaluator: Evaluator, ids: tuple[str, ...], count: int, target_w_m2: float) -> tuple[str, ...]:
    """The plan without actions that cost nothing and do not help."""
    free = [a.id for a in evaluator.actions if a.id in ids and middle_cost(a) == 0.0]
    for name in free:
        without = tuple(i for i in ids if i != name)
        if draws_met(evaluator, without, target_w_m2) >= count:
            ids = without
    return ids


def draws_met(evaluator: Evaluator, action_ids: Sequence[str], target_w_m2: float) -> int:
    """Number of draws in which a plan meets the target at every place and period."""
    return int((evaluator.after(action_ids).total_w_m2 <= target_w_m2).all(axis=1).sum())


def _part_of(progress: Progress | None, done: int, parts: int) -> Progress:
    return lambda share: _tell(progress, (done + share) / parts)


def _tell(progress: Progress | None, share: float) -> None:
    if progress is not None:
        progress(share)


def _move_choices(evaluator: Evaluator) -> Iterator[tuple[Effect, ...]]:
    """Every allowed set of moves; two moves of one thing exclude each other."""
    moving = evaluator.moving
    for size in range(len(moving) + 1):
        for combo in itertools.combinations(moving, size):
            things = [n for e in combo for n in (*e.emitter_positions, *e.place_positions)]
            if len(set(things)) == len(things) and not _any_clash([e.action for e in combo]):
                yield combo


def _any_clash(actions: Sequence[Action]) -> bool:
    return any(clash(a, b) for a, b in itertools.combinations(actions, 2))


def clash(a: Action, b: Action) -> bool:
    """True if two actions cannot be done together."""
    return b.id in a.excludes or a.id in b.excludes


class _Search:
    """Branch and bound over the actions that move nothing, for one choice of moves."""

    def __init__(self, evaluator: Evaluator, variant: Variant, moves: Sequence[Effect], target_w_m2: float) -> None:
        self.moves: list[Action] = [m.action for m in moves]
        steady = evaluator.steady
        self.base_cost = sum(middle_cost(a) for a in self.moves)
        allowed = [k for k, e in enumerate(steady) if not any(clash(e.action, m) for m in self.moves)]
        self.order = sorted(
            allowed, key=lambda k: (-middle_cost(steady[k].action), _strength(variant, steady[k].scale, k))
        )
        self.ids = [steady[k].action.id for k in self.order]
        self.levels = variant.levels
        self.doubt = evaluator.doubt
        self.place = evaluator.place_of_column
        self.limit = np.full(len(self.place), target_w_m2, dtype=np.float32)
        self.costs = np.array([middle_cost(steady[k].action) for k in self.order], dtype=np.float64)
        actions = [steady[k].action for k in self.order]
        self.conflict = np.array([[clash(a, b) for b in actions] for a in actions], dtype=np.bool_)
        self.conflict = self.conflict.reshape(len(actions), len(actions))
        shape = (variant.levels.shape[1], len(self.place))
        scales = np.array([steady[k].scale for k in self.order], dtype=np.float64).reshape(-1, *shape)
        self.model, self.start = _model(variant, scales, self.order)
        self._by_difficulty()

    def _by_difficulty(self) -> None:
        """Columns that are hardest to bring under the target first, so that failing plans fail soon."""
        means = self.levels.mean(axis=2).sum(axis=1)[self.place]
        order = np.argsort(-means, kind="stable")
        self.place = np.ascontiguousarray(self.place[order])
        factor = np.ascontiguousarray(self.model[6][:, :, order])
        least = np.ascontiguousarray(self.model[9][:, :, order])
        self.model = (*self.model[:6], factor, *self.model[7:9], least)

    def run(self, found: Sequence[tuple[float, int, tuple[str, ...]]], tell: Progress) -> int:
        """Search all plans; returns the number of nodes."""
        front = np.zeros((_ROOM, 4))
        size = 0
        for cost, count, _ in found:
            front[size] = cost - self.base_cost, count, -1.0, 1.0
            size += 1
        stacks = _stacks(self.start, len(self.costs))
        nodes = 0
        prefixes = list(itertools.product((1, 0), repeat=min(_PREFIX, len(self.costs))))
        size = self._seed(front, size, stacks)
        for done, prefix in enumerate(prefixes):
            size, seen = self._below(np.array(prefix, dtype=np.int64), front, size, stacks)
            nodes += seen
            tell((done + 1) / len(prefixes))
        self.front = front[:size]
        return nodes

    def _seed(self, front: Array, size: int, stacks: tuple[Array, ...]) -> int:
        """Put some good plans on the front first: take the best action for its cost, again and again."""
        taken: list[int] = []
        empty = np.zeros(len(self.costs), dtype=np.int64)
        size, _ = self._below(empty, front, size, stacks)
        while len(taken) < len(self.costs):
            best, gain = -1, -1.0
            for a in range(len(self.costs)):
                if a in taken or self.conflict[a, taken].any():
                    continue
                worth = self._worth([*taken, a]) / (self.costs[a] + 1.0)
                if worth > gain:
                    best, gain = a, worth
            if best < 0:
                break
            taken.append(best)
            prefix = np.array([int(a in taken) for a in range(len(self.costs))], dtype=np.int64)
            size, _ = self._below(prefix, front, size, stacks)
        return int(
            kernels.improve(
                self.levels, self.model, self.doubt, self.place, self.limit, self.start, self.costs, self.conflict,
                front, size, stacks, _MOST_EXPLORED,
            )
        )  # fmt: skip

    def _worth(self, taken: list[int]) -> float:
        """Drop of the summed logarithms of the columns' mean levels."""
        state = [np.array(part) for part in self.start]
        for a in taken:
            kernels.take_action(self.model, a, tuple(state), tuple(state))
        cells = np.zeros(self.levels.shape[0] * self.levels.shape[1])
        kernels.ratios(self.model, tuple(state), cells)
        through = cells.reshape(self.levels.shape[:2])[self.place].T * state[4]
        means = self.levels.mean(axis=2)[self.place].T
        after, before = (means * through).sum(axis=0), means.sum(axis=0)
        over = np.maximum(after / self.limit, 1.0)
        return float((np.log(np.maximum(before / self.limit, 1.0)) - np.log(over)).sum())

    def _below(self, prefix: NDArray[np.int64], front: Array, size: int, stacks: tuple[Array, ...]) -> tuple[int, int]:
        size, nodes = kernels.search(
            self.levels, self.model, self.doubt, self.place, self.limit, self.start, self.costs,
            self.conflict, prefix, front, size, stacks,
        )  # fmt: skip
        if size > _ROOM - 2:
            raise InputError("the curve of cost against probability has too many points.", mend="Offer fewer actions.")
        return size, nodes

    def result(self, found: Sequence[tuple[float, int, tuple[str, ...]]]) -> list[tuple[float, int, tuple[str, ...]]]:
        """The front after this search, with names."""
        old = {(round(cost, 6), count): ids for cost, count, ids in found}
        names = [m.id for m in self.moves]
        result = []
        for cost, count, mask, _ in self.front:
            total = float(cost) + self.base_cost
            if mask < 0:
                ids = old[round(total, 6), int(count)]
            else:
                ids = (*names, *(n for a, n in enumerate(self.ids) if int(mask) >> a & 1))
            result.append((total, int(count), ids))
        return result


def _strength(variant: Variant, scale: Array, k: int) -> float:
    """How much is left after one action alone (mean share); the strongest comes first."""
    groups = variant.groups
    left = float((groups.share * groups.factor[k]).sum() / max(groups.share.sum(), 1e-300))
    return left * float(scale.mean())


def _model(variant: Variant, scale: Array, order: Sequence[int]) -> tuple[tuple[Array, ...], State]:
    """Arrays of the kernels, and the state of the empty plan."""
    g = variant.groups
    rows, cells = np.array(order, dtype=np.int64), variant.levels.shape[0] * variant.levels.shape[1]
    path, starts = _by_cell(g.cell, cells)
    edge, edge_starts = _by_cell(g.edge_cell, cells)
    factor, way = g.factor[np.ix_(rows, path)], g.edge_way[np.ix_(rows, edge)]
    solid, hole = g.solid_factor[np.ix_(rows, edge)], g.hole_factor[np.ix_(rows, edge)]
    untouched = (np.abs(solid - 1.0) < 1e-12) & (np.abs(hole - 1.0) < 1e-12)
    model = (
        starts, edge_starts, factor, way, solid, hole, scale, _suffix(np.minimum(factor, 1.0)),
        _suffix(np.where(untouched, np.minimum(way, 1.0), 0.0)), _suffix(np.minimum(scale, 1.0)),
    )  # fmt: skip
    start = (g.share[path], g.edge_share[edge], g.solid[edge], g.hole[edge], np.ones(scale.shape[1:]))
    return tuple(np.ascontiguousarray(m) for m in model), start


def _by_cell(cell: NDArray[np.int64], cells: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Order in which what belongs to one cell stands together, and where each cell begins (one more for the end)."""
    order = np.argsort(cell, kind="stable")
    return order, np.searchsorted(cell[order], np.arange(cells + 1))


def _suffix(table: Array) -> Array:
    """Product of the rows from each one on; one more row of ones."""
    ones = np.ones((1, *table.shape[1:]))
    return np.concatenate([np.cumprod(table[::-1], axis=0)[::-1], ones])


def _stacks(start: State, actions: int) -> tuple[Array, ...]:
    return tuple(np.repeat(part[None], actions + 2, axis=0).copy() for part in start)
