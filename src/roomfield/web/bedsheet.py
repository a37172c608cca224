"""Numbers as they stand at the places of the plan, on every page alike: level, shade, interval, largest source."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from roomfield.web.formats import MICRO, Show
from roomfield.web.levelsheet import KIND_NAMES
from roomfield.web.words import say

TONES = 6
"""Shades of the one scale; each stands for ten decibels, and for the same level on every storey, visit and page."""


@dataclass(frozen=True)
class BedNumber:
    """What stands at one place of the plan.

    Parameters
    ----------
    words : str
        The number in µW/m², with its bound if the meter showed none.
    more : str
        A short second line; empty for none.
    tone : int
        Shade of the scale, 1 to 6.
    title : str
        Place, level, interval and what it rests on, as one sentence for a hand that touches it.
    """

    words: str
    more: str
    tone: int
    title: str


def tone_of(level_w_m2: float) -> int:
    """Shade of a level [W/m²]: 1 below 1 µW/m², one more for each factor of ten, 6 from 10 mW/m² on."""
    if not level_w_m2 > 0.0:
        return 1
    return min(TONES, max(1, math.floor(math.log10(level_w_m2 * MICRO)) + 2))


def bed_numbers(plain: dict[str, Any], show: Show, largest: dict[str, str] | None = None) -> dict[str, BedNumber]:
    """Numbers by place.

    Parameters
    ----------
    plain : dict
        An assessment as plain values.
    show : Show
        Language.
    largest : dict, optional
        Name of the largest source by place, where it is known.
    """
    rows = groupby(plain["places"], key=lambda row: str(row["place_id"]))
    return {place_id: _number(list(group), show, (largest or {}).get(place_id, "")) for place_id, group in rows}


def _number(rows: list[dict[str, Any]], show: Show, source: str) -> BedNumber:
    row = next((one for one in rows if one["category"]), rows[0])
    low, middle, high = row["low_w_m2"], row["median_w_m2"], row["high_w_m2"]
    if low <= 0.0:
        words, level = f"< {show.micro(high)}", high
    elif not math.isfinite(high):
        words, level = f"> {show.micro(low)}", low
    else:
        words, level = show.micro(middle), middle
    kind = say(show.language, KIND_NAMES[row["kind"]])
    said = say(
        show.language, "{place}: {kind} {level} µW/m², 95 %: {span}", place=row["place"], kind=kind, level=words,
        span=show.span(low, high),
    )  # fmt: skip
    named = say(show.language, "largest part: {name}", name=source) if source else ""
    return BedNumber(words, "", tone_of(level), f"{said}; {named}" if named else said)
