"""Runs above a bound: when, how long, how high."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from roomfield.logs.above import Runs, above
from roomfield.logs.clock import MICRO, moment_of
from roomfield.logs.log_series import GapRule, LogSeries


@dataclass(frozen=True)
class Event:
    """A run above a bound.

    Parameters
    ----------
    start, end : datetime
        First reading above, and the end of the interval of the last, UTC.
    length_s : float
        Between them [s].
    peak : float
        Highest reading, in the unit of the series.
    readings : int
        Readings above the bound.
    """

    start: datetime
    end: datetime
    length_s: float
    peak: float
    readings: int


def events_of(runs: Runs, nominal_interval_s: float) -> tuple[Event, ...]:
    """Events from runs; each lasts one nominal interval beyond its last reading above.

    Parameters
    ----------
    runs : Runs
        From the pass over the series.
    nominal_interval_s : float
        Usual time between readings [s].
    """
    extra = round(nominal_interval_s * MICRO)
    columns = (runs.begin_us.tolist(), runs.last_us.tolist(), runs.peak.tolist(), runs.count.tolist())
    return tuple(
        Event(moment_of(a), moment_of(b + extra), (b + extra - a) / MICRO, peak, int(count))
        for a, b, peak, count in zip(*columns, strict=True)
    )


def events(
    series: LogSeries, bound: float, *, join_s: float | None = None, gap_rule: GapRule | None = None
) -> tuple[Event, ...]:
    """Runs of readings above a bound, in order.

    Parameters
    ----------
    series : LogSeries
        The series.
    bound : float
        In the unit of the series; a reading must exceed it.
    join_s : float or None
        Runs whose readings are no further apart are one event [s]; None for 60 s, or one and a half nominal
        intervals if that is longer.
    gap_rule : GapRule or None
        None for the usual rule.
    """
    rule = gap_rule or series.gap_rule
    join = max(60.0, 1.5 * rule.nominal_interval_s) if join_s is None else join_s
    return events_of(above(series, rule, bound, join).runs, rule.nominal_interval_s)
