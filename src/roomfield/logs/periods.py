"""Two periods compared: before and after a measure, weekdays and weekend, with and without a source."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import special

from roomfield.errors import InputError, KindMismatchError
from roomfield.logs.digest import minute_cells
from roomfield.logs.intervals import CONFIDENCE, ConfidenceInterval, MeanError, mean_error
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.profile import DayTable, Floats, day_table
from roomfield.logs.summary import plain, require_not_held

_PER_NEPER_DB = 10.0 / math.log(10.0)


@dataclass(frozen=True)
class PeriodComparison:
    """How the second period differs from the first.

    Parameters
    ----------
    unit : str
        Of the means.
    first_mean, second_mean : float
        Means over the hours of the day seen in both periods, every such hour counting the same.
    change_db : Interval
        Second over first [dB]; negative if the level fell.
    first_days, second_days : int
        Days behind each.
    hours_compared : int
        Hours of the day seen in both periods.
    excludes_no_change : bool or None
        Whether the interval excludes 0 dB; None without an interval.
    remarks : tuple of str
        What a reader must know.
    """

    unit: str
    first_mean: float
    second_mean: float
    change_db: ConfidenceInterval
    first_days: int
    second_days: int
    hours_compared: int
    excludes_no_change: bool | None
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        return plain(self)  # type: ignore[no-any-return]


def compare(
    first: LogSeries, second: LogSeries, *, confidence: float = CONFIDENCE, gap_rule: GapRule | None = None
) -> PeriodComparison:
    """Change of the mean level from one period to another, hour of the day by hour of the day.

    Days are the units of repetition; their likeness widens the interval. Hours seen in one period only are left
    out, so that a longer night in one does not pass for a change.

    Parameters
    ----------
    first, second : LogSeries
        Two series of the same unit and kind, or two spans of one.
    confidence : float
        Of the interval.
    gap_rule : GapRule or None
        None for the usual rule of each.

    Raises
    ------
    KindMismatchError
        If one holds peaks and the other averages, or either holds held maxima.
    InputError
        If the units differ or no hour of the day was seen in both.
    """
    _require_alike(first, second)
    tables = [_hours(series, gap_rule) for series in (first, second)]
    shared = np.flatnonzero(np.isfinite(tables[0].power).any(axis=0) & np.isfinite(tables[1].power).any(axis=0))
    if not shared.size:
        raise InputError(
            "no hour of the day was observed in both periods.",
            where=f"{first.source_name}, {second.source_name}",
            mend="Compare periods that cover the same hours.",
        )
    estimates = [_stratified(table.power[:, shared], confidence) for table in tables]
    change = _change(estimates[0], estimates[1], confidence)
    return PeriodComparison(
        unit=first.unit.name,
        first_mean=first.unit.level_of(estimates[0].mean),
        second_mean=first.unit.level_of(estimates[1].mean),
        change_db=change,
        first_days=_days(tables[0], shared),
        second_days=_days(tables[1], shared),
        hours_compared=int(shared.size),
        excludes_no_change=None if change.low is None or change.high is None else change.low > 0 or change.high < 0,
        remarks=_remarks(first, second, change),
    )


def _require_alike(first: LogSeries, second: LogSeries) -> None:
    for series in (first, second):
        require_not_held(series, "A comparison of periods")
    if first.kind != second.kind:
        raise KindMismatchError(
            f"one log holds values of kind {first.kind}, the other {second.kind}.",
            mend="Compare logs of one kind.",
        )
    if first.unit != second.unit:
        raise InputError(f"one log is in {first.unit.name}, the other in {second.unit.name}.", mend="Use one unit.")


def _hours(series: LogSeries, gap_rule: GapRule | None) -> DayTable:
    return day_table(minute_cells(series, gap_rule or series.gap_rule), series.zone, 60)


def _days(table: DayTable, shared: np.ndarray[Any, Any]) -> int:
    return int(np.isfinite(table.power[:, shared]).any(axis=1).sum())


def _stratified(power: Floats, confidence: float) -> MeanError:
    """Mean of the hourly means, with the error from how whole days scatter about them.

    Parameters
    ----------
    power : ndarray, shape (d, h)
        Mean power by day and hour; NaN where not seen.
    """
    known = np.isfinite(power)
    hourly = np.nanmean(power, axis=0)
    mean = float(hourly.mean())
    weight = known.any(axis=1).sum() / known.sum(axis=0)
    deviation = np.where(known, (power - hourly) * weight, 0.0).sum(axis=1) / power.shape[1]
    daily = np.where(known.any(axis=1), deviation, np.nan)
    found = mean_error(daily, confidence)
    if found is None:
        return MeanError(mean, math.nan, 0.0)
    return MeanError(mean, found.error, found.freedom)


def _change(first: MeanError, second: MeanError, confidence: float) -> ConfidenceInterval:
    if first.mean <= 0 or second.mean <= 0:
        return ConfidenceInterval(math.nan, None, None, confidence)
    value = 10.0 * math.log10(second.mean / first.mean)
    parts = [(part.error / part.mean) ** 2 for part in (first, second)]
    if not all(map(math.isfinite, parts)):
        return ConfidenceInterval(value, None, None, confidence)
    total = sum(parts)
    if total == 0:
        return ConfidenceInterval(value, value, value, confidence)
    freedom = total**2 / (parts[0] ** 2 / first.freedom + parts[1] ** 2 / second.freedom)
    reach = _PER_NEPER_DB * float(special.stdtrit(freedom, 0.5 + confidence / 2)) * math.sqrt(total)
    return ConfidenceInterval(value, value - reach, value + reach, confidence)


def _remarks(first: LogSeries, second: LogSeries, change: ConfidenceInterval) -> tuple[str, ...]:
    said = ["The systematic error of a meter cancels in this ratio only if the same meter, place and axis were used."]
    if change.low is None:
        said.append("A period of fewer than three days shows no day-to-day scatter: there is no interval.")
    if any(s.report.below_floor for s in (first, second)):
        said.append("Readings below the floor enter at the floor: the true change may be larger.")
    if any(s.report.overload for s in (first, second)):
        said.append("Overloads enter at the end of the range: the true change may differ.")
    return tuple(said)
