"""Timing of radio technologies from open standards, as data with source and how each value is known."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from roomfield.errors import FormatError, UnknownNameError

RATE_KINDS = ("line", "late", "mains", "jittered")
HOW_KNOWN = ("seen", "code", "memory", "measured")


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


def _technology(row: dict[str, Any]) -> Technology:
    rates = tuple(Rate(**rate) for rate in row["rates"])
    widths = tuple(Width(**width) for width in row["widths"])
    for rate in rates:
        if rate.kind not in RATE_KINDS or rate.known not in HOW_KNOWN or rate.hz <= 0:
            raise FormatError(f"rate {rate.name!r} of {row['name']!r} is not valid.", where="technologies/timing.toml")
    for width in widths:
        if not 0 < width.low_s <= width.high_s or width.known not in HOW_KNOWN:
            raise FormatError(
                f"width {width.name!r} of {row['name']!r} is not valid.", where="technologies/timing.toml"
            )
    plain = {k: row[k] for k in ("name", "title", "document", "bands", "access", "duty", "power", "mark", "confusion")}
    return Technology(rates=rates, widths=widths, confusable=tuple(row["confusable"]), **plain)


@cache
def technologies() -> tuple[Technology, ...]:
    """All technologies of the table, in its order."""
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
