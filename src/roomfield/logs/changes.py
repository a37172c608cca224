"""Change points: when the level stepped, beyond its daily course and its own restlessness."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.logs.clock import local_from_utc, moment_of, zone_from_name
from roomfield.logs.digest import minute_cells
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.sufficient_statistics import CELL_US
from roomfield.logs.summary import plain, require_not_held

Floats = NDArray[np.float64]

_MOST_BLOCKS = 4000
_PENALTY = 3.0
_DAYS_TO_JUDGE_DAYS = 14


@dataclass(frozen=True)
class ChangePoint:
    """A step of the level.

    Parameters
    ----------
    at : datetime
        First block after the step, UTC.
    step_db : float
        Level after less level before, each up to the neighbouring change [dB].
    before_db, after_db : float
        Those levels, about the daily course, on the decibel scale of the unit.
    """

    at: datetime
    step_db: float
    before_db: float
    after_db: float

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        return plain(self)  # type: ignore[no-any-return]


def long_run_variance(values: Floats, period: int = 0) -> float:
    """Variance of a mean times its number of values, from robustly scaled differences of block means.

    A few steps of the level leave it as it is, unlike the plain variance.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Equally spaced.
    period : int
        Values in a day: from two weeks on, days that differ as wholes count as restlessness too.
    """
    lengths = ((max(2, round(values.size**0.4)), 5), (period, _DAYS_TO_JUDGE_DAYS))
    found = [_from_blocks(values, block) for block, least in lengths if block > 1 and values.size // block >= least]
    if not found:
        return float(np.var(values, ddof=1)) if values.size > 1 else 0.0
    return max(found)


def _from_blocks(values: Floats, block: int) -> float:
    blocks = values.size // block
    means = values[: blocks * block].reshape(blocks, block).mean(axis=1)
    differences = np.diff(means)
    scale = 1.4826 * float(np.median(np.abs(differences - np.median(differences))))
    return float(max(block * scale**2 / 2, float(np.median(np.diff(values) ** 2)) / 2))


def segment(values: Floats, variance: float, least: int = 2, penalty: float = _PENALTY) -> list[int]:
    """Where a sequence of means changes: the best partition under a price for each change.

    Least squares with ``penalty * variance * log(n)`` a change, solved exactly (optimal partitioning: Jackson et
    al., IEEE Signal Processing Letters 12 (2005) 105-108).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Equally spaced.
    variance : float
        Long-run variance of the noise.
    least : int
        Shortest stretch between changes.
    penalty : float
        Price of a change; 3 for its place and its two levels.

    Returns
    -------
    list of int
        First index after each change.
    """
    n = values.size
    if n < 2 * least or variance <= 0:
        return []
    sums, squares = np.append(0.0, np.cumsum(values)), np.append(0.0, np.cumsum(values**2))
    price = penalty * variance * math.log(n)
    best = np.full(n + 1, np.inf)
    best[0], came = -price, np.zeros(n + 1, dtype=np.int64)
    for end in range(least, n + 1):
        starts = np.arange(0, end - least + 1)
        cost = squares[end] - squares[starts] - (sums[end] - sums[starts]) ** 2 / (end - starts)
        total = best[starts] + cost + price
        k = int(np.argmin(total))
        best[end], came[end] = total[k], starts[k]
    found, here = [], int(came[n])
    while here > 0:
        found.append(here)
        here = int(came[here])
    return found[::-1]


def change_points(
    series: LogSeries, *, block_minutes: int = 0, gap_rule: GapRule | None = None
) -> tuple[ChangePoint, ...]:
    """Steps of the level, in order.

    Block means in decibels, less the usual course of the day where there are at least three days, are cut where
    that pays; the price follows from how restless the level is over hours, so that slow wandering is no change.

    Parameters
    ----------
    series : LogSeries
        The series.
    block_minutes : int
        Length of a block; 0 takes 30 min, or longer for more than some 80 days.
    gap_rule : GapRule or None
        None for the usual rule.
    """
    require_not_held(series, "Finding changes")
    cells = minute_cells(series, gap_rule or series.gap_rule)
    minutes = block_minutes or _block_minutes(int(cells.index[-1] - cells.index[0] + 1))
    block = cells.index // minutes
    starts = np.flatnonzero(np.diff(block, prepend=block[0] - 1))
    seen = np.add.reduceat(cells.seen_us, starts)
    power = np.add.reduceat(cells.energy, starts) / seen
    begins = block[starts] * minutes * CELL_US
    level = 10.0 * np.log10(np.maximum(power, np.finfo(float).tiny))
    flat = level - _daily_course(begins, level, series.zone, minutes)
    variance = long_run_variance(flat, 1440 // minutes)
    cuts = segment(flat, variance, least=max(2, round(flat.size**0.4) // 2))
    edges = [0, *cuts, flat.size]
    means = [float(flat[a:b].mean()) for a, b in pairwise(edges)]
    return tuple(
        ChangePoint(moment_of(int(begins[cut])), means[i + 1] - means[i], means[i], means[i + 1])
        for i, cut in enumerate(cuts)
    )


def _block_minutes(span_minutes: int) -> int:
    minutes = 30
    while span_minutes / minutes > _MOST_BLOCKS:
        minutes *= 2
    return minutes


def _daily_course(begins_us: NDArray[np.int64], level: Floats, zone: str, minutes: int) -> Floats:
    """Median level of each part of the day about the overall median; zero for fewer than three days."""
    local = local_from_utc(begins_us, zone_from_name(zone)) // CELL_US
    if np.unique(local // 1440).size < 3:
        return np.zeros(level.size)
    part = local % 1440 // max(minutes, 60)
    course = np.zeros(level.size)
    for name in np.unique(part):
        rows = part == name
        course[rows] = np.median(level[rows])
    return course - float(np.median(level))
