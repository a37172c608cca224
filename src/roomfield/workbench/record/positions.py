"""Where something is, told in words: a room and distances from two of its walls, or coordinates of the plan."""

from __future__ import annotations

import re

from shapely import Point, Polygon

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.exchange.names import plain
from roomfield.exchange.plan_rooms import SIDES
from roomfield.survey import Dwelling, PlaceKind, Point3, Room

HOW = "Write it as 'Bedroom: 1.2 west, 0.8 south, 0.5 up', or as x, y, z in metres of the plan."
USUAL_HEIGHT_M = {
    PlaceKind.BED: 0.5,
    PlaceKind.COT: 0.5,
    PlaceKind.DESK: 1.1,
    PlaceKind.TABLE: 1.1,
    PlaceKind.SOFA: 0.9,
}
"""Height of the middle of a person above the floor [m]; common practice, no source."""
OTHERWISE_M = 1.0
_UP = frozenset({"up", "high", "hoch", "above"})
_SIDE = {word: side for side, words in SIDES.items() for word in words.split("|")}
_DISTANCE = re.compile(r"(\d+(?:[.,]\d+)?)\s*m?\s*(?:from\s+|von\s+)?(\w+)")
_COORDINATES = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*[ ,;]\s*(-?\d+(?:\.\d+)?)(?:\s*[ ,;]\s*(-?\d+(?:\.\d+)?))?\s*")


def position_in(dwelling: Dwelling, text: str, height_m: float = OTHERWISE_M) -> tuple[Point3, str, str]:
    """A position on the plan, with the ids of its storey and room.

    Parameters
    ----------
    text : str
        ``Bedroom: 1.2 west, 0.8 south, 0.5 up`` for distances from the middle of two walls and from the floor [m];
        a room alone means its middle; ``1.2, 3.4, 0.5`` for x, y and z of the plan [m].
    height_m : float
        Height above the floor where none is told [m].

    Raises
    ------
    TooEarlyError
        If there is no room yet.
    UnknownNameError
        If there is no such room.
    InputError
        If the text is neither, or the point lies outside the room.
    """
    if found := _COORDINATES.fullmatch(text):
        return _coordinates(dwelling, found, height_m)
    if not dwelling.rooms:
        raise TooEarlyError("there is no room yet.", where="position", mend="Bring the rooms with 'roomfield plan'.")
    name, _, distances = text.partition(":")
    room = room_named(dwelling, name)
    storey = next(s for s in dwelling.storeys if s.id == room.storey_id)
    x, y, up = _in_room(room, distances)
    return (x, y, round(storey.floor_m + (height_m if up is None else up), 3)), storey.id, room.id


def room_named(dwelling: Dwelling, name: str) -> Room:
    """The room of this id or name.

    Raises
    ------
    UnknownNameError
        If there is none.
    InputError
        If there are several.
    """
    found = [r for r in dwelling.rooms if name.strip() == r.id] or [
        r for r in dwelling.rooms if plain(r.name) == plain(name)
    ]
    if not found:
        raise UnknownNameError("room", name.strip(), [r.name for r in dwelling.rooms])
    if len(found) > 1:
        listed = ", ".join(r.id for r in found)
        raise InputError(f"there are {len(found)} rooms named {name.strip()!r}.", mend=f"Name one by its id: {listed}.")
    return found[0]


def usual_height_m(kind: PlaceKind) -> float:
    """Height of a place of this kind above the floor where none is told [m]."""
    return USUAL_HEIGHT_M.get(kind, OTHERWISE_M)


def _coordinates(dwelling: Dwelling, found: re.Match[str], height_m: float) -> tuple[Point3, str, str]:
    across, along, z = float(found[1]), float(found[2]), found[3]
    storeys = sorted(dwelling.storeys, key=lambda s: s.floor_m)
    up = float(z) if z else (storeys[0].floor_m if storeys else 0.0) + height_m
    storey = next((s for s in reversed(storeys) if s.floor_m <= up + 0.05), storeys[0] if storeys else None)
    inside = (r for r in dwelling.rooms if _is_in(r, across, along) and (not storey or r.storey_id == storey.id))
    room = next(inside, None)
    return (across, along, round(up, 3)), storey.id if storey else "", room.id if room else ""


def _is_in(room: Room, x: float, y: float) -> bool:
    return bool(Polygon(room.outline).buffer(0.001).covers(Point(x, y)))


def _in_room(room: Room, distances: str) -> tuple[float, float, float | None]:
    area = Polygon(room.outline)
    west, south, east, north = area.bounds
    middle = area.representative_point() if not area.centroid.within(area) else area.centroid
    told = _distances(distances)
    for one, other in (("west", "east"), ("south", "north")):
        if one in told and other in told:
            raise InputError(f"both {one} and {other} are told.", where=room.name, mend=HOW)
    x = west + told["west"] if "west" in told else east - told["east"] if "east" in told else middle.x
    y = south + told["south"] if "south" in told else north - told["north"] if "north" in told else middle.y
    if not _is_in(room, x, y):
        raise InputError(
            f"the point lies outside the room, which is {east - west:.2f} by {north - south:.2f} m.",
            where=room.name,
            mend="Correct a distance; they are counted from the middle of the walls.",
        )
    return round(x, 3), round(y, 3), told.get("up")


def _distances(text: str) -> dict[str, float]:
    told: dict[str, float] = {}
    for part in re.split(r",\s+|;", text):
        if not part.strip():
            continue
        found = _DISTANCE.fullmatch(part.strip())
        word = found[2].casefold() if found else ""
        side = "up" if word in _UP else _SIDE.get(word, "")
        if found is None or not side:
            raise InputError(f"{part.strip()!r} is no distance from a wall.", where="position", mend=HOW)
        told[side] = float(found[1].replace(",", "."))
    return told
