"""Bars: contributions of sources, parts of the uncertainty budget, and before/after pairs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from roomfield.quantities.censoring import Censoring
from roomfield.show.evidence import Budget
from roomfield.show.figures import style
from roomfield.show.figures.axis import LinearScale, LogScale, level_scale, linear_scale
from roomfield.show.figures.svg import Drawing, fitted, text_width
from roomfield.show.findings import Level
from roomfield.show.words import Words
from roomfield.show.words.numbers import MICRO
from roomfield.show.words.sentences import level_median

_ROW = 17.0
_LABEL = 168.0


@dataclass(frozen=True)
class ContributionBar:
    """One source at one place; levels in W/m², the lower end may be zero or negative.

    Parameters
    ----------
    median_w_m2, low_w_m2, high_w_m2 : float
        Contribution and ends of its interval [W/m²].
    """

    place: str
    source: str
    median_w_m2: float
    low_w_m2: float
    high_w_m2: float


def contribution_bars(bars: Sequence[ContributionBar], words: Words) -> str:
    """Contributions on a logarithmic axis whose left edge stands for zero, as SVG.

    Parameters
    ----------
    bars : sequence of ContributionBar
        In order; bars of one place follow each other.
    words : Words
        Language.
    """
    ends = (v for b in bars for v in (b.low_w_m2, b.median_w_m2, b.high_w_m2))
    positive = [v * MICRO for v in ends if v > 0 and math.isfinite(v)]
    top_value = max(positive, default=1.0)
    scale = level_scale([v for v in positive if v > top_value * 1e-7], _LABEL + 14, style.WIDTH - 52)
    heads = sum(n == 0 or bars[n - 1].place != b.place for n, b in enumerate(bars))
    bottom = 6 + _ROW * len(bars) + 15 * heads
    items = "; ".join(
        words.say(
            "figure.contributions.spoken",
            source=b.source,
            place=b.place,
            median=b.median_w_m2,
            low=b.low_w_m2,
            high=b.high_w_m2,
        )
        for b in bars
    )
    drawing = Drawing(
        style.WIDTH,
        bottom + 28,
        words.say("figure.contributions.title"),
        words.say("figure.contributions.alt", items=items),
        "contributions",
    )
    log_ticks(drawing, scale, (4, bottom), words, words.say("figure.contributions.unit"))
    _zero_edge(drawing, bottom, words)
    y, place = 4.0, None
    for bar in bars:
        if bar.place != place:
            place = bar.place
            drawing.text((0, y + 11), fitted(bar.place, _LABEL, 8.5), size=8.5, weight="600")
            y += 15
        _contribution(drawing, bar, scale, y + _ROW / 2, words)
        y += _ROW
    return drawing.svg()


def _zero_edge(drawing: Drawing, bottom: float, words: Words) -> None:
    drawing.line((_LABEL, 4), (_LABEL, bottom), stroke=style.INK, width=0.9, kind="zero")
    drawing.text(
        (_LABEL, bottom + 12),
        words.say("figure.contributions.zero"),
        size=7,
        anchor="middle",
        fill=style.SOFT,
    )
    for shift in (5.0, 8.0):
        drawing.line(
            (_LABEL + shift - 1, bottom + 2.5),
            (_LABEL + shift + 1, bottom - 2.5),
            stroke=style.SOFT,
            width=0.6,
        )


def _contribution(drawing: Drawing, bar: ContributionBar, scale: LogScale, y: float, words: Words) -> None:
    drawing.text((10, y + 3), fitted(bar.source, _LABEL - 16, 8.5), size=8.5)
    low = scale.at(bar.low_w_m2 * MICRO) if bar.low_w_m2 > 0 else _LABEL
    high = scale.at(bar.high_w_m2 * MICRO) if bar.high_w_m2 > 0 else _LABEL
    if math.isinf(bar.high_w_m2):
        _open_end(drawing, (low, scale.end), y)
        drawing.text((style.WIDTH, y + 3), f"> {words.numbers.micro(max(bar.low_w_m2, 0.0))}", size=8.5, anchor="end")
        return
    drawing.rect(
        (low, y - 3),
        high - low,
        6,
        fill=style.ACCENT_SOFT if bar.low_w_m2 > 0 else style.ACCENT_PALE,
        stroke="" if bar.low_w_m2 > 0 else style.ACCENT_SOFT,
        kind="interval",
    )
    median = scale.at(bar.median_w_m2 * MICRO) if bar.median_w_m2 > 0 else _LABEL
    drawing.line((median, y - 4.5), (median, y + 4.5), width=1.5, kind="median")
    drawing.text((style.WIDTH, y + 3), words.numbers.micro(bar.median_w_m2), size=8.5, anchor="end")


def _open_end(drawing: Drawing, span: tuple[float, float], y: float) -> None:
    """A contribution of which only the least is known, as after an overload."""
    low, end = span
    drawing.line((low, y - 4.5), (low, y + 4.5), width=1.5, kind="bound")
    drawing.line((low, y), (end, y), stroke=style.ACCENT, width=1.0, dash="3 2", kind="censored")
    drawing.polyline([(end - 4.0, y - 2.5), (end, y), (end - 4.0, y + 2.5)], stroke=style.ACCENT, width=1.0)


def log_ticks(drawing: Drawing, scale: LogScale, span: tuple[float, float], words: Words, unit: str) -> None:
    """Grid and labels of a logarithmic axis under a figure.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    scale : LogScale
        Horizontal scale.
    span : (float, float)
        Top and bottom of the grid [pt].
    words : Words
        Language of the numbers.
    unit : str
        Label of the axis.
    """
    top, bottom = span
    for value in scale.decades():
        x = scale.at(value)
        drawing.line((x, top), (x, bottom), stroke=style.FAINT, width=0.6, kind="grid")
        drawing.text((x, bottom + 12), words.numbers.as_given(value), size=7, anchor="middle", fill=style.SOFT)
    drawing.line((scale.start, bottom), (scale.end, bottom), stroke=style.SOFT, width=0.7)
    drawing.text((scale.end, bottom + 24), unit, size=7.5, anchor="end", fill=style.SOFT)


def budget_bars(budget: Budget, words: Words) -> str:
    """Standard uncertainties in dB, part by part, as SVG.

    Parameters
    ----------
    budget : Budget
        Parts and combined value.
    words : Words
        Language.
    """
    rows = [(words.text(line.name), line.std_db, line.shared) for line in budget.lines]
    scale = linear_scale([0.0, budget.combined_std_db, *[r[1] for r in rows]], _LABEL + 20, style.WIDTH - 44)
    bottom = 6 + _ROW * (len(rows) + 1) + 6
    items = "; ".join(f"{name} {words.numbers.decibel(std)}" for name, std, _ in rows)
    drawing = Drawing(
        style.WIDTH,
        bottom + 28,
        words.say("figure.budget.title"),
        words.say("figure.budget.alt", items=items),
        "budget",
    )
    _linear_ticks(drawing, scale, (4, bottom), words, words.say("figure.budget.unit"))
    for n, (name, std, shared) in enumerate(rows):
        _budget_bar(drawing, (name, std), scale, 6 + _ROW * (n + 0.5), words, shared)
    y = 12 + _ROW * (len(rows) + 0.5)
    drawing.line((0, y - _ROW / 2 - 1), (style.WIDTH, y - _ROW / 2 - 1), stroke=style.RULE, width=0.6)
    drawing.text((0, y + 3), words.say("figure.budget.combined"), size=8.5, weight="600")
    drawing.rect((scale.start, y - 3.5), scale.at(budget.combined_std_db) - scale.start, 7, fill=style.INK)
    drawing.text(
        (style.WIDTH, y + 3),
        words.numbers.decibel(budget.combined_std_db),
        size=8.5,
        anchor="end",
        weight="600",
    )
    return drawing.svg()


def _budget_bar(
    drawing: Drawing, row: tuple[str, float], scale: LinearScale, y: float, words: Words, shared: bool
) -> None:
    name, std = row
    drawing.text((0, y + 3), fitted(name, _LABEL + 8, 8.5), size=8.5)
    drawing.rect(
        (scale.start, y - 3.5),
        scale.at(std) - scale.start,
        7,
        fill=style.ACCENT if shared else style.PAPER,
        stroke=style.ACCENT,
        line_width=0.8,
        kind="shared" if shared else "independent",
    )
    drawing.text((style.WIDTH, y + 3), words.numbers.decibel(std), size=8.5, anchor="end")


def _linear_ticks(drawing: Drawing, scale: LinearScale, span: tuple[float, float], words: Words, unit: str) -> None:
    top, bottom = span
    for value in scale.ticks():
        x = scale.at(value)
        drawing.line((x, top), (x, bottom), stroke=style.FAINT, width=0.6, kind="grid")
        drawing.text(
            (x, bottom + 12),
            words.numbers.as_given(round(value, 6)),
            size=7,
            anchor="middle",
            fill=style.SOFT,
        )
    drawing.line((scale.start, bottom), (scale.end, bottom), stroke=style.SOFT, width=0.7)
    drawing.text((scale.end, bottom + 24), unit, size=7.5, anchor="end", fill=style.SOFT)


@dataclass(frozen=True)
class PairBar:
    """Levels before and after at one place, with the reduction [dB] and its interval.

    Parameters
    ----------
    reduction_db, low_db, high_db : float
        Reduction and ends of its interval [dB].
    """

    place: str
    before: Level
    after: Level
    reduction_db: float
    low_db: float
    high_db: float
    predicted: Level | None = None


def before_after(pairs: Sequence[PairBar], words: Words, *, target_w_m2: float | None = None) -> str:
    """Paired intervals before and after, as SVG.

    Parameters
    ----------
    pairs : sequence of PairBar
        In order.
    words : Words
        Language.
    target_w_m2 : float, optional
        Level that was to be met [W/m²].
    """
    ends = [target_w_m2 * MICRO] if target_w_m2 else []
    for pair in pairs:
        for level in (pair.before, pair.after, *([pair.predicted] if pair.predicted else [])):
            ends += [level.low_w_m2 * MICRO, level.high_w_m2 * MICRO]
    label = min(150.0, max([70.0] + [text_width(p.place, 8.5) + 14 for p in pairs]))
    scale = level_scale(ends, label + 10, style.WIDTH - 112)
    row = 30.0
    top, bottom = 18.0, 20 + row * len(pairs)
    items = "; ".join(
        words.say(
            "figure.before_after.spoken",
            place=p.place,
            before=p.before.median_w_m2,
            after=p.after.median_w_m2,
            reduction=p.reduction_db,
        )
        for p in pairs
    )
    drawing = Drawing(
        style.WIDTH,
        bottom + 28,
        words.say("figure.before_after.title"),
        words.say("figure.before_after.alt", items=items),
        "before-after",
    )
    log_ticks(drawing, scale, (top, bottom), words, words.say("figure.axis.unit"))
    if target_w_m2:
        x = scale.at(target_w_m2 * MICRO)
        drawing.line((x, 6), (x, bottom), stroke=style.INK, width=1.1)
        drawing.text((x + 3, 12), words.say("figure.before_after.target"), size=7.5, weight="600", halo=True)
    _pair_legend(drawing, bottom + 24, words, predicted=any(p.predicted for p in pairs))
    for n, pair in enumerate(pairs):
        _pair(drawing, pair, scale, top + row * (n + 0.5), words)
    return drawing.svg()


def _pair(drawing: Drawing, pair: PairBar, scale: LogScale, y: float, words: Words) -> None:
    drawing.text((0, y + 3), fitted(pair.place, scale.start - 14, 8.5), size=8.5)
    for level, shift, filled in ((pair.before, -6.0, False), (pair.after, 6.0, True)):
        low = scale.at(level.low_w_m2 * MICRO) if level.censoring is not Censoring.BELOW else scale.start
        high = scale.at(level.high_w_m2 * MICRO) if level.censoring is not Censoring.ABOVE else scale.end
        drawing.rect(
            (low, y + shift - 3),
            high - low,
            6,
            fill=style.ACCENT_SOFT if filled else style.PAPER,
            stroke=style.ACCENT_SOFT,
            line_width=0.9,
            kind="after" if filled else "before",
        )
        if level.censoring is Censoring.NONE:
            x = scale.at(level.median_w_m2 * MICRO)
            drawing.line((x, y + shift - 4.5), (x, y + shift + 4.5), width=1.5)
        drawing.text(
            (scale.end + 42, y + shift + 3),
            level_median(level, words),
            size=7.5,
            anchor="end",
            fill=style.SOFT,
        )
    if pair.predicted is not None:
        x = scale.at(pair.predicted.median_w_m2 * MICRO)
        drawing.circle((x, y + 6), 2.2, fill=style.PAPER, stroke=style.INK, kind="predicted")
    drawing.text((style.WIDTH, y), words.numbers.decibel(pair.reduction_db), size=8.5, anchor="end", weight="600")
    span = f"{words.numbers.fixed(pair.low_db, 1)} … {words.numbers.decibel(pair.high_db)}"
    drawing.text((style.WIDTH, y + 10), span, size=7, anchor="end", fill=style.SOFT)


def _pair_legend(drawing: Drawing, y: float, words: Words, *, predicted: bool) -> None:
    x = 0.0
    for key, fill in (("before", style.PAPER), ("after", style.ACCENT_SOFT)):
        drawing.rect((x, y - 5.5), 16, 5, fill=fill, stroke=style.ACCENT_SOFT, line_width=0.9)
        text = words.say(f"figure.before_after.{key}")
        drawing.text((x + 20, y), text, size=7.5, fill=style.SOFT)
        x += 30 + text_width(text, 7.5)
    if predicted:
        drawing.circle((x + 3, y - 3), 2.2, fill=style.PAPER, stroke=style.INK)
        drawing.text((x + 9, y), words.say("figure.before_after.predicted"), size=7.5, fill=style.SOFT)
