"""What somebody gets in a day: the mean over the hours that are known, and the highest where they sleep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.exposure.differences import DRAWS, draw_quantile, reach
from roomfield.quantities import Interval, Kind, UncertainLevel, joint_draws_w_m2, require_kind

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DayLevel:
    """A power density of a day as a distribution [W/m²].

    Parameters
    ----------
    lower_draws, upper_draws : ndarray, shape (n,)
        Sorted draws of the smallest and largest value that the levels allow; the same unless one is only a bound.
    """

    lower_draws: Array = field(repr=False)
    upper_draws: Array = field(repr=False)

    @property
    def median_w_m2(self) -> float:
        """Median of the largest value that the levels allow [W/m²]."""
        return draw_quantile(self.upper_draws, 0.5)

    def interval(self, coverage: float = 0.95) -> Interval:
        """Coverage interval [W/m²]; an end is 0 or infinite where a level is only a bound."""
        tail = 0.5 * (1.0 - coverage)
        return Interval(draw_quantile(self.lower_draws, tail), draw_quantile(self.upper_draws, 1.0 - tail), coverage)

    def probability_below(self, bound_w_m2: float) -> tuple[float, float]:
        """Range of the probability that it lies below a bound."""
        low, high = (float(np.mean(draws < bound_w_m2)) for draws in (self.upper_draws, self.lower_draws))
        return low, high


def mean_over_hours(
    levels: Sequence[UncertainLevel], hours: Sequence[float], *, draws: int = DRAWS, seed: int = 0
) -> DayLevel:
    """Mean power density over stays of known length.

    Parameters
    ----------
    levels : sequence of UncertainLevel
        Time averages, one for each stay, widened to its length (see `averaging.as_time_average`).
    hours : sequence of float
        Length of each stay [h].
    draws, seed : int
        Of the Monte Carlo (JCGM 101); errors that levels share are drawn once.

    Raises
    ------
    InputError
        If there is no stay, or none has a length.
    KindMismatchError
        If a level is no average.
    """
    total = float(sum(hours))
    if not levels or not total > 0.0:
        raise InputError("there is no stay to average over.", mend="Say where somebody is, and when.")
    for level in levels:
        require_kind(level.kind, Kind.AVERAGE, "the mean of a day")
    low, high = _ends(levels, draws, seed)
    share = np.array(hours) / total
    return DayLevel(np.sort(share @ low), np.sort(share @ high))


def highest_of(levels: Sequence[UncertainLevel], *, draws: int = DRAWS, seed: int = 0) -> DayLevel:
    """The highest of several instantaneous levels, such as those of the places where somebody sleeps.

    Raises
    ------
    InputError
        If there is no level.
    KindMismatchError
        If a level is an average.
    """
    if not levels:
        raise InputError("there is no level to take the highest of.", mend="Read the highest held where they sleep.")
    for level in levels:
        if not level.kind.instantaneous:
            require_kind(level.kind, Kind.HIGHEST_HELD, "the highest of a night")
    low, high = _ends(levels, draws, seed)
    return DayLevel(np.sort(low.max(axis=0)), np.sort(high.max(axis=0)))


def _ends(levels: Sequence[UncertainLevel], draws: int, seed: int) -> tuple[Array, Array]:
    table = joint_draws_w_m2(levels, draws, np.random.default_rng(seed)).T
    low, high = zip(*map(reach, levels, table), strict=True)
    return np.array(low), np.array(high)
