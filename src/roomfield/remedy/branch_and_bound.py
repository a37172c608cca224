"""Branch and bound over sets of actions: every plan that no other beats in both cost and worth.

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
from roomfield.remedy import plan_kernels
from roomfield.remedy.effects import Effect
from roomfield.remedy.evaluator import Evaluator, State, Variant
from roomfield.survey.action import Action

Array = NDArray[np.float64]
Progress = Callable[[float], None]
_PREFIX = 4
_ROOM = 4096
_MOST_EXPLORED = 300


@dataclass(frozen=True)
class Goal:
    """What a plan is worth.

    Parameters
    ----------
    level_w_m2 : float
        Level that every column is held against [W/m²].
    draws : int
        0: a plan is worth the number of draws in which every column is at or under the level. Otherwise: the
        decibels by which the level that so many draws hold at every column at once lies under it.
    """

    level_w_m2: float
    draws: int = 0

    def worth(self, evaluator: Evaluator, action_ids: Sequence[str]) -> float:
        """What one plan is worth."""
        if self.draws:
            return float(10.0 * np.log10(self.level_w_m2 / max(level_held(evaluator, action_ids, self.draws), 1e-30)))
        return float((evaluator.after(action_ids).total_w_m2 <= self.level_w_m2).all(axis=1).sum())


Found = tuple[float, float, tuple[str, ...]]
"""Cost, worth and ids of the actions of a plan."""


def level_held(evaluator: Evaluator, action_ids: Sequence[str], draws: int) -> float:
    """Lowest level that so many draws hold at every place and period at once after a plan [W/m²]."""
    worst = evaluator.after(action_ids).total_w_m2.max(axis=1)
    return float(np.partition(worst, draws - 1)[draws - 1])


def best_plans(evaluator: Evaluator, goal: Goal, *, progress: Progress | None = None) -> tuple[list[Found], int]:
    """Every plan that no other beats in both cost and worth.

    Returns
    -------
    list of Found, from cheap to dear, and the number of sets of plans looked at.
    """
    found: list[Found] = []
    nodes, choices = 0, list(_move_choices(evaluator))
    for done, moves in enumerate(choices):
        search = _Search(evaluator, evaluator.variant([e.action.id for e in moves]), moves, goal)
        nodes += search.run(found, _part_of(progress, done, len(choices)))
        found = search.result(found)
    found.sort()
    _tell(progress, 1.0)
    return [(cost, worth, _needed(evaluator, ids, worth, goal)) for cost, worth, ids in found], nodes


def _needed(evaluator: Evaluator, ids: tuple[str, ...], worth: float, goal: Goal) -> tuple[str, ...]:
    """The plan without actions that cost nothing and do not help."""
    slack = plan_kernels.STEP_DB if goal.draws else 0.0
    free = [a.id for a in evaluator.actions if a.id in ids and middle_cost(a) == 0.0]
    for name in free:
        without = tuple(i for i in ids if i != name)
        if goal.worth(evaluator, without) >= worth - slack:
            ids = without
    return ids


def middle_cost(action: Action) -> float:
    """Middle of an action's cost range."""
    return (action.cost.low + action.cost.high) / 2.0


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

    def __init__(self, evaluator: Evaluator, variant: Variant, moves: Sequence[Effect], goal: Goal) -> None:
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
        self.limit = np.full(len(self.place), goal.level_w_m2, dtype=np.float32)
        self.rank = goal.draws
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

    def run(self, found: Sequence[Found], tell: Progress) -> int:
        """Search all plans; returns the number of nodes."""
        front = np.zeros((_ROOM, 4))
        size = 0
        for cost, value, _ in found:
            front[size] = cost - self.base_cost, value, -1.0, 1.0
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
            plan_kernels.improve(
                self.levels, self.model, self.doubt, self.place, self.limit, self.rank, self.costs, self.conflict,
                front, size, stacks, _MOST_EXPLORED,
            )
        )  # fmt: skip

    def _worth(self, taken: list[int]) -> float:
        """Drop of the summed logarithms of the columns' mean levels."""
        state = tuple(np.array(part)[None] for part in self.start)
        for a in taken:
            plan_kernels.take_action(self.model, a, state, 0, 0)
        cells = np.zeros(self.levels.shape[0] * self.levels.shape[1])
        plan_kernels.ratios(self.model, state, 0, cells)
        through = cells.reshape(self.levels.shape[:2])[self.place].T * state[4][0]
        means = self.levels.mean(axis=2)[self.place].T
        after, before = (means * through).sum(axis=0), means.sum(axis=0)
        over = np.maximum(after / self.limit, 1.0)
        return float((np.log(np.maximum(before / self.limit, 1.0)) - np.log(over)).sum())

    def _below(self, prefix: NDArray[np.int64], front: Array, size: int, stacks: tuple[Array, ...]) -> tuple[int, int]:
        size, nodes = plan_kernels.search(
            self.levels, self.model, self.doubt, self.place, self.limit, self.rank, self.costs, self.conflict,
            prefix, front, size, stacks,
        )  # fmt: skip
        if size > _ROOM - 2:
            raise InputError("the curve of cost against benefit has too many points.", mend="Offer fewer actions.")
        return size, nodes

    def result(self, found: Sequence[Found]) -> list[Found]:
        """The front after this search, with names."""
        old = {(round(cost, 6), round(value, 6)): ids for cost, value, ids in found}
        names = [m.id for m in self.moves]
        result = []
        for cost, value, mask, _ in self.front:
            total = float(cost) + self.base_cost
            if mask < 0:
                ids = old[round(total, 6), round(float(value), 6)]
            else:
                ids = (*names, *(n for a, n in enumerate(self.ids) if int(mask) >> a & 1))
            result.append((total, float(value), ids))
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
    """One state per depth, one for bounds and that of the empty plan; all begin as the last."""
    return tuple(np.repeat(part[None], actions + 3, axis=0) for part in start)
