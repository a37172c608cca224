"""Rows of plain text as numbers: loops over bytes for the forms in which most loggers write, compiled on first use.

Whatever does not fit to the letter is not judged here: the loop stops and says so, and the reader that judges cell
by cell takes the file instead.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.logs.series_kernels import compiled, inlined

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

UNFIT = -1
"""Returned in place of a number of rows, or of a position, when a cell does not fit."""

YEAR_AT, MONTH_AT, DAY_AT, DATE_MARK, SECONDS, FRACTION, ZONE = range(7)
"""Places in the array that says how a stamp is written.

The first three are where in the ten letters of a date its parts begin; then the mark between them; whether seconds
stand (0 never, 1 always, 2 as may be); the mark before a fraction of a second (0 for none, -1 for point or comma);
whether each stamp ends in its offset.
"""

_ZERO, _NINE, _PLUS, _MINUS, _SPACE, _COLON, _QUOTE = 48, 57, 43, 45, 32, 58, 34
_POINT, _COMMA, _NEWLINE, _RETURN, _T, _Z, _E = 46, 44, 10, 13, 84, 90, 69
_MOST_MANTISSA = 1 << 53
_POWERS = 10.0 ** np.arange(23)
_MICRO = 1_000_000
_DAY_US = 86_400 * _MICRO
_FRACTIONS = 10 ** np.arange(6, -1, -1)
_DATES = {"%Y-%m-%d": (0, 5, 8), "%d-%m-%Y": (6, 3, 0), "%m-%d-%Y": (6, 0, 3)}
_TIMES = {"%H:%M:%S.%f": (1, _POINT), "%H:%M:%S,%f": (1, _COMMA), "%H:%M:%S": (1, 0), "%H:%M": (0, 0)}


@compiled
def _digit(letter: Any) -> Any:  # pragma: no cover - compiled
    """A digit as a number; below 0 or above 9 for what is none."""
    return np.int64(letter) - _ZERO


@compiled
def _two(ten: Any, one: Any) -> Any:  # pragma: no cover - compiled
    """Two digits as a number, or a number far below zero."""
    a, b = _digit(ten), _digit(one)
    return a * 10 + b if 0 <= a <= 9 and 0 <= b <= 9 else -100_000


@compiled
def _days(date: int) -> int:  # pragma: no cover - compiled
    """Days since 1970 of a date YYYYMMDD of the Gregorian calendar, or a number below zero if there is no such date.

    Days are counted from 1 March of the year 0, so that the leap day ends a year (proleptic Gregorian calendar as
    in ISO 8601).
    """
    year, month, day = date // 10_000, date // 100 % 100, date % 100
    if not (1970 <= year <= 9999 and 1 <= month <= 12 and day >= 1):
        return -1
    leap = (year % 4 == 0 and year % 100 != 0) or year % 400 == 0
    longest = 30 if month in (4, 6, 9, 11) else 31
    if month == 2:
        longest = 29 if leap else 28
    if day > longest:
        return -1
    y = year - 1 if month <= 2 else year
    passed = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    return y * 365 + y // 4 - y // 100 + y // 400 + passed - 719_468


@inlined
def _date(text: Bytes, at: int, places: tuple[int, int, int], mark: int) -> Any:  # pragma: no cover - compiled
    """A date of ten letters as the number YYYYMMDD, or a number below zero."""
    year, month, day = places
    first = 4 if year == 0 else 2
    if text[at + first] != mark or text[at + first + 3] != mark:
        return UNFIT
    century, rest = _two(text[at + year], text[at + year + 1]), _two(text[at + year + 2], text[at + year + 3])
    months, days = _two(text[at + month], text[at + month + 1]), _two(text[at + day], text[at + day + 1])
    if century < 0 or rest < 0 or months < 0 or days < 0:
        return UNFIT
    return (century * 100 + rest) * 10_000 + months * 100 + days


@inlined
def _fraction(text: Bytes, at: int) -> tuple[int, int]:  # pragma: no cover - compiled
    """Where up to six digits end, and their worth in microseconds."""
    found, first = 0, at
    while _ZERO <= text[at] <= _NINE and at < first + 7:
        found = found * 10 + _digit(text[at])
        at += 1
    digits = at - first
    return (UNFIT, 0) if digits == 0 or digits == 7 else (at, found * _FRACTIONS[digits])


@inlined
def _time(text: Bytes, at: int, seconds: int, marks: tuple[int, int]) -> tuple[int, int]:  # pragma: no cover
    """Where a time of day ends, and its microseconds since midnight."""
    hour, minute, second, micros = _two(text[at], text[at + 1]), _two(text[at + 3], text[at + 4]), 0, 0
    if text[at + 2] != _COLON or hour < 0 or hour > 23 or minute < 0 or minute > 59:
        return UNFIT, 0
    at += 5
    if seconds and text[at] == _COLON:
        second, at = _two(text[at + 1], text[at + 2]), at + 3
        if second < 0 or second > 59:
            return UNFIT, 0
        if text[at] == marks[0] or text[at] == marks[1]:
            at, micros = _fraction(text, at + 1)
    elif seconds == 1:
        return UNFIT, 0
    return at, ((hour * 60 + minute) * 60 + second) * _MICRO + micros


@inlined
def _offset(text: Bytes, at: int) -> tuple[int, int]:  # pragma: no cover - compiled
    """Where the offset of a stamp ends, and the offset in microseconds."""
    mark = text[at]
    if mark == _Z:
        return at + 1, 0
    hours, minutes, at = _two(text[at + 1], text[at + 2]), 0, at + 3
    if text[at] == _COLON:
        minutes, at = _two(text[at + 1], text[at + 2]), at + 3
    elif _ZERO <= text[at] <= _NINE:
        minutes, at = _two(text[at], text[at + 1]), at + 2
    if (mark != _PLUS and mark != _MINUS) or hours < 0 or hours > 15 or minutes < 0 or minutes > 59:
        return UNFIT, 0
    return at, (60 * hours + minutes) * 60 * _MICRO * (1 if mark == _PLUS else -1)


@inlined
def _number(text: Bytes, at: int, mark: int) -> tuple[int, float]:  # pragma: no cover - compiled
    """Where a decimal number ends, and the number.

    Taken only where one multiplication or division of exact numbers gives the nearest float64: a whole number below
    2**53 and a power of ten up to 22 (Clinger, "How to read floating point numbers accurately", PLDI 1990).
    """
    negative = text[at] == _MINUS
    if negative or text[at] == _PLUS:
        at += 1
    whole, digits, scale, broken = 0, 0, 0, False
    while True:
        letter = text[at]
        if _ZERO <= letter <= _NINE:
            whole = whole * 10 + _digit(letter)
            digits += 1
            scale -= 1 if broken else 0
        elif letter == mark and not broken:
            broken = True
        else:
            break
        at += 1
    if digits == 0 or digits > 18 or whole > _MOST_MANTISSA:
        return UNFIT, 0.0
    if text[at] | 32 == _E | 32:
        sign = text[at + 1]
        at += 2 if sign in (_PLUS, _MINUS) else 1
        power, first = 0, at
        while _ZERO <= text[at] <= _NINE and at < first + 3:
            power = power * 10 + _digit(text[at])
            at += 1
        if at == first:
            return UNFIT, 0.0
        scale += -power if sign == _MINUS else power
    if scale < -22 or scale > 22:
        return UNFIT, 0.0
    size = whole / _POWERS[-scale] if scale < 0 else whole * _POWERS[scale]
    return at, (-size if negative else size)


@inlined
def _spaces(text: Bytes, at: int, delimiter: int) -> int:  # pragma: no cover - compiled
    """Where blanks end that part nothing."""
    while delimiter != _SPACE and text[at] == _SPACE:
        at += 1
    return at


@inlined
def _skipped(text: Bytes, at: int, delimiter: int) -> int:  # pragma: no cover - compiled
    """Where a cell that nobody asks for ends; at a quotation mark it stops."""
    while text[at] != delimiter and text[at] != _NEWLINE and text[at] != _QUOTE:
        at += 1
    return at


@inlined
def _stamp(
    text: Bytes, at: int, form: tuple[int, ...], fractions: tuple[int, int], dated: tuple[int, int]
) -> Any:  # pragma: no cover
    """Where a stamp ends, the stamp in microseconds, and its date as number and as days for the next."""
    last, days = dated
    date = _date(text, at, (form[YEAR_AT], form[MONTH_AT], form[DAY_AT]), form[DATE_MARK])
    if date != last:
        days = _days(date)
    joint = text[at + 10]
    at, micros = _time(text, at + 11, form[SECONDS], fractions)
    if days < 0 or not (joint == _SPACE or (joint == _T and form[FRACTION] == -1)):
        at = UNFIT
    if form[ZONE] and at >= 0:
        at, offset = _offset(text, at)
        micros -= offset
    return at, days * _DAY_US + micros, (date, days)


@compiled
def rows(
    text: Bytes, end: int, columns: Ints, marks: Ints, form: Ints, t: Ints, value: Floats
) -> int:  # pragma: no cover - compiled
    """Stamps and values of the whole lines of a text; the number of rows, or `UNFIT`.

    Parameters
    ----------
    text : ndarray of uint8
        The lines, and at least 64 bytes beyond `end`.
    end : int
        Just after the last line's end.
    columns : ndarray of int
        Number of columns, place of the stamp, place of the value.
    marks : ndarray of int
        Delimiter and decimal mark.
    form : ndarray of int
        How a stamp is written.
    t, value : ndarray
        Receive stamps [µs, as written] and values; long enough.
    """
    delimiter, decimal, stamped, valued, last = marks[0], marks[1], columns[1], columns[2], columns[0] - 1
    written = (form[0], form[1], form[2], form[3], form[4], form[5], form[6])
    other = _COMMA if delimiter != _COMMA else _POINT
    fractions = (_POINT, other) if form[FRACTION] == -1 else (form[FRACTION], form[FRACTION])
    at, row, stamp, number, dated = 0, 0, 0, 0.0, (UNFIT, UNFIT)
    while at < end:
        for column in range(last + 1):
            if column == stamped:
                at, stamp, dated = _stamp(text, at, written, fractions, dated)
            elif column == valued:
                at, number = _number(text, _spaces(text, at, delimiter), decimal)
                at = at if at < 0 else _spaces(text, at, delimiter)
            else:
                at = _skipped(text, at, delimiter)
            if at < 0 or at >= end:
                return UNFIT
            if column < last:
                if text[at] != delimiter:
                    return UNFIT
                at += 1
        at += 1 if text[at] == _RETURN else 0
        if text[at] != _NEWLINE:
            return UNFIT
        at += 1
        t[row], value[row] = stamp, number
        row += 1
    return row


def form_of(name: str) -> Any:
    """How a stamp of a form is written, for `rows`; None for a form that is not read here.

    Parameters
    ----------
    name : str
        Name of a `roomfield.logs.clock.TimeForm`.
    """
    if name in ("iso", "iso_zoned"):
        return np.array([0, 5, 8, _MINUS, 2, -1, int(name == "iso_zoned")])
    date, joint, time = name.partition(" ")
    places = _DATES.get(date.replace(date[2:3], "-")) if len(date) == 8 else None
    if places is None or not joint or time not in _TIMES or date[2] != date[5]:
        return None
    return np.array([*places, ord(date[2]), *_TIMES[time], 0])
