"""Steps, week and bursts of a log as figures and tables of its page."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from babel.dates import format_date

from roomfield.web.abovesheet import duration, in_zone
from roomfield.web.formats import Show
from roomfield.web.page_texts import say

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
WIDTH, HEIGHT, ROW = 600.0, 110.0, 44.0
MOST_STEPS = 40
Figure = Callable[[float], str]


@dataclass(frozen=True)
class LineMark:
    """A labelled line across a drawing."""

    at: float
    words: str


@dataclass(frozen=True)
class StepRow:
    """One step of the level; ``start`` and ``end`` move the timeline there."""

    began: str
    step: str
    before: str
    after: str
    start: str
    end: str


@dataclass(frozen=True)
class StepSheet:
    """The level between its steps as a stair, and every step as a row.

    Parameters
    ----------
    path : str
        The stair, on a drawing `WIDTH` by `HEIGHT`.
    levels, days : tuple of Mark
        Lines of the level axis and of the time axis.
    rows : tuple of StepRow
        The largest steps, in the order of time.
    count : int
        Steps in all.
    """

    path: str
    levels: tuple[LineMark, ...]
    days: tuple[LineMark, ...]
    rows: tuple[StepRow, ...]
    count: int


def steps_of(told: dict[str, Any], show: Show, figure: Figure) -> StepSheet | None:
    """The sheet of steps from the plain values of a log; None without a step.

    Parameters
    ----------
    told : dict
        All facts of a log.
    show : Show
        Language.
    figure : callable
        Writes a level with its unit.
    """
    changes, zone = told["changes"], told["series"]["zone"]
    if not changes:
        return None
    first, last = (datetime.fromisoformat(told["series"][end]) for end in ("start", "end"))
    span = max((last - first).total_seconds(), 1.0)
    ats = [(datetime.fromisoformat(one["at"]) - first).total_seconds() / span * WIDTH for one in changes]
    levels = [changes[0]["before_db"], *(one["after_db"] for one in changes)]
    scale = _Decades(levels)
    path = f"M0 {scale.y(levels[0]):.1f}" + "".join(
        f"H{x:.1f}V{scale.y(level):.1f}" for x, level in zip(ats, levels[1:], strict=True)
    )
    largest = sorted(changes, key=lambda one: -abs(one["step_db"]))[:MOST_STEPS]
    power = _power(told)
    rows = tuple(_step(one, show, figure, (zone, power)) for one in sorted(largest, key=lambda one: str(one["at"])))
    marks = tuple(LineMark(scale.y(db), figure(_value(db, power))) for db in scale.marks())
    return StepSheet(f"{path}H{WIDTH:.0f}", marks, tuple(_midnights(first, last, zone, show)), rows, len(changes))


def _power(told: dict[str, Any]) -> float:
    """Decibels for a factor of ten: 10 for a quantity of power, 20 for one of amplitude."""
    return 10.0 if told["series"]["unit"]["scale"] == "power" else 20.0


def _value(level_db: float, per_decade: float) -> float:
    return float(10.0 ** (level_db / per_decade))


def _step(one: dict[str, Any], show: Show, figure: Figure, form: tuple[str, float]) -> StepRow:
    at = datetime.fromisoformat(one["at"])
    sign = "+" if one["step_db"] > 0.0 else ""
    return StepRow(
        show.moment(in_zone(one["at"], form[0])),
        f"{sign}{show.number(one['step_db'], 2)} dB",
        figure(_value(one["before_db"], form[1])),
        figure(_value(one["after_db"], form[1])),
        (at - timedelta(hours=2)).isoformat(),
        (at + timedelta(hours=2)).isoformat(),
    )


def _midnights(first: datetime, last: datetime, zone: str, show: Show) -> list[LineMark]:
    """The days on the time axis, at most about eight."""
    begin = datetime.fromisoformat(in_zone(first.isoformat(), zone)).replace(tzinfo=None)
    span = (last - first).total_seconds()
    every = max(1, math.ceil(span / 86_400.0 / 8.0))
    day = begin.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    marks = []
    while (day - begin).total_seconds() < span:
        label = str(format_date(day, "d.M." if show.language == "de" else "d MMM", locale=show.language))
        marks.append(LineMark((day - begin).total_seconds() / span * WIDTH, label))
        day += timedelta(days=every)
    return marks


class _Decades:
    """A logarithmic scale over levels in decibels, from top to bottom of a drawing."""

    def __init__(self, levels_db: Sequence[float], top: float = 4.0, bottom: float = HEIGHT - 4.0) -> None:
        low, high = min(levels_db), max(levels_db)
        self.low, self.high = math.floor(low / 5.0) * 5.0, math.ceil(high / 5.0) * 5.0
        if self.high <= self.low:
            self.high = self.low + 5.0
        self.top, self.bottom = top, bottom

    def y(self, level_db: float) -> float:
        """Position of a level."""
        share = (level_db - self.low) / (self.high - self.low)
        return self.bottom - min(max(share, 0.0), 1.0) * (self.bottom - self.top)

    def marks(self) -> list[float]:
        """Levels to be named: the ends, and every ten decibels if there is room."""
        step = 5.0 if self.high - self.low <= 15.0 else 10.0 * math.ceil((self.high - self.low) / 60.0)
        count = int((self.high - self.low) / step + 1e-9)
        return [self.low + n * step for n in range(count + 1)]


@dataclass(frozen=True)
class WeekRow:
    """One weekday: its mean level by hour as a line with the band of its interval, and in words.

    Parameters
    ----------
    y : float
        Upper edge of its row in the drawing.
    line, band : str
        Paths; a gap is where the hour was not observed.
    hours : tuple of str
        Mean level of each part of the day; empty where not observed.
    """

    name: str
    y: float
    line: str
    band: str
    lowest: str
    highest: str
    hours: tuple[str, ...]


@dataclass(frozen=True)
class WeekSheet:
    """The week, one row for each day, all on one scale.

    Parameters
    ----------
    top, bottom : str
        Levels at the upper and lower edge of each row.
    """

    rows: tuple[WeekRow, ...]
    height: float
    top: str
    bottom: str
    zone: str
    starts: tuple[str, ...]


def week_of(profile: dict[str, Any] | None, show: Show, figure: Figure) -> WeekSheet | None:
    """The sheet of the week from the plain values of its profile; None for a log of less than two weeks.

    Parameters
    ----------
    profile : dict or None
        The week profile.
    show : Show
        Language.
    figure : callable
        Writes a level with its unit.
    """
    seen = [one for one in profile["bins"] if (one["mean"]["value"] or 0.0) > 0.0] if profile else []
    if profile is None or not seen:
        return None
    scale = _Decades(list(_week_levels(seen)), 3.0, ROW - 5.0)
    starts = tuple(range(0, 1440, profile["bin_minutes"]))
    rows = tuple(_weekday(day, seen, scale, (show, figure, starts)) for day in range(7))
    clock = tuple(f"{start // 60}:{start % 60:02d}" for start in starts)
    top, bottom = (figure(_value(level, 10.0)) for level in (scale.high, scale.low))
    return WeekSheet(rows, 7 * ROW, top, bottom, profile["zone"], clock)


def _week_levels(seen: Sequence[dict[str, Any]]) -> Iterator[float]:
    """What the scale of the week must hold: every mean, and what of the intervals lies within 10 dB of them."""
    ends = [_ends_db(one["mean"]) for one in seen]
    low, high = min(y for y, _, _ in ends) - 10.0, max(y for y, _, _ in ends) + 10.0
    for level in (end for three in ends for end in three):
        yield min(max(level, low), high)


def _weekday(
    day: int, seen: Sequence[dict[str, Any]], scale: _Decades, form: tuple[Show, Figure, tuple[int, ...]]
) -> WeekRow:
    show, figure, starts = form
    own = {one["start_minute"]: one["mean"] for one in seen if one["weekday"] == day}
    values = [own[start]["value"] for start in starts if start in own]
    width = WIDTH / len(starts)
    line, band = "", ""
    for n, start in enumerate(starts):
        if start not in own:
            continue
        y, low, high = (day * ROW + scale.y(level) for level in _ends_db(own[start]))
        joined = start - (starts[1] if len(starts) > 1 else 0) in own
        line += f"{'L' if joined else 'M'}{n * width:.1f} {y:.1f}h{width:.1f}"
        band += f"M{n * width:.1f} {high:.1f}h{width:.1f}V{low:.1f}h{-width:.1f}Z"
    return WeekRow(
        say(show.language, WEEKDAYS[day]),
        day * ROW,
        line,
        band,
        figure(min(values)) if values else "",
        figure(max(values)) if values else "",
        tuple(figure(own[start]["value"]) if start in own else "" for start in starts),
    )


def _ends_db(mean: dict[str, Any]) -> tuple[float, float, float]:
    middle = mean["value"]
    y, low, high = (10.0 * math.log10(max(end or middle, 1e-30)) for end in (middle, mean["low"], mean["high"]))
    return y, low, high


@dataclass(frozen=True)
class BurstPart:
    """One part of what lies between mean and highest reading, on a drawing `WIDTH` wide."""

    name: str
    words: str
    x: float
    width: float


@dataclass(frozen=True)
class BurstSheet:
    """Bursts of a fast log in figures, and why its highest reading and its mean differ.

    Parameters
    ----------
    rows : tuple of (str, str)
        Name and figure.
    parts : tuple of BurstPart
        Empty if there are no bursts.
    """

    rows: tuple[tuple[str, str], ...]
    parts: tuple[BurstPart, ...]
    remarks: tuple[str, ...]


def bursts_of(told: dict[str, Any] | None, show: Show, figure: Figure) -> BurstSheet | None:
    """The sheet of bursts from plain values; None for a log that is too slow to see any.

    Parameters
    ----------
    told : dict or None
        The bursts of a log.
    show : Show
        Language.
    figure : callable
        Writes a level with its unit.
    """
    if told is None:
        return None
    rows = [("Bursts seen", show.number(told["count"], 6)), ("Bursts per day", show.number(told["per_day"], 3))]
    rows.append(("Share of the time within bursts", f"{show.number(100.0 * told['duty_cycle'], 3)} %"))
    rows.append(("Level between bursts", figure(told["background"])))
    if told["burst_level"] is not None:
        rows.append(("Mean level within bursts", figure(told["burst_level"])))
    bound = told["width_is_upper_bound"]
    rows += _spread("Width, at most" if bound else "Width", told["width_s"], show)
    rows += _spread("From one to the next", told["spacing_s"], show)
    if told["period_s"] is not None:
        rows.append(("Regular, every", duration(told["period_s"], show)))
    return BurstSheet(tuple(rows), tuple(_parts(told["peak_and_mean"], show)), tuple(told["remarks"]))


def _spread(name: str, told: dict[str, Any] | None, show: Show) -> list[tuple[str, str]]:
    if told is None:
        return []
    middle, low, high = (duration(told[key], show) for key in ("median", "lower_quartile", "upper_quartile"))
    return [(name, say(show.language, "{middle} (half of them {low} to {high})", middle=middle, low=low, high=high))]


def _parts(told: dict[str, Any] | None, show: Show) -> list[BurstPart]:
    """Bars on one axis of decibels: what duty and unevenness add, what the background takes, and what is left."""
    if told is None:
        return []
    named = (
        ("because bursts fill only a part of the time", told["from_duty_db"]),
        ("because bursts are uneven", told["from_uneven_bursts_db"]),
        ("less what the level between bursts adds to the mean", -told["filled_by_background_db"]),
    )
    most = max(sum(max(db, 0.0) for _, db in named), told["total_db"], 1.0)
    parts, at = [], 0.0
    for name, db in named:
        begin, end = sorted((at, at + db))
        parts.append(BurstPart(name, f"{show.number(db, 2)} dB", begin / most * WIDTH, (end - begin) / most * WIDTH))
        at += db
    total = f"{show.number(told['total_db'], 2)} dB"
    return [*parts, BurstPart("highest reading over mean", total, 0.0, max(at, 0.0) / most * WIDTH)]
