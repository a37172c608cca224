"""Intervals of a mean and of a median when neighbouring values resemble each other."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from roomfield.logs.autocorrelation import half_width

Floats = NDArray[np.float64]

CONFIDENCE = 0.95


@dataclass(frozen=True)
class ConfidenceInterval:
    """A value with the interval that holds the true one with the stated confidence.

    Parameters
    ----------
    value : float
        Estimate.
    low, high : float or None
        Ends; None where there is too little to say.
    confidence : float
        Of the interval.
    """

    value: float
    low: float | None
    high: float | None
    confidence: float = CONFIDENCE


def inflation(values: Floats) -> float:
    """Factor by which dependence multiplies the variance of a mean: 1 + 2 sum of autocorrelations.

    The greater of two estimates, since too small a factor makes an interval that is too sure: autocorrelations
    summed in pairs while the pairs stay positive (Geyer, Statistical Science 7 (1992) 473-483), and
    (1 + r) / (1 - r) of an AR(1) series. Both correct r for its small-sample bias (Kendall, Biometrika 41 (1954)
    403-404): the first r by solving E(r) = phi - (1 + 3 phi) / n for phi, as n - 1 pairs make it; those of the pairs
    by adding (1 + 4 r) / n, on the safe side. Never below 1.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Equally spaced; NaN where there is none.
    """
    known = np.isfinite(values)
    n = int(known.sum())
    if n < 4:
        return 1.0
    d = np.where(known, values - values[known].mean(), 0.0)
    variance = float(np.sum(d * d)) / n
    if variance <= 0:
        return 1.0
    r = _correlation(d, known, 1, variance)
    first = min((n * r + 1.0) / (n - 3.0) if n > 4 else r, 0.95)
    by_model = (1.0 + first) / (1.0 - first)
    return float(min(max(by_model, _by_pairs(d, known, variance), 1.0), n / 2))


def _by_pairs(d: Floats, known: NDArray[np.bool_], variance: float) -> float:
    n = int(known.sum())
    total = 1.0
    for lag in range(1, n // 2, 2):
        near, far = (_correlation(d, known, k, variance) for k in (lag, lag + 1))
        pair = sum(min(r + (1.0 + 4.0 * r) / n, 0.99) if r > 0 else r for r in (near, far))
        if pair <= 0:
            break
        total += 2.0 * pair
    return total


def _correlation(d: Floats, known: NDArray[np.bool_], lag: int, variance: float) -> float:
    pairs = int(np.count_nonzero(known[lag:] & known[:-lag]))
    return float(np.sum(d[lag:] * d[:-lag])) / pairs / variance if pairs >= 3 else 0.0


@dataclass(frozen=True)
class MeanError:
    """Mean, its standard error, and the degrees of freedom that the error rests on.

    The t interval made of them has the right width at the confidence that the error was asked for.
    """

    mean: float
    error: float
    freedom: float


_WIDEST = 50.0
"""Half-width of a mean's interval on the logarithm [neper] from which on it is only said to be that wide."""
_LEAST_FOR_LONG_LIKENESS = 28
"""Values from which on a likeness beyond the next neighbour (a week, say) can be seen at all."""


def mean_error(values: Floats, confidence: float = CONFIDENCE) -> MeanError | None:
    """Standard error of the mean of dependent values; None for fewer than three.

    The widest of three: as if the values were independent (Student), with an unknown likeness of neighbours
    (`roomfield.logs.autocorrelation`), and, for four weeks of days or more, with the likeness over longer times that
    the values show.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Equally spaced; NaN where there is none.
    confidence : float
        0 to 1.
    """
    known = values[np.isfinite(values)]
    n = known.size
    if n < 3:
        return None
    mean, spread = float(known.mean()), float(known.var(ddof=1))
    if spread == 0:
        return MeanError(mean, 0.0, n - 1.0)
    student = math.sqrt(spread / n)
    half = max(_t(confidence, n - 1) * student, half_width(values, confidence))
    if n >= _LEAST_FOR_LONG_LIKENESS:
        factor = inflation(values)
        freedom = max(n / factor - 1.0, 2.0)
        half = max(half, _t(confidence, freedom) * student * math.sqrt(factor * _variance_bias(n, factor)))
    # The width is never under Student's, so the freedom is never over n - 1.
    freedom = max(2.0, (student * _t(confidence, n - 1) / half) ** 2 * n - 1.0)
    return MeanError(mean, half / _t(confidence, freedom), freedom)


def _variance_bias(n: int, factor: float) -> float:
    """Dependence makes the sample variance too small by (n - factor) / (n - 1)."""
    return (n - 1) / (n - factor)


def mean_interval(values: Floats, confidence: float = CONFIDENCE) -> ConfidenceInterval:
    """Mean of positive, dependent values with a t interval on the logarithm of the mean.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Equally spaced means of power; NaN where there is none.
    confidence : float
        0 to 1.
    """
    known = values[np.isfinite(values)]
    if not known.size:
        return ConfidenceInterval(math.nan, None, None, confidence)
    found = mean_error(values, confidence)
    if found is None or found.mean <= 0:
        return ConfidenceInterval(float(known.mean()), None, None, confidence)
    reach = math.exp(min(_t(confidence, found.freedom) * found.error / found.mean, _WIDEST))
    return ConfidenceInterval(found.mean, found.mean / reach, found.mean * reach, confidence)


def _t(confidence: float, freedom: float) -> float:
    return float(special.stdtrit(freedom, 0.5 + confidence / 2))


def median_interval(values: Floats, confidence: float = CONFIDENCE) -> ConfidenceInterval:
    """Median of dependent values with an interval between order statistics.

    Ranks come from the binomial distribution (Conover, Practical Nonparametric Statistics, 3rd ed., 3.2), widened
    by the likeness of the signs about the median in the same way as `mean_error` widens a mean.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Equally spaced; NaN where there is none.
    confidence : float
        0 to 1.
    """
    known = np.sort(values[np.isfinite(values)])
    if not known.size:
        return ConfidenceInterval(math.nan, None, None, confidence)
    middle = float(np.median(known))
    signs = np.where(np.isfinite(values), np.sign(values - middle), np.nan)
    n = known.size
    factor = inflation(signs) if n >= _LEAST_FOR_LONG_LIKENESS else 1.0
    reach = float(special.ndtri(0.5 + confidence / 2)) * math.sqrt(n * factor) / 2
    if known[0] < known[-1]:
        reach = max(reach, n * half_width(signs, confidence, known_variance=1.0) / 2)
    below = math.floor(n / 2 - reach)
    if below < 1:
        return ConfidenceInterval(middle, None, None, confidence)
    return ConfidenceInterval(middle, float(known[below - 1]), float(known[n - below]), confidence)
