"""Scatter of readings: likelihoods against scipy, conditional draws against Gaussian conditioning, tails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.sparse import csr_array

from roomfield.field.noise import TAILS, Noise
from roomfield.field.observation_arrays import LevelRows


def rows(censor=(0, 0, 0, 0)) -> LevelRows:
    """Peak and average of one scan with two emitters on, the same with one of them, at one site."""
    n = len(censor)
    return LevelRows(
        tuple(f"r{i}" for i in range(n)), np.zeros(n, dtype=np.int64), np.array([0, 2, 0, 2])[:n],
        np.zeros(n, dtype=np.int64), np.array([0, 0, 1, 1])[:n], np.zeros(n), np.array(censor),
        np.ones((n, 2), dtype=bool), np.full(n, 0.5), np.zeros(n), np.full(n, np.nan), np.full(n, np.nan),
        np.zeros(n, dtype=bool), np.full(n, 5.0), np.tile([0, 1], (n, 1)), np.ones(n), np.zeros((n, 2)),
        np.zeros(n),
    )  # fmt: skip


def noise(censor=(0, 0, 0, 0)) -> Noise:
    shares = np.array([[0.5, 0.5], [0.5, 0.5], [1.0, 0.0], [1.0, 0.0]])
    return Noise(
        rows(censor), np.array([1.0, 1.0]), np.array([1.5, 1.0]), np.array([1.2, 0.9]), shares[: len(censor)],
        np.ones(len(censor)),
    )  # fmt: skip


def covariance(made: Noise) -> np.ndarray:
    return np.linalg.inv((made.white.sparse().T @ made.white.sparse()).toarray())


@pytest.mark.published("scipy.stats.multivariate_normal")
def test_values_have_the_density_of_a_joint_normal():
    made, residual = noise(), np.array([[0.3, -1.0, 2.0, 0.5], [0.0, 0.0, 0.0, 0.0]])
    exact = stats.multivariate_normal(np.zeros(4), covariance(made)).logpdf(residual)
    found, _ = made.log_likelihood(residual)
    assert np.diff(found) == pytest.approx(np.diff(exact))


def test_covariance_is_that_of_the_parts_added_up():
    """Peak and average of one scan share repeatability and fading, but not the crest."""
    table = covariance(noise())
    fading, crest = 0.25 * (1.5**2 + 1.0**2), 0.25 * (1.2**2 + 0.9**2)
    assert table[0, 1] == pytest.approx(1.0 + fading)
    assert table[0, 0] == pytest.approx(0.64 + 1.0 + fading + crest)
    assert table[0, 2] == pytest.approx(0.5 * (1.5**2 + 1.2**2))
    assert table[1, 3] == pytest.approx(0.5 * 1.5**2)


@pytest.mark.published("scipy.stats.t.cdf")
@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("far_db", [1.0, -1.0, -60.0])
def test_a_bound_counts_by_its_probability_with_the_tails_of_a_reading(side, far_db):
    made = noise((side,))
    std = np.sqrt(made.variance[0])
    found, pull = made.log_likelihood(np.array([[-side * far_db]]))
    assert found[0] == pytest.approx(stats.t(TAILS).logcdf(far_db / std))
    exact = stats.t(TAILS).pdf(far_db / std) / stats.t(TAILS).cdf(far_db / std) / std
    assert pull[0, 0] == pytest.approx(side * exact)


@pytest.mark.parametrize("censor", [(0, 0, 0, 0), (0, -1, 0, 1)])
def test_the_pull_is_the_slope_by_the_level(censor):
    made, residual = noise(censor), np.array([0.5, -0.4, 1.0, 0.7])
    slope = optimize.approx_fprime(residual, lambda r: made.log_likelihood(r[None])[0][0], 1e-6)
    assert made.log_likelihood(residual[None])[1][0] == pytest.approx(-slope, abs=1e-5)
    bent = made.curved(residual, np.eye(4), csr_array(np.eye(4)))
    assert bent.slope == pytest.approx(-slope, abs=1e-5)
    assert bent.sparse_slope == pytest.approx(-slope, abs=1e-5)
    assert np.all(np.linalg.eigvalsh(bent.plain) >= -1e-12)
    assert bent.mixed == pytest.approx(bent.plain)
    assert bent.sparse.toarray() == pytest.approx(bent.plain)


@pytest.mark.calculated("Conditional normal distribution: C_us C_ss^-1 z and C_uu - C_us C_ss^-1 C_su")
def test_draws_of_fading_and_crest_are_conditional_normal():
    made, residual = noise(), np.array([3.0, 1.0, 2.0, -1.0])
    fading, crest = made.draw_shared(np.tile(residual, (40000, 1)), 1, np.random.default_rng(3))
    loads = np.hstack([load for load, _ in made.shared])
    prior = np.diag(np.concatenate([made.fading_std_db, made.crest_std_db]) ** 2)
    cross = prior @ loads.T
    inverse = (made.white.sparse().T @ made.white.sparse()).toarray()
    drawn = np.concatenate([fading[..., 0], crest[..., 0]], axis=1)
    assert drawn.mean(axis=0) == pytest.approx(cross @ inverse @ residual, abs=0.03)
    assert np.cov(drawn.T) == pytest.approx(prior - cross @ inverse @ cross.T, abs=0.04)


@pytest.mark.published("scipy.stats.t.fit with the degrees of freedom and the scale held")
def test_weights_lead_to_the_centre_of_a_t_distribution():
    """Repeated weighting of independent readings of one value ends at the maximum of Student's likelihood."""
    data = np.concatenate([stats.norm(0.0, 0.8).rvs(30, random_state=4), [9.0, 12.0]])
    n = len(data)
    alone = LevelRows(
        tuple(map(str, range(n))), np.arange(n), np.full(n, 2), np.zeros(n, dtype=np.int64), np.arange(n), data,
        np.zeros(n, dtype=np.int64), np.ones((n, 1), dtype=bool), np.zeros(n), np.zeros(n), np.full(n, np.nan),
        np.full(n, np.nan), np.zeros(n, dtype=bool), np.full(n, 30.0), np.zeros((n, 1), dtype=np.int64), np.ones(n),
        np.zeros((n, 1)), np.zeros(n),
    )  # fmt: skip
    made = Noise(alone, np.full(n, 1e-3), np.zeros(1), np.zeros(1), np.ones((n, 1)), np.ones(n))
    centre = data.mean()
    for _ in range(60):
        made = replace(made, weights=made.tail_weights(data - centre))
        precise = 1.0 / made.variance
        centre = float(np.sum(precise * data) / precise.sum())
    _, exact, _ = stats.t.fit(data, f0=TAILS, fscale=0.8)
    assert centre == pytest.approx(exact, abs=0.01)
    assert abs(centre) < 0.3 < abs(data.mean())
    assert made.weights[-1] < 0.05
