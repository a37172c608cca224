"""The logarithmic axis from the meter's floor to the legal limit, with every place's interval on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.show.figures import style
from roomfield.show.figures.axis import LogScale, level_scale
from roomfield.show.figures.svg import Drawing, fitted, text_width
from roomfield.show.findings import Level, Shown
from roomfield.show.words import Words
from roomfield.show.words.numbers import MICRO

ROW = 17.0
CONTINUED_ROW = 12.0
_HEAD_ROW = 11.0
_FOOT = 31.0


@dataclass(frozen=True)
class AxisRow:
    """One interval on the axis.

    Parameters
    ----------
    label : str
        Place, and state if several are shown.
    level : Level
        Median and interval.
    shown : Shown or None
        What the meter showed.
    detail : str
        Small addition to the label, for example the kind.
    continued : bool
        True if the row belongs to the place of the row above, whose label is then not drawn again.
    """

    label: str
    kind: Kind
    level: Level
    shown: Shown | None = None
    detail: str = ""
    continued: bool = False


@dataclass(frozen=True)
class AxisMark:
    """A vertical line on the axis: a limit, a guideline, the meter's floor or overload.

    Parameters
    ----------
    value_w_m2 : float
        Power density [W/m²].
    strong : bool
        True for the law.
    """

    value_w_m2: float
    label: str
    strong: bool = False
    dashed: bool = False


def level_axis(
    rows: Sequence[AxisRow],
    marks: Sequence[AxisMark],
    words: Words,
    *,
    like: Sequence[AxisRow] = (),
    span: Sequence[AxisMark] = (),
) -> str:
    """Intervals of places on one logarithmic axis, as SVG.

    Parameters
    ----------
    rows : sequence of AxisRow
        One bar each, in order.
    marks : sequence of AxisMark
        Limits, guidelines, floor and overload; the axis reaches from the lowest to the highest.
    words : Words
        Language of the labels.
    like : sequence of AxisRow
        Rows of all figures that are to share one scale; only ``rows`` if left out.
    span : sequence of AxisMark
        Marks of all figures that are to share one scale; only ``marks`` if left out.
    """
    framed = like or rows
    left = min(196.0, max([90.0] + [text_width(r.label, 8.5) + 62 for r in framed]))
    scale = _scale(framed, span or marks, left, style.WIDTH - 56)
    lanes = _lanes(marks, scale)
    top = 6.0 + _HEAD_ROW * (max((lane for lane, _ in lanes), default=-1) + 1) + 6
    heights = [CONTINUED_ROW if r.continued else ROW for r in rows]
    bottom = top + sum(heights) + 4
    described = words.say("figure.axis.alt", n=len(rows), items="; ".join(_spoken(r, words) for r in rows))
    drawing = Drawing(style.WIDTH, bottom + _FOOT, words.say("figure.axis.title"), described, "level-axis")
    _grid(drawing, scale, (top, bottom), words)
    for mark, (lane, anchor) in zip(marks, lanes, strict=True):
        _mark(drawing, mark, scale.at(mark.value_w_m2 * MICRO), (6 + _HEAD_ROW * lane, bottom), anchor)
    y = top + 2
    for row, height in zip(rows, heights, strict=True):
        _row(drawing, row, scale, y + height - CONTINUED_ROW / 2, words)
        y += height
    return drawing.svg()


def _scale(rows: Sequence[AxisRow], marks: Sequence[AxisMark], start: float, end: float) -> LogScale:
    values = [m.value_w_m2 * MICRO for m in marks]
    for row in rows:
        low = row.level.low_w_m2 if row.level.censoring is not Censoring.BELOW else row.level.high_w_m2
        high = row.level.high_w_m2 if row.level.censoring is not Censoring.ABOVE else row.level.low_w_m2
        values += [low * MICRO, high * MICRO]
    return level_scale(values, start, end)


def _lanes(marks: Sequence[AxisMark], scale: LogScale) -> list[tuple[int, str]]:
    """Lane and anchor of each label, so that labels do not run into each other."""
    taken: list[list[tuple[float, float]]] = []
    result: list[tuple[int, str]] = []
    for mark in marks:
        x, width = scale.at(mark.value_w_m2 * MICRO), text_width(mark.label, 7.5) + 6
        anchor = "end" if x + width > style.WIDTH else "start"
        span = (x - width, x) if anchor == "end" else (x, x + width)
        lane = next(
            (i for i, spans in enumerate(taken) if all(span[1] < a or span[0] > b for a, b in spans)),
            len(taken),
        )
        if lane == len(taken):
            taken.append([])
        taken[lane].append(span)
        result.append((lane, anchor))
    return result


def _grid(drawing: Drawing, scale: LogScale, span: tuple[float, float], words: Words) -> None:
    top, bottom = span
    decades = scale.decades()
    for value in scale.between():
        drawing.line((scale.at(value), bottom), (scale.at(value), bottom + 2), stroke=style.RULE, width=0.5)
    for value in decades:
        x = scale.at(value)
        drawing.line((x, top - 2), (x, bottom), stroke=style.FAINT, width=0.6, kind="grid")
        drawing.line((x, bottom), (x, bottom + 4), stroke=style.SOFT, width=0.6)
        if len(decades) < 8 or round(math.log10(value)) % 2 == 0 or text_width("0 000 000", 7) < _gap(scale):
            drawing.text((x, bottom + 12), words.numbers.as_given(value), size=7, anchor="middle", fill=style.SOFT)
    drawing.line((scale.start, bottom), (scale.end, bottom), stroke=style.SOFT, width=0.7)
    drawing.text((style.WIDTH, bottom + 27), words.say("figure.axis.unit"), size=7.5, anchor="end", fill=style.SOFT)
    _legend(drawing, 0.0, bottom + 27, words)


def _legend(drawing: Drawing, x: float, y: float, words: Words) -> None:
    drawing.rect((x, y - 5.5), 20, 5, fill=style.ACCENT_SOFT)
    drawing.line((x + 10, y - 7), (x + 10, y + 1), width=1.4)
    text = words.say("figure.axis.legend_interval")
    drawing.text((x + 24, y), text, size=7.5, fill=style.SOFT)
    x += 24 + text_width(text, 7.5) + 12
    drawing.circle((x, y - 3), 2.2, fill=style.PAPER, stroke=style.INK)
    drawing.text((x + 6, y), words.say("figure.axis.legend_shown"), size=7.5, fill=style.SOFT)


def _gap(scale: LogScale) -> float:
    return (scale.end - scale.start) / max(1, len(scale.decades()) - 1)


def _mark(drawing: Drawing, mark: AxisMark, x: float, span: tuple[float, float], anchor: str) -> None:
    y, bottom = span
    colour = style.INK if mark.strong else style.SOFT if mark.dashed else style.ACCENT
    dash = "1.5 2" if mark.dashed else ""
    drawing.line((x, y), (x, bottom), stroke=colour, width=1.3 if mark.strong else 0.9, dash=dash, kind="mark")
    drawing.text(
        (x - 3 if anchor == "end" else x + 3, y + 7),
        mark.label,
        size=7.5,
        anchor=anchor,
        fill=colour,
        weight="600" if mark.strong else "",
        halo=True,
    )


def _row(drawing: Drawing, row: AxisRow, scale: LogScale, y: float, words: Words) -> None:
    if not row.continued:
        drawing.text((0, y + 3), fitted(row.label, scale.start - 62, 8.5), size=8.5)
    drawing.text((scale.start - 12, y + 3), row.detail, size=7.5, anchor="end", fill=style.SOFT)
    low, high = scale.at(row.level.low_w_m2 * MICRO), scale.at(row.level.high_w_m2 * MICRO)
    if row.level.censoring is Censoring.BELOW:
        low = scale.start
        _arrow(drawing, (high, y), scale.start)
    elif row.level.censoring is Censoring.ABOVE:
        high = scale.end
        _arrow(drawing, (low, y), scale.end)
    else:
        solid = row.kind is Kind.PEAK
        drawing.rect(
            (low, y - 3),
            high - low,
            6,
            fill=style.ACCENT_SOFT if solid else style.ACCENT_PALE,
            stroke="" if solid else style.ACCENT_SOFT,
            kind="interval",
        )
        median = scale.at(row.level.median_w_m2 * MICRO)
        drawing.line((median, y - 4.5), (median, y + 4.5), width=1.5, kind="median")
    if row.shown is not None and row.shown.censoring is Censoring.NONE:
        drawing.circle(
            (scale.at(row.shown.value_w_m2 * MICRO), y), 2.2, fill=style.PAPER, stroke=style.INK, kind="shown"
        )
    drawing.text((style.WIDTH, y + 3), level_number(row.level, words), size=8.5, anchor="end")


def _arrow(drawing: Drawing, start: tuple[float, float], end: float) -> None:
    x, y = start
    turn = 4.0 if end < x else -4.0
    drawing.line((x, y - 4.5), (x, y + 4.5), width=1.5, kind="bound")
    drawing.line((x, y), (end, y), stroke=style.ACCENT, width=1.0, dash="3 2", kind="censored")
    drawing.polyline([(end + turn, y - 2.5), (end, y), (end + turn, y + 2.5)], stroke=style.ACCENT, width=1.0)


def level_number(level: Level, words: Words) -> str:
    """The median as text in µW/m² without unit; censored levels with their sign.

    Parameters
    ----------
    level : Level
        Median and interval.
    words : Words
        Language of the number.
    """
    if level.censoring is Censoring.BELOW:
        return f"< {words.numbers.micro(level.high_w_m2)}"
    if level.censoring is Censoring.ABOVE:
        return f"> {words.numbers.micro(level.low_w_m2)}"
    return words.numbers.micro(level.median_w_m2)


def _spoken(row: AxisRow, words: Words) -> str:
    key = {Censoring.BELOW: "below", Censoring.ABOVE: "above"}.get(row.level.censoring, "within")
    return words.say(
        f"figure.axis.spoken_{key}",
        place=f"{row.label} {row.detail}".strip(),
        median=row.level.median_w_m2,
        low=row.level.low_w_m2,
        high=row.level.high_w_m2,
    )
