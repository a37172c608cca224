"""Every rolling and clock-aligned mean of readings, not only the highest."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from roomfield.logs import series_kernels
from roomfield.logs.clock import MICRO, moment_of
from roomfield.logs.log_series import LogSeries


@dataclass(frozen=True)
class MeansOfReadings:
    """Means over windows in which every reading counts the same.

    Parameters
    ----------
    window_s : float
        Length [s].
    least_readings : int
        Readings that a window must hold.
    count : int
        Windows that hold as many.
    maximum, median : float or None
        Of their means, in the unit of the series; None if there is no such window.
    maximum_at : datetime or None
        Rolling: last reading of the highest window; blocks: start of the highest block. UTC.
    """

    window_s: float
    least_readings: int
    count: int
    maximum: float | None
    median: float | None
    maximum_at: datetime | None


def least_readings(window_s: float, nominal_interval_s: float, share: float = 0.8) -> int:
    """Readings that a window must hold to be observed for a share of its length, at least one."""
    return max(1, math.ceil(share * window_s / nominal_interval_s - 1e-9))


def rolling_means(series: LogSeries, window_s: float, least: int) -> MeansOfReadings:
    """Means over (t - window, t] for every reading at t.

    Parameters
    ----------
    series : LogSeries
        The series; it is read whole.
    window_s : float
        Length [s].
    least : int
        Readings that a window must hold.
    """
    t, value, _ = series.readings()
    mean = np.empty(t.size)
    valid = series_kernels.rolling_readings(t, series.unit.power(value), round(window_s * MICRO), least, mean)
    if not valid:
        return MeansOfReadings(window_s, least, 0, None, None, None)
    at = int(np.nanargmax(mean))
    levels = series.unit.level(mean[np.isfinite(mean)])
    highest = series.unit.level_of(float(mean[at]))
    return MeansOfReadings(window_s, least, valid, highest, float(np.median(levels)), moment_of(int(t[at])))


def block_means(series: LogSeries, block_s: float, least: int) -> MeansOfReadings:
    """Means over blocks that begin at whole multiples of their length since 1970.

    Parameters
    ----------
    series : LogSeries
        The series; it is read whole.
    block_s : float
        Length [s].
    least : int
        Readings that a block must hold.
    """
    t, value, _ = series.readings()
    width = round(block_s * MICRO)
    starts = np.flatnonzero(np.diff(t // width, prepend=t[0] // width - 1))
    counts = np.diff(starts, append=t.size)
    full = counts >= least
    if not full.any():
        return MeansOfReadings(block_s, least, 0, None, None, None)
    mean = (np.add.reduceat(series.unit.power(value), starts) / counts)[full]
    at = int(np.argmax(mean))
    begins = (t[starts] // width * width)[full]
    median = float(np.median(series.unit.level(mean)))
    highest = series.unit.level_of(float(mean[at]))
    return MeansOfReadings(block_s, least, int(full.sum()), highest, median, moment_of(int(begins[at])))
