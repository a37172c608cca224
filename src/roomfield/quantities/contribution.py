"""Contributions to an error in decibels, and the distribution of their sum."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft, special

Array = NDArray[np.float64]

_CELLS_PER_STD = 60
_NORMAL_REACH = 7.0


class ErrorShape(StrEnum):
    """Form of a distribution, with its divisor from half-width to standard deviation (JCGM 100, 4.3)."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "u_shaped"


DIVISOR = {
    ErrorShape.NORMAL: 1.0,
    ErrorShape.RECTANGULAR: 3**0.5,
    ErrorShape.TRIANGULAR: 6**0.5,
    ErrorShape.U_SHAPED: 2**0.5,
}


@dataclass(frozen=True)
class ErrorContribution:
    """One cause of error of a level, zero in the mean.

    Parameters
    ----------
    name : str
        What it is, for the budget.
    std_db : float
        Standard uncertainty [dB].
    shape : Shape
        Form of its distribution.
    shared_key : str
        Contributions with the same key are one and the same error, so they cancel in ratios;
        empty for an error of its own.
    sensitivity : float
        Factor with which the error enters (1, or -1 after a subtraction).
    """

    name: str
    std_db: float
    shape: ErrorShape = ErrorShape.NORMAL
    shared_key: str = ""
    sensitivity: float = 1.0

    @staticmethod
    def from_half_width(
        name: str, half_width_db: float, shape: ErrorShape = ErrorShape.RECTANGULAR, shared_key: str = ""
    ) -> ErrorContribution:
        """Contribution from a stated plus-or-minus range [dB] (JCGM 100, 4.3.7 to 4.3.9).

        Parameters
        ----------
        name : str
            What causes the error.
        half_width_db : float
            Half-width of the stated range [dB].
        shape : ErrorShape
            Shape of the distribution within the range.
        shared_key : str
            Contributions of one key are one error; empty for an error of its own.
        """
        return ErrorContribution(name, half_width_db / DIVISOR[shape], shape, shared_key)

    @property
    def effective_std_db(self) -> float:
        """Standard uncertainty with which it enters the result [dB]."""
        return abs(self.sensitivity) * self.std_db

    @property
    def half_width_db(self) -> float:
        """Half-width of a bounded shape, one standard deviation of a normal one [dB]."""
        return self.effective_std_db * DIVISOR[self.shape]


def combined_std_db(contributions: tuple[ErrorContribution, ...]) -> float:
    """Root sum of squares of independent contributions [dB] (JCGM 100, eq. 10)."""
    return float(np.sqrt(sum(c.effective_std_db**2 for c in contributions)))


def merge_shared(contributions: tuple[ErrorContribution, ...]) -> tuple[ErrorContribution, ...]:
    """Add up the sensitivities of contributions that are one and the same error.

    What cancels exactly is left out.
    """
    merged: dict[tuple[str, str], ErrorContribution] = {}
    own: list[ErrorContribution] = []
    for item in contributions:
        if not item.shared_key:
            own.append(item)
            continue
        key = (item.shared_key, item.name)
        before = merged.get(key)
        if before is None or before.std_db == 0.0:
            merged[key] = item
        else:
            # One error, two standard deviations: scale the sensitivity to the first one's size.
            gain = item.sensitivity * item.std_db / before.std_db
            merged[key] = replace(before, sensitivity=before.sensitivity + gain)
    return tuple(own + [c for c in merged.values() if abs(c.sensitivity) > 1e-12])


@dataclass(frozen=True)
class ErrorDistribution:
    """Distribution of a sum of independent contributions.

    Parameters
    ----------
    edges_db : ndarray, shape (n,)
        Grid [dB], rising.
    cumulative : ndarray, shape (n,)
        Probability that the error is at most the grid value.
    """

    edges_db: Array
    cumulative: Array

    def cdf(self, error_db: float | Array) -> Array:
        """Probability that the error is at most ``error_db`` [dB]."""
        return np.asarray(np.interp(error_db, self.edges_db, self.cumulative, left=0.0, right=1.0))

    def quantile(self, probability: float | Array) -> Array:
        """Error [dB] that is not exceeded with ``probability``."""
        rising = np.concatenate(([True], np.diff(self.cumulative) > 0.0))
        return np.asarray(np.interp(probability, self.cumulative[rising], self.edges_db[rising]))


def error_distribution(contributions: tuple[ErrorContribution, ...]) -> ErrorDistribution:
    """Distribution of the sum of contributions, by convolution of cell probabilities.

    Parameters
    ----------
    contributions : tuple of Contribution
        Independent of each other (see `merge_shared`).

    Notes
    -----
    Propagation of distributions as in JCGM 101, done by convolution instead of sampling; the grid has
    60 cells per combined standard deviation, so quantiles are good to about 0.01 standard deviations.
    Normal contributions add up to one normal error, whose variance is the sum of theirs.
    """
    normal = sum(c.effective_std_db**2 for c in contributions if c.shape is ErrorShape.NORMAL)
    other = [(c.shape, round(c.effective_std_db, 9)) for c in contributions if c.shape is not ErrorShape.NORMAL]
    parts = sorted(part for part in (*other, (ErrorShape.NORMAL, round(normal**0.5, 9))) if part[1] > 0.0)
    return _convolved(tuple(parts))


@lru_cache(maxsize=4096)
def _convolved(parts: tuple[tuple[ErrorShape, float], ...]) -> ErrorDistribution:
    if not parts:
        return ErrorDistribution(np.array([-1e-9, 1e-9]), np.array([0.0, 1.0]))
    step_db = float(np.sqrt(sum(std_db**2 for _, std_db in parts))) / _CELLS_PER_STD
    mass = _convolved_masses([_cell_masses(shape, std_db, step_db) for shape, std_db in parts])
    # The convolution rounds: cells may come out a little under nothing, and all together a little over one.
    cumulative = np.concatenate(([0.0], np.clip(np.cumsum(np.clip(mass, 0, None)), 0, 1)))
    half = len(mass) / 2 * step_db
    return ErrorDistribution(np.linspace(-half, half, len(mass) + 1), cumulative)


def _convolved_masses(each: list[Array]) -> Array:
    """Convolution of several lists of probabilities, as the product of their transforms."""
    if len(each) == 1:
        return each[0]
    length = sum(map(len, each)) - len(each) + 1
    padded = fft.next_fast_len(length, real=True)
    table = np.zeros((len(each), padded))
    for row, mass in zip(table, each, strict=True):
        row[: len(mass)] = mass
    return np.asarray(fft.irfft(np.prod(fft.rfft(table), axis=0), padded)[:length])


def _cell_masses(shape: ErrorShape, std_db: float, step_db: float) -> Array:
    scale = std_db * DIVISOR[shape]
    reach = scale * (_NORMAL_REACH if shape is ErrorShape.NORMAL else 1.0)
    cells = int(np.ceil(reach / step_db))
    edges = np.asarray((np.arange(-cells, cells + 2) - 0.5) * step_db, dtype=np.float64)
    return np.asarray(np.diff(_shape_cdf(shape, edges / scale)))


def _shape_cdf(shape: ErrorShape, z: Array) -> Array:
    """Distribution function over the half-width, up to a constant: only differences of it are used."""
    inside = np.clip(z, -1, 1)
    if shape is ErrorShape.NORMAL:
        return np.asarray(special.ndtr(z))
    if shape is ErrorShape.RECTANGULAR:
        return np.asarray(inside / 2)
    if shape is ErrorShape.TRIANGULAR:
        return np.asarray(inside - inside * np.abs(inside) / 2)
    return np.asarray(np.arcsin(inside) / np.pi)


def draw_errors_db(contribution: ErrorContribution, size: int, rng: np.random.Generator) -> Array:
    """Random errors [dB] of one contribution, sensitivity not applied.

    Parameters
    ----------
    size : int
        Number of draws.
    """
    half = contribution.std_db * DIVISOR[contribution.shape]
    if contribution.shape is ErrorShape.NORMAL:
        return rng.normal(0.0, contribution.std_db, size)
    if contribution.shape is ErrorShape.RECTANGULAR:
        return rng.uniform(-half, half, size)
    if contribution.shape is ErrorShape.TRIANGULAR:
        return half * (rng.uniform(0, 1, size) - rng.uniform(0, 1, size))
    return np.asarray(half * np.sin(rng.uniform(-np.pi / 2, np.pi / 2, size)))
