"""Speed of the exact choice of a plan on invented problems: 30 places, 6 emitters, 500 draws.

Run as ``python -m benchmarks.plans``. Shields work on a part of the paths, silencing on one emitter; all costs
differ, so that the curve has many points. The last line is one JSON object.
"""

from __future__ import annotations

import json
import time
from types import SimpleNamespace

import numpy as np

from roomfield.quantities import Kind
from roomfield.remedy.choice import pareto_front
from roomfield.remedy.effects import Effect, TargetColumn
from roomfield.remedy.evaluator import Evaluator, Variant
from roomfield.remedy.path_groups import PathGroups
from roomfield.survey import Emitter
from roomfield.survey.action import Action, ActionKind, CostRange

PLACES, EMITTERS, DRAWS, GROUPS_PER_CELL, EDGES_PER_CELL = 30, 6, 500, 60, 15


class InventedHome(Evaluator):
    """Groups of paths, factors and draws at random, with the sizes of a real home."""

    def __init__(self, seed: int, actions: int) -> None:
        rng = np.random.default_rng(seed)
        cost = rng.integers(5, 900, actions).astype(float)
        self.actions = tuple(
            Action(f"a{i}", f"a{i}", ActionKind.SHIELD_SURFACE, cost=CostRange(c, c)) for i, c in enumerate(cost)
        )
        self.places = tuple(SimpleNamespace(id=f"p{i}", name=f"p{i}") for i in range(PLACES))
        self.columns = tuple(TargetColumn(i, False) for i in range(PLACES))
        self.kind, self.moving = Kind.PEAK, ()
        self.posterior = SimpleNamespace(
            x=np.zeros((DRAWS, 1)), seed=seed, emitter_ids=tuple(f"e{i}" for i in range(EMITTERS)),
            survey=SimpleNamespace(emitters=tuple(Emitter(f"e{i}", "") for i in range(EMITTERS))),
            radiators=SimpleNamespace(frequencies_hz=np.full(EMITTERS, 2e9)),
        )  # fmt: skip
        shields = rng.random(actions) < 0.6
        scales = [np.ones((EMITTERS, PLACES)) for _ in cost]
        for a in np.flatnonzero(~shields):
            scales[a][rng.integers(EMITTERS)] = rng.choice([0.0, 0.1, 0.25])
        self.steady = tuple(Effect(a, s) for a, s in zip(self.actions, scales, strict=True))
        cells = PLACES * EMITTERS
        cell = np.repeat(np.arange(cells), GROUPS_PER_CELL)
        share = rng.random(len(cell)) ** 4
        share /= np.bincount(cell, share)[cell]
        edge = np.repeat(np.arange(cells), EDGES_PER_CELL)
        factor = through(rng, shields, len(cell))
        groups = PathGroups(
            cell, np.zeros(len(cell), dtype=np.int64), share, factor, edge, np.zeros(len(edge), dtype=np.int64),
            rng.random(len(edge)) * 0.01, through(rng, shields, len(edge)), rng.random(len(edge)),
            rng.random(len(edge)), np.sqrt(through(rng, shields, len(edge))), np.sqrt(through(rng, shields, len(edge))),
            ("",),
        )  # fmt: skip
        levels = 10 ** (
            (rng.normal(0.0, 6.0, (PLACES, EMITTERS, 1)) + rng.normal(0.0, 3.0, (1, EMITTERS, DRAWS))) / 10.0
        )
        self._variants = {(): Variant(levels.astype(np.float32), groups)}


def through(rng: np.random.Generator, shields: np.ndarray, count: int) -> np.ndarray:
    """Factors: a shield weakens a fifth of the paths by 20 to 40 dB and strengthens some reflections."""
    table = np.ones((len(shields), count))
    hit = (rng.random(table.shape) < 0.2) & shields[:, None]
    table[hit] = 10 ** rng.uniform(-4.0, -2.0, hit.sum())
    rise = (rng.random(table.shape) < 0.03) & shields[:, None] & ~hit
    table[rise] = 10 ** rng.uniform(0.0, 0.5, rise.sum())
    return table


def main() -> None:
    pareto_front(InventedHome(0, 5), 10.0)
    result = {}
    for actions in (15, 20, 25):
        times = []
        for seed in range(3):
            home = InventedHome(seed, actions)
            levels = home.after(()).total_w_m2.max(axis=1)
            best = home.after([a.id for a in home.actions]).total_w_m2.max(axis=1)
            target = float(np.sqrt(np.quantile(levels, 0.5) * np.quantile(best, 0.5)))
            wall, cpu = time.perf_counter(), time.process_time()
            front, nodes = pareto_front(home, target)
            wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
            times.append(cpu)
            print(
                f"{actions} actions: {cpu:.2f} s processor, {wall:.2f} s, {nodes} nodes, {len(front)} points",
                flush=True,
            )
        result[f"cpu_s_{actions}_actions_worst"] = round(max(times), 2)
    print(json.dumps(result))


if __name__ == "__main__":
    main()
