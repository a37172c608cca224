"""Levels from points alone on simulated places that the model does not describe, beside what others' codes reach.

A place is a grid of rooms with walls along its axes, a transmitter with an uneven antenna, shadowing and scatter, all
sizes drawn from wide ranges. Peers: scikit-learn's Gaussian process, PyKrige's ordinary kriging, least squares.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from roomfield.field.points import infer_points

PLACES = 36
READ = 12


@dataclass(frozen=True)
class Place:
    points: np.ndarray
    level_db: np.ndarray
    emitter: np.ndarray


def place(rng: np.random.Generator) -> Place:
    """Walls of 3.4 or 6.9 dB (COST 231 multi-wall model, from memory); shadowing as ITU-R P.1238 orders it."""
    size = rng.uniform((8.0, 6.0), (30.0, 18.0))
    points = np.column_stack([rng.uniform((0.0, 0.0), size, (90, 2)), np.full(90, 1.2)])
    emitter = np.append(rng.uniform(0.0, size), 2.0)
    offset = points - emitter
    level = -35.0 - 10.0 * rng.uniform(1.8, 3.0) * np.log10(np.linalg.norm(offset, axis=1))
    for axis in (0, 1):
        walls = np.cumsum(rng.uniform(2.5, 7.0, 20))
        loss = rng.choice([0.0, 3.4, 6.9], 20, p=[0.3, 0.45, 0.25])
        low, high = np.sort([points[:, axis], np.full(90, emitter[axis])], axis=0)
        level -= ((walls > low[:, None]) & (walls < high[:, None])) @ loss
    towards = offset[:, :2] / np.linalg.norm(offset[:, :2], axis=1)[:, None]
    turn = rng.uniform(0.0, 2.0 * np.pi)
    level += rng.uniform(0.0, 4.0) * towards @ np.array([np.cos(turn), np.sin(turn)])
    shadow = rng.uniform(1.5, 5.0) ** 2 * np.exp(-cdist(points, points) / rng.uniform(0.7, 5.0))
    level += np.linalg.cholesky(shadow + 1e-9 * np.eye(90)) @ rng.standard_normal(90)
    return Place(points, level + rng.uniform(1.0, 3.5) * rng.standard_normal(90), emitter)


def rmse(found: np.ndarray, here: Place) -> float:
    return float(np.sqrt(np.mean((found - here.level_db[READ:]) ** 2)))


def by_distance(here: Place) -> tuple[np.ndarray, np.ndarray]:
    """Least squares on the logarithm of distance, at least 0.5 m: fit and prediction."""
    d = np.maximum(np.linalg.norm(here.points - here.emitter, axis=1), 0.5)
    law = np.column_stack([np.ones(90), -10.0 * np.log10(d)])
    fit = law @ np.linalg.lstsq(law[:READ], here.level_db[:READ], rcond=None)[0]
    return fit[:READ], fit[READ:]


def by_process(here: Place, base: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    kernel = ConstantKernel(30.0, (0.1, 1e4)) * Matern(3.0, (0.2, 100.0), nu=1.5) + WhiteKernel(9.0, (0.1, 1e3))
    process = GaussianProcessRegressor(kernel, normalize_y=True)
    process.fit(here.points[:READ, :2], here.level_db[:READ] - base[0])
    return process.predict(here.points[READ:, :2]) + base[1]


def by_kriging(here: Place) -> np.ndarray:
    from pykrige.ok import OrdinaryKriging

    known = here.points[:READ]
    model = OrdinaryKriging(known[:, 0], known[:, 1], here.level_db[:READ], variogram_model="exponential")
    return np.asarray(model.execute("points", here.points[READ:, 0], here.points[READ:, 1])[0])


@pytest.mark.published("scikit-learn GaussianProcessRegressor and PyKrige OrdinaryKriging as peers on the same points")
def test_better_than_others_where_walls_are_hidden() -> None:
    """Geometric mean over places of the ratio of errors; the peer closest by is fitted line and process together."""
    pytest.importorskip("sklearn")
    pytest.importorskip("pykrige")
    rng = np.random.default_rng(20)
    ratios, inside = [], []
    for _ in range(PLACES):
        here = place(rng)
        levels = infer_points(
            here.points[:READ], here.level_db[:READ], emitter_positions={"": here.emitter},
            extent_m=float(np.linalg.norm(np.ptp(here.points, axis=0))),
        ).levels(here.points[READ:])  # fmt: skip
        low, high = levels.interval_db(0.9)
        inside.append(np.mean((here.level_db[READ:] >= low) & (here.level_db[READ:] <= high)))
        line, flat = by_distance(here), (np.zeros(READ), np.zeros(90 - READ))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            peers = [line[1], by_process(here, flat), by_kriging(here), by_process(here, line)]
        ratios.append([rmse(levels.mean_db, here) / rmse(found, here) for found in peers])
    line, process, kriging, both = np.exp(np.mean(np.log(ratios), axis=0))
    assert max(line, process, kriging) < 0.88
    assert both < 0.94
    assert 0.86 < np.mean(inside) < 0.96
