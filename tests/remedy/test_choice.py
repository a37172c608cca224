from __future__ import annotations

import itertools
import json
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from roomfield.errors import InputError
from roomfield.quantities import Kind
from roomfield.remedy.branch_and_bound import Goal, best_plans, level_held, middle_cost
from roomfield.remedy.choice import choose, choose_with, pareto_front
from roomfield.remedy.effects import Effect, TargetColumn
from roomfield.remedy.evaluator import Evaluator, Variant
from roomfield.remedy.path_groups import PathGroups
from roomfield.survey.action import Action, ActionKind, CostRange, SurfaceRef
from roomfield.survey.dwelling import ShieldPart, ShieldSheet
from roomfield.survey.emitter import Emitter

TARGET = 1.0
MESH = ShieldSheet("mesh", ((0.8e9, 42.0), (6e9, 38.0)), "IEEE 299")


class Invented(Evaluator):
    """An evaluator with invented groups, edges, factors and draws; every part of the search is exercised."""

    def __init__(
        self, seed, actions, *, places=3, emitters=3, draws=40, groups=40, edges=12, thrown=0.05, rise=0.2, spread=8.0
    ):
        rng = np.random.default_rng(seed)
        ids = [f"a{i}" for i in range(actions)]
        excludes = {i: (f"a{rng.integers(actions)}",) if rng.random() < 0.2 else () for i in range(actions)}
        cost = rng.choice([0.0, 10.0, 25.0, 40.0, 90.0, 150.0], actions)
        sheets = [MESH if rng.random() < 0.5 else None for _ in ids]
        self.actions = tuple(
            Action(n, n, ActionKind.SHIELD_SURFACE, sheet=s, cost=CostRange(c, c + 10.0 * (c > 0)),
                   excludes=tuple(e for e in excludes[i] if e != n))
            for i, (n, c, s) in enumerate(zip(ids, cost, sheets, strict=True))
        )  # fmt: skip
        self.places = tuple(SimpleNamespace(id=f"p{i}", name=f"p{i}") for i in range(places))
        self.columns = tuple(TargetColumn(i, False) for i in range(places))
        self.kind, self.moving, self._variants = Kind.PEAK, (), {}
        self.posterior = SimpleNamespace(
            x=np.zeros((draws, 1)), seed=seed, emitter_ids=tuple("abc"[:emitters]),
            survey=SimpleNamespace(emitters=tuple(Emitter(f"e{n}", "", outdoor=n == 0) for n in range(emitters))),
            radiators=SimpleNamespace(frequencies_hz=np.full(emitters, 2e9)),
        )  # fmt: skip

        def factors(n, likely=0.5):
            table = np.where(rng.random((actions, n)) < likely, 10 ** rng.uniform(-3.0, 0.0, (actions, n)), 1.0)
            return np.where(rng.random((actions, n)) < rise, 10 ** rng.uniform(0.0, 0.4, (actions, n)), table)

        cells = places * emitters
        cell = np.concatenate([np.arange(cells), rng.integers(cells, size=groups)])
        share = rng.random(len(cell)) ** 3
        scales = [np.where(rng.random((emitters, places)) < 0.15, 0.1, 1.0) for _ in ids]
        self.steady = tuple(Effect(a, s) for a, s in zip(self.actions, scales, strict=True))
        share /= np.bincount(cell, share)[cell]
        none = np.zeros(edges, dtype=np.int64)
        found = PathGroups(
            cell, np.zeros(len(cell), dtype=np.int64), share, factors(len(cell)), rng.integers(cells, size=edges), none,
            rng.random(edges) * thrown, factors(edges, 0.2), rng.random(edges), rng.random(edges), factors(edges, 0.3),
            factors(edges, 0.3), ("",),
        )  # fmt: skip
        levels = 10 ** (rng.normal(3.0, spread, (places, emitters, draws)) / 10.0)
        self._variants[()] = Variant(levels.astype(np.float32), found)


def every_plan(evaluator):
    """Cost and counts (with the target a trifle lower and higher) of every allowed plan."""
    ids = [a.id for a in evaluator.actions]
    by_id = {a.id: a for a in evaluator.actions}
    for size in range(len(ids) + 1):
        for plan in itertools.combinations(ids, size):
            if any(b in by_id[a].excludes for a in plan for b in plan):
                continue
            total = evaluator.after(plan).total_w_m2.max(axis=1)
            cost = sum((by_id[n].cost.low + by_id[n].cost.high) / 2.0 for n in plan)
            yield cost, int((total <= TARGET * (1 - 1e-5)).sum()), int((total <= TARGET * (1 + 1e-5)).sum())


def draws_met(evaluator, ids, target_w_m2) -> int:
    """Draws in which a plan meets the target at every place and period."""
    return round(Goal(target_w_m2).worth(evaluator, ids))


def assert_front_is_exact(evaluator):
    front, _ = pareto_front(evaluator, TARGET)
    plans = sorted(every_plan(evaluator))
    costs = [sum((a.cost.low + a.cost.high) / 2 for a in evaluator.actions if a.id in ids) for ids, _ in front]
    assert costs == sorted(costs)
    assert all(a < b for (_, a), (_, b) in itertools.pairwise(front))
    for cost in sorted({c for c, _, _ in plans}):
        best_low = max(low for c, low, _ in plans if c <= cost + 1e-9)
        best_high = max(high for c, _, high in plans if c <= cost + 1e-9)
        on_front = max(count for c, (_, count) in zip(costs, front, strict=True) if c <= cost + 1e-9)
        assert best_low <= on_front <= best_high, cost
    for ids, count in front:
        assert abs(draws_met(evaluator, ids, TARGET) - count) <= 1


@pytest.mark.calculated("Exhaustive enumeration of all plans")
@pytest.mark.parametrize("seed", range(12))
def test_front_against_every_plan(seed):
    assert_front_is_exact(Invented(seed, 7, rise=0.0 if seed % 3 == 0 else 0.25))


@pytest.mark.calculated("Exhaustive enumeration of all plans")
@pytest.mark.parametrize("seed", range(20, 28))
def test_front_against_every_plan_where_edges_make_the_level(seed):
    """What edges throw outweighs what comes straight, so that a wrong bound of it would lose plans."""
    assert_front_is_exact(Invented(seed, 7, groups=6, edges=40, thrown=3.0, rise=0.25, spread=4.0))


@pytest.mark.calculated("Exhaustive enumeration of all plans")
@pytest.mark.parametrize("actions", [0, 1, 3, 11])
def test_front_against_every_plan_of_other_sizes(actions):
    assert_front_is_exact(Invented(100 + actions, actions, draws=25))


@pytest.mark.calculated("Exhaustive enumeration of all 32768 plans of 15 actions")
def test_front_against_every_plan_of_fifteen():
    assert_front_is_exact(Invented(7, 15, places=2, emitters=2, draws=20, groups=10, edges=4))


@pytest.mark.published("scipy.optimize.milp (HiGHS) on the same problem in linear form")
@pytest.mark.parametrize(("seed", "confidence"), [(1, 0.5), (2, 0.8), (3, 0.9), (4, 0.95)])
def test_cheapest_plan_against_an_integer_programme(seed, confidence):
    emitters, places, draws = 10, 4, 20
    rng = np.random.default_rng(seed)
    evaluator = Invented(seed, emitters, places=places, emitters=emitters, draws=draws, edges=0, groups=0)
    evaluator.kind = Kind.AVERAGE  # averages add; the largest spots of scans do not
    actions = [
        Action(f"off{k}", f"off{k}", ActionKind.SWITCH_OFF, cost=CostRange(c, c))
        for k, c in enumerate(rng.integers(5, 60, emitters).astype(float))
    ]
    scales = [np.where(np.arange(emitters)[:, None] == k, 0.0, 1.0) * np.ones(places) for k in range(emitters)]
    evaluator.actions = tuple(actions)
    evaluator.steady = tuple(Effect(a, s) for a, s in zip(actions, scales, strict=True))
    evaluator.posterior.emitter_ids = tuple(f"e{k}" for k in range(emitters))
    cells, ones = places * emitters, np.ones((emitters, places * emitters))
    nothing = np.zeros(0)
    index = np.zeros(0, dtype=np.int64)
    none = np.ones((emitters, 0))
    groups = PathGroups(np.arange(cells), np.zeros(cells, dtype=np.int64), np.ones(cells), ones, index, index, nothing,
                    none, nothing, nothing, none, none, ("",))  # fmt: skip
    levels = 10 ** (rng.normal(-8.0, 6.0, (places, emitters, draws)) / 10.0)
    evaluator._variants[()] = Variant(levels.astype(np.float32), groups)
    found = choose_with(evaluator, TARGET, confidence=confidence)

    flat = levels.transpose(0, 2, 1).reshape(-1, emitters)
    big = flat.sum(axis=1)
    draw_of = np.tile(np.arange(draws), places)
    fulfilled = np.zeros((len(flat), draws))
    fulfilled[np.arange(len(flat)), draw_of] = big
    rows = np.hstack([-flat, fulfilled])
    enough = np.hstack([np.zeros(emitters), np.ones(draws)])
    cost = np.hstack([[a.cost.low for a in actions], np.zeros(draws)])
    solved = milp(
        cost,
        constraints=[
            LinearConstraint(rows, ub=TARGET - flat.sum(axis=1) + big),
            LinearConstraint(enough, lb=np.ceil(confidence * draws - 1e-9)),
        ],
        integrality=np.ones(emitters + draws),
        bounds=Bounds(0, 1),
    )
    assert solved.success
    assert found.cheapest is not None
    assert found.cheapest.cost == pytest.approx(solved.fun)


def test_nothing_reaches_the_target():
    evaluator = Invented(5, 4)
    found = choose_with(evaluator, 1e-30)
    assert found.cheapest is None
    assert not found.reachable
    assert found.statement.startswith("Nothing on the list reaches")
    assert found.best.probability == 0.0
    assert found.best.action_ids == ()


@pytest.mark.calculated("Exhaustive enumeration of all plans")
@pytest.mark.parametrize("seed", range(6))
def test_lowest_levels_against_every_plan(seed):
    evaluator = Invented(seed, 7, rise=0.0 if seed % 3 == 0 else 0.25)
    as_found = level_held(evaluator, (), 36)
    found, _ = best_plans(evaluator, Goal(as_found, 36))
    by_id = {a.id: a for a in evaluator.actions}
    for size in range(8):
        for plan in itertools.combinations(by_id, size):
            if any(b in by_id[a].excludes for a in plan for b in plan):
                continue
            cost = sum(middle_cost(by_id[n]) for n in plan)
            worst = np.sort(evaluator.after(plan).total_w_m2.max(axis=1))
            fall = 10.0 * np.log10(as_found / worst[35])
            assert max(worth for c, worth, _ in found if c <= cost + 1e-9) >= fall - 0.021
    for _, worth, ids in found:
        assert 10.0 * np.log10(as_found / level_held(evaluator, ids, 36)) == pytest.approx(worth, abs=0.021)


def test_lowest_levels_come_only_if_the_target_is_out_of_reach():
    evaluator = Invented(4, 6)
    out = choose_with(evaluator, 1e-30)
    assert out.lowest[-1].level_w_m2 < out.lowest[0].level_w_m2
    assert "The lowest that can be had" in out.statement
    assert choose_with(evaluator, 1e9).lowest == ()
    poor = choose_with(evaluator, out.lowest[-1].level_w_m2 * 1.001, budget=0.0)
    assert poor.reachable and poor.lowest and all(p.plan.cost == 0.0 for p in poor.lowest)


def test_budget_progress_and_plain_values():
    evaluator, told = Invented(9, 6), []
    found = choose_with(evaluator, TARGET, confidence=0.6, budget=60.0, progress=told.append)
    assert told[-1] == 1.0
    assert told == sorted(told)
    assert found.within_budget is not None
    assert found.within_budget.cost <= 60.0
    assert all(p.probability <= found.within_budget.probability for p in found.curve if p.cost <= 60.0)
    assert json.loads(json.dumps(found.to_dict()))["exact"] is True


def test_a_met_target_needs_nothing():
    found = choose_with(Invented(3, 5), 1e9)
    assert found.cheapest is not None
    assert found.cheapest.action_ids == ()
    assert "already met" in found.statement


def test_moves_and_shields_together_against_every_plan(posterior):
    K = ActionKind
    actions = [
        Action("off", "off", K.SWITCH_OFF, ("base",), cost=CostRange(20, 20)),
        Action("low", "low", K.REDUCE_POWER, ("router",), reduction_db=6.0, cost=CostRange(5, 5)),
        Action("there", "there", K.RELOCATE_EMITTER, ("router",), position=(4.5, 0.5, 1.0), cost=CostRange(30, 30)),
        Action("here", "here", K.RELOCATE_EMITTER, ("router",), position=(0.5, 0.5, 1.0), cost=CostRange(15, 15)),
        Action("bed", "bed", K.MOVE_PLACE, place_id="bed", position=(0.6, 2.0, 0.8), cost=CostRange(0, 0)),
        Action("film", "film", K.SHIELD_SURFACE, surfaces=(SurfaceRef("south", ShieldPart.OPENINGS),), sheet=MESH,
               cost=CostRange(100, 200), excludes=("wall",)),
        Action("wall", "wall", K.SHIELD_SURFACE, surfaces=(SurfaceRef("south"),), sheet=MESH, cost=CostRange(400, 500)),
    ]  # fmt: skip
    target = 6e-3
    found = choose(posterior, actions, target_w_m2=target, confidence=0.9)
    evaluator = Evaluator(posterior, actions, kind=Kind.PEAK)
    ids = [a.id for a in actions]
    best = 0
    for size in range(len(ids) + 1):
        for plan in itertools.combinations(ids, size):
            if {"there", "here"} <= set(plan) or {"film", "wall"} <= set(plan):
                continue
            cost = sum((a.cost.low + a.cost.high) / 2 for a in actions if a.id in plan)
            count = draws_met(evaluator, plan, target)
            best = max(best, count)
            assert any(p.cost <= cost + 1e-9 and p.probability >= (count - 1) / 200 for p in found.curve)
    assert found.best.probability == pytest.approx(best / 200, abs=0.006)
    assert len(found.curve) >= 3


@pytest.mark.parametrize(
    ("more", "match"),
    [
        ({"target_w_m2": 0.0}, "target"),
        ({"confidence": 1.0}, "confidence"),
        ({"budget": -1.0}, "budget"),
        ({"actions": [Action("a", "a", ActionKind.SWITCH_OFF, ("base",), cost=CostRange(5, 1))]}, "costs"),
        ({"actions": [Action(f"a{i}", "a", ActionKind.SWITCH_OFF, ("base",)) for i in range(26)]}, "26 actions"),
        ({"actions": [Action("a", "a", ActionKind.SWITCH_OFF, ("base",), cost=CostRange(0, 1, "EUR")),
                      Action("b", "b", ActionKind.SWITCH_OFF, ("base",), cost=CostRange(0, 1, "CHF"))]}, "currenc"),
    ],
)  # fmt: skip
def test_impossible_questions(posterior, more, match):
    asked = {"target_w_m2": 1e-3, "confidence": 0.9, "budget": None, "actions": []} | more
    actions = asked.pop("actions")
    with pytest.raises(InputError, match=match):
        choose(posterior, actions, **asked)
