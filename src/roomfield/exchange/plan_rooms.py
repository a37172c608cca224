"""Plans as text: rooms by size and side, one line each, with doors and windows if they are known.

    Living room 5.2 x 4.1
    Kitchen 3 x 4.1 east of Living room
    Bedroom 4 x 3.5 north of Living room, 1.2 along
    window Living room south 1.0 to 2.6
    door Bedroom south 0.4 to 1.3

A size is west to east, then south to north [m], on the middle of the walls. A room beside another begins where that
one begins, or so many metres along it. What is in a wall is told by the room, the side, and from where to where along
it, counted from the west or the south [m]. German words are read as well.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import pairwise

from shapely import LinearRing, get_parts, unary_union

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.exchange.names import plain
from roomfield.exchange.plan_drawing import (
    DrawnOpening,
    DrawnRoom,
    DrawnWall,
    PlanDrawing,
    PlanOptions,
    PlanParts,
    assemble,
)
from roomfield.survey.dwelling import OpeningKind, Point2

MOST_LINES = 500
SIDES = {
    "east": "east|e|ost|osten|östlich|rechts",
    "west": "west|w|westen|westlich|links",
    "north": "north|n|nord|norden|nördlich|oben",
    "south": "south|s|süd|süden|südlich|unten",
}
KINDS = {
    OpeningKind.WINDOW: "window|fenster",
    OpeningKind.DOOR: "door|tür|tuer",
    OpeningKind.GAP: "gap|opening|durchgang|öffnung",
}
_SIDE = {word: side for side, words in SIDES.items() for word in words.split("|")}
_KIND = {word: kind for kind, words in KINDS.items() for word in words.split("|")}
_NUMBER = r"\d+(?:[.,]\d+)?"
_ROOM = re.compile(
    rf"(?P<name>.+?)[\s:]+(?P<width>{_NUMBER})\s*[x×*]\s*(?P<depth>{_NUMBER})\s*m?"
    rf"(?:[\s,]+(?P<side>\w+)\s+(?:of|von)\s+(?P<other>.+?)(?:\s*,\s*(?P<along>-?{_NUMBER})\s*m?\s+(?:along|weiter))?)?",
    re.IGNORECASE,
)
_OPENING = re.compile(
    rf"(?P<kind>{'|'.join(_KIND)})\s+(?P<room>.+?)[\s,]+(?P<side>\w+)\s+(?P<low>{_NUMBER})\s*(?:to|bis|-)\s*(?P<high>{_NUMBER})\s*m?",
    re.IGNORECASE,
)
Box = tuple[float, float, float, float]
"""West, south, east, north [m]."""


def read_room_text(text: str, *, options: PlanOptions | None = None, where: str = "rooms") -> PlanParts:
    """A storey from lines of text.

    Parameters
    ----------
    text : str
        One room or opening a line; empty lines and what follows ``#`` are passed over.
    options : PlanOptions, optional
        What the lines do not say: heights and build-ups.
    where : str
        Name of the file, for messages.

    Raises
    ------
    FormatError
        If a line cannot be read, or rooms overlap; named by its number.
    UnknownNameError
        If a room beside which another lies has not been named before.
    """
    lines = [(n, line.split("#")[0].strip()) for n, line in enumerate(text.splitlines(), 1)]
    told = [(n, line) for n, line in lines if line]
    if len(told) > MOST_LINES:
        raise FormatError(f"it has more than {MOST_LINES} lines.", where=where, mend="Take one storey at a time.")
    boxes: dict[str, tuple[str, Box]] = {}
    drawing = PlanDrawing()
    for number, line in told:
        here = f"{where}: line {number}"
        if found := _OPENING.fullmatch(line):
            drawing.openings.append(_opening(found, boxes, here))
        elif found := _ROOM.fullmatch(line):
            name, box = " ".join(found["name"].split()), _box(found, boxes, here)
            _refuse_overlap(name, box, boxes, here)
            boxes[plain(name)] = (name, box)
        else:
            raise FormatError(
                f"{line[:60]!r} is no room.", where=here, mend="Write it as 'Kitchen 3 x 4.1 east of Living room'."
            )
    drawing.rooms = [DrawnRoom(_corners(box), name) for name, box in boxes.values()]
    drawing.walls = walls_around(drawing.rooms)
    return assemble(drawing, options or PlanOptions(), where)


def walls_around(rooms: Sequence[DrawnRoom]) -> list[DrawnWall]:
    """Walls on the outlines of rooms; where two rooms touch there is one wall.

    Parameters
    ----------
    rooms : sequence of DrawnRoom
        With outlines on the middle of the walls [m].
    """
    if not rooms:
        return []
    edges = unary_union([LinearRing(room.outline) for room in rooms])
    pairs = [pair for part in get_parts(edges) for pair in pairwise(part.coords)]
    return [DrawnWall((a[0], a[1]), (b[0], b[1])) for a, b in pairs]


def _metres(text: str) -> float:
    return float(text.replace(",", "."))


def _side(text: str, where: str) -> str:
    side = _SIDE.get(text.casefold())
    if side is None:
        raise UnknownNameError("side", text, SIDES, where=where)
    return side


def _known(name: str, boxes: dict[str, tuple[str, Box]], where: str) -> Box:
    if plain(name) not in boxes:
        raise UnknownNameError("room", name, [known for known, _ in boxes.values()], where=where)
    return boxes[plain(name)][1]


def _box(found: re.Match[str], boxes: dict[str, tuple[str, Box]], where: str) -> Box:
    width, depth = _metres(found["width"]), _metres(found["depth"])
    if not (0.3 <= width <= 200.0 and 0.3 <= depth <= 200.0):
        raise InputError("a room is 0.3 to 200 m wide.", where=where, mend="Give its size in metres.")
    if not found["side"]:
        if boxes:
            raise FormatError(
                "it is not said where this room lies.", where=where, mend="Write it as '3 x 4 east of Living room'."
            )
        return 0.0, 0.0, width, depth
    west, south, east, north = _known(found["other"], boxes, where)
    along = _metres(found["along"] or "0")
    origins: dict[str, Callable[[], Point2]] = {
        "east": lambda: (east, south + along),
        "west": lambda: (west - width, south + along),
        "north": lambda: (west + along, north),
        "south": lambda: (west + along, south - depth),
    }
    x, y = (round(part, 4) for part in origins[_side(found["side"], where)]())
    return x, y, round(x + width, 4), round(y + depth, 4)


def _refuse_overlap(name: str, box: Box, boxes: dict[str, tuple[str, Box]], where: str) -> None:
    if plain(name) in boxes:
        raise FormatError(f"there is a room named {name!r} already.", where=where, mend="Give it another name.")
    for other, (west, south, east, north) in boxes.values():
        if min(box[2], east) - max(box[0], west) > 0.01 and min(box[3], north) - max(box[1], south) > 0.01:
            raise FormatError(f"{name!r} overlaps {other!r}.", where=where, mend="Correct a size or a side.")


def _corners(box: Box) -> tuple[Point2, ...]:
    west, south, east, north = box
    return (west, south), (east, south), (east, north), (west, north)


def _opening(found: re.Match[str], boxes: dict[str, tuple[str, Box]], where: str) -> DrawnOpening:
    west, south, east, north = _known(found["room"], boxes, where)
    low, high = sorted((_metres(found["low"]), _metres(found["high"])))
    side = _side(found["side"], where)
    length = east - west if side in ("north", "south") else north - south
    if high > length + 0.005:
        raise FormatError(
            f"the wall is {length:g} m long.", where=where, mend="Count from its western or southern end, in metres."
        )
    fixed = {"north": north, "south": south, "east": east, "west": west}[side]
    if side in ("north", "south"):
        return DrawnOpening(_KIND[found["kind"].casefold()], (west + low, fixed), (west + high, fixed))
    return DrawnOpening(_KIND[found["kind"].casefold()], (fixed, south + low), (fixed, south + high))
