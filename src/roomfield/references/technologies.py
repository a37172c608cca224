"""Timing of radio technologies from open standards, as data with source and how each value is known."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from roomfield.errors import FormatError, UnknownNameError
from roomfield.references.own_files import own_stamp, own_tables, refuse_taken

RATE_KINDS = ("line", "late", "mains", "jittered")
HOW_KNOWN = ("seen", "code", "memory", "measured")
_OURS = "technologies/timing.toml"
_MEND = "See docs/references.md for what a technology holds."
_OWN_TECHNOLOGY: dict[str, Any] = {
    "bands": "not stated",
    "access": "not stated",
    "rates": [],
    "widths": [],
    "duty": "not stated",
    "power": "not stated",
    "mark": "not stated",
    "confusable": [],
    "confusion": "",
}


@dataclass(frozen=True)
class Rate:
    """A repetition that the envelope shows.

    Attributes
    ----------
    name : str
    hz : float
        Nominal rate [Hz].
    kind : str
        ``line`` (crystal-exact), ``late`` (deferred by traffic), ``mains``, ``jittered``.
    primary : bool
        Whether it is the rate by which the technology is named.
    known : str
        How the value is known.
    """

    name: str
    hz: float
    kind: str
    primary: bool
    known: str


@dataclass(frozen=True)
class Width:
    """Range of a burst's width [s] and how it is known."""

    name: str
    low_s: float
    high_s: float
    known: str


@dataclass(frozen=True)
class Technology:
    """One row of the table of technologies; see the data file for the meaning of the columns."""

    name: str
    title: str
    document: str
    bands: str
    access: str
    rates: tuple[Rate, ...]
    widths: tuple[Width, ...]
    duty: str
    power: str
    mark: str
    confusable: tuple[str, ...]
    confusion: str


def _technology(row: Mapping[str, Any], where: str = _OURS) -> Technology:
    try:
        return _typed(row, where)
    except (KeyError, TypeError) as error:
        raise FormatError(
            f"technology {row.get('name', '')!r} lacks or has too much: {error}.", where=where, mend=_MEND
        ) from None


def _typed(row: Mapping[str, Any], where: str) -> Technology:
    rates = tuple(Rate(**rate) for rate in row["rates"])
    widths = tuple(Width(**width) for width in row["widths"])
    for rate in rates:
        if rate.kind not in RATE_KINDS or rate.known not in HOW_KNOWN or rate.hz <= 0:
            raise FormatError(f"rate {rate.name!r} of {row['name']!r} is not valid.", where=where, mend=_MEND)
    for width in widths:
        if not 0 < width.low_s <= width.high_s or width.known not in HOW_KNOWN:
            raise FormatError(f"width {width.name!r} of {row['name']!r} is not valid.", where=where, mend=_MEND)
    plain = {k: row[k] for k in ("name", "title", "document", "bands", "access", "duty", "power", "mark", "confusion")}
    return Technology(rates=rates, widths=widths, confusable=tuple(row["confusable"]), **plain)


def technologies() -> tuple[Technology, ...]:
    """All technologies of the table, in its order, then the user's own."""
    return (*_known_technologies(), *_own_technologies(own_stamp()))


@lru_cache(maxsize=1)
def _own_technologies(_stamp: object) -> tuple[Technology, ...]:
    tables = own_tables("technology")
    found = tuple(
        _technology({**_OWN_TECHNOLOGY, **table.row}, f"{table.where}, line {table.line}") for table in tables
    )
    named = ((item.name, table) for item, table in zip(found, tables, strict=True))
    refuse_taken(named, [row.name for row in _known_technologies()], "name")
    return found


@cache
def _known_technologies() -> tuple[Technology, ...]:
    text = resources.files("roomfield.references").joinpath("data/technologies/timing.toml").read_text("utf-8")
    return tuple(_technology(row) for row in tomllib.loads(text)["technology"])


def technology(name: str) -> Technology:
    """The row of one technology.

    Raises
    ------
    UnknownNameError
        If the table has no such name.
    """
    for row in technologies():
        if row.name == name:
            return row
    raise UnknownNameError("technology", name, [row.name for row in technologies()])
