"""Levels at places as the pages draw them: bars on one logarithmic axis, with law and guideline marked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from roomfield.show.page_drawings import LEFT, RIGHT, axis_ticks, axis_x
from roomfield.show.words import load_words
from roomfield.web.formats import Show

WIDTH, ROW, HEAD = 640.0, 24.0, 34.0
KIND_NAMES = {"peak": "Peak", "highest_held": "Highest held", "average": "Average"}
FLAG_WORDS = {
    "floor": "below the meter's floor",
    "overload": "above what the meter can show",
    "calibration_overdue": "calibration overdue",
    "meter_drifting": "the meter drifts",
}


@dataclass(frozen=True)
class Bar:
    """One interval of the drawing.

    Parameters
    ----------
    x_low, x_middle, x_high, y : float
        Places on the drawing [drawing unit].
    open_low, open_high : bool
        True if the level is only bounded on the other side.
    """

    kind: str
    x_low: float
    x_middle: float
    x_high: float
    y: float
    open_low: bool
    open_high: bool
    level: str
    span: str
    flags: tuple[str, ...]


@dataclass(frozen=True)
class Mark:
    """A reference value on the axis."""

    x: float
    words: str
    anchor: str


@dataclass(frozen=True)
class PlaceSheet:
    """A place with its levels and what they mean.

    Parameters
    ----------
    law : dict or None
        Outcome against the legal limit with its probability.
    guideline : dict or None
        Categories of the guideline that the interval touches.
    """

    name: str
    height: float
    bars: tuple[Bar, ...]
    marks: tuple[Mark, ...]
    ticks: tuple[tuple[float, str], ...]
    law: dict[str, str] | None
    guideline: dict[str, str] | None


def place_sheets(plain: dict[str, Any], show: Show) -> tuple[PlaceSheet, ...]:
    """Every place of an assessment.

    Parameters
    ----------
    plain : dict
        The assessment as plain values.
    show : Show
        Language of figures.
    """
    rows = plain["places"]
    return tuple(
        _sheet(list(group), plain["law"]["value_w_m2"], show)
        for _, group in groupby(rows, key=lambda row: row["place_id"])
    )


def _sheet(rows: list[dict[str, Any]], limit_w_m2: float, show: Show) -> PlaceSheet:
    bars = tuple(_bar(row, n, show) for n, row in enumerate(rows))
    guideline = next((row for row in rows if row["category"]), None)
    law = next((row for row in rows if row["kind"] == "average" and row["outcome"]), None)
    marks = [Mark(axis_x(limit_w_m2), "legal limit", "end")]
    if guideline is not None and guideline["bound_w_m2"] is not None:
        marks.append(Mark(axis_x(guideline["bound_w_m2"]), "guideline", "middle"))
    height = HEAD + len(rows) * ROW + 22.0
    return PlaceSheet(
        rows[0]["place"],
        height,
        bars,
        tuple(marks),
        _ticks(),
        _law_words(law, show) if law else None,
        _guideline_words(guideline, show) if guideline else None,
    )


def _bar(row: dict[str, Any], number: int, show: Show) -> Bar:
    low, middle, high = row["low_w_m2"], row["median_w_m2"], row["high_w_m2"]
    return Bar(
        KIND_NAMES[row["kind"]],
        axis_x(low) if low > 0.0 else LEFT,
        axis_x(middle),
        axis_x(high) if math.isfinite(high) else RIGHT,
        HEAD + number * ROW + ROW / 2.0,
        low <= 0.0,
        not math.isfinite(high),
        show.density(middle),
        show.span(low, high),
        tuple(FLAG_WORDS.get(flag, flag) for flag in row["flags"]),
    )


def _ticks() -> tuple[tuple[float, str], ...]:
    words = {-2: "0.01", 0: "1", 2: "100", 4: "10 000", 6: "1 000 000"}
    return tuple((x, words.get(int(power), "")) for power, x in axis_ticks())


def chance_words(chance: Any, show: Show) -> str:
    """A probability or its range in words.

    Parameters
    ----------
    chance : pair of float or None
        Bounds, 0 to 1.
    """
    if chance is None:
        return ""
    low, high = chance
    if math.isclose(low, high, abs_tol=0.005):
        return show.share(low)
    return f"{show.share(low)} – {show.share(high)}"


def _law_words(row: dict[str, Any], show: Show) -> dict[str, str]:
    return {
        "outcome": row["outcome"],
        "chance": chance_words(row["probability_below"], show),
        "reference": row["reference"],
        "bound": show.density(row["bound_w_m2"]),
    }


def _guideline_words(row: dict[str, Any], show: Show) -> dict[str, str]:
    bound = row["bound_w_m2"]
    return {
        "category": load_words(show.language).term(row["category"]),
        "chance": chance_words(row["probability_below"], show),
        "reference": row["reference"],
        "bound": show.density(bound) if bound is not None else "",
    }
