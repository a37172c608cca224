"""How far the mean of a few values that may resemble their neighbours can lie from the true one.

From a short log nobody can tell how alike neighbouring days are, and an interval that takes one estimate of it for the
truth is too sure. Here the likeness is itself unknown: values are taken as a stationary AR(1) series about a constant
whose correlation from one to the next may be anything from -1/2 to nearly 1, each as likely beforehand; what the
values say shifts that, and the interval is that of the mixture.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

_LEAST, _MOST = -1 / 2, 0.99
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_CORRELATION = (_LEAST + (_NODES + 1) / 2 * (_MOST - _LEAST))[:, None]
_HALVINGS = 14
_AS_GOOD_AS_NORMAL = 1e9
"""Degrees of freedom of a t distribution that no one tells from the normal."""


def half_width(values: Floats, confidence: float, known_variance: float | None = None) -> float:
    """Half the width of the interval of a mean.

    For a given correlation the restricted likelihood of the values is that of generalised least squares (Harville,
    JASA 72 (1977) 320-338), and the mean follows a t distribution of n - 1 degrees of freedom, scaled by the variance
    of a mean of an AR(1) series.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Equally spaced, at least three known and not all the same; NaN where there is none.
    confidence : float
        0 to 1.
    known_variance : float or None
        Variance of the series, where it need not be learned from the values.
    """
    at = np.flatnonzero(np.isfinite(values))
    y = values[at] - values[at].mean()
    weight, variance = _likelihood(y, np.diff(at))
    freedom = at.size - 1.0
    if known_variance is not None:
        variance, freedom = np.full(variance.size, known_variance), _AS_GOOD_AS_NORMAL
    return _mixture_quantile(weight, np.sqrt(variance * _mean_variance(at)), freedom, confidence)


def _power(lag: NDArray[np.int64]) -> Floats:
    """Correlation at each lag, one row for each correlation of neighbours."""
    return np.asarray(np.where(lag % 2, np.sign(_CORRELATION), 1.0) * np.abs(_CORRELATION) ** lag)


def _likelihood(y: Floats, gaps: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Weight of each correlation, and the variance of the series under it.

    Each value is predicted from the known one before it, so that neither gaps nor length need a matrix.
    """
    tie = _power(gaps)
    left = 1.0 - tie * tie
    error, lever = y[1:] - tie * y[:-1], 1.0 - tie
    information = 1.0 + np.sum(lever * lever / left, axis=1)
    score = y[0] + np.sum(lever * error / left, axis=1)
    squares = y[0] ** 2 + np.sum(error * error / left, axis=1) - score * score / information
    squares = np.maximum(squares, np.finfo(float).tiny)
    degrees = y.size - 1
    log_weight = -0.5 * (np.sum(np.log(left), axis=1) + np.log(information) + degrees * np.log(squares))
    weight = _WEIGHTS * np.exp(log_weight - log_weight.max())
    return weight / weight.sum(), squares / degrees


def _mean_variance(at: NDArray[np.intp]) -> Floats:
    """Variance of the plain mean for a series of unit variance."""
    span = int(at[-1] - at[0]) + 1
    seen = np.zeros(2 * span)
    seen[at - at[0]] = 1.0
    pairs = np.round(np.fft.irfft(np.abs(np.fft.rfft(seen)) ** 2, 2 * span))[1:span]
    together = np.sum(pairs * _power(np.arange(1, span)), axis=1)
    return np.asarray((at.size + 2.0 * together) / at.size**2)


def _mixture_quantile(weight: Floats, spread: Floats, freedom: float, confidence: float) -> float:
    """Half-width that a mixture of t distributions about zero keeps within with the given confidence.

    It lies between those of its narrowest and of its widest part; halving that range fourteen times finds it to a few
    parts in ten thousand, on the wider side.
    """
    normal = freedom == _AS_GOOD_AS_NORMAL
    upper = 0.5 + confidence / 2
    alone = float(special.ndtri(upper) if normal else special.stdtrit(freedom, upper))
    low, high = math.log(alone * float(spread.min())), math.log(alone * float(spread.max()))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        scaled = math.exp(middle) / spread
        held = float(weight @ (special.ndtr(scaled) if normal else special.stdtr(freedom, scaled)))
        low, high = (middle, high) if held < upper else (low, middle)
    return math.exp(high)
