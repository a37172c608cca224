"""What a wall, slab or opening is called by the rooms on its sides; records know it by an id only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from shapely import LineString, Point, Polygon, STRtree

from roomfield.survey.dwelling import Dwelling, Opening, Slab, Wall

BESIDE_M = 0.4
"""How far beside a wall's centre line a room is looked for [m]."""
FARTHEST_M = 1000.0
_SPOTS = 9


class WayKind(StrEnum):
    """What is in the way."""

    WINDOW = "window"
    DOOR = "door"
    GAP = "gap"
    OUTER_WALL = "outer_wall"
    INNER_WALL = "inner_wall"
    SLAB = "slab"


_WORDS = {
    WayKind.WINDOW: "window of {names}",
    WayKind.DOOR: "door of {names}",
    WayKind.GAP: "open gap of {names}",
    WayKind.OUTER_WALL: "outer wall of {names}",
    WayKind.INNER_WALL: "wall of {names}",
    WayKind.SLAB: "slab by {names}",
}


@dataclass(frozen=True)
class Way:
    """A wall, slab or opening by which power comes in.

    Parameters
    ----------
    id : str
        Id in the record.
    kind : WayKind
        What it is.
    names : tuple of str
        Rooms beside it, or the storey above a slab (below it, if there is none above); the id if none is known.
    """

    id: str
    kind: WayKind
    names: tuple[str, ...]

    @property
    def text(self) -> str:
        """In words."""
        return _WORDS[self.kind].format(names=" / ".join(self.names))


def ways_of(dwelling: Dwelling) -> dict[str, Way]:
    """Every wall, slab and opening of a dwelling by its id."""
    ways: dict[str, Way] = {}
    rooms = {name: _RoomsOfStorey(dwelling, name) for name in {wall.storey_id for wall in dwelling.walls}}
    for wall in dwelling.walls:
        beside = rooms[wall.storey_id]
        kind = WayKind.OUTER_WALL if wall.exterior else WayKind.INNER_WALL
        ways[wall.id] = Way(wall.id, kind, beside.along(wall, 0.0, 1.0) or (wall.id,))
        for opening in wall.openings:
            ways[opening.id] = _of_opening(beside, wall, opening)
    for slab in dwelling.slabs:
        ways[slab.id] = Way(slab.id, WayKind.SLAB, (_storey_by(dwelling, slab),))
    return ways


def outer_wall_towards(dwelling: Dwelling, storey_id: str, bearing_deg: float) -> Way | None:
    """The outer wall that is met first from the middle of a storey in some direction, clockwise from plan north.

    Returns
    -------
    Way or None
        None if no outer wall of the storey stands that way.
    """
    walls = [w for w in dwelling.walls if w.exterior and w.storey_id == storey_id]
    if not walls:
        return None
    middle = np.mean([end for w in walls for end in (w.start, w.end)], axis=0)
    angle = np.deg2rad(bearing_deg)
    ray = LineString([middle, middle + FARTHEST_M * np.array([np.sin(angle), np.cos(angle)])])
    met = [(LineString([w.start, w.end]).intersection(ray).distance(Point(middle)), w) for w in walls
           if LineString([w.start, w.end]).intersects(ray)]  # fmt: skip
    return ways_of(dwelling)[min(met, key=lambda one: one[0])[1].id] if met else None


class _RoomsOfStorey:
    """Rooms of a storey, found by points in them."""

    def __init__(self, dwelling: Dwelling, storey_id: str) -> None:
        rooms = [room for room in dwelling.rooms if room.storey_id == storey_id]
        self._names = [room.name for room in rooms]
        self._areas = STRtree([Polygon(room.outline) for room in rooms])

    def along(self, wall: Wall, start: float, end: float) -> tuple[str, ...]:
        """Names of the rooms beside a part of a wall, given by shares of its length."""
        _, found = self._areas.query(list(_beside(wall, start, end)), predicate="covered_by")
        return tuple(self._names[k] for k in sorted({int(k) for k in found}))


def _of_opening(beside: _RoomsOfStorey, wall: Wall, opening: Opening) -> Way:
    length = max(float(np.hypot(wall.end[0] - wall.start[0], wall.end[1] - wall.start[1])), 1e-9)
    names = beside.along(wall, opening.start_m / length, opening.end_m / length)
    return Way(opening.id, WayKind(opening.kind.value), names or (opening.id,))


def _beside(wall: Wall, start: float, end: float) -> Iterator[Point]:
    a, b = np.array(wall.start), np.array(wall.end)
    along = b - a
    across = np.array([-along[1], along[0]]) * BESIDE_M / max(float(np.hypot(*along)), 1e-9)
    for share in start + (end - start) * (np.arange(_SPOTS) + 0.5) / _SPOTS:
        for side in (-1.0, 1.0):
            yield Point(a + share * along + side * across)


def _storey_by(dwelling: Dwelling, slab: Slab) -> str:
    above = [s for s in dwelling.storeys if s.floor_m >= slab.height_m - 0.5]
    below = [s for s in dwelling.storeys if s.ceiling_m <= slab.height_m + 0.5]
    if above:
        return min(above, key=lambda s: s.floor_m).name
    return max(below, key=lambda s: s.ceiling_m).name if below else slab.id
