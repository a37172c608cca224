"""What a log says as a whole, under a stated gap rule."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import datetime
from typing import Any

import numpy as np

from roomfield.errors import InputError, KindMismatchError
from roomfield.logs import duckdb_engine, percentile
from roomfield.logs.above import Above, above
from roomfield.logs.clock import MICRO, moment_of
from roomfield.logs.digest import Digest, digest_of, first_time_of, window_mean
from roomfield.logs.exceedance import Event, events_of
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.scale import Quantity, Unit
from roomfield.logs.sufficient_statistics import LEAST_SHARE, WINDOWS_S, Condensed


@dataclass(frozen=True)
class RollingMaximum:
    """The highest mean over a rolling window.

    Parameters
    ----------
    window_s : float
        Length [s].
    value : float or None
        Highest mean, taken over power, in the unit of the series; None if no window is observed enough.
    start, end : datetime or None
        The window, UTC.
    share_observed : float
        Share of the window in which the series was observed.
    note : str
        Why there is none, if there is none.
    """

    window_s: float
    value: float | None
    start: datetime | None
    end: datetime | None
    share_observed: float
    note: str = ""


@dataclass(frozen=True)
class Gap:
    """Silence longer than the gap limit: last reading before, first after (UTC), length [s]."""

    start: datetime
    end: datetime
    length_s: float


@dataclass(frozen=True)
class BoundStatistics:
    """Time above a bound.

    Parameters
    ----------
    bound : float
        In the unit of the series.
    time_above_s : float
        Observed time with a level above it [s].
    share_above : float
        That as a share of the observed time.
    readings_above : int
        Readings above it.
    events : tuple of Event
        Runs above it, in order.
    longest_s : float
        Length of the longest [s]; 0 if there is none.
    """

    bound: float
    time_above_s: float
    share_above: float
    readings_above: int
    events: tuple[Event, ...]
    longest_s: float


@dataclass(frozen=True)
class LogStatistics:
    """What a log says as a whole.

    Parameters
    ----------
    unit, quantity, kind : str
        What the numbers are.
    start, end : datetime
        First and last reading, UTC.
    span_s, observed_s, share_observed : float
        From the first reading to the end of the last; the time that readings stand for; their ratio.
    readings : int
        Number of readings.
    rule : GapRule
        How long a reading stands.
    mean : float or None
        Mean over the observed time, taken over power; None for a log of held maxima.
    mean_low : float or None
        The same if readings below the floor were nothing at all.
    mean_is_at_least : bool
        Whether overloads make the mean a lower bound.
    mean_of_readings, sd_of_readings : float
        Plain mean and standard deviation of the numbers as they stand, every reading counting the same.
    autocorrelation_lag1 : float
        Correlation of neighbouring readings; NaN for fewer than three or a constant series.
    minimum, maximum : float
        Least and greatest reading.
    maximum_at : datetime
        First time of the greatest, UTC.
    percentiles : tuple of (float, float)
        Per cent of the observed time, and the level not exceeded for it.
    rolling : tuple of RollingMaximum
        Highest rolling means by true duration.
    above : BoundStatistics or None
        Time above the bound that was asked for.
    gaps : tuple of Gap
        Silences.
    share_below_floor, share_overload : float
        Shares of the observed time with such readings.
    remarks : tuple of str
        What a reader must know.
    """

    unit: str
    quantity: str
    kind: str
    start: datetime
    end: datetime
    span_s: float
    observed_s: float
    share_observed: float
    readings: int
    rule: GapRule
    mean: float | None
    mean_low: float | None
    mean_is_at_least: bool
    mean_of_readings: float
    sd_of_readings: float
    autocorrelation_lag1: float
    minimum: float
    maximum: float
    maximum_at: datetime
    percentiles: tuple[tuple[float, float], ...]
    rolling: tuple[RollingMaximum, ...]
    above: BoundStatistics | None
    gaps: tuple[Gap, ...]
    share_below_floor: float
    share_overload: float
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form; times as ISO 8601, what is not a number as None."""
        return plain(self)  # type: ignore[no-any-return]


def plain(value: Any) -> Any:
    """A value with only JSON's types in it: a dataclass as an object, a moment as text, no number as None."""
    if is_dataclass(value) and not isinstance(value, type):
        return {part.name: plain(getattr(value, part.name)) for part in fields(value)}
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def statistics(
    series: LogSeries,
    *,
    bound_w_m2: float | None = None,
    bound: float | None = None,
    gap_rule: GapRule | None = None,
    percents: Sequence[float] = percentile.PERCENTS,
    windows_s: Sequence[float] = WINDOWS_S,
    least_share: float = LEAST_SHARE,
) -> LogStatistics:
    """Statistics of a series or of a span of it.

    Parameters
    ----------
    series : LogSeries
        From `ingest`, `open_series` or `LogSeries.between`.
    bound_w_m2 : float or None
        Bound for the time above [W/m²]; only for power density.
    bound : float or None
        The same in the unit of the series, for any series.
    gap_rule : GapRule or None
        How long a reading stands; None for the usual rule.
    percents : sequence of float
        Percentiles wanted, 0 to 100.
    windows_s : sequence of float
        Averaging times [s].
    least_share : float
        Share of an averaging window that must be observed.

    Raises
    ------
    InputError
        If `bound_w_m2` is given for a series that is not power density, or both bounds are.
    """
    rule = gap_rule or series.gap_rule
    limit = _bound(series, bound_w_m2, bound)
    fitting = tuple(w for w in windows_s if w >= rule.nominal_interval_s) if series.kind != "highest_held" else ()
    join_s = max(60.0, 1.5 * rule.nominal_interval_s)
    kept = digest_of(series, rule, fitting, least_share)
    condensed = kept.condensed
    levels = percentile.weighted(series, condensed, percents, kept.bins)
    low, high = _ends(series)
    mean, sd, correlation = _moments(condensed)
    span_s = (series.end_us - series.start_us) / MICRO + rule.nominal_interval_s
    return LogStatistics(
        unit=series.unit.name,
        quantity=series.unit.quantity.value,
        kind=series.kind,
        start=series.start,
        end=series.end,
        span_s=span_s,
        observed_s=condensed.seen_us / MICRO,
        share_observed=min(1.0, condensed.seen_us / MICRO / span_s),
        readings=condensed.count,
        rule=rule,
        **_means(series, condensed),
        mean_of_readings=mean,
        sd_of_readings=sd,
        autocorrelation_lag1=correlation,
        minimum=low,
        maximum=high,
        maximum_at=moment_of(first_time_of(series, high) if kept.highest_at_us is None else kept.highest_at_us),
        percentiles=tuple(zip(map(float, percents), levels, strict=True)),
        rolling=tuple(_rolling(series, kept, w, rule) for w in windows_s),
        above=None if limit is None else _above(condensed, rule, limit, above(series, rule, limit, join_s)),
        gaps=_gaps(condensed),
        share_below_floor=condensed.floor_us / condensed.seen_us,
        share_overload=condensed.overload_us / condensed.seen_us,
        remarks=(rule.in_words(), *series.report.remarks, *_remarks(series, condensed)),
    )


def require_not_held(series: LogSeries, purpose: str) -> None:
    """Refuse a log of held maxima where levels in time are needed.

    Raises
    ------
    KindMismatchError
        If the series is of kind ``highest_held``.
    """
    if series.kind == "highest_held":
        raise KindMismatchError(
            f"{purpose} needs the level at each time, but this log holds the highest level since the last reset.",
            where=series.source_name,
            mend="Log averages or peaks; a log of held maxima only says when a new maximum came.",
        )


def _bound(series: LogSeries, bound_w_m2: float | None, bound: float | None) -> float | None:
    if bound_w_m2 is None:
        return bound
    if bound is not None:
        raise InputError("two bounds were given.", where="bound", mend="Give bound_w_m2 or bound, not both.")
    if series.unit.quantity is not Quantity.POWER_DENSITY or series.unit.name != "W/m2":
        raise InputError(
            f"a bound in W/m2 says nothing about a log in {series.unit.name}.",
            where=series.source_name,
            mend="Give bound= in the unit of the log.",
        )
    return bound_w_m2


def _ends(series: LogSeries) -> tuple[float, float]:
    if series.whole:
        return series.minimum, series.maximum
    query = f"SELECT min(value), max(value) FROM {duckdb_engine.parquet(series.path)} WHERE {series.where_sql()}"
    with duckdb_engine.reader() as database:
        low, high = database.execute(query).fetchall()[0]
    return float(low), float(high)


def _means(series: LogSeries, condensed: Condensed) -> dict[str, Any]:
    if series.kind == "highest_held":
        return {"mean": None, "mean_low": None, "mean_is_at_least": False}
    unit: Unit = series.unit
    return {
        "mean": unit.level_of(condensed.energy / condensed.seen_us),
        "mean_low": unit.level_of((condensed.energy - condensed.floor_energy) / condensed.seen_us),
        "mean_is_at_least": condensed.overload_us > 0,
    }


def _moments(condensed: Condensed) -> tuple[float, float, float]:
    """Mean, standard deviation, lag-1 autocorrelation of the readings (NIST/SEMATECH e-Handbook, 1.3.5)."""
    n = condensed.count
    total, squares, products, pairs, first, second = condensed.moments
    mean = total / n
    spread = math.fsum((squares, -total * mean))
    lagged = math.fsum((products, -mean * first, -mean * second, pairs * mean * mean))
    sure = n > 2 and spread > 0
    return (
        condensed.shift + mean,
        math.sqrt(max(spread, 0.0) / (n - 1)) if n > 1 else math.nan,
        lagged / spread if sure else math.nan,
    )


def _rolling(series: LogSeries, kept: Digest, window_s: float, rule: GapRule) -> RollingMaximum:
    if series.kind == "highest_held":
        return RollingMaximum(window_s, None, None, None, 0.0, "A log of held maxima has no averages.")
    found = {w.window_us: w for w in kept.condensed.windows}.get(round(window_s * MICRO))
    if found is None:
        note = f"One reading in {rule.nominal_interval_s:g} s is too few for this average."
        return RollingMaximum(window_s, None, None, None, 0.0, note)
    if found.seen_us < 0:
        note = f"No window was observed for {kept.condensed.question.least_share:.0%} of its length."
        return RollingMaximum(window_s, None, None, None, 0.0, note)
    mean = kept.means.get(found.window_us)
    return RollingMaximum(
        window_s,
        series.unit.level_of(window_mean(series, kept.condensed, found) if mean is None else mean),
        moment_of(found.end_us - found.window_us),
        moment_of(found.end_us),
        found.seen_us / found.window_us,
    )


def _above(condensed: Condensed, rule: GapRule, bound: float, found: Above) -> BoundStatistics:
    events = events_of(found.runs, rule.nominal_interval_s)
    return BoundStatistics(
        bound=bound,
        time_above_s=found.seen_us / MICRO,
        share_above=found.seen_us / condensed.seen_us,
        readings_above=found.count,
        events=events,
        longest_s=max((event.length_s for event in events), default=0.0),
    )


def _gaps(condensed: Condensed) -> tuple[Gap, ...]:
    pairs = zip(condensed.gap_begin_us.tolist(), condensed.gap_end_us.tolist(), strict=True)
    return tuple(Gap(moment_of(a), moment_of(b), (b - a) / MICRO) for a, b in pairs)


def _remarks(series: LogSeries, condensed: Condensed) -> list[str]:
    said = []
    if condensed.floor_us:
        share = condensed.floor_us / condensed.seen_us
        said.append(
            f"For {share:.1%} of the time the level lay below the meter's floor; the mean lies between two bounds."
        )
    if condensed.overload_us:
        said.append("The meter was overloaded at times: mean, maximum and averages are at least the values given.")
    if series.kind == "unknown":
        said.append("Whether a value is an average or a peak of its interval is not stated; compare with care.")
    if series.kind == "peak":
        said.append("The values are peaks of their intervals: their mean is not the mean power density.")
    return said
