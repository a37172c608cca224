"""The trade-off of cost against the probability that the target is met."""

from __future__ import annotations

from collections.abc import Sequence

from roomfield.report.chapters import TradeOffPoint
from roomfield.report.figures import style
from roomfield.report.figures.axis import LinearScale, linear_scale
from roomfield.report.figures.envelope import axis_names
from roomfield.report.figures.svg import Drawing, Point, fitted, text_width
from roomfield.report.words import Words

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
    for value in x.ticks(7):
        drawing.line((x.at(value), _BOTTOM), (x.at(value), _BOTTOM + 3), stroke=style.SOFT)
        drawing.text((x.at(value), _BOTTOM + 11), n.as_given(value), size=7, anchor="middle", fill=style.SOFT)
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
    drawing.circle(
        at,
        3.0,
        fill=style.INK if point.chosen else style.PAPER,
        stroke=style.INK,
        kind="chosen" if point.chosen else "plan",
    )
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
