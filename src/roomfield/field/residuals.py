"""Gaussian-process equations, and averaging over their scales by adaptive importance sampling.

Equations: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), algorithm 2.1. The scales are
not fitted but averaged over, weighted by evidence times prior: with a dozen readings a single best value
understates what is not known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from roomfield.field.point_kernels import factored, lower_solved, mixture_quantile

Array = NDArray[np.float64]
NEWTON_STEPS = 60
QUANTILE_ACCURACY = 1e-10
LogEvidence = Callable[[Array], Array]


@dataclass(frozen=True)
class ConditionedProcess:
    """A Gaussian process given readings.

    Parameters
    ----------
    factor : ndarray, shape (n, n)
        Lower Cholesky factor of the covariance of the readings, noise included.
    whitened : ndarray, shape (n,)
        The factor's solution for readings minus mean.
    log_evidence : float
        Log density of the readings.
    """

    factor: Array
    whitened: Array
    log_evidence: float

    def predict(self, mean: Array, cross: Array, variance: Array) -> tuple[Array, Array]:
        """Mean and variance at new links.

        Parameters
        ----------
        mean, variance : ndarray, shape (p,)
            Prior mean and variance there [dB, dB²].
        cross : ndarray, shape (n, p)
            Covariance of readings and new links [dB²].
        """
        half = lower_solved(self.factor, np.ascontiguousarray(cross))
        return mean + np.einsum("i,ij->j", self.whitened, half), np.maximum(variance - np.sum(half**2, axis=0), 0.0)


def condition(covariance: Array, mean: Array, values: Array, noise_variance: Array | float) -> ConditionedProcess:
    """Condition a Gaussian process on noisy values.

    Parameters
    ----------
    covariance : ndarray, shape (n, n)
        Prior covariance without noise.
    mean, values : ndarray, shape (n,)
        Prior mean and readings.
    noise_variance : ndarray, shape (n,), or float
        Variance of each reading.
    """
    total = covariance + np.diag(np.broadcast_to(np.asarray(noise_variance, dtype=np.float64), (len(values),)))
    factor = np.tril(factored(total))
    whitened = lower_solved(factor, (values - mean)[:, None])[:, 0]
    half_log_det = float(np.sum(np.log(np.diag(factor))))
    constant = 0.5 * len(values) * np.log(2.0 * np.pi)
    return ConditionedProcess(factor, whitened, float(-0.5 * whitened @ whitened - half_log_det - constant))


@dataclass(frozen=True)
class Weighted:
    """Points of a standard-normal space with weights.

    Parameters
    ----------
    points : ndarray, shape (s, k)
        Standardised values.
    weights : ndarray, shape (s,)
        Adding up to 1.
    log_evidence : float
        Log of the prior's mean of the likelihood.
    """

    points: Array
    weights: Array
    log_evidence: float = 0.0

    def thinned(self, count: int) -> tuple[NDArray[np.int64], Array]:
        """Systematic choice: indices of at most ``count`` points and how often each was chosen, as weights.

        Parameters
        ----------
        count : int
            Equal steps through the cumulated weights (Kitagawa, J. Comput. Graph. Stat. 5, 1996, section 2.2).
        """
        order = np.argsort(-self.weights, kind="stable")
        steps = (np.arange(count) + 0.5) / count
        hit = np.minimum(np.searchsorted(np.cumsum(self.weights[order]), steps), len(order) - 1)
        chosen, times = np.unique(order[hit], return_counts=True)
        return chosen.astype(np.int64), times / count

    @property
    def effective(self) -> float:
        """How many equal weights these are worth."""
        return float(1.0 / np.sum(self.weights**2))


def average_over(
    log_evidence: LogEvidence, dimension: int, *, seed: int = 0, size: int = 64, rounds: int = 2
) -> Weighted:
    """Weighted points of a posterior whose prior is standard normal.

    Parameters
    ----------
    log_evidence : callable
        Log likelihood of each row of points, shape (s, k).
    dimension : int
        Number of values k.
    size : int
        Points per round, a power of two.
    rounds : int
        Rounds after the first; each draws from a Gaussian fitted to the weighted points so far.

    Notes
    -----
    Adaptive importance sampling with the mixture of all proposals as denominator (Cornuet et al., Adaptive
    multiple importance sampling, Scand. J. Stat. 39, 2012); quasi-random points, so the same seed gives the same
    answer.
    """
    proposals = [(np.zeros(dimension), np.eye(dimension))]
    points, log_target = np.zeros((0, dimension)), np.zeros(0)
    for index in range(rounds + 1):
        mean, covariance = proposals[-1]
        uniform = qmc.Sobol(dimension, scramble=True, seed=seed + index).random(size)
        fresh = mean + ndtri(np.clip(uniform, 1e-9, 1.0 - 1e-9)) @ np.linalg.cholesky(covariance).T
        values = log_evidence(fresh) - 0.5 * np.sum(fresh**2, axis=1)
        points, log_target = np.vstack([points, fresh]), np.concatenate([log_target, values])
        log_weights = log_target - _log_mixture(points, proposals)
        if index < rounds:
            proposals.append(_fitted(points, log_weights))
    weights = np.exp(log_weights - log_weights.max())
    mean = weights.sum() / size
    return Weighted(points, weights / weights.sum(), float(log_weights.max() + np.log(mean)))


def _log_mixture(points: Array, proposals: list[tuple[Array, Array]]) -> Array:
    terms = []
    for mean, covariance in proposals:
        factor = np.linalg.cholesky(covariance)
        white = lower_solved(factor, np.ascontiguousarray((points - mean).T))
        terms.append(-0.5 * np.sum(white**2, axis=0) - np.sum(np.log(np.diag(factor))))
    return np.asarray(np.logaddexp.reduce(terms, axis=0))


def _fitted(points: Array, log_weights: Array) -> tuple[Array, Array]:
    dimension = points.shape[1]
    power = 1.0
    while True:
        weights = np.exp(power * (log_weights - log_weights.max()))
        weights /= weights.sum()
        if 1.0 / np.sum(weights**2) > 2 * dimension or power < 0.05:
            break
        power *= 0.7
    mean = weights @ points
    centred = points - mean
    return mean, 1.2 * (centred.T * weights) @ centred + 0.02 * np.eye(dimension)


@dataclass(frozen=True)
class LevelMixture:
    """Levels as a mixture of normal distributions in dB, one component per set of scales.

    Parameters
    ----------
    means_db, stds_db : ndarray, shape (s, p)
        Components at each point [dB].
    weights : ndarray, shape (s,)
        Adding up to 1.
    """

    means_db: Array
    stds_db: Array
    weights: Array

    @property
    def mean_db(self) -> Array:
        """Mean [dB], shape (p,)."""
        return np.asarray(self.weights @ self.means_db)

    @property
    def std_db(self) -> Array:
        """Standard deviation [dB], shape (p,)."""
        spread = self.stds_db**2 + (self.means_db - self.mean_db) ** 2
        return np.asarray(np.sqrt(self.weights @ spread))

    def cdf(self, level_db: Array | float) -> Array:
        """Probability that the level is below ``level_db``, shape (p,)."""
        return np.asarray(self.weights @ ndtr((level_db - self.means_db) / self.stds_db))

    def quantile_db(self, probability: float) -> Array:
        """Level not exceeded with ``probability`` [dB], shape (p,)."""
        start = self.mean_db + ndtri(probability) * self.std_db
        arrays = np.ascontiguousarray(self.means_db), np.ascontiguousarray(self.stds_db), self.weights
        return np.asarray(mixture_quantile(*arrays, probability, start, NEWTON_STEPS, QUANTILE_ACCURACY))

    def interval_db(self, coverage: float = 0.9) -> tuple[Array, Array]:
        """Central interval [dB]."""
        tail = 0.5 * (1.0 - coverage)
        return self.quantile_db(tail), self.quantile_db(1.0 - tail)
