"""What reaches a place: bands from its main sources through walls, as wide as their share of the level."""

from __future__ import annotations

import math

from roomfield.show.drawings import PlanStorey, Point, ReachingWay
from roomfield.show.figures import style
from roomfield.show.figures.storey_plan import PlanFrame, draw_building, draw_place, draw_scale_bar, frame
from roomfield.show.figures.svg import Drawing, fitted, text_width
from roomfield.show.words import Words

WIDEST = 26.0
"""Width of a band that makes the whole level [pt]."""
_THINNEST = 1.6
_ROW = 13.0
_KEY = 12.0


def ways_figure(storey: PlanStorey, number: int, ways: tuple[ReachingWay, ...], words: Words) -> str:
    """Bands from the main sources to one place, with the loss of each wall on the way, as SVG.

    Parameters
    ----------
    storey : PlanStorey
        The plan of the place's storey.
    number : int
        Number of the place on the plan.
    ways : tuple of ReachingWay
        The largest first.
    words : Words
        Language.
    """
    place = frame(storey, extra_bottom=22.0 + _ROW * len(ways) + _KEY)
    target = next(one for one in storey.places if one.number == number)
    title = words.say("ways.title", place=target.name)
    said = "; ".join(_words(n, one, words) for n, one in enumerate(ways, start=1))
    drawing = Drawing(place.width, place.height, title, said or words.say("ways.none"), "ways")
    plan = place.height - _ROW * len(ways) - _KEY
    for n, one in reversed(list(enumerate(ways, start=1))):
        _band(drawing, one, place, (place.width, plan - 22.0), _words(n, one, words))
    draw_building(drawing, storey, place)
    taken: list[Point] = [place.at(target.position)]
    for one in ways:
        _losses(drawing, one, place, taken, words)
    for n, one in enumerate(ways, start=1):
        _number(drawing, n, one, place, (place.width, plan - 22.0), taken)
    draw_place(drawing, target, place)
    draw_scale_bar(
        drawing, PlanFrame(place.left_m, place.top_m, place.points_per_m, place.width, plan, place.offset), words
    )
    for n, one in enumerate(ways, start=1):
        _row(drawing, n, one, plan + _ROW * n, place.width, words)
    return drawing.svg()


def _width(one: ReachingWay) -> float:
    return max(_THINNEST, WIDEST * one.share)


def _words(n: int, one: ReachingWay, words: Words) -> str:
    lost = sum(mark.loss_db for mark in one.crossings)
    key = "ways.row" if one.crossings else "ways.row_free"
    return words.say(key, n=n, source=one.source, way=words.text(one.through), share=one.share, loss=lost)


def _stops(one: ReachingWay, place: PlanFrame, box: Point) -> list[Point]:
    """The way on the page; a source far off begins at the edge of the sheet."""
    points = [place.at(p) for p in one.points]
    (x, y), (u, v) = points[0], points[1]
    for limit, at, to, other, other_to, axis in (
        (3.0, x, u, y, v, 0), (box[0] - 3.0, x, u, y, v, 0), (3.0, y, v, x, u, 1), (box[1] - 3.0, y, v, x, u, 1)
    ):  # fmt: skip
        if (at - limit) * (to - limit) < 0.0:
            share = (limit - at) / (to - at)
            crossed = other + share * (other_to - other)
            start = (limit, crossed) if axis == 0 else (crossed, limit)
            inside = 2.0 <= start[0] <= box[0] - 2.0 and 2.0 <= start[1] <= box[1] - 2.0
            points = [start, *points[1:]] if inside else points
    return points


def _band(drawing: Drawing, one: ReachingWay, place: PlanFrame, box: Point, said: str) -> None:
    drawing.polyline(_stops(one, place, box), stroke=style.ACCENT_SOFT, width=_width(one), kind="way", said=said)


def _losses(drawing: Drawing, one: ReachingWay, place: PlanFrame, taken: list[Point], words: Words) -> None:
    for mark in one.crossings:
        x, y = place.at(mark.at)
        if any(math.dist((x, y), other) < 13.0 for other in taken):
            continue
        taken.append((x, y))
        text = words.say("ways.loss", loss=mark.loss_db)
        wide = text_width(text, 7.0) + 4.0
        drawing.rect((x - wide / 2, y - 5.5), wide, 10.5, fill=style.PAPER, stroke=style.INK, line_width=0.5)
        drawing.text((x, y + 2.3), text, size=7.0, anchor="middle", kind="loss")


def _number(drawing: Drawing, n: int, one: ReachingWay, place: PlanFrame, box: Point, taken: list[Point]) -> None:
    """The band's number, at its source or as far along as it is free."""
    a, b = _stops(one, place, box)[:2]
    spots = [(a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])) for share in (0.06, 0.2, 0.35, 0.5, 0.65)]
    at = next((spot for spot in spots if all(math.dist(spot, other) >= 12.0 for other in taken)), None)
    if at is None:
        return
    taken.append(at)
    drawing.circle(at, 5.6, fill=style.ACCENT, kind="way-number")
    drawing.text((at[0], at[1] + 2.6), str(n), size=7.5, anchor="middle", weight="600", fill=style.PAPER)


def _row(drawing: Drawing, n: int, one: ReachingWay, y: float, width: float, words: Words) -> None:
    drawing.line(
        (26.0, y - 2.6), (52.0, y - 2.6), stroke=style.ACCENT_SOFT, width=min(11.0, _width(one)), kind="way-key"
    )
    drawing.text((60.0, y), fitted(_words(n, one, words), width - 96.0, 7.5), size=7.5)
