"""How long a log must be to know the highest half-hour average."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from roomfield.logs.digest import minute_cells
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.sufficient_statistics import CELL_US, Cells
from roomfield.logs.summary import plain

Floats = NDArray[np.float64]

HOURS = (1, 2, 4, 6, 8, 12, 24, 48, 72, 96, 120, 168, 336, 504, 672, 1344, 2016, 4032)
"""Lengths that are tried [h]."""

_LEAST_MINUTES = 240


@dataclass(frozen=True)
class Trial:
    """One length of log, begun at every moment of the record in turn.

    Parameters
    ----------
    hours : int
        Length [h].
    share_within : float
        Share of these shorter logs whose highest average comes within the tolerance of the record's highest.
    low, high : float
        Interval of that share: the record holds only about its own length over this length of separate trials.
    """

    hours: int
    share_within: float
    low: float
    high: float


@dataclass(frozen=True)
class RequiredDuration:
    """Answer to "how long must I log".

    Parameters
    ----------
    window_s, tolerance_db, confidence : float
        Averaging time, tolerance, and share of logs that must succeed.
    record_hours : float
        Length of the record.
    hours : int or None
        Shortest length tried that succeeds, as every longer one does; None if none up to half the record does.
    at_least_hours : int
        A length that is certainly too short, if there is no answer; else 0.
    one_day_enough : float or None
        Share of 24 h logs that succeed; None if the record is shorter than two days.
    trials : tuple of Trial
        All lengths tried.
    days_near_maximum : int
        Days (of 24 h from the start) with an average within the tolerance of the highest: how often it recurs.
    remarks : tuple of str
        What a reader must know.
    """

    window_s: float
    tolerance_db: float
    confidence: float
    record_hours: float
    hours: int | None
    at_least_hours: int
    one_day_enough: float | None
    trials: tuple[Trial, ...]
    days_near_maximum: int
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        return plain(self)  # type: ignore[no-any-return]


def required_duration(
    series: LogSeries,
    *,
    tolerance_db: float = 3.0,
    confidence: float = 0.9,
    window_s: float = 1800.0,
    gap_rule: GapRule | None = None,
) -> RequiredDuration:
    """How long a log must be for its highest rolling average to come within a tolerance of the record's.

    The record itself is cut into all shorter logs it contains. It cannot tell of what is rarer than itself: its
    own highest average is taken for the true one.

    Parameters
    ----------
    series : LogSeries
        The record; days to months.
    tolerance_db : float
        How near the highest average must be met [dB].
    confidence : float
        Share of logs that must meet it.
    window_s : float
        Averaging time; whole minutes [s].
    gap_rule : GapRule or None
        None for the usual rule.

    Returns
    -------
    RequiredDuration
        Without an answer, and with the reason, for a record of less than four hours, for readings too far apart
        for the average, and for held maxima, which bear no averages.
    """
    rule = gap_rule or series.gap_rule
    cells = minute_cells(series, rule)
    mean = minute_rolling(cells, max(1, round(window_s * 1e6 / CELL_US)))
    why_not = _why_not(series, rule, mean, window_s)
    if why_not:
        return RequiredDuration(window_s, tolerance_db, confidence, mean.size / 60, None, 0, None, (), 0, (why_not,))
    near = np.where(np.isfinite(mean), mean, -np.inf) >= np.nanmax(mean) * 10.0 ** (-tolerance_db / 10.0)
    seen = np.isfinite(mean)
    trials = tuple(_trial(near, seen, hours) for hours in HOURS if hours * 60 <= mean.size // 2)
    hours = _shortest(trials, confidence)
    one_day = next((trial.share_within for trial in trials if trial.hours == 24), None)
    days = [near[i : i + 1440].any() for i in range(0, mean.size, 1440)]
    return RequiredDuration(
        window_s,
        tolerance_db,
        confidence,
        mean.size / 60,
        hours,
        0 if hours is not None else max((t.hours for t in trials if t.high < confidence), default=0),
        one_day,
        trials,
        int(sum(days)),
        _remarks(hours, mean.size / 60, int(sum(days))),
    )


def _why_not(series: LogSeries, rule: GapRule, mean: Floats, window_s: float) -> str:
    if series.kind == "highest_held":
        return "A log of held maxima bears no averages: it cannot say how long to log."
    if rule.nominal_interval_s > window_s or not np.isfinite(mean).any():
        return "The readings are too sparse for this average."
    if mean.size < _LEAST_MINUTES:
        return "The record is too short to say how long to log: log for a day first."
    return ""


def minute_rolling(cells: Cells, window: int, least_share: float = 0.8) -> Floats:
    """Mean power over the window that ends with each minute; NaN where it was not observed enough.

    Parameters
    ----------
    cells : Cells
        Minute sums.
    window : int
        Length [min].
    least_share : float
        Share that must be observed.
    """
    place = cells.index - cells.index[0]
    size = int(place[-1]) + 1
    seen, energy = np.zeros(size), np.zeros(size)
    seen[place], energy[place] = cells.seen_us, cells.energy
    seen_in, energy_in = _trailing(seen, window), _trailing(energy, window)
    enough = seen_in >= least_share * window * CELL_US
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(enough, energy_in / seen_in, np.nan))


def _trailing(values: Floats, window: int) -> Floats:
    """Sum of each value and those before it within the window."""
    total = np.append(0.0, np.cumsum(values))
    begin = np.maximum(np.arange(values.size) + 1 - window, 0)
    return np.asarray(total[1:] - total[begin])


def _trial(near: NDArray[np.bool_], seen: NDArray[np.bool_], hours: int) -> Trial:
    """Try one length at every start; starts whose log would be observed for less than half are left out."""
    length = hours * 60
    hits = np.append(0, np.cumsum(near))
    looks = np.append(0, np.cumsum(seen))
    met = hits[length:] - hits[:-length] > 0
    fair = looks[length:] - looks[:-length] >= length / 2
    share = float(met[fair].mean()) if fair.any() else 0.0
    separate = max(1.0, seen.sum() / length)
    low, high = _share_interval(share, separate)
    return Trial(hours, share, low, high)


def _share_interval(share: float, n: float) -> tuple[float, float]:
    """Wilson's interval at 90 % for a share of n separate trials (Wilson, JASA 22 (1927) 209-212)."""
    z = float(special.ndtri(0.95))
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    reach = z / (1 + z * z / n) * float(np.sqrt(share * (1 - share) / n + z * z / (4 * n * n)))
    low, high = np.clip([middle - reach, middle + reach], 0, 1).tolist()
    return low, high


def _shortest(trials: tuple[Trial, ...], confidence: float) -> int | None:
    found = None
    for trial in reversed(trials):
        if trial.share_within < confidence:
            break
        found = trial.hours
    return found


def _remarks(hours: int | None, record_hours: float, days_near: int) -> tuple[str, ...]:
    said = [
        f"Judged from a record of {record_hours:.0f} h: what happens more rarely than that is not in it.",
    ]
    if hours is None:
        said.append("No log up to half as long as the record meets the condition often enough: log longer.")
    if days_near <= 1 and record_hours >= 48:
        said.append("The highest average came near on one day only; a longer log may well find a higher one.")
    return tuple(said)
