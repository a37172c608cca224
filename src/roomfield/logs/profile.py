"""The usual day and the usual week, with intervals that know how alike neighbouring days are."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.logs.clock import local_from_utc, moment_of, zone_from_name
from roomfield.logs.digest import minute_cells
from roomfield.logs.intervals import CONFIDENCE, ConfidenceInterval, mean_interval, median_interval
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.scale import Unit
from roomfield.logs.sufficient_statistics import CELL_US, Cells
from roomfield.logs.summary import plain, require_not_held

Floats = NDArray[np.float64]

LEAST_SHARE_OF_BIN = 0.25
"""A part of the day counts on a day only if it was observed for this share."""
DAY_PARTS = (("night", 22, 6), ("day", 6, 18), ("evening", 18, 22))
"""Name, first and last hour on the log's own clock (common practice, no source); a night is one part, not two."""


@dataclass(frozen=True)
class ProfileBin:
    """One part of the day or week.

    Parameters
    ----------
    weekday : int or None
        0 for Monday; None in a day profile.
    start_minute : int
        Minutes after local midnight.
    days : int
        Days on which it was observed long enough.
    mean, median : Interval
        Mean over the days (over power), and median over the days, of the mean level in this part.
    highest : float or None
        Highest single reading.
    """

    weekday: int | None
    start_minute: int
    days: int
    mean: ConfidenceInterval
    median: ConfidenceInterval
    highest: float | None


@dataclass(frozen=True)
class Profile:
    """Levels by time of day, or by time of the week.

    Parameters
    ----------
    unit, zone : str
        Of the levels, and of the clock.
    bin_minutes : int
        Length of a part.
    days : int
        Calendar days with any reading.
    bins : tuple of ProfileBin
        In order.
    remarks : tuple of str
        What a reader must know.
    """

    unit: str
    zone: str
    bin_minutes: int
    days: int
    bins: tuple[ProfileBin, ...]
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        return plain(self)  # type: ignore[no-any-return]


@dataclass(frozen=True)
class DayTable:
    """Mean power by day and part of the day; NaN where it was not observed long enough.

    Parameters
    ----------
    days : ndarray of int, shape (d,)
        Local days since 1970, all between the first and the last.
    power : ndarray, shape (d, b)
        Mean of what is proportional to power.
    high : ndarray, shape (d, b)
        Highest reading; NaN where there is none.
    """

    days: NDArray[np.int64]
    power: Floats
    high: Floats


def day_table(cells: Cells, zone: str, bin_minutes: int) -> DayTable:
    """Gather minute sums by local day and part of the day.

    Parameters
    ----------
    cells : Cells
        From a pass over the series.
    zone : str
        Zone in which days are counted.
    bin_minutes : int
        Length of a part; divides 1440.
    """
    minute = local_from_utc(cells.index * CELL_US, zone_from_name(zone)) // CELL_US
    day, part, parts = minute // 1440, minute % 1440 // bin_minutes, 1440 // bin_minutes
    days = np.arange(day.min(), day.max() + 1)
    place = (day - days[0]) * parts + part
    size = days.size * parts
    seen = np.bincount(place, cells.seen_us, size)
    energy = np.bincount(place, cells.energy, size)
    high = np.full(size, -np.inf)
    np.maximum.at(high, place, cells.high)
    enough = seen >= LEAST_SHARE_OF_BIN * bin_minutes * CELL_US
    with np.errstate(invalid="ignore", divide="ignore"):
        power = np.where(enough, energy / seen, np.nan)
    high = np.where(np.isfinite(high), high, np.nan)
    return DayTable(days, power.reshape(days.size, parts), high.reshape(days.size, parts))


def day_profile(
    series: LogSeries,
    *,
    bin_minutes: int = 60,
    zone: str = "",
    confidence: float = CONFIDENCE,
    gap_rule: GapRule | None = None,
) -> Profile:
    """Levels by time of day.

    Parameters
    ----------
    series : LogSeries
        The series.
    bin_minutes : int
        Length of a part of the day; divides 1440.
    zone : str
        Zone in which hours are counted; empty takes that of the series.
    confidence : float
        Of the intervals.
    gap_rule : GapRule or None
        None for the usual rule.
    """
    table = _table(series, bin_minutes, zone, gap_rule)
    every = np.arange(table.days.size)
    bins = _bins(table, every, None, bin_minutes, (series.unit, confidence))
    return _profile(series, table, zone, bin_minutes, bins)


@dataclass(frozen=True)
class LoggedDayPart:
    """Night, day or evening over a whole log.

    Parameters
    ----------
    name : str
        ``night``, ``day`` or ``evening``, see `DAY_PARTS`.
    from_hour, to_hour : int
        On the log's own clock [h].
    days : int
        Nights, days or evenings observed long enough.
    mean : ConfidenceInterval or None
        Mean over them (over power); None if none was.
    highest : float
        Highest single reading.
    highest_at : datetime
        Minute in which it was read.
    """

    name: str
    from_hour: int
    to_hour: int
    days: int
    mean: ConfidenceInterval | None
    highest: float
    highest_at: datetime


def day_parts(series: LogSeries, *, zone: str = "", confidence: float = CONFIDENCE) -> tuple[LoggedDayPart, ...]:
    """Night, day and evening apart, each with its mean and its highest reading; parts without a reading are left out.

    Parameters
    ----------
    series : LogSeries
        Averages or peaks; a held maximum may come from the part before.
    zone : str
        Zone in which hours are counted; empty takes that of the series.
    confidence : float
        Of the interval of the mean.
    """
    require_not_held(series, "A split by night, day and evening")
    cells = minute_cells(series, series.gap_rule)
    minute = local_from_utc(cells.index * CELL_US, zone_from_name(zone or series.zone)) // CELL_US
    found = []
    for name, begin, end in DAY_PARTS:
        hours = (end - begin) % 24
        since = minute - 60 * begin
        inside = np.flatnonzero(since % 1440 < 60 * hours)
        if not inside.size:
            continue
        which = since[inside] // 1440
        which -= which.min()
        seen = np.bincount(which, cells.seen_us[inside])
        enough = seen >= LEAST_SHARE_OF_BIN * hours * 60 * CELL_US
        with np.errstate(invalid="ignore", divide="ignore"):
            power = np.where(enough, np.bincount(which, cells.energy[inside]) / seen, np.nan)
        mean = in_unit(mean_interval(power, confidence), series.unit) if enough.any() else None
        top = inside[int(np.argmax(cells.high[inside]))]
        at = moment_of(int(cells.index[top]) * CELL_US)
        found.append(LoggedDayPart(name, begin, end, int(enough.sum()), mean, float(cells.high[top]), at))
    return tuple(found)


def week_profile(
    series: LogSeries,
    *,
    bin_minutes: int = 60,
    zone: str = "",
    confidence: float = CONFIDENCE,
    gap_rule: GapRule | None = None,
) -> Profile:
    """Levels by weekday and time of day.

    Parameters
    ----------
    series : LogSeries
        A log of some weeks; not one of held maxima.
    bin_minutes : int
        Length of a part of the day [min]; divides the day.
    zone : str
        Time zone of the parts; that of the log if empty.
    confidence : float
        Of the interval of each mean, 0 to 1.
    gap_rule : GapRule, optional
        How long a reading stands; that of the log if left out.
    """
    table = _table(series, bin_minutes, zone, gap_rule)
    weekday = (table.days + 3) % 7
    bins: list[ProfileBin] = []
    for name in range(7):
        rows = np.flatnonzero(weekday == name)
        bins += _bins(table, rows, name, bin_minutes, (series.unit, confidence))
    return _profile(series, table, zone, bin_minutes, bins)


def _table(series: LogSeries, bin_minutes: int, zone: str, gap_rule: GapRule | None) -> DayTable:
    require_not_held(series, "A profile")
    if bin_minutes < 1 or 1440 % bin_minutes:
        raise InputError(f"{bin_minutes} min does not divide a day.", where="bin_minutes", mend="Use 15, 30 or 60.")
    cells = minute_cells(series, gap_rule or series.gap_rule)
    return day_table(cells, zone or series.zone, bin_minutes)


def _bins(
    table: DayTable, rows: NDArray[np.intp], weekday: int | None, bin_minutes: int, how: tuple[Unit, float]
) -> list[ProfileBin]:
    unit, confidence = how
    bins = []
    for part in range(table.power.shape[1]):
        power, high = table.power[rows, part], table.high[rows, part]
        days = int(np.isfinite(power).sum())
        if not days:
            continue
        highest = float(np.nanmax(high)) if np.isfinite(high).any() else None
        mean = in_unit(mean_interval(power, confidence), unit)
        median = in_unit(median_interval(power, confidence), unit)
        bins.append(ProfileBin(weekday, part * bin_minutes, days, mean, median, highest))
    return bins


def in_unit(found: ConfidenceInterval, unit: Unit) -> ConfidenceInterval:
    """An interval of power as one in a unit."""
    low = None if found.low is None else unit.level_of(found.low)
    high = None if found.high is None else unit.level_of(found.high)
    return ConfidenceInterval(unit.level_of(found.value), low, high, found.confidence)


def _profile(series: LogSeries, table: DayTable, zone: str, minutes: int, bins: list[ProfileBin]) -> Profile:
    days = int(np.isfinite(table.high).any(axis=1).sum())
    remarks = ["Means are taken over power; intervals allow for the likeness of neighbouring days."]
    if any(b.mean.low is None for b in bins):
        remarks.append("Parts seen on fewer than three days have no interval: log longer to learn how days differ.")
    return Profile(series.unit.name, zone or series.zone, minutes, days, tuple(bins), tuple(remarks))
