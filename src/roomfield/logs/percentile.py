"""Exact percentiles of any number of readings: bins in the pass, then only the bins that matter again."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from roomfield.logs import row_groups, series_kernels
from roomfield.logs.clock import MICRO
from roomfield.logs.log_series import LogSeries
from roomfield.logs.sufficient_statistics import Condensed

Weights = tuple[NDArray[np.float64], NDArray[np.int64]]

PERCENTS = (5.0, 25.0, 50.0, 75.0, 90.0, 95.0, 99.0, 99.9)

FOR_BACKGROUND = (16.0, 50.0)
"""Percentiles from which the background between bursts is judged."""


def weighted(
    series: LogSeries,
    condensed: Condensed,
    percents: Sequence[float] = PERCENTS,
    known: Mapping[int, Weights] | None = None,
) -> tuple[float, ...]:
    """Levels not exceeded for given shares of the observed time.

    The percentile p is the least level at or below which the series stayed for at least p % of the time it was
    observed; no interpolation.

    Parameters
    ----------
    series : LogSeries
        The series that was condensed.
    condensed : Condensed
        Its condensed form.
    percents : sequence of float
        From 0 to 100.
    known : mapping of int to Weights or None
        Bins that were looked into before.
    """
    total, targets = _targets(condensed, percents)
    inside = known or {}
    if not _mixed_bins(condensed, total, targets) <= inside.keys():
        inside = bins_holding(series, condensed, percents)
    result = []
    for target in targets:
        k = int(np.searchsorted(total, target))
        if not condensed.mixed[k]:
            result.append(float(condensed.sample[k]))
            continue
        values, weights = inside[k]
        before = int(total[k - 1]) if k else 0
        result.append(float(values[np.searchsorted(np.cumsum(weights) + before, target)]))
    return tuple(result)


def bins_holding(series: LogSeries, condensed: Condensed, percents: Sequence[float]) -> dict[int, Weights]:
    """Distinct values and observed times [µs] of the bins that percentiles lie in, where a bin holds several.

    Parameters
    ----------
    series : LogSeries
        The series that was condensed.
    condensed : Condensed
        Its condensed form.
    percents : sequence of float
        From 0 to 100.
    """
    return _bins(series, condensed, sorted(_mixed_bins(condensed, *_targets(condensed, percents))))


def _targets(condensed: Condensed, percents: Sequence[float]) -> tuple[NDArray[np.int64], list[int]]:
    """Observed time up to each bin, and that at each percentile [µs]."""
    total = np.cumsum(condensed.histogram)
    return total, [max(1, _share_of(int(total[-1]), percent)) for percent in percents]


def _mixed_bins(condensed: Condensed, total: NDArray[np.int64], targets: list[int]) -> set[int]:
    return {k for k in np.searchsorted(total, targets).tolist() if condensed.mixed[k]}


def _share_of(total: int, percent: float) -> int:
    """Least whole number of microseconds that is at least a share of a total."""
    return math.ceil(total * Fraction(percent).limit_denominator(1_000_000) / 100)


def _bins(series: LogSeries, condensed: Condensed, bins: list[int]) -> dict[int, Weights]:
    """Distinct values and observed times [µs] of some bins."""
    if not bins:
        return {}
    wanted = np.zeros(condensed.histogram.size, dtype=np.bool_)
    wanted[bins] = True
    inside = row_groups.row_groups(series).within(series.start_us, series.end_us)
    found = row_groups.side_by_side(row_groups.spans(inside), lambda part: _in_bins(series, condensed, wanted, part))
    place, value, hold = (np.concatenate(columns) for columns in zip(*found, strict=True))
    return {k: _summed(value[place == k], hold[place == k]) for k in bins}


def _in_bins(
    series: LogSeries, condensed: Condensed, wanted: NDArray[np.bool_], part: list[int]
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    """Bin, value and hold [µs] of the readings of a part that lie in the bins wanted."""
    hold_us = round(condensed.question.rule.hold_limit_s * MICRO)
    found = []
    with row_groups.opened(series) as file:
        for group in part:
            value, step, *stamps = row_groups.read(
                file, [group], ["value", "dt_us", *([] if series.whole else ["t_us"])]
            )
            for t in stamps:
                rows = slice(*np.searchsorted(t, (series.start_us, series.end_us + 1)))
                value, step = value[rows], step[rows]
            at, place = np.empty((2, value.size), dtype=np.int64)
            bits = value.view(np.int64)
            count = series_kernels.in_bins(bits, condensed.key0, condensed.key_shift, wanted, at, place)
            at = at[:count]
            found.append((place[:count].copy(), value[at], np.minimum(step[at], hold_us)))
    place, value, hold = (np.concatenate(columns) for columns in zip(*found, strict=True))
    return place, value, hold


def _summed(value: NDArray[np.float64], hold: NDArray[np.int64]) -> Weights:
    distinct, place = np.unique(value, return_inverse=True)
    total = np.zeros(distinct.size, dtype=np.int64)
    np.add.at(total, place, hold)
    return distinct, total
