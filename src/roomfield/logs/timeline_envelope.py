"""The envelope of a log between two moments, in as many bins as a screen has columns."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.logs import row_groups
from roomfield.logs.clock import MICRO, micros_of, moment_of, parse_moment
from roomfield.logs.log_series import PYRAMID_FILE, LogSeries
from roomfield.logs.pyramid import read_tier, widths_us
from roomfield.logs.scale import find_unit
from roomfield.logs.sufficient_statistics import Tier
from roomfield.logs.summary import plain

MOST_BINS = 8192


@dataclass(frozen=True)
class Envelope:
    """Least, mean and greatest level of equal bins.

    Parameters
    ----------
    unit : str
        Of the levels.
    start : datetime
        Start of the first bin, UTC.
    bin_s : float
        Width of a bin [s].
    low, mean, high : ndarray, shape (n,)
        By bin; NaN where there is no reading. The mean is taken over power, every reading counting the same.
    count : ndarray of int, shape (n,)
        Readings.
    """

    unit: str
    start: datetime
    bin_s: float
    low: NDArray[np.float64]
    mean: NDArray[np.float64]
    high: NDArray[np.float64]
    count: NDArray[np.int64]

    def coarser(self, most: int) -> Envelope:
        """The same in at most so many bins; no least or greatest level is lost.

        Parameters
        ----------
        most : int
            Bins, at least one.
        """
        step = -(-self.low.size // max(1, most))
        if step <= 1:
            return self
        short = -self.low.size % step
        low, mean, high = (
            np.append(v, np.full(short, np.nan)).reshape(-1, step) for v in (self.low, self.mean, self.high)
        )
        count = np.append(self.count, np.zeros(short, dtype=np.int64)).reshape(-1, step)
        unit = find_unit(self.unit)
        power = mean if unit is None else unit.power(mean)
        total, readings = np.nansum(power * count, axis=1), count.sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            level = total / readings if unit is None else unit.level(total / readings)
        return Envelope(
            self.unit,
            self.start,
            self.bin_s * step,
            np.fmin.reduce(low, axis=1),
            np.asarray(level),
            np.fmax.reduce(high, axis=1),
            readings,
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form; None where there is no reading."""
        columns = {name: plain(getattr(self, name)) for name in ("low", "mean", "high", "count")}
        return {"unit": self.unit, "start": self.start.isoformat(), "bin_s": self.bin_s, **columns}


def timeline(
    series: LogSeries, start: datetime | str | None = None, end: datetime | str | None = None, bins: int = 1000
) -> Envelope:
    """Envelope of the readings from `start` to `end`.

    Bins are whole multiples of the stored ones and begin at whole multiples of their width since 1970, so that
    least and greatest are exact for every bin; hence there may be fewer bins than asked for, never more than two
    above.

    Parameters
    ----------
    series : LogSeries
        The series.
    start, end : datetime, str or None
        Span; None for the ends of the series.
    bins : int
        Bins wanted, 1 to 8192.

    Raises
    ------
    InputError
        If the span is empty or the number of bins is out of range.
    """
    if not 1 <= bins <= MOST_BINS:
        raise InputError(f"{bins} bins were asked for.", where="bins", mend=f"Ask for 1 to {MOST_BINS}.")
    first = series.start_us if start is None else _micros(start)
    last = series.end_us + 1 if end is None else _micros(end)
    if last <= first:
        raise InputError("the span ends before it begins.", where="timeline", mend="Give start before end.")
    wanted = max(1, -(-(last - first) // bins))
    pyramid = series.directory / PYRAMID_FILE
    fitting = [width for width in widths_us(pyramid) if width <= wanted]
    if fitting:
        return _from_tier(series, read_tier(pyramid, fitting[-1], first, last), (first, last), wanted)
    return _from_readings(series, first, last, wanted)


def _micros(moment: datetime | str) -> int:
    return micros_of(parse_moment(moment) if isinstance(moment, str) else moment)


def _from_tier(series: LogSeries, tier: Tier, span: tuple[int, int], wanted: int) -> Envelope:
    first, last = span
    step = -(-wanted // tier.width_us)
    a = np.searchsorted(tier.index, first // tier.width_us)
    b = np.searchsorted(tier.index, -(-last // tier.width_us))
    rows = slice(int(a), int(b))
    parts = (tier.low[rows], tier.high[rows], tier.power[rows], tier.count[rows])
    return _binned(series, tier.index[rows] // step, (first, last, step * tier.width_us), parts)


def _from_readings(series: LogSeries, first: int, last: int, wanted: int) -> Envelope:
    t, value = _slice(series, first, last)
    ones = np.ones(t.size, dtype=np.int64)
    return _binned(series, t // wanted, (first, last, wanted), (value, value, series.unit.power(value), ones))


def _slice(series: LogSeries, first: int, last: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Readings of a span, from the row groups that can hold them."""
    with row_groups.opened(series) as file:
        wanted = row_groups.row_groups(series).within(first, last - 1)
        t, value = row_groups.read(file, wanted, ["t_us", "value"])
    rows = slice(*np.searchsorted(t, (first, last)))
    return t[rows], value[rows]


def _binned(
    series: LogSeries, place: NDArray[np.int64], span: tuple[int, int, int], parts: tuple[NDArray[Any], ...]
) -> Envelope:
    first, last, width = span
    origin = first // width
    size = int(-(-last // width) - origin)
    low, high, mean = np.full((3, size), np.nan)
    count = np.zeros(size, dtype=np.int64)
    if place.size:
        starts = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
        at = place[starts] - origin
        low[at] = np.minimum.reduceat(parts[0], starts)
        high[at] = np.maximum.reduceat(parts[1], starts)
        count[at] = np.add.reduceat(parts[3], starts)
        mean[at] = series.unit.level(np.add.reduceat(parts[2], starts) / count[at])
    return Envelope(series.unit.name, moment_of(origin * width), width / MICRO, low, mean, high, count)
