"""Counted walls: used where they say something, and hardly in the way where they do not (shelves, glass)."""

from __future__ import annotations

import numpy as np
import pytest

from roomfield.field.points import infer_points


def simulated(seed: int, loss_db: float):
    """Twelve readings and sixty points of one emitter in a hall of five by two walls, shadowing of 3.5 dB over 4 m."""
    rng = np.random.default_rng([seed, 977])
    count = 72
    xy, emitter = rng.uniform(0.0, [30.0, 18.0], (count, 2)), rng.uniform(0.0, [30.0, 18.0], 2)
    across, along = np.sort(rng.uniform(2.0, 28.0, 5)), np.sort(rng.uniform(2.0, 16.0, 2))
    counts = np.column_stack([
        ((xy[:, :1] - across) * (emitter[0] - across) < 0.0).sum(axis=1),
        ((xy[:, 1:] - along) * (emitter[1] - along) < 0.0).sum(axis=1),
    ]).astype(float)  # fmt: skip
    gap = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    shadow = np.linalg.cholesky(3.5**2 * np.exp(-gap / 4.0) + 1e-6 * np.eye(count)) @ rng.standard_normal(count)
    away = np.maximum(np.linalg.norm(xy - emitter, axis=1), 1.0)
    level = -40.0 - 22.0 * np.log10(away) - loss_db * counts.sum(axis=1) + shadow + rng.normal(0.0, 2.0, count)
    return xy, level, emitter, counts


def error(seed: int, loss_db: float, *, counted: bool) -> float:
    """Root mean square error over the sixty points [dB]."""
    xy, level, emitter, counts = simulated(seed, loss_db)
    known, asked = slice(0, 12), slice(12, None)
    found = infer_points(
        xy[known], level[known], emitter_positions={"": emitter}, wall_counts=counts[known] if counted else None
    ).levels(xy[asked], wall_counts=counts[asked] if counted else None)
    return float(np.sqrt(np.mean((found.mean_db - level[asked]) ** 2)))


@pytest.fixture(scope="module")
def errors():
    """Mean over twelve halls, by loss of a wall and whether walls were counted."""
    return {
        (loss, counted): float(np.mean([error(seed, loss, counted=counted) for seed in range(12)]))
        for loss in (0.0, 4.5)
        for counted in (True, False)
    }


def test_counts_that_say_nothing_cost_little(errors):
    """They cost 0.5 dB of 3.9 while every counted wall had to lose 3.5 dB, give or take 2."""
    assert errors[0.0, True] < errors[0.0, False] + 0.25


def test_counts_that_say_much_are_used(errors):
    assert errors[4.5, True] < errors[4.5, False] - 0.5
