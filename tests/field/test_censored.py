"""Bounds in a Gaussian model against truncated distributions computed by others."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from roomfield.field.censored import sites_of
from roomfield.field.residuals import condition


def posterior_of(covariance: np.ndarray, mean: np.ndarray, level: np.ndarray, censor: np.ndarray, noise: float):
    sites = sites_of(covariance, mean, level, censor, noise)
    given = condition(covariance, mean, sites.values, sites.variances)
    return *given.predict(mean, covariance, np.diag(covariance)), given.log_evidence + sites.log_correction


@pytest.mark.published("scipy.stats.truncnorm: moments of a normal distribution cut off at a bound")
@pytest.mark.parametrize("side", [-1, 1])
def test_one_bound_without_noise_is_a_truncated_normal(side: int) -> None:
    mean, std, bound = -60.0, 6.0, -62.0
    middle, spread, _ = posterior_of(np.array([[std**2]]), np.array([mean]), np.array([bound]), np.array([side]), 1e-3)
    z = (bound - mean) / std
    cut = stats.truncnorm(*((-np.inf, z) if side < 0 else (z, np.inf)), loc=mean, scale=std)
    assert middle[0] == pytest.approx(cut.mean(), abs=2e-3)
    assert spread[0] == pytest.approx(cut.var(), rel=2e-3)


def test_evidence_of_a_bound_is_its_probability() -> None:
    _, _, log_evidence = posterior_of(np.array([[25.0]]), np.array([-50.0]), np.array([-55.0]), np.array([-1]), 2.0)
    assert log_evidence == pytest.approx(stats.norm.logcdf(-5.0 / np.sqrt(29.0)), abs=1e-6)


def test_value_and_bound_together_agree_with_quadrature() -> None:
    covariance = np.array([[36.0, 25.0], [25.0, 36.0]])
    level, noise = np.array([-58.0, -60.0]), 2.0
    middle, spread, _ = posterior_of(covariance, np.full(2, -52.0), level, np.array([0, -1]), noise)
    grid = np.linspace(-100.0, -10.0, 1201)
    a, b = np.meshgrid(grid, grid, indexing="ij")
    prior = stats.multivariate_normal([-52.0, -52.0], covariance).pdf(np.dstack([a, b]))
    weight = prior * stats.norm.pdf(level[0], a, noise) * stats.norm.cdf((level[1] - b) / noise)
    mass = integrate.trapezoid(integrate.trapezoid(weight, grid), grid)
    exact = integrate.trapezoid(integrate.trapezoid(weight * b, grid), grid) / mass
    square = integrate.trapezoid(integrate.trapezoid(weight * b**2, grid), grid) / mass
    assert middle[1] == pytest.approx(exact, abs=0.02)
    assert spread[1] == pytest.approx(square - exact**2, rel=0.02)


def test_no_bound_leaves_the_readings_alone() -> None:
    sites = sites_of(np.eye(3), np.zeros(3), np.array([1.0, 2.0, 3.0]), np.zeros(3, dtype=np.int64), 0.5)
    assert sites.values.tolist() == [1.0, 2.0, 3.0]
    assert sites.variances.tolist() == [0.25] * 3
    assert sites.log_correction == 0.0
