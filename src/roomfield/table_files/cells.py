"""Single cells: numbers with their decimal sign and bounds, dates with their order, times."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import lru_cache

from roomfield.quantities.censoring import Censoring

Cell = object

_PLAIN_NUMBER = re.compile(r"[+-]?(\d+([.]\d*)?|[.]\d+)([eE][+-]?\d+)?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?P<sign>[.,])\d{3}(?:(?P=sign)\d{3})*")
_SPACED = re.compile(r"(?<=\d)[ \u00a0\u2009\u202f'’](?=\d{3}(?:\D|$))")
_BELOW = ("<", "≤", "⩽", "<=", "=<")
_ABOVE = (">", "≥", "⩾", ">=", "=>")
FLOOR_WORDS = frozenset(
    {"floor", "<floor", "below floor", "below", "lod", "<lod", "<lof", "under", "underrange", "low", "lo", "nd", "n.d.",
     "unter", "unterhalb", "sous seuil", "sous le seuil", "en dessous du seuil", "<seuil"}
)  # fmt: skip
OVERLOAD_WORDS = frozenset(
    {"ol", "ovl", "ol.", "overload", "over", "overrange", "ovr", "of", ">ol", "sat", "saturated", "high", "hi",
     "überlast", "übersteuert", "saturation", "saturé", "en saturation", "surcharge"}
)  # fmt: skip
NOTHING_WORDS = frozenset({"", "-", "–", "—", "n/a", "na", "none"})
"""An empty cell in writing. "nan" is none in a table written by hand: it is a calculation that failed."""
_NO_FLAG_WORDS = frozenset({"ok", "keine", "aucun", "aucune"})
NO_WORDS = NOTHING_WORDS | _NO_FLAG_WORDS

DATE_ORDERS = ("ymd", "dmy", "mdy")
_DATE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})\.?")
_TIME = re.compile(r"(\d{1,2})[:h.](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*([aApP][mM])?")


class CellFault(Exception):
    """A cell that cannot be read; the reader of the table turns it into a rejected row."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A number, or a bound, or only the word that there was too little or too much.

    Parameters
    ----------
    number : float or None
        In the unit of its column; None for a bare word such as ``OL``.
    """

    number: float | None
    censoring: Censoring = Censoring.NONE


def amount(cell: Cell, decimal: str, grouped: bool) -> Amount | None:
    """The amount in a cell; None if it is empty.

    Parameters
    ----------
    decimal : str
        Decimal sign of text cells, ``.`` or ``,``.
    grouped : bool
        True if the other sign groups thousands.

    Raises
    ------
    CellFault
        With the reason.
    """
    if isinstance(cell, (bool, date, time)):
        raise CellFault("not a number")
    if isinstance(cell, (int, float)):
        return Amount(_finite(float(cell)))
    text = str(cell).strip()
    folded = text.casefold()
    if folded in NO_WORDS:
        return None
    if folded in FLOOR_WORDS:
        return Amount(None, Censoring.BELOW)
    if folded in OVERLOAD_WORDS:
        return Amount(None, Censoring.ABOVE)
    for marks, censoring in ((_BELOW, Censoring.BELOW), (_ABOVE, Censoring.ABOVE)):
        mark = max((m for m in marks if text.startswith(m)), key=len, default="")
        if mark:
            return Amount(number(text[len(mark) :], decimal, grouped), censoring)
    return Amount(number(text, decimal, grouped))


def number(text: str, decimal: str, grouped: bool) -> float:
    """A number written with a decimal sign, and with grouped thousands if they are allowed.

    Raises
    ------
    CellFault
        With the reason.
    """
    plain = _SPACED.sub("", text.strip().replace("\u2212", "-"))
    other = "," if decimal == "." else "."
    if other in plain:
        whole = plain.split(decimal)[0]
        match = _GROUPED.fullmatch(whole)
        if not match or match["sign"] != other:
            raise CellFault(f"not a number with {decimal!r} as decimal sign")
        if not grouped and decimal not in plain and plain.count(other) == 1:
            raise CellFault(f"could be {plain.replace(other, '')} or {plain.replace(other, '.')}")
        plain = plain.replace(other, "")
    plain = plain.replace(decimal, ".")
    if not _PLAIN_NUMBER.fullmatch(plain):
        raise CellFault("not a number")
    return _finite(float(plain))


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise CellFault("not a finite number")
    return value


def day(cell: Cell, order: str) -> str:
    """The date in a cell as ISO 8601.

    Parameters
    ----------
    order : str
        ``ymd``, ``dmy`` or ``mdy``.

    Raises
    ------
    CellFault
        With the reason.
    """
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    return _day_written(str(cell).strip(), order)


@lru_cache(maxsize=4096)
def _day_written(text: str, order: str) -> str:
    match = _DATE.fullmatch(text)
    if not match:
        raise CellFault("not a date")
    numbers = {name: match[group] for name, group in zip(order, (1, 3, 4), strict=True)}
    if len(numbers["y"]) not in (2, 4):
        raise CellFault("not a date in the order " + order_in_words(order))
    year = int(numbers["y"]) + (2000 if len(numbers["y"]) == 2 else 0)
    try:
        return date(year, int(numbers["m"]), int(numbers["d"])).isoformat()
    except ValueError:
        raise CellFault("no such day in the order " + order_in_words(order)) from None


def clock(cell: Cell) -> str:
    """The time of day in a cell as ISO 8601.

    Raises
    ------
    CellFault
        With the reason.
    """
    if isinstance(cell, datetime):
        return cell.time().isoformat("seconds")
    if isinstance(cell, time):
        return cell.isoformat("seconds")
    match = _TIME.fullmatch(str(cell).strip())
    if not match:
        raise CellFault("not a time of day")
    hour, half = int(match[1]), (match[4] or "").lower()
    if half and not 1 <= hour <= 12:
        raise CellFault("not a time of day")
    hour = hour % 12 + (12 if half == "pm" else 0) if half else hour
    try:
        return time(hour, int(match[2]), int(match[3] or 0)).isoformat("seconds")
    except ValueError:
        raise CellFault("no such time of day") from None


def moment(cell: Cell, order: str) -> str:
    """Date and time in one cell as ISO 8601; the date alone if there is no time.

    Raises
    ------
    CellFault
        With the reason.
    """
    if isinstance(cell, datetime):
        return cell.isoformat("T", "seconds")
    if isinstance(cell, date):
        return cell.isoformat()
    text = str(cell).strip()
    try:
        return (
            datetime.fromisoformat(text).isoformat("T", "seconds") if "T" in text or ":" in text else day(text, order)
        )
    except ValueError:
        pass
    first, _, rest = text.partition(" ")
    return f"{day(first.rstrip(','), order)}T{clock(rest)}"


def orders_that_fit(texts: set[str]) -> tuple[str, ...]:
    """The orders of day, month and year in which every one of the dates exists.

    Dates with points are never month first (common practice, no source).
    """
    return tuple(order for order in DATE_ORDERS if all(_fits(text, order) for text in texts))


def _fits(text: str, order: str) -> bool:
    try:
        day(text, order)
    except CellFault:
        return False
    numbers = _DATE.fullmatch(text)
    if numbers is None or (numbers[2] == "." and order == "mdy"):
        return False
    return (len(numbers[1]) == 4) == (order == "ymd")


def order_in_words(order: str) -> str:
    """An order of a date in words, such as ``day, month, year``."""
    return ", ".join({"y": "year", "m": "month", "d": "day"}[letter] for letter in order)
