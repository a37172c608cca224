"""Time stamps as written: which form they have, in which zone, and what they are in UTC."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from itertools import pairwise, product
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError, UnknownNameError

Micros = NDArray[np.int64]

MICRO = 1_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

EPOCH_FORMS: dict[str, tuple[float, float]] = {
    "epoch_s": (1.0, 1e8),
    "epoch_ms": (1e3, 1e11),
    "epoch_us": (1e6, 1e14),
}
"""Counts since 1970 in UTC: how many a second, and the least value taken for one."""

ELAPSED_FORMS: dict[str, float] = {
    "elapsed_s": 1.0,
    "elapsed_ms": 1e3,
    "elapsed_min": 1 / 60,
    "elapsed_h": 1 / 3600,
}
"""Counts since the log began: how many a second."""

_DATES = (
    "%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d",
    "%d.%m.%Y", "%d.%m.%y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%d/%m/%y", "%m/%d/%y",
    "%d %b %Y", "%d-%b-%Y", "%b %d %Y",
)  # fmt: skip
_TIMES = ("%H:%M:%S.%f", "%H:%M:%S,%f", "%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H.%M.%S", "%H%M%S")
_JOINTS = (" ", "T", ", ", "_", "")
_ISO = re.compile(
    r"^\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(:\d\d([.,]\d{1,9})?)?)?\s*(Z|UTC|[+-]\d\d(:?\d\d)?(:\d\d)?)?$",
    re.IGNORECASE,
)
_HAS_ZONE = re.compile(r"(Z|UTC|[+-]\d\d(:?\d\d)?)$", re.IGNORECASE)
_FIXED = re.compile(r"(?:UTC|GMT)?\s*([+-])(\d{1,2})(?::?(\d\d))?", re.IGNORECASE)
_NAMED_OFFSET = re.compile(r"\b(?:UTC|GMT)\s*([+-]\d{1,2}(?::?\d\d)?)?\b", re.IGNORECASE)


@dataclass(frozen=True)
class TimeForm:
    """A form that fits every sampled time stamp.

    Parameters
    ----------
    name : str
        ``iso``, ``iso_zoned``, a name of `EPOCH_FORMS` or `ELAPSED_FORMS`, or a strptime pattern.
    zone_in_values : bool
        Whether each stamp carries its own offset.
    """

    name: str
    zone_in_values: bool = False


def fitting_forms(samples: Iterable[str]) -> tuple[TimeForm, ...]:
    """All forms that every sampled stamp fits, likeliest first.

    Parameters
    ----------
    samples : iterable of str
        Cells as written; empty ones are ignored.
    """
    cells = list(dict.fromkeys(text.strip() for text in samples if text.strip()))
    if not cells:
        return ()
    if all(_ISO.match(cell) for cell in cells) and any(len(cell) > 10 for cell in cells):
        zoned = [bool(_HAS_ZONE.search(cell[10:])) for cell in cells]
        if all(zoned):
            return (TimeForm("iso_zoned", zone_in_values=True),)
        return () if any(zoned) else (TimeForm("iso"),)
    numbers = _numbers(cells)
    if numbers is not None and not all(len(cell) == 14 and cell.isdigit() for cell in cells):
        return _counting_form(numbers)
    fits = [form for form in _patterns() if _parses(cells[:1], form)]
    return tuple(TimeForm(form) for form in fits if _parses(cells[:80] + cells[-40:], form))


def _patterns() -> Iterable[str]:
    for date, joint, time in product(_DATES, _JOINTS, _TIMES):
        if joint or date == "%Y%m%d":
            yield f"{date}{joint}{time}"


def _parses(cells: Sequence[str], pattern: str) -> bool:
    variants = pattern_variants(pattern)
    return all(any(_parses_one(cell, variant) for variant in variants) for cell in cells)


def pattern_variants(pattern: str) -> tuple[str, ...]:
    """A pattern with fractions of a second also stands for whole seconds."""
    bare = pattern.replace(".%f", "").replace(",%f", "")
    return (pattern,) if bare == pattern else (pattern, bare)


def _parses_one(cell: str, pattern: str) -> bool:
    try:
        year = datetime.strptime(cell, pattern).year
    except ValueError:
        return False
    return 1970 <= year <= 2100


def _numbers(cells: Sequence[str]) -> list[float] | None:
    try:
        return [float(cell.replace(",", ".")) for cell in cells]
    except ValueError:
        return None


def _counting_form(numbers: list[float]) -> tuple[TimeForm, ...]:
    low, high = min(numbers), max(numbers)
    for name, (_, least) in reversed(EPOCH_FORMS.items()):
        if low >= least and high < 1e3 * 40 * least:
            return (TimeForm(name, zone_in_values=True),)
    rising = all(b >= a for a, b in pairwise(numbers))
    return (TimeForm("elapsed_s"),) if rising and low >= 0 and high > low else ()


def zone_named_in(text: str) -> str:
    """A zone that a heading or preamble names: an IANA name, ``UTC`` or an offset; else empty."""
    for word in re.findall(r"[A-Z][A-Za-z_]+(?:/[A-Z][A-Za-z_]+)+", text):
        if word in available_timezones():
            return str(word)
    found = _NAMED_OFFSET.search(text)
    if found is None:
        return ""
    return str(found.group(1) or "UTC")


def zone_from_name(name: str) -> tzinfo:
    """The zone of a name.

    Parameters
    ----------
    name : str
        IANA name (``Europe/Zurich``), ``UTC`` or a fixed offset (``+01:00``).

    Raises
    ------
    UnknownNameError
        If there is no such zone.
    """
    fixed = _FIXED.fullmatch(name.strip())
    if fixed:
        minutes = int(fixed.group(2)) * 60 + int(fixed.group(3) or 0)
        return timezone(timedelta(minutes=minutes if fixed.group(1) == "+" else -minutes))
    if name.upper() in ("UTC", "GMT", "Z"):
        return UTC
    if name not in available_timezones():
        raise UnknownNameError(
            "time zone", name, ["UTC", "+01:00", "Europe/Zurich", "Europe/Berlin", "America/New_York"]
        )
    return ZoneInfo(name)


def micros_of(moment: datetime) -> int:
    """Microseconds since 1970 in UTC of an aware moment; a naive one is taken as UTC."""
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return (aware - _EPOCH) // timedelta(microseconds=1)


def moment_of(micros: int) -> datetime:
    """Aware moment in UTC of microseconds since 1970."""
    return _EPOCH + timedelta(microseconds=int(micros))


def parse_moment(text: str, what: str = "time") -> datetime:
    """An aware moment from ISO 8601 text; without an offset it is UTC.

    Raises
    ------
    InputError
        If the text is not a moment.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as fault:
        raise InputError(
            f"{what} {text!r} is not a date and time.", mend="Write it as 2026-03-01T20:00:00Z."
        ) from fault
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _offset_us(zone: tzinfo, utc_us: int) -> int:
    offset = moment_of(utc_us).astimezone(zone).utcoffset() or timedelta(0)
    return offset // timedelta(microseconds=1)


def offset_changes(zone: tzinfo, first_us: int, last_us: int) -> tuple[Micros, Micros]:
    """When the offset of a zone changes in a span, and the offsets.

    Parameters
    ----------
    zone : tzinfo
        The zone.
    first_us, last_us : int
        Span [µs since 1970, UTC]; a day is added at either end.

    Returns
    -------
    changes : ndarray, shape (k,)
        Moments of change [µs, UTC].
    offsets : ndarray, shape (k + 1,)
        Offset before, between and after them [µs].
    """
    step = 86_400 * MICRO
    here = first_us - step
    changes: list[int] = []
    offsets = [_offset_us(zone, here)]
    while here <= last_us + step:
        there = here + step
        if _offset_us(zone, there) != offsets[-1]:
            low, high = here, there
            while high - low > MICRO:
                middle = (low + high) // 2
                low, high = (middle, high) if _offset_us(zone, middle) == offsets[-1] else (low, middle)
            changes.append(
                -(-low // MICRO) * MICRO if _offset_us(zone, -(-low // MICRO) * MICRO) != offsets[-1] else high
            )
            offsets.append(_offset_us(zone, there))
        here = there
    return np.asarray(changes, dtype=np.int64), np.asarray(offsets, dtype=np.int64)


def local_from_utc(utc_us: Micros, zone: tzinfo) -> Micros:
    """Wall-clock time [µs] in a zone, daylight saving respected."""
    if utc_us.size == 0:
        return utc_us
    changes, offsets = offset_changes(zone, int(utc_us.min()), int(utc_us.max()))
    return np.asarray(utc_us + offsets[np.searchsorted(changes, utc_us, side="right")], dtype=np.int64)


def _usual(steps: Micros) -> int:
    """Median of the steps forward; 0 for fewer than two."""
    forward = steps[steps > 0]
    return int(np.median(forward)) if forward.size > 1 else 0


def _stand_twice(wall_us: Micros, inside: NDArray[np.bool_]) -> bool:
    """Whether the stamps inside stand twice side by side, and those outside, of which there are some, only once."""
    within, beyond = wall_us[inside], wall_us[~inside]
    if within.size < 4 or within.size % 2 or beyond.size < 2:
        return False
    first, second = within[::2], within[1::2]
    return bool((first == second).all() and (np.diff(first) > 0).all() and np.unique(beyond).size == beyond.size)


@dataclass
class WallClock:
    """Turns wall-clock stamps, fed in the order of the file, into UTC.

    In the hour that occurs twice when daylight saving ends, the second pass begins where the stamps step
    back by a quarter of the change or more; until then the first pass is meant (PEP 495, fold = 0). A log too slow to
    step back so far (one reading an hour, say) is read so that its readings keep their usual distance: there a stamp
    that stands twice is one of each pass. In a log sorted by the wall clock, where the stamps of this hour and no
    others stand twice side by side, the first of each two is of the first pass. A stamp in the hour that never was is
    read with the offset before the change. Such pairs, and stamps that nothing decides, are counted.
    """

    zone: tzinfo
    first_us: int
    last_us: int
    unreal: int = 0
    undecided: int = 0
    paired: int = 0
    _previous: int | None = None
    _second_pass: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        day = 86_400 * MICRO
        self._changes, self._offsets = offset_changes(self.zone, self.first_us - day, self.last_us + day)
        before, after = self._offsets[:-1], self._offsets[1:]
        self._bounds = self._changes + np.maximum(before, after)

    def convert(self, wall_us: Micros) -> Micros:
        """UTC [µs] of the next stamps of the file [µs of wall clock]."""
        if not self._changes.size:
            return np.asarray(wall_us - self._offsets[0], dtype=np.int64)
        index = np.searchsorted(self._bounds, wall_us, side="right")
        for k in range(self._changes.size):
            before, after = int(self._offsets[k]), int(self._offsets[k + 1])
            low, high = int(self._changes[k]) + min(before, after), int(self._bounds[k])
            inside = (wall_us >= low) & (wall_us < high)
            if not inside.any():
                continue
            if after > before:
                self.unreal += int(inside.sum())
                continue
            index = self._decide(k, wall_us, inside, before - after, index)
        if wall_us.size:
            self._previous = int(wall_us[-1])
        return np.asarray(wall_us - self._offsets[index], dtype=np.int64)

    def _decide(
        self, k: int, wall_us: Micros, inside: NDArray[np.bool_], shift: int, index: NDArray[np.intp]
    ) -> NDArray[np.intp]:
        second = np.full(wall_us.size, k in self._second_pass)
        if k not in self._second_pass:
            steps = np.diff(wall_us, prepend=self._previous if self._previous is not None else wall_us[0])
            turns = inside & ((steps <= -shift // 4) | self._keeps_distance(steps, shift))
            if turns.any():
                self._second_pass.add(k)
                second[np.argmax(turns) :] = True
            elif _stand_twice(wall_us, inside):
                self.paired += int(inside.sum()) // 2
                second[np.flatnonzero(inside)[1::2]] = True
            elif not self._is_slow(steps, shift):
                self.undecided += int(inside.sum())
        return np.where(inside & second, k + 1, index)

    def _keeps_distance(self, steps: Micros, shift: int) -> NDArray[np.bool_]:
        """Where a step of a slow log is the usual one only if the clock was set back within it."""
        usual = _usual(steps)
        if not self._is_slow(steps, shift):
            return np.zeros(steps.size, dtype=bool)
        as_second, as_first = np.abs(steps + shift - usual), np.abs(steps - usual)
        return np.asarray((as_second < as_first) & (as_second <= usual // 4))

    @staticmethod
    def _is_slow(steps: Micros, shift: int) -> bool:
        return _usual(steps) >= shift // 2
