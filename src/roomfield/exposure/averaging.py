"""Averages over time and over the body."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import InputError, TooEarlyError
from roomfield.exposure.level_sums import mean
from roomfield.quantities import ErrorContribution, Kind, UncertainLevel, require_kind
from roomfield.references.catalogue import scheme_points, time_variability

Array = NDArray[np.float64]


def spatial_mean(levels: Sequence[UncertainLevel], scheme: str) -> UncertainLevel:
    """Mean over the points of a spatial scheme: S_avg = mean(S), that is E_avg = sqrt(mean(E²)).

    Parameters
    ----------
    levels : sequence of UncertainLevel
        One for each point, time averages.
    scheme : str
        "single", "three", "six" or "twenty" (see the table of spatial schemes for points and sources).

    Raises
    ------
    TooEarlyError
        If points are missing.
    KindMismatchError
        If a level is not an average.
    """
    wanted = scheme_points(scheme)
    if len(levels) != len(wanted):
        heights = ", ".join(f"{point.height_m:g} m" for point in wanted)
        raise TooEarlyError(
            f"the scheme '{scheme}' has {len(wanted)} points and there are {len(levels)} levels.",
            mend=f"Measure all points; heights: {heights}.",
        )
    for level in levels:
        require_kind(level.kind, Kind.AVERAGE, "a spatial average")
    return mean(levels)


def time_average_w_m2(densities_w_m2: ArrayLike, durations_s: ArrayLike) -> float:
    """Mean power density over consecutive spans of time.

    Parameters
    ----------
    densities_w_m2 : array_like, shape (n,)
        Mean over each span [W/m²].
    durations_s : array_like, shape (n,)
        Length of each span [s].

    Raises
    ------
    InputError
        If there is no time to average over, or a value is negative.
    """
    density = np.asarray(densities_w_m2, dtype=np.float64)
    duration = np.asarray(durations_s, dtype=np.float64)
    if density.shape != duration.shape or not duration.sum() > 0.0 or density.min() < 0.0 or duration.min() < 0.0:
        raise InputError(
            "a time average needs one duration for each power density, and none negative.",
            mend="Check the lengths and signs of both lists.",
        )
    return float(np.average(density, weights=duration))


def rolling_average(densities_w_m2: ArrayLike, step_s: float, window_s: float) -> Array:
    """Averages over a window that slides along an even series.

    Parameters
    ----------
    densities_w_m2 : array_like, shape (n,)
        Series [W/m²].
    step_s : float
        Time between values [s].
    window_s : float
        Averaging time [s], such as 360 (6 min) or 1800 (30 min).

    Returns
    -------
    ndarray, shape (n - k + 1,)
        Average over each k values that fill the window.

    Raises
    ------
    TooEarlyError
        If the series is shorter than the window.
    """
    series = np.asarray(densities_w_m2, dtype=np.float64)
    count = max(1, math.ceil(window_s / step_s - 1e-9))
    if count > series.size:
        raise TooEarlyError(
            f"the series covers {series.size * step_s:g} s and the average needs {window_s:g} s.",
            mend="Measure longer, or state the shorter averaging time with the result.",
        )
    # Differences of a running sum: exact enough over a day of seconds, and linear in its length.
    sums = np.concatenate(([0.0], np.cumsum(series)))
    return np.asarray((sums[count:] - sums[:-count]) / count)


def as_time_average(level: UncertainLevel, service: str, shared_key: str = "") -> UncertainLevel:
    """A spot reading taken for the average over a longer time: adds the service's spread over a day.

    Parameters
    ----------
    level : UncertainLevel
        A time average over the meter's own short window.
    service : str
        "dect", "wifi", "broadcast" or "mobile_downlink".
    shared_key : str
        Name of the variation, if several levels go up and down together.

    Raises
    ------
    KindMismatchError
        If the level is not an average.

    Notes
    -----
    The published spread is taken as the full width of a rectangular distribution; that is our reading of it.
    """
    require_kind(level.kind, Kind.AVERAGE, "a longer time average")
    spread = time_variability(service)
    variation = ErrorContribution.from_half_width("variation in time", 0.5 * spread.spread_db, shared_key=shared_key)
    return level.shifted(0.0, variation)


def covers(duration_s: float, averaging_s: float | None) -> bool:
    """True if an observation lasts a limit's averaging time; any length serves a limit without one."""
    return averaging_s is None or duration_s >= averaging_s
