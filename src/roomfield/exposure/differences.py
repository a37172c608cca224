"""What one source contributes: the difference between two radio states, errors correlated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.quantities import (
    Censoring,
    Interval,
    Kind,
    ProbabilityRange,
    UncertainLevel,
    UncertainRatio,
    joint_draws_w_m2,
    ratio,
    require_kind,
)

Array = NDArray[np.float64]

DRAWS = 10_000
KEPT = 64
"""Differences whose draws are kept, 160 kB each."""


@dataclass(frozen=True, eq=False)
class UncertainDifference:
    """First level minus second [W/m²]; the interval may include zero.

    Parameters
    ----------
    first, second : UncertainLevel
        With the source on, and with it off.
    draws, seed : int
        Of the Monte Carlo.
    """

    first: UncertainLevel
    second: UncertainLevel
    draws: int = DRAWS
    seed: int = 0

    @property
    def lower_draws(self) -> Array:
        """Sorted draws of the smallest difference that the readings allow, shape (draws,) [W/m²]; read-only."""
        return weighted_draws((self.first, self.second), (1.0, -1.0), draws=self.draws, seed=self.seed)[0]

    @property
    def upper_draws(self) -> Array:
        """The same of the largest difference; equal unless a level is only a bound."""
        return weighted_draws((self.first, self.second), (1.0, -1.0), draws=self.draws, seed=self.seed)[1]

    @property
    def kind(self) -> Kind:
        """Peak, highest held or average."""
        return self.first.kind

    @property
    def nominal_w_m2(self) -> float:
        """Difference of the medians (or bounds) [W/m²]."""
        return self.first.median_w_m2 - self.second.median_w_m2

    @property
    def is_bound(self) -> bool:
        """True if a level is censored, so that the difference is known only between bounds."""
        return self.first.censoring is not Censoring.NONE or self.second.censoring is not Censoring.NONE

    def interval(self, coverage: float = 0.95) -> Interval:
        """Coverage interval [W/m²], equal probability on either side; an end may be infinite.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        tail = 0.5 * (1.0 - coverage)
        return Interval(draw_quantile(self.lower_draws, tail), draw_quantile(self.upper_draws, 1.0 - tail), coverage)

    def includes_zero(self, coverage: float = 0.95) -> bool:
        """True if the readings do not show that the source contributes anything.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        span = self.interval(coverage)
        return span.low_w_m2 <= 0.0 <= span.high_w_m2

    def probability_positive(self) -> ProbabilityRange:
        """Probability that the first level is the higher one."""
        low, high = (float(np.mean(draws > 0.0)) for draws in (self.lower_draws, self.upper_draws))
        return ProbabilityRange(low, high)

    def ratio(self) -> UncertainRatio:
        """First over second [dB]; errors that both share have cancelled.

        Raises
        ------
        InputError
            If both levels are bounds on the same side.
        """
        return ratio(self.first, self.second)

    def share(self, coverage: float = 0.95) -> tuple[float, float]:
        """Interval of the source's part of the first level: 1 - second / first.

        Negative where the second level may be the higher one.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.

        Raises
        ------
        InputError
            If both levels are bounds on the same side.
        """
        low_db, high_db = self.ratio().interval_db(coverage)
        return 1.0 - 10.0 ** (-low_db / 10.0), 1.0 - 10.0 ** (-high_db / 10.0)


def difference(
    level_a: UncertainLevel, level_b: UncertainLevel, *, draws: int = DRAWS, seed: int = 0
) -> UncertainDifference:
    """Difference of two levels of one kind, such as "router on" minus "router off".

    Parameters
    ----------
    level_a, level_b : UncertainLevel
        Same place, same meter.
    draws : int
        Number of Monte Carlo draws.
    seed : int
        Same seed, same result.

    Raises
    ------
    KindMismatchError
        If the kinds differ.
    InputError
        If one level is an overload and so is the other, for then nothing is known.

    Notes
    -----
    Propagation of distributions (JCGM 101) with common errors drawn once for both levels (JCGM 100, F.1.2.3).
    """
    require_kind(level_b.kind, level_a.kind, "a difference")
    if level_a.censoring is Censoring.ABOVE and level_b.censoring is Censoring.ABOVE:
        raise InputError(
            "both readings are in overload, so their difference is not known.",
            mend="Repeat them with an attenuator or from farther away.",
        )
    return UncertainDifference(level_a, level_b, draws, seed)


@dataclass(frozen=True)
class AddedLevel:
    """What a source adds [W/m²]: never less than nothing, for a source that is on takes nothing away.

    Parameters
    ----------
    median_w_m2 : float
        Most probable part; where only the least is known (after an overload) that least.
    low_w_m2, high_w_m2 : float
        Interval; the upper end is infinite where only the least is known.
    """

    median_w_m2: float
    low_w_m2: float
    high_w_m2: float

    @property
    def is_at_least(self) -> bool:
        """True if only the least is known."""
        return self.high_w_m2 == float("inf")


@dataclass(frozen=True, eq=False)
class PooledDifference:
    """Mean of several differences of the same thing, such as of one switch in several radio states [W/m²].

    Parameters
    ----------
    pairs : tuple of (UncertainLevel, UncertainLevel)
        With the source on, and with it off.
    draws, seed : int
        Of the Monte Carlo.
    """

    pairs: tuple[tuple[UncertainLevel, UncertainLevel], ...]
    draws: int = DRAWS
    seed: int = 0

    @property
    def lower_draws(self) -> Array:
        """Sorted draws of the smallest mean difference that the readings allow, as in `UncertainDifference`."""
        return self._ends()[0]

    @property
    def upper_draws(self) -> Array:
        """The same of the largest."""
        return self._ends()[1]

    def _ends(self) -> tuple[Array, Array]:
        share = 1.0 / len(self.pairs)
        levels = tuple(level for pair in self.pairs for level in pair)
        return weighted_draws(levels, (share, -share) * len(self.pairs), draws=self.draws, seed=self.seed)

    @property
    def nominal_w_m2(self) -> float:
        """Mean difference of the medians (or bounds) [W/m²]."""
        return sum(on.median_w_m2 - off.median_w_m2 for on, off in self.pairs) / len(self.pairs)

    def part(self, coverage: float = 0.95) -> AddedLevel:
        """What the source adds, with its interval [W/m²].

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        span = self.interval(coverage)
        low, high = max(span.low_w_m2, 0.0), max(span.high_w_m2, 0.0)
        return AddedLevel(low if high == float("inf") else max(self.nominal_w_m2, 0.0), low, high)

    def interval(self, coverage: float = 0.95) -> Interval:
        """Coverage interval [W/m²]; an end may be infinite.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        tail = 0.5 * (1.0 - coverage)
        return Interval(draw_quantile(self.lower_draws, tail), draw_quantile(self.upper_draws, 1.0 - tail), coverage)

    def includes_zero(self, coverage: float = 0.95) -> bool:
        """True if the readings do not show that the source contributes anything.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        span = self.interval(coverage)
        return span.low_w_m2 <= 0.0 <= span.high_w_m2

    def probability_positive(self) -> ProbabilityRange:
        """Probability that the mean difference is above zero."""
        low, high = (float(np.mean(draws > 0.0)) for draws in (self.lower_draws, self.upper_draws))
        return ProbabilityRange(low, high)


def pooled_difference(
    pairs: Sequence[tuple[UncertainLevel, UncertainLevel]], *, draws: int = DRAWS, seed: int = 0
) -> PooledDifference:
    """Mean of several differences of one switch; what the readings share is drawn once for all.

    Parameters
    ----------
    pairs : sequence of (UncertainLevel, UncertainLevel)
        Source on and source off, nothing else differing within a pair; one place, one kind, one meter.
    draws, seed : int
        As `difference`.

    Raises
    ------
    InputError
        If there is no pair, or both readings of a pair are in overload.
    KindMismatchError
        If the kinds differ.
    """
    if not pairs:
        raise InputError("there is no pair of readings to compare.", mend="Read with the source on and off.")
    for on, off in pairs:
        require_kind(off.kind, on.kind, "a difference")
        require_kind(on.kind, pairs[0][0].kind, "a mean of differences")
        if on.censoring is Censoring.ABOVE and off.censoring is Censoring.ABOVE:
            raise InputError("both readings of a pair are in overload.", mend="Leave this pair out.")
    return PooledDifference(tuple(pairs), draws, seed)


def weighted_draws(
    levels: Sequence[UncertainLevel], weights: Sequence[float], *, draws: int = DRAWS, seed: int = 0
) -> tuple[Array, Array]:
    """Sorted draws of the smallest and largest weighted sum [W/m²] that levels of one kind allow.

    Parameters
    ----------
    levels : sequence of UncertainLevel
        The levels; common errors are drawn once for all.
    weights : sequence of float
        Factor of each, such as 1 and -1.

    Notes
    -----
    The same levels, weights, count and seed give the same arrays, which are read-only: the last few are kept, because
    interval and probability of one difference are asked for one after the other, and thousands of differences of a
    large house would not fit into memory.
    """
    return _drawn(tuple(levels), tuple(weights), draws, seed)


@lru_cache(maxsize=KEPT)
def _drawn(
    levels: tuple[UncertainLevel, ...], weights: tuple[float, ...], draws: int, seed: int
) -> tuple[Array, Array]:
    table = joint_draws_w_m2(levels, draws, np.random.default_rng(seed))
    lower, upper = np.zeros(draws), np.zeros(draws)
    for level, weight, drawn in zip(levels, weights, table.T, strict=True):
        if weight == 0.0:  # an unbounded level times nothing is nothing
            continue
        low, high = reach(level, drawn)
        lower += weight * (low if weight > 0.0 else high)
        upper += weight * (high if weight > 0.0 else low)
    found = np.sort(lower), np.sort(upper)
    for ends in found:
        ends.setflags(write=False)
    return found


def reach(level: UncertainLevel, drawn: Array) -> tuple[Array, Array]:
    """Draws of the smallest and largest value that a level allows: a bound leaves one side open."""
    low = np.zeros_like(drawn) if level.censoring is Censoring.BELOW else drawn
    high = np.full_like(drawn, np.inf) if level.censoring is Censoring.ABOVE else drawn
    return low, high


def draw_quantile(rising: Array, probability: float) -> float:
    """Value of sorted draws that is not exceeded with a probability; draws may be infinite."""
    if not np.all(np.isfinite(rising)):
        return float(rising[min(len(rising) - 1, int(probability * len(rising)))])
    return float(np.quantile(rising, probability))
