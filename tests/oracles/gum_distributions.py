"""Distributions assigned to input quantities, with their standard uncertainty and degrees of freedom.

Divisors: JCGM 100:2008, 4.3.7 to 4.3.9 and 4.4; sampling: JCGM 101:2008, 6.4.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError

Array = NDArray[np.float64]
INFINITE = math.inf


class Distribution(Protocol):
    """What is known of one input quantity."""

    @property
    def mean(self) -> float:
        """Best estimate."""

    @property
    def std(self) -> float:
        """Standard uncertainty as JCGM 100 counts it."""

    @property
    def dof(self) -> float:
        """Degrees of freedom of the standard uncertainty."""

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,)."""


@dataclass(frozen=True)
class Normal:
    """Normal distribution."""

    mean: float
    std: float
    dof: float = INFINITE

    @staticmethod
    def from_expanded(mean: float, expanded: float, coverage_factor: float = 2.0) -> Normal:
        """From a certificate's expanded uncertainty U and its k."""
        return Normal(mean, expanded / coverage_factor)

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,)."""
        return rng.normal(self.mean, self.std, size)


@dataclass(frozen=True)
class Rectangular:
    """Uniform between two limits: what a maker's plus-or-minus means unless a certificate says otherwise."""

    low: float
    high: float
    dof: float = INFINITE

    @property
    def mean(self) -> float:
        """Middle of the limits."""
        return 0.5 * (self.low + self.high)

    @property
    def std(self) -> float:
        """Half-width over the square root of 3."""
        return (self.high - self.low) / math.sqrt(12.0)

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,)."""
        return rng.uniform(self.low, self.high, size)


@dataclass(frozen=True)
class Trapezoidal:
    """Symmetric trapezoid.

    Parameters
    ----------
    low, high : float
        Limits.
    top_ratio : float
        Width of the top over that of the base: 0 is a triangle, 1 a rectangle.
    """

    low: float
    high: float
    top_ratio: float = 0.0
    dof: float = INFINITE

    @property
    def mean(self) -> float:
        """Middle of the limits."""
        return 0.5 * (self.low + self.high)

    @property
    def std(self) -> float:
        """a sqrt((1 + beta²) / 6), a the half-width."""
        return 0.5 * (self.high - self.low) * math.sqrt((1.0 + self.top_ratio**2) / 6.0)

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,): the sum of two uniform ones (JCGM 101, 6.4.4)."""
        half = 0.5 * (self.high - self.low)
        wide, narrow = 0.5 * (1 + self.top_ratio), 0.5 * (1 - self.top_ratio)
        return self.mean + half * (wide * rng.uniform(-1, 1, size) + narrow * rng.uniform(-1, 1, size))


@dataclass(frozen=True)
class Arcsine:
    """U-shaped between two limits: mismatch, or a quantity that cycles."""

    low: float
    high: float
    dof: float = INFINITE

    @property
    def mean(self) -> float:
        """Middle of the limits."""
        return 0.5 * (self.low + self.high)

    @property
    def std(self) -> float:
        """Half-width over the square root of 2."""
        return (self.high - self.low) / math.sqrt(8.0)

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,)."""
        half = 0.5 * (self.high - self.low)
        return np.asarray(self.mean + half * np.sin(rng.uniform(-np.pi / 2, np.pi / 2, size)))


@dataclass(frozen=True)
class CurvilinearTrapezoid:
    """Rectangular with inexact limits, each known to plus or minus ``slack`` (JCGM 101, 6.4.3)."""

    low: float
    high: float
    slack: float
    dof: float = INFINITE

    @property
    def mean(self) -> float:
        """Middle of the limits."""
        return 0.5 * (self.low + self.high)

    @property
    def std(self) -> float:
        """sqrt((b - a)² / 12 + d² / 9)."""
        return math.sqrt((self.high - self.low) ** 2 / 12.0 + self.slack**2 / 9.0)

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,)."""
        lower = rng.uniform(self.low - self.slack, self.low + self.slack, size)
        upper = self.low + self.high - lower
        return np.asarray(lower + (upper - lower) * rng.uniform(0, 1, size))


@dataclass(frozen=True)
class StudentT:
    """Scaled and shifted t: repeated readings, or a certificate with degrees of freedom.

    ``std`` is the scale, as JCGM 100 counts it; a sample has the larger spread of the t (JCGM 101, 6.4.9).
    """

    mean: float
    std: float
    dof: float

    @staticmethod
    def from_readings(values: Sequence[float]) -> StudentT:
        """Mean of repeated readings and its standard deviation s / sqrt(n) (JCGM 100, 4.2).

        Raises
        ------
        InputError
            If there are fewer than two readings.
        """
        if len(values) < 2:
            raise InputError("one reading has no spread.", mend="Repeat the reading at least once.")
        data = np.asarray(values, dtype=np.float64)
        scale = float(data.std(ddof=1)) / math.sqrt(len(values))
        return StudentT(float(data.mean()), scale, len(values) - 1)

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,)."""
        return np.asarray(self.mean + self.std * rng.standard_t(self.dof, size))


@dataclass(frozen=True)
class Exponential:
    """Exponential: not negative, and only the estimate is known (JCGM 101, 6.4.10)."""

    mean: float
    dof: float = INFINITE

    @property
    def std(self) -> float:
        """Equal to the mean."""
        return self.mean

    def sample(self, size: int, rng: np.random.Generator) -> Array:
        """Random values, shape (size,)."""
        return rng.exponential(self.mean, size)


def resolution(step: float) -> Rectangular:
    """Error of reading a display of a given step: rectangular, standard uncertainty step / sqrt(12)."""
    return Rectangular(-0.5 * step, 0.5 * step)
