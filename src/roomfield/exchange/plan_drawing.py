"""Plans drawn elsewhere: lines and polygons become walls, rooms and openings of one storey."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from shapely import LineString, Point, Polygon, STRtree, get_parts, polygonize, unary_union
from shapely.geometry.base import BaseGeometry

from roomfield.errors import FormatError, InputError
from roomfield.survey.dwelling import Dwelling, Layer, Opening, OpeningKind, Point2, Room, Storey, Wall

SHORTEST_WALL_M = 0.05
FARTHEST_FROM_WALL_M = 0.6
SMALLEST_PLAN_M, LARGEST_PLAN_M = 1.0, 300.0
MOST_PARTS = 20_000
MOST_WALLS = 5_000
"""More walls than a whole block of flats has; our judgement, no source."""
MOST_CROSSINGS = 100_000
"""Lines of a plan meet at corners; this many pairs that meet are hatching or a scan; our judgement, no source."""
_LINES_AT_ONCE = 250


@dataclass(frozen=True)
class PlanOptions:
    """What a drawing does not say.

    Parameters
    ----------
    floor_m, ceiling_m : float
        Heights of floor and ceiling [m].
    sill_m, window_head_m, door_head_m : float
        Heights above the floor [m].
    exterior_wall, interior_wall, window, door : tuple of Layer
        Build-up where the drawing names none.
    """

    storey_id: str = "storey-1"
    storey_name: str = "Storey"
    floor_m: float = 0.0
    ceiling_m: float = 2.5
    sill_m: float = 0.9
    window_head_m: float = 2.1
    door_head_m: float = 2.0
    exterior_wall: tuple[Layer, ...] = (Layer("brick", 0.3),)
    interior_wall: tuple[Layer, ...] = (Layer("brick", 0.115),)
    window: tuple[Layer, ...] = (Layer("glass", 0.008),)
    door: tuple[Layer, ...] = (Layer("wood", 0.04),)


@dataclass(frozen=True)
class DrawnWall:
    """A wall as drawn, on its centre line [m]."""

    start: Point2
    end: Point2
    layers: tuple[Layer, ...] = ()
    exterior: bool | None = None


@dataclass(frozen=True)
class DrawnRoom:
    """A room as drawn [m]."""

    outline: tuple[Point2, ...]
    name: str = ""


@dataclass(frozen=True)
class DrawnOpening:
    """A window, door or gap as drawn: a line near the wall it belongs to [m]."""

    kind: OpeningKind
    start: Point2
    end: Point2
    layers: tuple[Layer, ...] = ()
    sill_m: float | None = None
    head_m: float | None = None


@dataclass
class PlanDrawing:
    """What a reader found in a file, in metres, before it becomes part of a dwelling."""

    walls: list[DrawnWall] = field(default_factory=list)
    rooms: list[DrawnRoom] = field(default_factory=list)
    openings: list[DrawnOpening] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class PlanParts:
    """One storey taken from a drawing.

    Parameters
    ----------
    remarks : tuple of str
        What was assumed or left out, one sentence each; to be shown before the parts are used.
    """

    storey: Storey
    rooms: tuple[Room, ...]
    walls: tuple[Wall, ...]
    remarks: tuple[str, ...] = ()

    def added_to(self, dwelling: Dwelling) -> Dwelling:
        """The dwelling with this storey in it.

        Raises
        ------
        InputError
            If it has a storey of this id already.
        """
        if any(storey.id == self.storey.id for storey in dwelling.storeys):
            raise InputError(f"there is already a storey {self.storey.id!r}.", mend="Give the new one another id.")
        return replace(
            dwelling,
            storeys=(*dwelling.storeys, self.storey),
            rooms=(*dwelling.rooms, *self.rooms),
            walls=(*dwelling.walls, *self.walls),
        )


def assemble(drawing: PlanDrawing, options: PlanOptions, where: str) -> PlanParts:
    """Make a storey of a drawing.

    Parameters
    ----------
    where : str
        Name of the file, for messages.

    Raises
    ------
    FormatError
        If there is nothing in it, too much, or its size cannot be that of a dwelling.
    """
    long = [wall for wall in drawing.walls if math.dist(wall.start, wall.end) >= SHORTEST_WALL_M]
    _refuse_odd_size(drawing, where)
    drawn = list({_ends(wall): wall for wall in reversed(long)}.values())[::-1]
    _refuse_tangle(drawn, where)
    remarks = [*drawing.remarks, *_dropped(len(drawing.walls) - len(long)), *_doubled(len(long) - len(drawn))]
    outline = _outline(drawn, drawing.rooms)
    shell = Polygon(outline).exterior if len(outline) > 2 else None
    sides = [wall.exterior if wall.exterior is not None else _is_exterior(wall, shell) for wall in drawn]
    openings = _openings_by_wall(drawn, drawing.openings, remarks)
    walls = tuple(
        _wall(index, wall, exterior, openings.get(index, []), options)
        for index, (wall, exterior) in enumerate(zip(drawn, sides, strict=True), 1)
    )
    if any(not wall.layers for wall in drawn):
        remarks.append("the drawing does not name the build-up of every wall: check each of them.")
    rooms = tuple(
        Room(f"{options.storey_id}-room-{i}", room.name or f"Room {i}", options.storey_id, room.outline)
        for i, room in enumerate(drawing.rooms, 1)
    )
    storey = Storey(options.storey_id, options.storey_name, options.floor_m, options.ceiling_m, outline)
    return PlanParts(storey, rooms, walls, tuple(remarks))


def _refuse_odd_size(drawing: PlanDrawing, where: str) -> None:
    walls = drawing.walls
    points = [point for wall in walls for point in (wall.start, wall.end)]
    points += [point for room in drawing.rooms for point in room.outline]
    if not points:
        raise FormatError("no wall and no room was found in it.", where=where, mend="Name the layers or kinds to use.")
    if len(walls) + len(drawing.rooms) + len(drawing.openings) > MOST_PARTS:
        raise FormatError(f"it holds more than {MOST_PARTS} parts.", where=where, mend="Take out what is not needed.")
    xs, ys = zip(*points, strict=True)
    size = max(max(xs) - min(xs), max(ys) - min(ys))
    if not SMALLEST_PLAN_M <= size <= LARGEST_PLAN_M:
        raise FormatError(
            f"the plan would be {size:.4g} m wide.", where=where, mend="Say how many metres one unit of it is."
        )


def _ends(wall: DrawnWall) -> tuple[Point2, Point2]:
    """Both ends to the millimetre, in an order that does not depend on which way it was drawn."""
    first, second = ((round(x, 3), round(y, 3)) for x, y in (wall.start, wall.end))
    return (first, second) if first <= second else (second, first)


def _doubled(count: int) -> list[str]:
    return [f"{count} lines that lie on another were left out."] if count else []


def _refuse_tangle(walls: Sequence[DrawnWall], where: str) -> None:
    """Refuse lines too many, or that meet one another too often, before they are cut at every meeting."""
    if len(walls) > MOST_WALLS:
        raise FormatError(
            f"it holds {len(walls)} walls; at most {MOST_WALLS} are taken.",
            where=where,
            mend="Take one storey at a time.",
        )
    lines = [LineString((wall.start, wall.end)) for wall in walls]
    tree, meetings = STRtree(lines), 0
    for begin in range(0, len(lines), _LINES_AT_ONCE):
        meetings += tree.query(lines[begin : begin + _LINES_AT_ONCE], predicate="intersects").shape[1]
        if meetings > 2 * MOST_CROSSINGS:
            raise FormatError(
                f"its lines meet one another more than {MOST_CROSSINGS} times.",
                where=where,
                mend="Leave out layers with hatching, text and furniture.",
            )


def _dropped(count: int) -> list[str]:
    return [f"{count} lines shorter than {SHORTEST_WALL_M} m were left out."] if count else []


def _outline(walls: Sequence[DrawnWall], rooms: Sequence[DrawnRoom]) -> tuple[Point2, ...]:
    """Outline of the storey: around the rooms, or around what the walls enclose, or around the walls."""
    areas = [polygon for room in rooms if (polygon := Polygon(room.outline).buffer(0)).area > 0]
    if not areas:
        noded = unary_union([LineString((wall.start, wall.end)) for wall in walls])
        areas = list(get_parts(polygonize(get_parts(noded))))
    shape: BaseGeometry = unary_union([area.buffer(0.3, join_style="mitre") for area in areas])
    shape = shape.buffer(-0.3, join_style="mitre")
    if shape.geom_type == "MultiPolygon":
        shape = max(get_parts(shape), key=lambda part: part.area)
    if shape.is_empty or shape.geom_type != "Polygon":
        ends = [p for wall in walls for p in (wall.start, wall.end)]
        shape = unary_union([Point(p) for p in ends]).convex_hull
    if shape.geom_type != "Polygon":
        return ()
    ring = shape.simplify(0.01).exterior.coords[:-1]
    return tuple((round(x, 4), round(y, 4)) for x, y in ring)


def _is_exterior(wall: DrawnWall, shell: BaseGeometry | None) -> bool:
    if shell is None:
        return False
    middle = ((wall.start[0] + wall.end[0]) / 2, (wall.start[1] + wall.end[1]) / 2)
    return bool(shell.distance(Point(middle)) < 0.4)


def _openings_by_wall(
    walls: Sequence[DrawnWall], openings: Sequence[DrawnOpening], remarks: list[str]
) -> dict[int, list[tuple[DrawnOpening, float, float]]]:
    """Each opening with its stretch of the nearest wall, by the wall's number from 1."""
    lines = [LineString((wall.start, wall.end)) for wall in walls]
    tree = STRtree(lines)
    placed: dict[int, list[tuple[DrawnOpening, float, float]]] = {}
    lost = 0
    for opening in openings:
        middle = Point((opening.start[0] + opening.end[0]) / 2, (opening.start[1] + opening.end[1]) / 2)
        nearest = min(tree.query_nearest(middle).tolist(), default=None)
        if nearest is None or lines[nearest].distance(middle) > FARTHEST_FROM_WALL_M:
            lost += 1
            continue
        along = sorted(lines[nearest].project(Point(end)) for end in (opening.start, opening.end))
        if along[1] - along[0] < SHORTEST_WALL_M:
            lost += 1
            continue
        _place(placed.setdefault(nearest + 1, []), opening, along[0], along[1])
    if lost:
        remarks.append(f"{lost} openings lie on no wall and were left out.")
    return placed


def _place(
    stretches: list[tuple[DrawnOpening, float, float]], opening: DrawnOpening, start_m: float, end_m: float
) -> None:
    """Add a stretch; lines of one symbol that overlap become one opening."""
    touching = [s for s in stretches if s[0].kind is opening.kind and s[1] <= end_m and s[2] >= start_m]
    for stretch in touching:
        stretches.remove(stretch)
        opening = stretch[0]
        start_m, end_m = min(start_m, stretch[1]), max(end_m, stretch[2])
    stretches.append((opening, start_m, end_m))


def _wall(
    number: int,
    drawn: DrawnWall,
    exterior: bool,
    openings: Sequence[tuple[DrawnOpening, float, float]],
    options: PlanOptions,
) -> Wall:
    wall_id = f"{options.storey_id}-wall-{number}"
    layers = drawn.layers or (options.exterior_wall if exterior else options.interior_wall)
    made = tuple(
        _opening(f"{wall_id}-opening-{i}", opening, start_m, end_m, options)
        for i, (opening, start_m, end_m) in enumerate(sorted(openings, key=lambda placed: placed[1]), 1)
    )
    return Wall(
        wall_id, options.storey_id, drawn.start, drawn.end, options.floor_m, options.ceiling_m, layers, exterior, made
    )


def _opening(name: str, drawn: DrawnOpening, start_m: float, end_m: float, options: PlanOptions) -> Opening:
    window = drawn.kind is OpeningKind.WINDOW
    usual = {OpeningKind.WINDOW: options.window, OpeningKind.DOOR: options.door}.get(drawn.kind, ())
    sill_m = drawn.sill_m if drawn.sill_m is not None else (options.sill_m if window else 0.0)
    head_m = drawn.head_m if drawn.head_m is not None else (options.window_head_m if window else options.door_head_m)
    return Opening(
        name, drawn.kind, start_m, end_m, options.floor_m + sill_m, options.floor_m + head_m, drawn.layers or usual
    )
