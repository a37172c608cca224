"""Readings that are only bounds, in a Gaussian model: expectation propagation with probit sites."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
SWEEPS = 6
_WIDEST = 1e6


@dataclass(frozen=True)
class Sites:
    """Gaussian stand-ins for the readings.

    Parameters
    ----------
    values, variances : ndarray, shape (n,)
        As if these values had been read with these variances [dB, dB²].
    log_correction : float
        To be added to the Gaussian log evidence.
    """

    values: Array
    variances: Array
    log_correction: float


def sites_of(covariance: Array, mean: Array, level_db: Array, censor: Indices, noise_db: float) -> Sites:
    """Stand-ins whose posterior has the moments that the bounds imply.

    Parameters
    ----------
    covariance, mean : ndarray
        Prior of the levels [dB², dB].
    level_db : ndarray, shape (n,)
        Readings or bounds [dB].
    censor : ndarray of int, shape (n,)
        0 a value, -1 below the bound, +1 above it.
    noise_db : float
        Standard deviation of a reading [dB].

    Notes
    -----
    Rasmussen and Williams (2006), section 3.6, with the likelihood Phi(±(f - bound) / noise).
    """
    values, variances = level_db.astype(np.float64), np.full(len(level_db), noise_db**2)
    bounded = np.flatnonzero(censor)
    if not len(bounded):
        return Sites(values, variances, 0.0)
    variances[bounded] = _WIDEST
    log_norms = np.zeros(len(bounded))
    for _ in range(SWEEPS):
        middle, spread = _marginals(covariance, mean, values, variances)
        for k, i in enumerate(bounded):
            cavity_variance = 1.0 / max(1.0 / spread[i] - 1.0 / variances[i], 1e-9)
            cavity_mean = cavity_variance * (middle[i] / spread[i] - values[i] / variances[i])
            moments = _bounded_moments(cavity_mean, cavity_variance, level_db[i], int(censor[i]), noise_db)
            site_variance = min(1.0 / max(1.0 / moments[2] - 1.0 / cavity_variance, 1.0 / _WIDEST), _WIDEST)
            site_value = site_variance * (moments[1] * (1.0 / site_variance + 1.0 / cavity_variance)
                                          - cavity_mean / cavity_variance)  # fmt: skip
            values[i], variances[i] = site_value, site_variance
            total = site_variance + cavity_variance
            log_norms[k] = moments[0] + 0.5 * np.log(2 * np.pi * total) + 0.5 * (cavity_mean - site_value) ** 2 / total
    return Sites(values, variances, float(log_norms.sum()))


def _marginals(covariance: Array, mean: Array, values: Array, variances: Array) -> tuple[Array, Array]:
    factor = cho_factor(covariance + np.diag(variances), lower=True)
    middle = mean + covariance @ cho_solve(factor, values - mean)
    spread = np.diag(covariance) - np.einsum("ij,ji->i", covariance, cho_solve(factor, covariance))
    return middle, np.maximum(spread, 1e-9)


def _bounded_moments(
    mean: float, variance: float, bound: float, side: int, noise_db: float
) -> tuple[float, float, float]:
    """Log mass, mean and variance of a normal level times the probability that its reading lies beyond the bound."""
    scale = float(np.sqrt(variance + noise_db**2))
    z = side * (mean - bound) / scale
    log_mass = float(log_ndtr(z))
    hazard = float(np.exp(-0.5 * z * z - 0.5 * np.log(2 * np.pi) - log_mass))
    new_mean = mean + side * variance * hazard / scale
    new_variance = variance - variance**2 * hazard * (z + hazard) / scale**2
    return log_mass, new_mean, max(new_variance, 1e-9)
