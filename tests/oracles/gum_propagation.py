"""Propagation of uncertainty through a model: first and second order, and Monte Carlo.

JCGM 100:2008, 5.1 and 5.2; JCGM 101:2008; JCGM 102:2011 for several outputs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from oracles.gum_distributions import Distribution, Normal
from roomfield.errors import InputError, UnknownNameError

Array = NDArray[np.float64]
Model = Callable[..., Any]
Correlations = Mapping[tuple[str, str], float]

_STEP = 1e-3
_WIDE_STEP = 0.1


@dataclass(frozen=True)
class Input:
    """A labelled input quantity."""

    label: str
    distribution: Distribution


@dataclass(frozen=True)
class Samples:
    """Draws of one output quantity, sorted.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Rising.
    """

    values: Array

    @property
    def mean(self) -> float:
        """Mean of the draws."""
        return float(self.values.mean())

    @property
    def std(self) -> float:
        """Standard deviation of the draws."""
        return float(self.values.std(ddof=1))

    def symmetric_interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Interval with equal probability on either side (JCGM 101, 7.7)."""
        tail = 0.5 * (1.0 - coverage)
        low, high = np.quantile(self.values, [tail, 1.0 - tail])
        return float(low), float(high)

    def shortest_interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Shortest interval of the coverage (JCGM 101, 5.3.4); the right one for skewed results."""
        inside = int(np.ceil(coverage * len(self.values)))
        widths = self.values[inside - 1 :] - self.values[: len(self.values) - inside + 1]
        start = int(np.argmin(widths))
        return float(self.values[start]), float(self.values[start + inside - 1])


def correlation_matrix(inputs: Sequence[Input], correlations: Correlations | None) -> Array:
    """Matrix of correlation coefficients, shape (n, n).

    Parameters
    ----------
    inputs : sequence of Input
        The inputs.
    correlations : mapping of (label, label) to float, optional
        Coefficients that are not zero, each pair once.

    Raises
    ------
    UnknownNameError
        If a label is not among the inputs.
    InputError
        If the coefficients cannot hold together.
    """
    labels = [item.label for item in inputs]
    matrix = np.eye(len(labels))
    for (first, second), value in (correlations or {}).items():
        for name in (first, second):
            if name not in labels:
                raise UnknownNameError("input quantity", name, labels)
        i, j = labels.index(first), labels.index(second)
        matrix[i, j] = matrix[j, i] = value
    if np.linalg.eigvalsh(matrix).min() < -1e-9:
        raise InputError("these correlation coefficients cannot hold together.", mend="Check each pair.")
    return matrix


def sensitivities(model: Model, inputs: Sequence[Input]) -> Array:
    """Partial derivatives at the estimates (JCGM 100, 5.1.3), shape (n,), by central differences."""
    point, spread = _point(inputs), _spread(inputs)
    slopes = np.zeros(len(inputs))
    for i, width in enumerate(spread):
        if width > 0.0:
            slopes[i] = _difference(model, point, {i: _STEP * width}) / (2.0 * _STEP * width)
    return slopes


def first_order_std(model: Model, inputs: Sequence[Input], correlations: Correlations | None = None) -> float:
    """Combined standard uncertainty, JCGM 100 equations 10 and 13."""
    return float(np.sqrt(covariance([model], inputs, correlations)[0, 0]))


def covariance(models: Sequence[Model], inputs: Sequence[Input], correlations: Correlations | None = None) -> Array:
    """Covariance matrix of several outputs of the same inputs (JCGM 100, H.2; JCGM 102, 6.2).

    Returns
    -------
    ndarray, shape (m, m)
        Variances on the diagonal.
    """
    jacobian = np.vstack([sensitivities(model, inputs) for model in models])
    scaled = jacobian * _spread(inputs)
    return np.asarray(scaled @ correlation_matrix(inputs, correlations) @ scaled.T)


def second_order_std(model: Model, inputs: Sequence[Input]) -> float:
    """Combined standard uncertainty with the next terms of the series, for independent inputs.

    JCGM 100, note to 5.1.2: adds (f_ij² / 2 + f_i f_ijj) u_i² u_j² for each pair.
    """
    point, spread = _point(inputs), _spread(inputs)
    slopes = sensitivities(model, inputs)
    variance = float(np.sum((slopes * spread) ** 2))
    for i, width_i in enumerate(spread):
        for j, width_j in enumerate(spread):
            if width_i <= 0.0 or width_j <= 0.0:
                continue
            bend, twist = _second_and_third(model, point, (i, _WIDE_STEP * width_i), (j, _WIDE_STEP * width_j))
            scale = width_i**2 * width_j**2
            variance += (0.5 * bend**2 + slopes[i] * twist) * scale
    return float(np.sqrt(variance))


def _second_and_third(
    model: Model, point: Array, first: tuple[int, float], second: tuple[int, float]
) -> tuple[float, float]:
    """f_ij and f_ijj by central differences."""
    (i, h_i), (j, h_j) = first, second

    def slope_i(shift_j: float) -> float:
        moved = point.copy()
        moved[j] += shift_j
        return _difference(model, moved, {i: h_i}) / (2.0 * h_i)

    plus, middle, minus = slope_i(h_j), slope_i(0.0), slope_i(-h_j)
    return (plus - minus) / (2.0 * h_j), (plus - 2.0 * middle + minus) / h_j**2


def _difference(model: Model, point: Array, shifts: Mapping[int, float]) -> float:
    up, down = point.copy(), point.copy()
    for index, shift in shifts.items():
        up[index] += shift
        down[index] -= shift
    return float(model(*up)) - float(model(*down))


def _point(inputs: Sequence[Input]) -> Array:
    return np.array([item.distribution.mean for item in inputs], dtype=np.float64)


def _spread(inputs: Sequence[Input]) -> Array:
    return np.array([item.distribution.std for item in inputs], dtype=np.float64)


def monte_carlo(
    model: Model,
    inputs: Sequence[Input],
    *,
    size: int = 200_000,
    seed: int = 0,
    correlations: Correlations | None = None,
) -> Samples:
    """Propagation of distributions by sampling (JCGM 101, clause 7).

    Parameters
    ----------
    model : callable
        Takes one array per input, in order, and returns an array of the same shape.
    inputs : sequence of Input
        The inputs.
    size : int
        Number of trials.
    seed : int
        Same seed, same result.
    correlations : mapping of (label, label) to float, optional
        Between normal inputs only (JCGM 101, 6.4.8).

    Raises
    ------
    InputError
        If a correlated input is not normal.
    """
    rng = np.random.default_rng(seed)
    draws = draw_inputs(inputs, size, rng, correlations)
    return Samples(np.sort(np.asarray(model(*draws), dtype=np.float64)))


def draw_inputs(
    inputs: Sequence[Input], size: int, rng: np.random.Generator, correlations: Correlations | None = None
) -> list[Array]:
    """Random values of every input; parameters and errors as `monte_carlo`."""
    if not correlations:
        return [item.distribution.sample(size, rng) for item in inputs]
    tied = {label for pair, value in correlations.items() if value for label in pair}
    joint = [item for item in inputs if item.label in tied]
    if not all(isinstance(item.distribution, Normal) for item in joint):
        raise InputError("only normal inputs can be correlated.", mend="Give those inputs normal distributions.")
    matrix = correlation_matrix(inputs, correlations)
    where = [inputs.index(item) for item in joint]
    spread = _spread(joint)
    covariances = matrix[np.ix_(where, where)] * np.outer(spread, spread)
    table = rng.multivariate_normal(_point(joint), covariances, size, method="svd")
    drawn = {item.label: table[:, k] for k, item in enumerate(joint)}
    return [drawn[item.label] if item.label in drawn else item.distribution.sample(size, rng) for item in inputs]
