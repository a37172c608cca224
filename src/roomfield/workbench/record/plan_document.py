"""The plan as one document: what is built, where people stay and what transmits, edited as a whole."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import pairwise
from typing import Any

from shapely import MultiPoint, Polygon, get_parts, unary_union

from roomfield.errors import FormatError, InputError
from roomfield.survey import Dwelling, Emitter, FurnitureBox, Opening, Place, Point2, Slab, Survey, Wall
from roomfield.survey.json_codec import from_json, to_json

REACH_M = 10_000.0
"""Largest coordinate of a plan [m]; beyond it a number was surely typed in another unit."""
LONGEST_PLAN_BYTES = 8 * 2**20
LARGEST_SHEET = 5000
"""Most items of a plan; keeps a hostile document from filling the disk."""
SHOWN_FAULTS = 4


@dataclass(frozen=True)
class PlanSheet:
    """Everything that the plan editor draws and changes.

    Parameters
    ----------
    dwelling : Dwelling
        Storeys, rooms, walls with openings, slabs, furniture, images, north.
    places : tuple of Place
        Where people stay.
    emitters : tuple of Emitter
        Transmitters, with or without a position.
    """

    dwelling: Dwelling = Dwelling()  # noqa: RUF009 - a frozen value
    places: tuple[Place, ...] = ()
    emitters: tuple[Emitter, ...] = ()


def plan_of(survey: Survey) -> PlanSheet:
    """The plan part of a survey."""
    return PlanSheet(survey.dwelling, survey.places, survey.emitters)


def with_plan(survey: Survey, sheet: PlanSheet) -> Survey:
    """The survey with its plan replaced.

    Raises
    ------
    InputError
        If the plan is not sound, or an observation refers to a place that was taken out.
    """
    faults = list(plan_faults(sheet))
    kept = {place.id for place in sheet.places}
    observed: tuple[Any, ...] = (*survey.readings, *survey.recordings, *survey.logs)
    used = {item.place_id for item in observed if item.place_id}
    gone = [place.name for place in survey.places if place.id in used - kept]
    faults.extend(f"the place {name!r} has readings and cannot be taken out" for name in gone)
    if faults:
        rest = f" and {len(faults) - SHOWN_FAULTS} more" if len(faults) > SHOWN_FAULTS else ""
        raise InputError(
            "; ".join(faults[:SHOWN_FAULTS]) + rest + ".",
            where="plan",
            mend="Undo the last change, or correct the item named.",
        )
    dwelling = with_outlines(sheet.dwelling, survey.dwelling)
    return replace(survey, dwelling=dwelling, places=sheet.places, emitters=sheet.emitters)


def with_outlines(dwelling: Dwelling, before: Dwelling) -> Dwelling:
    """The dwelling with the outline of each storey whose rooms changed drawn anew around its rooms.

    Parameters
    ----------
    dwelling : Dwelling
        As drawn now.
    before : Dwelling
        As it was kept; a storey with the same rooms keeps its outline.
    """
    storeys = tuple(
        storey
        if storey.outline and _rooms_of(dwelling, storey.id) == _rooms_of(before, storey.id)
        else replace(storey, outline=_around(dwelling, storey.id) or storey.outline)
        for storey in dwelling.storeys
    )
    return replace(dwelling, storeys=storeys)


def _rooms_of(dwelling: Dwelling, storey_id: str) -> tuple[tuple[Point2, ...], ...]:
    return tuple(room.outline for room in dwelling.rooms if room.storey_id == storey_id)


def _around(dwelling: Dwelling, storey_id: str) -> tuple[Point2, ...]:
    areas = [Polygon(outline).buffer(0.0) for outline in _rooms_of(dwelling, storey_id)]
    if not areas:
        walls = [wall for wall in dwelling.walls if wall.storey_id == storey_id]
        shape = MultiPoint([point for wall in walls for point in (wall.start, wall.end)]).convex_hull
    else:
        # Closing gaps of wall thickness makes one outline of rooms that were drawn on their inner faces.
        shape = unary_union(areas).buffer(0.25, join_style="mitre").buffer(-0.25, join_style="mitre")
    largest = max(get_parts(shape), key=lambda part: part.area, default=None)
    if not isinstance(largest, Polygon):
        return ()
    return tuple((round(x, 3), round(y, 3)) for x, y in list(largest.exterior.coords)[:-1])


def read_plan(document: str | bytes) -> PlanSheet:
    """A plan from its JSON form.

    Parameters
    ----------
    document : str or bytes
        JSON text.

    Raises
    ------
    FormatError
        If a field is unknown, missing or of the wrong type; names the first one.
    """
    if len(document) > LONGEST_PLAN_BYTES:
        raise FormatError(
            f"it is {len(document) / 2**20:.0f} MiB long; a plan has at most {LONGEST_PLAN_BYTES >> 20} MiB.",
            where="plan",
            mend="Take out what is not needed.",
        )
    sheet: PlanSheet = from_json(document, PlanSheet, where="plan")
    return sheet


def write_plan(sheet: PlanSheet) -> str:
    """The JSON form of a plan."""
    return to_json(sheet, PlanSheet, where="plan")


def plan_faults(sheet: PlanSheet) -> Iterator[str]:
    """Everything about a plan that cannot be, in words.

    Parameters
    ----------
    sheet : PlanSheet
        The plan to look at.
    """
    dwelling = sheet.dwelling
    items = (*dwelling.storeys, *dwelling.rooms, *dwelling.walls, *dwelling.slabs, *dwelling.furniture,
             *sheet.places, *sheet.emitters)  # fmt: skip
    if len(items) > LARGEST_SHEET:
        yield f"the plan has {len(items)} items; at most {LARGEST_SHEET} are taken"
        return
    yield from _name_faults(items)
    yield from (f"{_noun(item)} has a coordinate that is not between -10 and 10 km" for item in items if _is_wild(item))
    storeys = {storey.id for storey in dwelling.storeys}
    parts: tuple[Any, ...] = (*dwelling.rooms, *dwelling.walls)
    for part in parts:
        if part.storey_id not in storeys:
            yield f"{_noun(part)} stands on a storey that is not there"
    yield from (f"{_noun(room)} needs at least three corners" for room in dwelling.rooms if len(room.outline) < 3)
    for storey in dwelling.storeys:
        if not storey.ceiling_m > storey.floor_m:
            yield f"{_noun(storey)} has its ceiling under its floor"
    for wall in dwelling.walls:
        yield from _wall_faults(wall)
        yield from _shield_faults(wall)
    for slab in dwelling.slabs:
        yield from _slab_faults(slab)
        yield from _shield_faults(slab)
    for box in dwelling.furniture:
        yield from _box_faults(box)


def _slab_faults(slab: Slab) -> Iterator[str]:
    if not slab.outlines or any(len(o) < 3 or not Polygon(o).area > 0.0 for o in slab.outlines):
        yield f"{_noun(slab)} covers no area"
    if any(not layer.thickness_m > 0.0 for layer in slab.layers):
        yield f"{_noun(slab)} has a layer without thickness"


def _box_faults(box: FurnitureBox) -> Iterator[str]:
    if any(not low < high for low, high in zip(box.low, box.high, strict=True)):
        yield f"{_noun(box)} has no size"
    if not box.panel.thickness_m > 0.0:
        yield f"{_noun(box)} has a layer without thickness"


def _shield_faults(surface: Wall | Slab) -> Iterator[str]:
    for shield in surface.shields:
        if not 0.0 < shield.coverage <= 1.0:
            yield f"{_noun(surface)} has a shield whose coverage is not over 0 and up to 1"
        pairs = shield.sheet.attenuation
        rises = all(one[0] < other[0] for one, other in pairwise(pairs))
        if not pairs or not rises or any(not (f > 0.0 and math.isfinite(a) and a >= 0.0) for f, a in pairs):
            yield f"{_noun(surface)} has a shield without a figure of attenuation"


def _name_faults(items: tuple[Any, ...]) -> Iterator[str]:
    seen: set[tuple[type, str]] = set()
    for item in items:
        if not item.id or (type(item), item.id) in seen:
            yield f"{_noun(item)} has no id of its own"
        seen.add((type(item), item.id))


def _wall_faults(wall: Wall) -> Iterator[str]:
    length = math.dist(wall.start, wall.end)
    if length < 0.01:
        yield f"{_noun(wall)} has no length"
    if not wall.top_m > wall.base_m:
        yield f"{_noun(wall)} has no height"
    if any(not layer.thickness_m > 0.0 for layer in wall.layers):
        yield f"{_noun(wall)} has a layer without thickness"
    yield from (
        f"opening {hole.id!r} does not fit into {_noun(wall)}" for hole in wall.openings if _sticks_out(hole, wall)
    )


def _sticks_out(hole: Opening, wall: Wall) -> bool:
    slack = 0.005
    along = -slack <= hole.start_m < hole.end_m <= math.dist(wall.start, wall.end) + slack
    up = wall.base_m - slack <= hole.sill_m < hole.head_m <= wall.top_m + slack
    return not (along and up)


def _noun(item: Any) -> str:
    return f"{type(item).__name__.lower()} {getattr(item, 'name', '') or item.id!r}"


def _is_wild(item: Any) -> bool:
    if isinstance(item, Emitter):
        item = item.position  # frequencies and powers are not coordinates
    return any(not math.isfinite(number) or abs(number) > REACH_M for number in _numbers(item))


def _numbers(value: Any) -> Iterator[float]:
    if isinstance(value, float):
        yield value
    elif isinstance(value, tuple):
        for part in value:
            yield from _numbers(part)
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            if field.name not in {"shields", "layers", "panel"}:
                yield from _numbers(getattr(value, field.name))
