"""Intervals with an unknown likeness of neighbours: against matrices written out, SciPy, and a known truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from roomfield.logs import autocorrelation
from roomfield.logs.intervals import mean_interval, median_interval


def wandering(rng: np.random.Generator, n: int, phi: float) -> np.ndarray:
    """A stationary AR(1) series of unit variance."""
    noise = rng.normal(size=n) * np.sqrt(1 - phi**2)
    noise[0] = rng.normal()
    for i in range(1, n):
        noise[i] += phi * noise[i - 1]
    return noise


GAPPY = np.array([3.0, 2.5, np.nan, 4.0, 3.7, np.nan, np.nan, 2.0, 2.2, 5.0])


@pytest.mark.published(
    "restricted likelihood of a general linear model: Harville, JASA 72 (1977) 320-338, by explicit matrices"
)
@pytest.mark.parametrize("values", [GAPPY, np.array([1.0, 5.0, 2.0]), np.arange(12.0) ** 1.5])
def test_the_likelihood_without_matrices_is_that_with_matrices(values):
    at = np.flatnonzero(np.isfinite(values))
    y = values[at] - values[at].mean()
    weight, variance = autocorrelation._likelihood(y, np.diff(at))
    expected, spreads = [], []
    for phi in autocorrelation._CORRELATION[:, 0]:
        matrix = np.array([[float(phi) ** abs(int(i) - int(j)) for i in at] for j in at])
        inverse, ones = np.linalg.inv(matrix), np.ones(at.size)
        information = ones @ inverse @ ones
        rest = y - (ones @ inverse @ y) / information
        squares, degrees = rest @ inverse @ rest, at.size - 1
        spreads.append(squares / degrees)
        expected.append(-0.5 * (np.linalg.slogdet(matrix)[1] + np.log(information) + degrees * np.log(squares)))
    expected = autocorrelation._WEIGHTS * np.exp(np.array(expected) - max(expected))
    assert weight == pytest.approx(expected / expected.sum(), rel=1e-8)
    assert variance == pytest.approx(spreads, rel=1e-8)


@pytest.mark.published(
    "variance of the mean of a stationary series: Box, Jenkins, Reinsel, Time Series Analysis, 2.1.5"
)
@pytest.mark.parametrize("at", [np.arange(9), np.flatnonzero(np.isfinite(GAPPY)), np.array([0, 40, 41])])
def test_the_variance_of_a_mean_is_the_mean_of_the_covariances(at):
    found = autocorrelation._mean_variance(at)
    lags = np.abs(at[:, None] - at[None, :])
    expected = [np.mean([float(phi) ** int(k) for k in lags.ravel()]) for phi in autocorrelation._CORRELATION[:, 0]]
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.published("scipy.stats.t, scipy.optimize.brentq")
def test_the_quantile_of_a_mixture():
    weight, spread = np.array([0.2, 0.5, 0.3]), np.array([0.1, 1.0, 30.0])
    for freedom in (2, 13):
        found = autocorrelation._mixture_quantile(weight, spread, freedom, 0.95)
        exact = optimize.brentq(
            lambda q, f=freedom: float(np.sum(weight * (1 - 2 * stats.t.sf(q / spread, f)))) - 0.95, 0.1, 1e4
        )
        assert found == pytest.approx(exact, rel=5e-3)
        assert found >= exact * (1 - 1e-9)


@pytest.mark.parametrize("days", [3, 5, 7, 14, 30])
@pytest.mark.parametrize("phi", [0.0, 0.5, 0.7])
def test_a_short_log_is_not_too_sure_of_its_mean(days, phi):
    """Lognormal days; the truth is exp(0.08). 400 trials: one sigma is 1.1 to 1.4 %; 92 % is the least in the long run."""
    rng = np.random.default_rng(days)
    hits = 0
    for _ in range(400):
        found = mean_interval(np.exp(0.4 * wandering(rng, days, phi)))
        hits += found.low <= np.exp(0.08) <= found.high
    assert hits / 400 >= 0.88


@pytest.mark.parametrize(("days", "phi", "least"), [(14, 0.0, 0.93), (14, 0.5, 0.92), (30, 0.5, 0.93), (30, 0.7, 0.89)])
def test_a_short_log_is_not_too_sure_of_its_median_where_it_names_an_interval(days, phi, least):
    rng = np.random.default_rng(days)
    found = [median_interval(np.exp(0.4 * wandering(rng, days, phi))) for _ in range(400)]
    named = [one.low <= 1.0 <= one.high for one in found if one.low is not None]
    assert len(named) >= 150
    assert np.mean(named) >= least


def test_a_known_variance_needs_no_t():
    values = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, -1.0, 1.0])
    assert autocorrelation.half_width(values, 0.95, known_variance=1.0) < autocorrelation.half_width(values, 0.95)
