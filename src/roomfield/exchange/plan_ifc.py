"""Plans from IFC (ISO 16739-1): walls with their materials, windows, doors, openings and spaces of one storey.

What an element looks like is taken from its body as seen from above, whichever way it is modelled: a wall is the
longer middle line of the smallest rectangle around it, a space the outline of its body.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, get_parts, unary_union
from shapely.geometry.base import BaseGeometry

from roomfield.errors import FormatError, InputError
from roomfield.exchange.material_names import known_layers
from roomfield.exchange.plan_drawing import (
    MOST_PARTS,
    DrawnOpening,
    DrawnRoom,
    DrawnWall,
    PlanDrawing,
    PlanOptions,
    PlanParts,
    assemble,
)
from roomfield.exchange.plan_geojson import file_content
from roomfield.extras import library
from roomfield.survey.dwelling import Layer, OpeningKind, Point2

ifcopenshell = library("ifcopenshell", "ifc")
geom = library("ifcopenshell.geom", "ifc")
element = library("ifcopenshell.util.element", "ifc")
unit = library("ifcopenshell.util.unit", "ifc")

_STRAIGHT = 0.85
"""Part of its rectangle that a straight wall fills at least (our judgement)."""
_SLACK_M = 0.03
"""How far over its neighbour's half thickness a wall's end may miss its middle line (our judgement)."""
_LEAST_M2 = 1e-6
_OPENINGS = (
    ("IfcWindow", OpeningKind.WINDOW),
    ("IfcDoor", OpeningKind.DOOR),
    ("IfcOpeningElement", OpeningKind.GAP),
)


@dataclass(frozen=True)
class _ElementBody:
    """An element as its body has it: seen from above, and its lowest and highest point [m]."""

    footprint: BaseGeometry
    low_m: float
    high_m: float

    @property
    def middle_line(self) -> tuple[Point2, Point2, float]:
        """Both ends of the longer middle line of the smallest rectangle around it, and how wide that is [m]."""
        corners = list(self.footprint.minimum_rotated_rectangle.exterior.coords)[:4]
        sides = [math.dist(corners[i], corners[(i + 1) % 4]) for i in range(4)]
        first = 0 if sides[0] <= sides[1] else 1
        a, b = (_middle(corners[i], corners[(i + 1) % 4]) for i in (first, first + 2))
        return a, b, min(sides[:2])


@dataclass(frozen=True)
class _WallBody:
    line: tuple[Point2, Point2]
    thickness_m: float
    layers: tuple[Layer, ...]
    exterior: bool | None


def _middle(a: Point2, b: Point2) -> Point2:
    return (a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0


def read_ifc_plan(path: Path, *, options: PlanOptions | None = None) -> PlanParts:
    """A storey from an IFC file.

    Parameters
    ----------
    path : Path
        IFC2X3, IFC4 or IFC4X3 as text (``.ifc``).
    options : PlanOptions, optional
        What it does not say. With several storeys ``storey_name`` says which is read. Heights come from the file.

    Raises
    ------
    FormatError
        If it is no IFC file, holds no wall and no space, or its size cannot be that of a dwelling.
    InputError
        If it holds several storeys and none of them is named.
    MissingExtraError
        If the library is not installed.
    """
    given, model = options or PlanOptions(), _opened(path)
    storey, elements = _of_storey(model, given.storey_name, path.name)
    if len(elements) > MOST_PARTS:
        raise FormatError(
            f"it holds more than {MOST_PARTS} parts.", where=path.name, mend="Take out what is not needed."
        )
    bodies = _ElementBodies()
    scale = unit.calculate_unit_scale(model)
    drawing = PlanDrawing()
    rooms = [(one, body) for one, body in bodies.of(elements, "IfcSpace") if body.footprint.geom_type == "Polygon"]
    walls = list(bodies.of(elements, "IfcWall"))
    drawing.rooms += [_room(one, body) for one, body in rooms]
    _draw_walls(drawing, walls, lambda one, thickness_m: _layers(one, thickness_m, scale, drawing.remarks))
    floor_m, ceiling_m = _heights([body for _, body in (rooms or walls)], path.name)
    _draw_openings(drawing, bodies, elements, floor_m)
    drawing.remarks += _said(bodies.unread, floor_m, ceiling_m, _north_deg(model))
    named = given.storey_name if given.storey_name != PlanOptions.storey_name or storey is None else storey.Name
    usual = replace(given, storey_name=named or given.storey_name, floor_m=floor_m, ceiling_m=ceiling_m)
    return assemble(drawing, usual, path.name)


def _opened(path: Path) -> Any:
    content = file_content(path)
    if not content.lstrip()[:13] == b"ISO-10303-21;":
        raise FormatError("it is no IFC file.", where=path.name, mend="Export it as IFC (.ifc), not as XML or ZIP.")
    try:
        model = ifcopenshell.file.from_string(content.decode("utf-8", "replace"))
        model.by_type("IfcProject")  # a file whose head cannot be read has no schema, and says so here
        return model
    except (RuntimeError, ValueError, ifcopenshell.Error) as fault:
        reason = " ".join(str(fault).split())[:200]
        raise FormatError(f"it is no readable IFC file ({reason}).", where=path.name, mend="Export it again.") from None


def _of_storey(model: Any, wanted: str, where: str) -> tuple[Any, list[Any]]:
    """The storey that is read, and what stands in it; everything if the file has no storey."""
    drawn = [one for name in ("IfcWall", "IfcSpace", *(n for n, _ in _OPENINGS)) for one in model.by_type(name)]
    by_storey: dict[Any, list[Any]] = {}
    for one in drawn:
        by_storey.setdefault(_storey_of(one), []).append(one)
    storeys = [s for s in by_storey if s is not None]
    if not storeys:
        return None, drawn
    if len(storeys) == 1:
        return storeys[0], by_storey[storeys[0]]
    named = [s for s in storeys if wanted in (s.Name, s.LongName)]
    if len(named) != 1:
        listed = ", ".join(str(s.Name or s.LongName or "?") for s in storeys)
        raise InputError(f"it holds several storeys: {listed}.", where=where, mend="Name the storey that is wanted.")
    return named[0], by_storey[named[0]]


def _storey_of(one: Any) -> Any:
    """The storey that an element stands in, over what holds it: a wall its opening, an opening its door."""
    for _ in range(8):
        if one is None or one.is_a("IfcBuildingStorey"):
            return one
        voids = getattr(one, "VoidsElements", ()) or getattr(one, "FillsVoids", ())
        if voids:
            one = getattr(voids[0], "RelatingBuildingElement", None) or voids[0].RelatingOpeningElement
        else:
            one = element.get_container(one) or element.get_aggregate(one)
    return None


class _ElementBodies:
    """Bodies of elements; counts those that have none that can be read."""

    def __init__(self) -> None:
        self.unread = 0
        self._settings = geom.settings()
        self._settings.set("use-world-coords", True)
        self._settings.set("disable-opening-subtractions", True)

    def of(self, elements: Sequence[Any], kind: str) -> Iterator[tuple[Any, _ElementBody]]:
        """Elements of a kind with their bodies."""
        for one in elements:
            if one.is_a(kind):
                body = self._body(one)
                if body is None:
                    self.unread += 1
                else:
                    yield one, body

    def _body(self, one: Any) -> _ElementBody | None:
        if one.Representation is None:
            return None
        try:
            made = geom.create_shape(self._settings, one).geometry
        except RuntimeError:
            return None
        corners = np.asarray(made.verts, dtype=np.float64).reshape(-1, 3)
        footprint = _from_above(corners[np.asarray(made.faces, dtype=np.int64).reshape(-1, 3)])
        if footprint is None or not np.isfinite(corners).all():
            return None
        return _ElementBody(footprint, float(corners[:, 2].min()), float(corners[:, 2].max()))


def _from_above(triangles: NDArray[np.float64]) -> BaseGeometry | None:
    """Outline of triangles [m], shape (n, 3, 3), seen from above; None if nothing of it has an area."""
    flat = triangles[:, :, :2]
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    areas = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2.0
    pieces = [Polygon(piece).buffer(1e-6) for piece in flat[areas > _LEAST_M2]]
    shape = unary_union(pieces).simplify(1e-3) if pieces else None
    if shape is None or shape.is_empty:
        return None
    return max(get_parts(shape), key=lambda part: part.area) if shape.geom_type == "MultiPolygon" else shape


def _room(space: Any, body: _ElementBody) -> DrawnRoom:
    ring = body.footprint.exterior.coords[:-1]
    return DrawnRoom(tuple((round(x, 4), round(y, 4)) for x, y in ring), str(space.LongName or space.Name or "")[:80])


def _draw_walls(
    drawing: PlanDrawing, bodies: Sequence[tuple[Any, _ElementBody]], layers: Callable[[Any, float], tuple[Layer, ...]]
) -> None:
    straight, bent = [], 0
    for one, body in bodies:
        a, b, thickness_m = body.middle_line
        if body.footprint.area < _STRAIGHT * body.footprint.minimum_rotated_rectangle.area:
            bent += 1
            continue
        outside = element.get_pset(one, "Pset_WallCommon", "IsExternal")
        side = outside if isinstance(outside, bool) else None
        straight.append(_WallBody((a, b), thickness_m, layers(one, thickness_m), side))
    drawing.walls += [DrawnWall(*_to_its_neighbours(wall, straight), wall.layers, wall.exterior) for wall in straight]
    if bent:
        drawing.remarks.append(f"{bent} walls that are not straight were left out: draw them.")


def _to_its_neighbours(wall: _WallBody, walls: Sequence[_WallBody]) -> tuple[Point2, Point2]:
    """Ends of a wall on the middle lines of the walls that it meets, where its body stops at their faces."""
    ends = list(wall.line)
    for which, end in enumerate(wall.line):
        met = [
            (math.dist(point, end), point)
            for other in walls
            if other is not wall and (point := _crossing(wall, other)) is not None
            if math.dist(point, end) <= other.thickness_m / 2.0 + _SLACK_M
        ]
        if met:
            ends[which] = min(met)[1]
    return _rounded(ends[0]), _rounded(ends[1])


def _rounded(point: Point2) -> Point2:
    return round(point[0], 4), round(point[1], 4)


def _crossing(wall: _WallBody, other: _WallBody) -> Point2 | None:
    """Where two middle lines cross, the other's within its body; None if they are parallel."""
    (ax, ay), (bx, by) = wall.line
    (cx, cy), (dx, dy) = other.line
    ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
    turn = ux * vy - uy * vx
    length_m = math.hypot(vx, vy)
    if abs(turn) < 0.02 * math.hypot(ux, uy) * length_m:
        return None
    t = ((cx - ax) * vy - (cy - ay) * vx) / turn
    s = ((cx - ax) * uy - (cy - ay) * ux) / turn
    beyond = (wall.thickness_m / 2.0 + _SLACK_M) / length_m
    return (ax + t * ux, ay + t * uy) if -beyond <= s <= 1.0 + beyond else None


def _draw_openings(drawing: PlanDrawing, bodies: _ElementBodies, elements: Sequence[Any], floor_m: float) -> None:
    for name, kind in _OPENINGS:
        for _, body in bodies.of([e for e in elements if not getattr(e, "HasFillings", ())], name):
            a, b, _ = body.middle_line
            sill_m, head_m = round(body.low_m - floor_m, 3), round(body.high_m - floor_m, 3)
            drawing.openings.append(DrawnOpening(kind, a, b, (), max(sill_m, 0.0), head_m))


def _layers(one: Any, thickness_m: float, scale: float, remarks: list[str]) -> tuple[Layer, ...]:
    """Build-up of a wall as its material says it; empty if it says none that is known."""
    material = element.get_material(one, should_skip_usage=True)
    if material is None:
        return ()
    if material.is_a("IfcMaterialLayerSet"):
        named = [(_name(layer.Material), round(layer.LayerThickness * scale, 6)) for layer in material.MaterialLayers]
        return known_layers([(name, thick) for name, thick in named if thick > 0.0], remarks)
    if material.is_a("IfcMaterial"):
        return known_layers([(_name(material), round(thickness_m, 4))], remarks)
    said = "materials of walls that are no layers were left out: check the walls."
    if said not in remarks:
        remarks.append(said)
    return ()


def _name(material: Any) -> str:
    return "air" if material is None else str(material.Name or "")


def _heights(bodies: Sequence[_ElementBody], where: str) -> tuple[float, float]:
    """Floor and ceiling [m]: the medians of what rooms, or else walls, reach."""
    if not bodies:
        raise FormatError("no wall and no space was found in it.", where=where, mend="Export walls and spaces with it.")
    floor_m, ceiling_m = (float(np.median([getattr(b, end) for b in bodies])) for end in ("low_m", "high_m"))
    return round(floor_m, 3), round(max(ceiling_m, floor_m + 1.0), 3)


def _north_deg(model: Any) -> float | None:
    """True north, degrees clockwise from plan north; None if the file does not say."""
    for context in model.by_type("IfcGeometricRepresentationContext", include_subtypes=False):
        if context.TrueNorth is not None:
            x, y = context.TrueNorth.DirectionRatios[:2]
            return math.degrees(math.atan2(x, y)) % 360.0
    return None


def _said(unread: int, floor_m: float, ceiling_m: float, north_deg: float | None) -> Iterator[str]:
    yield f"floor and ceiling are those of the file: {floor_m:g} and {ceiling_m:g} m."
    if unread:
        yield f"{unread} parts have no body that can be read and were left out."
    if north_deg is not None:
        turned = f"{north_deg:.0f} degrees clockwise from plan north"
        yield f"the file has true north {turned}: say it where it is asked for."
