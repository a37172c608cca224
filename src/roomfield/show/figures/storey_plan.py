"""The plan of a storey with walls, openings, places and emitters, to scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from roomfield.show.drawings import PlanEmitter, PlanPlace, PlanStorey, PlanWall, Point
from roomfield.show.figures import style
from roomfield.show.figures.svg import Drawing, fitted, polyline_path, text_width
from roomfield.show.words import Words

_MARGIN = 26.0
_SIGN = 17.0
"""Distance at which two signs do not cover each other [pt]."""
_MAX_HEIGHT = 178.0
"""So that two storeys with their captions stand on one page [pt]."""


@dataclass(frozen=True)
class PlanFrame:
    """How metres on the plan become points on the page; north is up, y turns over.

    Parameters
    ----------
    left_m, top_m : float
        Plan coordinates of the upper left corner of the drawing area [m].
    points_per_m : float
        Scale [pt/m].
    """

    left_m: float
    top_m: float
    points_per_m: float
    width: float
    height: float
    offset: float = _MARGIN

    def at(self, point: Point) -> Point:
        """Position on the page [pt]."""
        return (
            self.offset + (point[0] - self.left_m) * self.points_per_m,
            _MARGIN + (self.top_m - point[1]) * self.points_per_m,
        )


def frame(storey: PlanStorey, *, width: float = style.WIDTH, extra_bottom: float = 22.0) -> PlanFrame:
    """The frame that holds a whole storey.

    Parameters
    ----------
    storey : PlanStorey
        What is drawn.
    width : float
        Width of the figure [pt].
    extra_bottom : float
        Room below the plan for the scale bar [pt].
    """
    points = _all_points(storey) or [(0.0, 0.0), (10.0, 6.0)]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    span_x, span_y = max(max(xs) - min(xs), 1.0), max(max(ys) - min(ys), 1.0)
    scale = min((width - 2 * _MARGIN) / span_x, (_MAX_HEIGHT - 2 * _MARGIN) / span_y)
    offset = (width - span_x * scale) / 2
    return PlanFrame(min(xs), max(ys), scale, width, span_y * scale + 2 * _MARGIN + extra_bottom, offset)


def _all_points(storey: PlanStorey) -> list[Point]:
    points = list(storey.outline)
    for room in storey.rooms:
        points += room.outline
    for wall in storey.walls:
        points += (wall.start, wall.end)
    points += [p.position for p in storey.places]
    points += [e.position for e in storey.emitters if e.position is not None]
    if not storey.outline:
        points += [corner for e in storey.emitters for corner in e.region]
    return points


def storey_plan(storey: PlanStorey, words: Words) -> str:
    """A storey with its places and emitters, as SVG.

    Parameters
    ----------
    storey : PlanStorey
        What is drawn.
    words : Words
        Language of the labels.
    """
    place = frame(storey)
    drawing = Drawing(
        place.width,
        place.height,
        words.say("figure.plan.title", storey=storey.name),
        _description(storey, words),
        "plan",
    )
    draw_building(drawing, storey, place)
    draw_emitters(drawing, storey, place)
    draw_places(drawing, storey, place)
    draw_scale_bar(drawing, place, words)
    _north(drawing, storey, place, words)
    return drawing.svg()


def _description(storey: PlanStorey, words: Words) -> str:
    places = "; ".join(f"{p.number} {p.name} {p.label}".strip() for p in storey.places)
    emitters = "; ".join(f"{e.letter} {e.name}" for e in storey.emitters)
    return words.say(
        "figure.plan.alt",
        storey=storey.name,
        rooms=", ".join(r.name for r in storey.rooms) or "–",
        places=places or "–",
        emitters=emitters or "–",
    )


def draw_building(drawing: Drawing, storey: PlanStorey, place: PlanFrame, *, names: bool = True) -> None:
    """Rooms, furniture and walls with their openings.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    storey : PlanStorey
        What to draw.
    place : PlanFrame
        Scale.
    names : bool
        Whether rooms are named.
    """
    if storey.outline and not storey.walls:
        drawing.polyline([place.at(p) for p in storey.outline], closed=True, width=1.4, kind="outline")
    for low, high in storey.furniture:
        a, b = place.at(low), place.at(high)
        drawing.rect(
            (min(a[0], b[0]), min(a[1], b[1])),
            abs(b[0] - a[0]),
            abs(b[1] - a[1]),
            stroke=style.RULE,
            line_width=0.6,
            kind="furniture",
        )
    for wall in storey.walls:
        _wall(drawing, wall, place)
    if names:
        for room in storey.rooms:
            _room_name(drawing, room.name, room.outline, place)


def _room_name(drawing: Drawing, name: str, outline: tuple[Point, ...], place: PlanFrame) -> None:
    if not outline:
        return
    points = [place.at(p) for p in outline]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    drawing.text(
        (min(xs) + 6, min(ys) + 12),
        fitted(name, max(xs) - min(xs) - 10, 7.5),
        size=7.5,
        fill=style.SOFT,
        kind="room",
    )


def _wall(drawing: Drawing, wall: PlanWall, place: PlanFrame) -> None:
    a, b = place.at(wall.start), place.at(wall.end)
    width = max(1.6 if not wall.exterior else 2.6, min(7.0, wall.thickness_m * place.points_per_m))
    drawing.line(a, b, stroke=style.INK, width=width, kind="wall exterior" if wall.exterior else "wall")
    if wall.shielded:
        drawing.line(a, b, stroke=style.ACCENT, width=width + 3.0, dash="2 2", kind="shield")
    for opening in wall.openings:
        c, d = place.at(opening.start), place.at(opening.end)
        drawing.line(c, d, stroke=style.PAPER, width=width + 0.8, kind=f"opening {opening.kind}")
        if opening.kind == "window":
            drawing.line(c, d, stroke=style.INK, width=0.7)
            for shift in (-width / 2, width / 2):
                drawing.line(_beside(c, d, c, shift), _beside(c, d, d, shift), stroke=style.INK, width=0.5)
        elif opening.kind == "door":
            _door(drawing, c, d)


def _beside(a: Point, b: Point, point: Point, distance: float) -> Point:
    length = math.hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    return (point[0] - (b[1] - a[1]) / length * distance, point[1] + (b[0] - a[0]) / length * distance)


def _door(drawing: Drawing, hinge: Point, latch: Point) -> None:
    radius = math.hypot(latch[0] - hinge[0], latch[1] - hinge[1])
    leaf = _beside(hinge, latch, hinge, radius)
    drawing.line(hinge, leaf, stroke=style.SOFT, width=0.7)
    start, rest = polyline_path([leaf]), polyline_path([latch])[1:]
    drawing.path(f"{start}A{radius:.2f} {radius:.2f} 0 0 0 {rest}", stroke=style.RULE, width=0.6)


def draw_places(drawing: Drawing, storey: PlanStorey, place: PlanFrame) -> None:
    """Every place with its value, which stands above the disc where a neighbour would cover it."""
    spots = [place.at(p.position) for p in storey.places]
    for item, (x, y) in zip(storey.places, spots, strict=True):
        reach = 24.0 + text_width(item.label, 8)
        beside = any(0.0 < other[0] - x < reach and abs(other[1] - y) < 12.0 for other in spots)
        draw_place(drawing, item, place, above=beside)


def draw_place(drawing: Drawing, item: PlanPlace, place: PlanFrame, *, above: bool = False) -> None:
    """A numbered place with its value.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    item : PlanPlace
        What to draw.
    place : PlanFrame
        Scale.
    """
    x, y = place.at(item.position)
    level = item.level_db
    dark = level is not None and style.is_dark(level)
    if item.sleeping:
        drawing.circle((x, y), 9.4, fill=style.PAPER, stroke=style.INK, line_width=0.9, kind="bed")
    drawing.circle(
        (x, y),
        7.2,
        fill=style.PAPER if level is None else style.level_colour(level),
        stroke=style.INK,
        line_width=0.9,
        kind="place",
    )
    drawing.text(
        (x, y + 2.8),
        str(item.number),
        size=8,
        anchor="middle",
        weight="600",
        fill=style.PAPER if dark else style.INK,
    )
    if item.label:
        left = x + 12 + text_width(item.label, 7.5) > place.width
        at = (x, y - 12) if above else (x - 12 if left else x + 12, y + 2.6)
        anchor = "middle" if above else "end" if left else ""
        drawing.text(at, item.label, size=8, weight="600", halo=True, anchor=anchor)


def draw_emitters(drawing: Drawing, storey: PlanStorey, place: PlanFrame) -> None:
    """Every emitter with its letter; signs that would cover each other stand side by side.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    storey : PlanStorey
        What to draw.
    place : PlanFrame
        Scale.
    """
    taken: list[Point] = [place.at(p.position) for p in storey.places]
    for emitter in storey.emitters:
        if emitter.region:
            outline = [place.at(p) for p in emitter.region]
            drawing.polyline(outline, closed=True, stroke=style.ACCENT, width=0.8, dash="3 2", kind="region")
        wanted = _wanted(emitter, place)
        if wanted is None:
            continue
        at = _free(wanted, taken, place)
        taken.append(at)
        if emitter.position is None:
            _arrow(drawing, at, math.radians(emitter.bearing_deg or 0.0))
        elif at != wanted:
            drawing.line(wanted, at, stroke=style.SOFT, width=0.5, kind="leader")
        draw_emitter_sign(drawing, at, emitter.letter, known=emitter.known)


def _wanted(emitter: PlanEmitter, place: PlanFrame) -> Point | None:
    """Where an emitter's sign belongs: at its position, or at the edge in its direction; None if neither is known."""
    if emitter.position is not None:
        return place.at(emitter.position)
    if emitter.bearing_deg is None:
        return None
    angle = math.radians(emitter.bearing_deg)
    way = (math.sin(angle), -math.cos(angle))
    centre = (place.width / 2, (place.height - 22) / 2)
    reach = min((c - 12) / abs(w) if abs(w) > 1e-6 else 1e9 for c, w in zip(centre, way, strict=True))
    return centre[0] + way[0] * reach, centre[1] + way[1] * reach


def _free(wanted: Point, taken: list[Point], place: PlanFrame) -> Point:
    """The nearest spot to the right or left at which a sign covers no other."""
    for step in range(12):
        for side in (1, -1) if step else (1,):
            at = (wanted[0] + side * step * _SIGN, wanted[1])
            inside = _SIGN / 2 <= at[0] <= place.width - _SIGN / 2
            if inside and all(math.dist(at, other) >= _SIGN - 1.0 for other in taken):
                return at
    return wanted


def _arrow(drawing: Drawing, at: Point, angle: float) -> None:
    """An arrow from a sign at the edge towards the home."""
    tip = (at[0] - 26 * math.sin(angle), at[1] + 26 * math.cos(angle))
    drawing.line(at, tip, stroke=style.INK, width=0.9)
    for turn in (2.6, -2.6):
        drawing.line(
            tip,
            (tip[0] + 6 * math.sin(angle + turn + math.pi), tip[1] - 6 * math.cos(angle + turn + math.pi)),
            width=0.9,
        )


def draw_emitter_sign(drawing: Drawing, at: Point, letter: str, *, known: bool = True) -> None:
    """A square with the emitter's letter; dashed if it is only suspected.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    at : (float, float)
        Centre on the page [pt].
    letter : str
        Letter in tables and on the plan.
    """
    x, y = at
    d = 6.4
    corners = [(x, y - d - 1.5), (x + d + 1.5, y), (x, y + d + 1.5), (x - d - 1.5, y)]
    drawing.polyline(
        corners,
        closed=True,
        fill=style.PAPER,
        stroke=style.INK,
        width=1.0,
        dash="" if known else "1.6 1.4",
        kind="emitter",
    )
    drawing.text((x, y + 2.6), letter, size=7.5, anchor="middle", weight="600")


def draw_scale_bar(drawing: Drawing, place: PlanFrame, words: Words) -> None:
    """A bar of round length in metres.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    place : PlanFrame
        Scale.
    words : Words
        Language of the number.
    """
    metres = next((m for m in (10, 5, 2, 1) if m * place.points_per_m <= 0.3 * place.width), 1)
    y, x = place.height - 8, place.offset
    drawing.line((x, y), (x + metres * place.points_per_m, y), width=1.0)
    for end in (x, x + metres * place.points_per_m):
        drawing.line((end, y - 2.5), (end, y + 2.5), width=1.0)
    drawing.text(
        (x + metres * place.points_per_m + 5, y + 2.6),
        f"{words.numbers.as_given(metres)}\u00a0m",
        size=7.5,
        fill=style.SOFT,
    )


def _north(drawing: Drawing, storey: PlanStorey, place: PlanFrame, words: Words) -> None:
    if storey.north_deg is None:
        return
    x, y = place.width - place.offset - 8, place.height - 12
    angle = math.radians(storey.north_deg)
    tip = (x + 9 * math.sin(angle), y - 9 * math.cos(angle))
    drawing.line((x - 9 * math.sin(angle), y + 9 * math.cos(angle)), tip, width=0.9)
    for turn in (2.6, -2.6):
        drawing.line(tip, (tip[0] + 5 * math.sin(angle + turn), tip[1] - 5 * math.cos(angle + turn)), width=0.9)
    drawing.text((x - 14, y + 3), words.say("figure.plan.north"), size=7.5, anchor="end", fill=style.SOFT)
