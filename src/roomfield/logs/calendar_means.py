"""Readings gathered by hour of the day and by day, in any zone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.logs.clock import MICRO, local_from_utc, moment_of, zone_from_name
from roomfield.logs.log_series import LogSeries

_HOUR_US = 3600 * MICRO
_DAY_US = 24 * _HOUR_US


def hour_medians(series: LogSeries, zone: str = "") -> dict[int, float]:
    """Median of the readings in each hour of the day that holds any.

    Parameters
    ----------
    series : LogSeries
        The series; it is read whole.
    zone : str
        Zone in which hours are counted; empty takes that of the series.
    """
    t, value, _ = series.readings()
    hour = local_from_utc(t, zone_from_name(zone or series.zone)) // _HOUR_US % 24
    return {int(h): float(np.median(value[hour == h])) for h in np.unique(hour)}


def day_means(series: LogSeries, zone: str = "") -> dict[str, float]:
    """Mean of the readings of each day, taken over power, every reading counting the same.

    Parameters
    ----------
    series : LogSeries
        The series; it is read whole.
    zone : str
        Zone in which days are counted; empty takes that of the series.
    """
    t, value, _ = series.readings()
    day = local_from_utc(t, zone_from_name(zone or series.zone)) // _DAY_US
    starts: NDArray[np.intp] = np.flatnonzero(np.diff(day, prepend=day[0] - 1))
    power = np.add.reduceat(series.unit.power(value), starts) / np.diff(starts, append=t.size)
    names = [f"{moment_of(int(d) * _DAY_US):%Y-%m-%d}" for d in day[starts]]
    return dict(zip(names, series.unit.level(power).tolist(), strict=True))
