"""The dwelling as planes with plates on them, boxes and edges: what a ray can meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon, STRtree

from roomfield.survey.dwelling import (
    Dwelling,
    FittedShield,
    Layer,
    Point2,
    ShieldPart,
    ShieldSheet,
    Slab,
    Wall,
)

Array = NDArray[np.float64]
_ALIGNED = 1e-6
_STEP_INSIDE_M = 0.35
_TOUCHING_M = 0.02
_SAME_OFFSET_M = 1e-4


@dataclass(frozen=True)
class Cover:
    """A shield sheet on one plate.

    Parameters
    ----------
    front : bool
        True if it is on the side the plane's normal points to.
    coverage : float
        Share of the area covered.
    """

    sheet: ShieldSheet
    coverage: float
    front: bool


@dataclass(frozen=True)
class Plate:
    """A flat piece of the dwelling of one build-up.

    Parameters
    ----------
    surface_id, opening_id : str
        Wall or slab and, if it is one, the opening.
    plane : int
        Plane on which it lies.
    low, high : (float, float)
        Corners in the plane's own coordinates [m].
    outline : tuple of (float, float)
        Outline in the plane's coordinates [m]; empty if it is the rectangle itself.
    layers : tuple of Layer
        Build-up from the side the normal points to, to the other.
    covers : tuple of Cover
        Sheets on it.
    exterior : bool
        True if it divides inside from outside.
    """

    surface_id: str
    opening_id: str
    plane: int
    low: Point2
    high: Point2
    layers: tuple[Layer, ...]
    covers: tuple[Cover, ...] = ()
    outline: tuple[Point2, ...] = ()
    exterior: bool = False
    inside_front: bool = True

    @property
    def name(self) -> str:
        """The opening's id, or the surface's."""
        return self.opening_id or self.surface_id

    @property
    def area_m2(self) -> float:
        """Area, openings not taken out [m²]."""
        if self.outline:
            return float(Polygon(self.outline).area)
        return (self.high[0] - self.low[0]) * (self.high[1] - self.low[1])


@dataclass(frozen=True)
class Plane:
    """A plane with its own axes.

    Parameters
    ----------
    normal, across, up : ndarray, shape (3,)
        Unit vectors; a point is ``offset * normal + u * across + v * up``.
    offset_m : float
        Distance of the plane from the origin along the normal [m].
    """

    normal: Array
    across: Array
    up: Array
    offset_m: float


@dataclass(frozen=True)
class Box:
    """A closed box of thin panels."""

    id: str
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    layers: tuple[Layer, ...]


@dataclass(frozen=True)
class Face:
    """An outer side of a box, as a mirror.

    Parameters
    ----------
    plane : Plane
        Its plane, the normal pointing out of the box.
    low, high : (float, float)
        Corners in the plane's own coordinates [m].
    box : int
        Index of the box.
    """

    plane: Plane
    low: Point2
    high: Point2
    box: int


@dataclass(frozen=True)
class Edge:
    """A straight edge where a plate ends at an opening or in the open.

    Parameters
    ----------
    start, direction, into : ndarray, shape (3,)
        One end [m], unit vector along the edge, and unit vector into the surrounding plate.
    length_m : float
        Length [m].
    plane : int
        Plane of the plate.
    solid, hole : int
        Index of the surrounding plate and of what fills the opening (-1 for nothing).
    """

    start: Array
    direction: Array
    into: Array
    length_m: float
    plane: int
    solid: int
    hole: int


@dataclass(frozen=True)
class Shapes:
    """All that is built; plates on one plane stand openings first."""

    planes: tuple[Plane, ...]
    plates: tuple[Plate, ...]
    boxes: tuple[Box, ...]
    edges: tuple[Edge, ...]
    faces: tuple[Face, ...] = ()


class _Planes:
    """Planes found so far; coplanar surfaces share one."""

    def __init__(self) -> None:
        self.found: list[Plane] = []
        self._at_offset: dict[int, list[int]] = {}

    def vertical(self, wall: Wall) -> int:
        along = np.array([wall.end[0] - wall.start[0], wall.end[1] - wall.start[1], 0.0])
        along /= np.linalg.norm(along)
        normal = np.array([-along[1], along[0], 0.0])
        lead = normal[np.flatnonzero(np.abs(normal) > _ALIGNED)[0]]
        normal = normal if lead > 0 else -normal
        across = np.array([normal[1], -normal[0], 0.0])
        start = np.array([wall.start[0], wall.start[1], 0.0])
        return self._add(Plane(normal, across, np.array([0.0, 0.0, 1.0]), float(normal @ start)))

    def horizontal(self, height_m: float) -> int:
        return self._add(Plane(np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]),
                               np.array([0.0, 1.0, 0.0]), height_m))  # fmt: skip

    def _add(self, plane: Plane) -> int:
        step = round(plane.offset_m / _SAME_OFFSET_M)
        for k in sorted(k for near in (step - 1, step, step + 1) for k in self._at_offset.get(near, ())):
            other = self.found[k]
            same = abs(other.offset_m - plane.offset_m) < _SAME_OFFSET_M
            if same and np.allclose(other.normal, plane.normal, atol=_ALIGNED):
                return k
        self.found.append(plane)
        self._at_offset.setdefault(step, []).append(len(self.found) - 1)
        return len(self.found) - 1


class _Indoors:
    """What lies in a room of a storey, or within its outline if it has none."""

    def __init__(self, dwelling: Dwelling) -> None:
        rooms: dict[str, list[tuple[Point2, ...]]] = {}
        for room in dwelling.rooms:
            rooms.setdefault(room.storey_id, []).append(room.outline)
        outlines = {s.id: [s.outline] for s in dwelling.storeys} | rooms
        self._trees = {name: STRtree([Polygon(o) for o in found if len(o) >= 3]) for name, found in outlines.items()}

    def contain(self, storey_id: str, point: Array) -> bool:
        """Whether a point of the plan lies indoors."""
        tree = self._trees.get(storey_id)
        return tree is not None and len(tree.query(Point(point), predicate="within")) > 0


def shapes_of(dwelling: Dwelling) -> Shapes:
    """Planes, plates, boxes and edges of a dwelling."""
    planes, indoors = _Planes(), _Indoors(dwelling)
    plates: list[Plate] = []
    for wall in dwelling.walls:
        if np.hypot(wall.end[0] - wall.start[0], wall.end[1] - wall.start[1]) > _ALIGNED:
            plates.extend(_wall_plates(wall, planes, indoors))
    for slab in dwelling.slabs:
        plates.extend(_slab_plates(slab, planes, dwelling))
    plates.sort(key=lambda p: (p.plane, not p.opening_id))
    boxes = tuple(Box(f.id, f.low, f.high, (f.panel,)) for f in dwelling.furniture)
    edges = tuple(_edges(planes.found, plates, dwelling))
    return Shapes(tuple(planes.found), tuple(plates), boxes, edges, tuple(_faces(boxes, planes.found)))


def _faces(boxes: Sequence[Box], planes: Sequence[Plane]) -> list[Face]:
    """Sides of the boxes, but not those that stand on a slab or against the middle plane of a wall."""
    axes = np.eye(3)
    found = []
    for number, box in enumerate(boxes):
        for axis, sign in product(range(3), (-1.0, 1.0)):
            value = (box.high if sign > 0.0 else box.low)[axis]
            if any(_same_plane(p, axes[axis], value) for p in planes):
                continue
            u, v = (k for k in range(3) if k != axis)
            plane = Plane(sign * axes[axis], axes[u], axes[v], sign * value)
            found.append(Face(plane, (box.low[u], box.low[v]), (box.high[u], box.high[v]), number))
    return found


def _same_plane(plane: Plane, normal: Array, offset_m: float) -> bool:
    turned = float(plane.normal @ normal)
    return abs(turned) > 1.0 - _ALIGNED and abs(plane.offset_m * turned - offset_m) < _TOUCHING_M


def _wall_plates(wall: Wall, planes: _Planes, indoors: _Indoors) -> list[Plate]:
    index = planes.vertical(wall)
    plane = planes.found[index]
    along = np.array([wall.end[0] - wall.start[0], wall.end[1] - wall.start[1], 0.0])
    length = float(np.linalg.norm(along))
    along /= length
    sign = 1.0 if along @ plane.across > 0 else -1.0
    origin = float(plane.across @ np.array([*wall.start, 0.0]))
    left_is_front = float(np.array([-along[1], along[0], 0.0]) @ plane.normal) > 0
    inside_front = _inside_front(wall, plane, left_is_front, indoors)

    def piece(s0: float, s1: float, z0: float, z1: float, layers: tuple[Layer, ...], opening: str) -> Plate:
        ends = sorted((origin + sign * s0, origin + sign * s1))
        build = layers if left_is_front else layers[::-1]
        covers = tuple(Cover(s.sheet, s.coverage, inside_front) for s in wall.shields if shield_covers(s, opening))
        return Plate(
            wall.id, opening, index, (ends[0], z0), (ends[1], z1), build, covers,
            exterior=wall.exterior, inside_front=inside_front,
        )  # fmt: skip

    pieces = [piece(o.start_m, o.end_m, o.sill_m, o.head_m, _solid(o.layers), o.id) for o in wall.openings]
    return [*pieces, piece(0.0, length, wall.base_m, wall.top_m, _solid(wall.layers), "")]


def shield_covers(shield: FittedShield, opening_id: str) -> bool:
    """True if the shield lies on the masonry (no opening id) or on this opening."""
    if not opening_id:
        return shield.part is not ShieldPart.OPENINGS
    wanted = not shield.opening_ids or opening_id in shield.opening_ids
    return shield.part is not ShieldPart.MASONRY and wanted


def _inside_front(wall: Wall, plane: Plane, left_is_front: bool, indoors: _Indoors) -> bool:
    """The side on which a shield is fitted: indoors for an exterior wall, else the wall's left."""
    middle = np.array([(wall.start[0] + wall.end[0]) / 2.0, (wall.start[1] + wall.end[1]) / 2.0])
    step = plane.normal[:2] * _STEP_INSIDE_M
    front, back = indoors.contain(wall.storey_id, middle + step), indoors.contain(wall.storey_id, middle - step)
    return front if front != back else left_is_front


def _solid(layers: Sequence[Layer]) -> tuple[Layer, ...]:
    return tuple(x for x in layers if x.thickness_m > 0.0)


def _slab_plates(slab: Slab, planes: _Planes, dwelling: Dwelling) -> list[Plate]:
    index = planes.horizontal(slab.height_m)
    heights = [s.ceiling_m for s in dwelling.storeys], [s.floor_m for s in dwelling.storeys]
    top = bool(heights[0]) and slab.height_m >= max(heights[0]) - 0.1
    bottom = bool(heights[1]) and slab.height_m <= min(heights[1]) + 0.1
    covers = tuple(Cover(s.sheet, s.coverage, not top) for s in slab.shields)
    plates = []
    for outline in slab.outlines:
        xs, ys = [p[0] for p in outline], [p[1] for p in outline]
        low, high = (min(xs), min(ys)), (max(xs), max(ys))
        shape = Polygon(outline)
        boxed = abs(shape.area - (high[0] - low[0]) * (high[1] - low[1])) < 1e-6
        plates.append(
            Plate(slab.id, "", index, low, high, _solid(slab.layers)[::-1], covers,
                  () if boxed else tuple(outline), top or bottom, not top)
        )  # fmt: skip
    return plates


def _edges(planes: Sequence[Plane], plates: Sequence[Plate], dwelling: Dwelling) -> list[Edge]:
    solids = {p.surface_id: k for k, p in enumerate(plates) if not p.opening_id}
    edges = []
    for k, plate in enumerate(plates):
        if plate.opening_id:
            edges.extend(_rectangle_edges(planes[plate.plane], plate, solids[plate.surface_id], k))
    ends = np.array([(w.start, w.end) for w in dwelling.walls], dtype=np.float64).reshape(-1, 2, 2)
    wall_ids = {w.id for w in dwelling.walls}
    for k, plate in enumerate(plates):
        if not plate.opening_id and not plate.outline and plate.surface_id in wall_ids:
            edges.extend(_free_ends(planes[plate.plane], plate, k, ends))
    return edges


def _rectangle_edges(plane: Plane, plate: Plate, solid: int, hole: int) -> list[Edge]:
    (u0, v0), (u1, v1) = plate.low, plate.high
    sides = [
        ((u0, v0), plane.up, -plane.across, v1 - v0),
        ((u1, v0), plane.up, plane.across, v1 - v0),
        ((u0, v0), plane.across, -plane.up, u1 - u0),
        ((u0, v1), plane.across, plane.up, u1 - u0),
    ]
    return [
        Edge(at(plane, u, v), along, into, length, plate.plane, solid, hole) for (u, v), along, into, length in sides
    ]


def at(plane: Plane, u: float, v: float) -> Array:
    """Point of a plane from its own coordinates [m]."""
    return np.asarray(plane.offset_m * plane.normal + u * plane.across + v * plane.up)


def _free_ends(plane: Plane, plate: Plate, index: int, walls: Array) -> list[Edge]:
    """Vertical edges at ends of a wall that no other wall touches."""
    found = []
    for u, into in ((plate.low[0], plane.across), (plate.high[0], -plane.across)):
        foot = at(plane, u, plate.low[1])
        touching = np.count_nonzero(_distances(foot[:2], walls) < 0.02)
        if touching <= 1:
            height = plate.high[1] - plate.low[1]
            found.append(Edge(foot, plane.up, into, height, plate.plane, index, -1))
    return found


def _distances(point: Array, walls: Array) -> Array:
    """Of a point from the middle lines of walls, given as ends (w, 2, 2) [m]."""
    along, towards = walls[:, 1] - walls[:, 0], point - walls[:, 0]
    length2 = np.maximum(np.sum(along**2, axis=1), 1e-300)
    t = np.clip(np.sum(towards * along, axis=1) / length2, 0.0, 1.0)
    return np.asarray(np.linalg.norm(towards - t[:, None] * along, axis=1))
