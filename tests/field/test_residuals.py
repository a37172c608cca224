"""Gaussian-process equations against reference codes and published geostatistics."""

from __future__ import annotations

import csv
import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.distance import cdist

from roomfield.field.residuals import (
    LevelMixture,
    Weighted,
    average_over,
    condition,
)

RNG = np.random.default_rng(3)
POINTS = RNG.uniform(0.0, 8.0, (14, 2))
NEW = RNG.uniform(0.0, 8.0, (9, 2))
VALUES = RNG.normal(-50.0, 6.0, 14)
NUGGET, SILL, RANGE_M = 0.05065971, 0.59060511, 897.0011


def covariance(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return 36.0 * np.exp(-cdist(a, b) / 2.5)


@pytest.fixture(scope="module")
def meuse() -> tuple[np.ndarray, np.ndarray]:
    """Topsoil zinc at 155 places by the river Meuse, as scikit-gstat carries it; nothing of that package runs."""
    package = importlib.util.find_spec("skgstat")
    if package is None or package.origin is None:
        pytest.skip("scikit-gstat is not installed")
    with (Path(package.origin).parent / "data" / "samples" / "meuse.txt").open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    points = np.array([[float(r["x"]), float(r["y"])] for r in rows])
    return points, np.log([float(r["zinc"]) for r in rows])


def spherical(distance_m: np.ndarray, sill: float, range_m: float) -> np.ndarray:
    h = np.minimum(distance_m / range_m, 1.0)
    return sill * (1.5 * h - 0.5 * h**3)


@pytest.mark.published(
    "Rasmussen and Williams 2006, algorithm 2.1, as coded in scikit-learn's GaussianProcessRegressor"
)
def test_conditioning_agrees_with_scikit_learn() -> None:
    kernels = pytest.importorskip("sklearn.gaussian_process.kernels")
    gaussian = pytest.importorskip("sklearn.gaussian_process")
    kernel = kernels.ConstantKernel(36.0) * kernels.Matern(length_scale=2.5, nu=0.5)
    oracle = gaussian.GaussianProcessRegressor(kernel, alpha=4.0, optimizer=None).fit(POINTS, VALUES + 50.0)
    mean, std = oracle.predict(NEW, return_std=True)
    given = condition(covariance(POINTS, POINTS), np.full(14, -50.0), VALUES, 4.0)
    ours, variance = given.predict(np.full(9, -50.0), covariance(POINTS, NEW), np.full(9, 36.0))
    np.testing.assert_allclose(ours + 50.0, mean, atol=1e-9)
    np.testing.assert_allclose(np.sqrt(variance), std, atol=1e-7)
    assert given.log_evidence == pytest.approx(oracle.log_marginal_likelihood_value_, abs=1e-9)


@pytest.mark.published("PyKrige 1.7 OrdinaryKriging on Meuse with the published spherical model")
def test_vague_mean_makes_ordinary_kriging(meuse: tuple[np.ndarray, np.ndarray]) -> None:
    kriging = pytest.importorskip("pykrige.ok")
    points, values = meuse
    new = points[:7] + 35.0
    oracle = kriging.OrdinaryKriging(
        *points.T, values, variogram_model="spherical",
        variogram_parameters={"psill": SILL, "range": RANGE_M, "nugget": NUGGET},
    )  # fmt: skip
    mean, variance = oracle.execute("points", *new.T)
    vague = 1e4

    def cov(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return vague + SILL - spherical(cdist(a, b), SILL, RANGE_M)

    given = condition(cov(points, points), np.zeros(155), values, NUGGET)
    ours, spread = given.predict(np.zeros(7), cov(points, new), np.full(7, vague + SILL))
    np.testing.assert_allclose(ours, np.asarray(mean), atol=2e-4)
    np.testing.assert_allclose(spread + NUGGET, np.asarray(variance), atol=2e-4)


def test_averaging_finds_a_known_posterior() -> None:
    """A normal prior and a normal likelihood have a posterior in closed form (conjugacy)."""
    centre, std = np.array([1.5, -1.0, 0.3]), np.array([0.4, 0.8, 2.0])
    found = average_over(lambda z: -0.5 * np.sum(((z - centre) / std) ** 2, axis=1), 3)
    expected = centre / (1.0 + std**2)
    spread = std / np.sqrt(1.0 + std**2)
    mean = found.weights @ found.points
    np.testing.assert_allclose(mean, expected, atol=0.05)
    np.testing.assert_allclose(np.sqrt(found.weights @ (found.points - mean) ** 2), spread, rtol=0.12)
    assert found.weights.sum() == pytest.approx(1.0)
    assert found.effective > 40
    exact = -0.5 * np.sum(centre**2 / (1.0 + std**2)) + 0.5 * np.sum(np.log(std**2 / (1.0 + std**2)))
    assert found.log_evidence == pytest.approx(exact, abs=0.03)


def test_thinning_keeps_means() -> None:
    """Systematic resampling: counts differ from their expectation by less than one."""
    weights = np.random.default_rng(1).dirichlet(np.full(200, 0.2))
    some, share = Weighted(np.zeros((200, 1)), weights).thinned(32)
    assert share.sum() == pytest.approx(1.0)
    assert np.all(np.abs(share - weights[some]) < 1.0 / 32)
    assert len(some) <= 32


def test_mixture_of_one_is_normal() -> None:
    one = LevelMixture(np.array([[-40.0, -50.0]]), np.array([[3.0, 5.0]]), np.array([1.0]))
    np.testing.assert_allclose(one.quantile_db(0.95), stats.norm.ppf(0.95, [-40.0, -50.0], [3.0, 5.0]), atol=1e-6)
    low, high = one.interval_db(0.5)
    np.testing.assert_allclose(high - low, 2 * stats.norm.ppf(0.75) * np.array([3.0, 5.0]), atol=1e-6)
    np.testing.assert_allclose(one.std_db, [3.0, 5.0])


def test_mixture_spread_includes_that_between_components() -> None:
    two = LevelMixture(np.array([[-40.0], [-60.0]]), np.array([[1.0], [1.0]]), np.array([0.25, 0.75]))
    assert two.mean_db[0] == pytest.approx(-55.0)
    assert two.std_db[0] == pytest.approx(np.sqrt(1.0 + 0.25 * 15.0**2 + 0.75 * 5.0**2))
    assert two.cdf(-50.0)[0] == pytest.approx(0.75, abs=1e-6)
