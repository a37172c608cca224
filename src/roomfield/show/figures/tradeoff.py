"""The trade-off of cost against the probability that the target is met, or against the level where none meets it."""

from __future__ import annotations

from collections.abc import Sequence

from roomfield.show.chapters import LevelStep, TradeOffPoint
from roomfield.show.figures import style
from roomfield.show.figures.axis import LinearScale, level_scale, linear_scale
from roomfield.show.figures.envelope import axis_names
from roomfield.show.figures.svg import Drawing, Point, fitted, text_width
from roomfield.show.words import Words
from roomfield.show.words.numbers import MICRO

_HEIGHT = 190.0
_LEFT = 38.0
_BOTTOM = _HEIGHT - 28.0


def trade_off(points: Sequence[TradeOffPoint], words: Words, *, currency: str, confidence: float) -> str:
    """Plans by cost and probability, as SVG.

    Parameters
    ----------
    points : sequence of TradeOffPoint
        In any order.
    words : Words
        Language.
    currency : str
        Unit of the cost.
    confidence : float
        Probability asked for, 0 to 1.
    """
    ordered = sorted(points, key=lambda p: (p.cost, p.probability))
    x = linear_scale([0.0, *[p.cost for p in ordered]], _LEFT, style.WIDTH - 14, about=7)
    y = LinearScale(0.0, 1.0, _BOTTOM, 12)
    n = words.numbers
    items = "; ".join(f"{n.fixed(p.cost, 0)} {currency}: {n.percent(p.probability)} {p.label}".strip() for p in ordered)
    alt = words.say("figure.tradeoff.alt", items=items)
    drawing = Drawing(style.WIDTH, _HEIGHT, words.say("figure.tradeoff.title"), alt, "trade-off")
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        drawing.line((_LEFT, y.at(share)), (style.WIDTH - 8, y.at(share)), stroke=style.FAINT, width=0.6)
        drawing.text((_LEFT - 5, y.at(share) + 2.5), n.exact_percent(share), size=7, anchor="end", fill=style.SOFT)
    _cost_ticks(drawing, x, words)
    drawing.line((_LEFT, y.at(confidence)), (style.WIDTH - 8, y.at(confidence)), width=0.9, dash="3 2", kind="asked")
    drawing.polyline(_stairs(ordered, x, y), stroke=style.ACCENT, width=1.1, kind="curve")
    for point in ordered:
        _point(drawing, point, (x.at(point.cost), y.at(point.probability)))
    axis_names(drawing, words.say("figure.tradeoff.x", currency=currency), words.say("figure.tradeoff.y"), _HEIGHT)
    return drawing.svg()


def _stairs(ordered: Sequence[TradeOffPoint], x: LinearScale, y: LinearScale) -> list[Point]:
    """The best probability that can be had up to each cost."""
    path: list[Point] = []
    best = 0.0
    for point in ordered:
        if point.probability < best:
            continue
        if path:
            path.append((x.at(point.cost), y.at(best)))
        best = point.probability
        path.append((x.at(point.cost), y.at(best)))
    if path:
        path.append((x.end, y.at(best)))
    return path


def _point(drawing: Drawing, point: TradeOffPoint, at: Point) -> None:
    _dot(drawing, at, chosen=point.chosen)
    if point.label:
        text = fitted(point.label, 150, 7.5)
        end = at[0] + 6 + text_width(text, 7.5) > style.WIDTH
        drawing.text(
            (at[0] - 6 if end else at[0] + 6, at[1] + 10),
            text,
            size=7.5,
            anchor="end" if end else "",
            halo=True,
        )


def lowest_levels(steps: Sequence[LevelStep], words: Words, *, currency: str, target_w_m2: float) -> str:
    """Plans by cost and the level they bring, on a logarithmic axis with the target, as SVG.

    Parameters
    ----------
    steps : sequence of LevelStep
        In any order; levels [W/m²].
    words : Words
        Language.
    currency : str
        Unit of the cost.
    target_w_m2 : float
        What was asked for [W/m²].
    """
    ordered = sorted(steps, key=lambda p: p.cost)
    x = linear_scale([0.0, *[p.cost for p in ordered]], _LEFT, style.WIDTH - 14, about=7)
    y = level_scale([target_w_m2 * MICRO, *[p.level_w_m2 * MICRO for p in ordered]], _BOTTOM, 12)
    n = words.numbers
    items = "; ".join(f"{n.fixed(p.cost, 0)} {currency}: {n.micro(p.level_w_m2)} µW/m²" for p in ordered)
    alt = words.say("figure.lowest.alt", items=items)
    drawing = Drawing(style.WIDTH, _HEIGHT, words.say("figure.lowest.title"), alt, "lowest")
    for value in (*y.decades(), *y.between()):
        drawing.line((_LEFT, y.at(value)), (style.WIDTH - 8, y.at(value)), stroke=style.FAINT, width=0.6)
    for value in y.decades():
        drawing.text((_LEFT - 5, y.at(value) + 2.5), n.as_given(value), size=7, anchor="end", fill=style.SOFT)
    _cost_ticks(drawing, x, words)
    at = y.at(target_w_m2 * MICRO)
    drawing.line((_LEFT, at), (style.WIDTH - 8, at), width=0.9, dash="3 2", kind="asked")
    drawing.text((style.WIDTH - 10, at - 3), words.say("figure.lowest.target"), size=7, anchor="end", halo=True)
    path: list[Point] = []
    for step in ordered:
        if path:
            path.append((x.at(step.cost), path[-1][1]))
        path.append((x.at(step.cost), y.at(step.level_w_m2 * MICRO)))
    if path:
        drawing.polyline([*path, (x.end, path[-1][1])], stroke=style.ACCENT, width=1.1, kind="curve")
    for step in ordered:
        _dot(drawing, (x.at(step.cost), y.at(step.level_w_m2 * MICRO)), chosen=step.chosen)
    axis_names(drawing, words.say("figure.tradeoff.x", currency=currency), words.say("figure.lowest.y"), _HEIGHT)
    return drawing.svg()


def _cost_ticks(drawing: Drawing, x: LinearScale, words: Words) -> None:
    for value in x.ticks(7):
        drawing.line((x.at(value), _BOTTOM), (x.at(value), _BOTTOM + 3), stroke=style.SOFT)
        label = words.numbers.as_given(value)
        drawing.text((x.at(value), _BOTTOM + 11), label, size=7, anchor="middle", fill=style.SOFT)


def _dot(drawing: Drawing, at: Point, *, chosen: bool) -> None:
    fill, kind = (style.INK, "chosen") if chosen else (style.PAPER, "plan")
    drawing.circle(at, 3.0, fill=fill, stroke=style.INK, kind=kind)
