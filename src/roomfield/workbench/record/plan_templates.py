"""Dwellings to start from: usual floor plans as data, drawn out into a plan."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from roomfield.errors import UnknownNameError
from roomfield.survey import (
    Dwelling,
    Layer,
    Opening,
    OpeningKind,
    Place,
    PlaceKind,
    Room,
    Slab,
    Storey,
    Wall,
)
from roomfield.workbench.record.plan_document import PlanSheet, with_outlines

STARTERS = ("blank", "one-room-flat", "three-room-flat", "terraced-house")

# Usual build-ups of central European housing; common practice, no source. The assessor corrects them on the plan.
BUILDS = {
    "outer": (Layer("brick", 0.30),),
    "party": (Layer("brick", 0.24),),
    "inner": (Layer("brick", 0.115),),
    "light": (Layer("plasterboard", 0.0125), Layer("air", 0.075), Layer("plasterboard", 0.0125)),
    "floor": (Layer("concrete", 0.18),),
}
PANES = (Layer("glass", 0.004), Layer("air", 0.016), Layer("glass", 0.004))
LEAF = (Layer("wood", 0.04),)
SILL_M, WINDOW_HEAD_M, DOOR_HEAD_M = 0.9, 2.2, 2.0


@dataclass(frozen=True)
class Starter:
    """One dwelling to start from.

    Parameters
    ----------
    key : str
        Name for programs.
    name, words : str
        Name and one sentence for people.
    sheet : PlanSheet
        The plan itself.
    """

    key: str
    name: str
    words: str
    sheet: PlanSheet


def starter(key: str) -> Starter:
    """The starter with this key.

    Raises
    ------
    UnknownNameError
        If there is none.
    """
    if key not in STARTERS:
        raise UnknownNameError("dwelling to start from", key, STARTERS)
    return _load(key)


def starters() -> tuple[Starter, ...]:
    """All dwellings to start from, the blank sheet first."""
    return tuple(_load(key) for key in STARTERS)


@cache
def _load(key: str) -> Starter:
    text = files("roomfield.workbench").joinpath("starter_plans", f"{key}.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    storeys = tuple(Storey(s["id"], s["name"], s["floor_m"], s["ceiling_m"], ()) for s in table["storeys"])
    by_id = {storey.id: storey for storey in storeys}
    dwelling = Dwelling(
        storeys=storeys,
        rooms=tuple(
            Room(f"room-{n}", row["name"], row["storey"], _rectangle(row["corners"]))
            for n, row in enumerate(table.get("rooms", []), 1)
        ),
        walls=tuple(_wall(n, row, by_id[row["storey"]]) for n, row in enumerate(table.get("walls", []), 1)),
        slabs=tuple(
            Slab(f"slab-{n}", row["height_m"], BUILDS[row["build"]], (_rectangle(row["corners"]),))
            for n, row in enumerate(table.get("slabs", []), 1)
        ),
    )
    places = tuple(_place(n, row, dwelling) for n, row in enumerate(table.get("places", []), 1))
    return Starter(key, table["name"], table["words"], PlanSheet(with_outlines(dwelling, Dwelling()), places))


def _rectangle(corners: list[float]) -> tuple[tuple[float, float], ...]:
    west, south, east, north = corners
    return ((west, south), (east, south), (east, north), (west, north))


def _wall(number: int, row: dict[str, Any], storey: Storey) -> Wall:
    x0, y0, x1, y1 = row["line"]
    floor = storey.floor_m
    windows = [
        Opening(f"window-{number}-{n}", OpeningKind.WINDOW, a, b, floor + SILL_M, floor + WINDOW_HEAD_M, PANES)
        for n, (a, b) in enumerate(row.get("windows", []), 1)
    ]
    doors = [
        Opening(f"door-{number}-{n}", OpeningKind.DOOR, a, b, floor, floor + DOOR_HEAD_M, LEAF)
        for n, (a, b) in enumerate(row.get("doors", []), 1)
    ]
    return Wall(
        id=f"wall-{number}",
        storey_id=storey.id,
        start=(x0, y0),
        end=(x1, y1),
        base_m=floor,
        top_m=storey.ceiling_m,
        layers=BUILDS[row["build"]],
        exterior=row["build"] == "outer",
        openings=(*windows, *doors),
    )


def _place(number: int, row: dict[str, Any], dwelling: Dwelling) -> Place:
    x, y, z = row["at"]
    room = next((r.id for r in dwelling.rooms if r.storey_id == row["storey"] and _holds(r.outline, x, y)), "")
    return Place(
        id=f"place-{number}",
        name=row["name"],
        kind=PlaceKind(row["kind"]),
        room_id=room,
        storey_id=row["storey"],
        position=(x, y, z),
        night_hours=row.get("night_hours", 0.0),
        day_hours=row.get("day_hours", 0.0),
    )


def _holds(rectangle: tuple[tuple[float, float], ...], x: float, y: float) -> bool:
    (west, south), _, (east, north), _ = rectangle
    return west <= x <= east and south <= y <= north
