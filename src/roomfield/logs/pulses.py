"""Bursts in a fast log: how many, how wide, how far apart, and what they do to peak and average."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.logs import percentile
from roomfield.logs.above import Above, Runs, above
from roomfield.logs.clock import MICRO
from roomfield.logs.digest import digest_of
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.sufficient_statistics import Condensed
from roomfield.logs.summary import plain, require_not_held

_LEAST_STEP_DB = 6.0
_SPREADS = 4.0


@dataclass(frozen=True)
class Spread:
    """Quartiles and ends of a set of times [s]."""

    least: float
    lower_quartile: float
    median: float
    upper_quartile: float
    greatest: float


@dataclass(frozen=True)
class PeakAndMean:
    """Why peak and average differ: ``total = from_duty + from_uneven_bursts - filled_by_background`` [dB].

    Parameters
    ----------
    total_db : float
        Highest reading over mean [dB].
    from_duty_db : float
        Bursts fill only a part of the time: 10 log10(1 / duty cycle).
    from_uneven_bursts_db : float
        The highest reading over the mean level within bursts.
    filled_by_background_db : float
        What the level between bursts adds to the mean.
    """

    total_db: float
    from_duty_db: float
    from_uneven_bursts_db: float
    filled_by_background_db: float


@dataclass(frozen=True)
class Bursts:
    """Bursts of a log.

    Parameters
    ----------
    unit : str
        Of the levels.
    background, threshold : float
        Median level, and the level above which a reading belongs to a burst.
    count : int
        Bursts seen.
    per_day : float
        Bursts per day of observed time.
    duty_cycle : float
        Share of the observed time within bursts.
    width_s : Spread or None
        Widths; each is known to one interval either way. None without bursts.
    spacing_s : Spread or None
        From start to start, not across gaps; None for fewer than two.
    period_s : float or None
        Spacing, if it is regular: the middle half of the spacings within 10 % of the median.
    burst_level : float or None
        Mean level within bursts.
    peak_and_mean : PeakAndMean or None
        Their difference explained; None without bursts.
    width_is_upper_bound : bool
        Whether most bursts are a single reading wide, so that their true width may be far less.
    remarks : tuple of str
        What a reader must know.
    """

    unit: str
    background: float
    threshold: float
    count: int
    per_day: float
    duty_cycle: float
    width_s: Spread | None
    spacing_s: Spread | None
    period_s: float | None
    burst_level: float | None
    peak_and_mean: PeakAndMean | None
    width_is_upper_bound: bool
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        return plain(self)  # type: ignore[no-any-return]


def bursts(series: LogSeries, *, threshold: float | None = None, gap_rule: GapRule | None = None) -> Bursts:
    """Find bursts above the background.

    Parameters
    ----------
    series : LogSeries
        A log fast enough to see single bursts, several readings a second.
    threshold : float or None
        Level above which a reading belongs to a burst, in the unit of the series; None takes the median plus
        6 dB, or plus four times the half-spread of the lower levels if that is more.
    gap_rule : GapRule or None
        None for the usual rule.

    Raises
    ------
    InputError
        If the whole series lies at one end of the meter's range, so that there is no background.
    """
    require_not_held(series, "Finding bursts")
    rule = gap_rule or series.gap_rule
    background, usual = _background(series, rule)
    level = usual if threshold is None else threshold
    if not math.isfinite(level):
        raise InputError(
            "more than half of the log is zero: there is no background to measure bursts against.",
            where=series.source_name,
            mend="Give threshold= in the unit of the log.",
        )
    nominal = rule.nominal_interval_s
    condensed, over = digest_of(series, rule).condensed, above(series, rule, level, 1.5 * nominal)
    runs = over.runs
    widths = (runs.last_us - runs.begin_us) / MICRO + nominal
    spacing = _spacing(runs, condensed)
    inside = over.energy / over.seen_us if runs.count.size else None
    single = bool(runs.count.size) and float(np.mean(runs.count == 1)) > 0.5
    return Bursts(
        unit=series.unit.name,
        background=background,
        threshold=level,
        count=int(runs.count.size),
        per_day=runs.count.size / (condensed.seen_us / MICRO / 86400),
        duty_cycle=over.seen_us / condensed.seen_us,
        width_s=_spread(widths),
        spacing_s=_spread(spacing),
        period_s=_period(spacing),
        burst_level=None if inside is None else series.unit.level_of(inside),
        peak_and_mean=None if inside is None else _explained(series, condensed, over),
        width_is_upper_bound=single,
        remarks=_remarks(series, nominal, single),
    )


def _background(series: LogSeries, rule: GapRule) -> tuple[float, float]:
    """Median level, and the usual threshold above it; NaN if the median is zero."""
    kept = digest_of(series, rule)
    low, middle = percentile.weighted(series, kept.condensed, percentile.FOR_BACKGROUND, kept.bins)
    db_low, db_middle = series.unit.decibels(np.asarray([low, middle]))
    if not math.isfinite(db_middle):
        return middle, math.nan
    spread = float(db_middle - db_low) if math.isfinite(db_low) else 0.0
    step = max(_LEAST_STEP_DB, _SPREADS * spread)
    power = float(series.unit.power(np.asarray([middle]))[0]) * 10.0 ** (step / 10.0)
    return middle, series.unit.level_of(power)


def _spacing(runs: Runs, condensed: Condensed) -> NDArray[np.float64]:
    """Start to start [s], where no gap lies between."""
    if runs.begin_us.size < 2:
        return np.zeros(0)
    side = np.searchsorted(condensed.gap_begin_us, runs.begin_us)
    return np.asarray(np.diff(runs.begin_us)[np.diff(side) == 0] / MICRO)


def _spread(values: NDArray[np.float64]) -> Spread | None:
    if not values.size:
        return None
    return Spread(*(float(v) for v in np.percentile(values, (0, 25, 50, 75, 100))))


def _period(spacing: NDArray[np.float64]) -> float | None:
    if spacing.size < 4:
        return None
    low, middle, high = np.percentile(spacing, (25, 50, 75))
    return float(middle) if high - low <= 0.1 * middle else None


def _explained(series: LogSeries, condensed: Condensed, over: Above) -> PeakAndMean:
    mean, inside = condensed.energy / condensed.seen_us, over.energy / over.seen_us
    duty = over.seen_us / condensed.seen_us
    peak = float(series.unit.power(np.asarray([over.runs.peak.max()]))[0])
    return PeakAndMean(
        total_db=10 * math.log10(peak / mean),
        from_duty_db=-10 * math.log10(duty),
        from_uneven_bursts_db=10 * math.log10(peak / inside),
        filled_by_background_db=10 * math.log10(mean / (duty * inside)),
    )


def _remarks(series: LogSeries, nominal: float, single: bool) -> tuple[str, ...]:
    said = []
    if nominal > 1.0:
        said.append(f"With one reading in {nominal:g} s, bursts shorter than that are missed or merged.")
    if single:
        said.append(
            "Most bursts are one reading wide: they may be far shorter than they seem, and the duty cycle less."
        )
    if series.kind == "peak":
        said.append("Each value is the peak of its interval: widths and duty cycle are upper bounds.")
    return tuple(said)
