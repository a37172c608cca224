"""Bring a plan to a survey at the terminal: a file, lines of text, or a dwelling to start from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from shapely import Point, Polygon

from roomfield.errors import InputError
from roomfield.exchange.names import plain
from roomfield.exchange.plan_drawing import PlanOptions
from roomfield.exchange.plan_rooms import read_room_text
from roomfield.regular_files import refuse_irregular
from roomfield.survey import Dwelling, Place, Survey
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.plan_document import PlanSheet, with_plan
from roomfield.workbench.record.plan_import import Asked, PlanFile, read_plan_file
from roomfield.workbench.record.plan_templates import starter
from roomfield.workbench.record.setting_up import revised

TEXT_ENDINGS = frozenset({".txt", ".rooms"})


@dataclass(frozen=True)
class PlanWish:
    """Where a plan comes from; one of the first three.

    Parameters
    ----------
    file : str
        GeoJSON, DXF, or text with rooms by size and side.
    template : str
        Key of a dwelling to start from.
    lines : tuple of str
        Rooms and openings, as a text file holds them.
    asked : Asked
        What a file does not say about itself.
    storey : str
        Name of the storey.
    floor_m, ceiling_m : float
        Heights of floor and ceiling [m].
    replacing : bool
        True to put it in the place of the plan that is there; places and transmitters stay.
    """

    file: str = ""
    template: str = ""
    lines: tuple[str, ...] = ()
    asked: Asked = Asked()  # noqa: RUF009 - a frozen value
    storey: str = ""
    floor_m: float = 0.0
    ceiling_m: float = 2.5
    replacing: bool = False


def bring_plan(job: Job, wish: PlanWish) -> tuple[Job, tuple[str, ...]]:
    """Put a plan into a survey; gives the survey with it, and what was assumed.

    Raises
    ------
    InputError
        If not exactly one source is named, the file cannot be used, or a storey is there already.
    UnknownNameError
        If there is no such template.
    """
    if sum(map(bool, (wish.file, wish.template, wish.lines))) != 1:
        raise InputError(
            "a plan comes from a file, from --template or from --room.",
            where="plan",
            mend="Give one of them, such as --template three-room-flat or --room 'Bedroom 4 x 3.5'.",
        )
    found = _found(wish)

    def change(survey: Survey) -> Survey:
        dwelling = _joined(survey.dwelling, found.sheet.dwelling, wish.replacing)
        places = tuple(_housed(place, dwelling) for place in _with(survey.places, found.sheet.places))
        return with_plan(survey, PlanSheet(dwelling, places, survey.emitters))

    return revised(job, change), found.remarks


def _found(wish: PlanWish) -> PlanFile:
    if wish.template:
        return PlanFile(starter(wish.template).sheet, ("the build-ups of a template are usual ones: check each wall.",))
    name = f"storey-{new_id('s').removeprefix('s-')[:6]}"
    options = PlanOptions(name, wish.storey or "Storey", wish.floor_m, wish.floor_m + wish.ceiling_m)
    if wish.lines or Path(wish.file).suffix.lower() in TEXT_ENDINGS:
        text = "\n".join(wish.lines) if wish.lines else _text(Path(wish.file))
        where = Path(wish.file).name if wish.file else "--room"
        parts = read_room_text(text, options=options, where=where)
        return PlanFile(PlanSheet(parts.added_to(Dwelling())), parts.remarks)
    if Path(wish.file).suffix.lower() in (".geojson", ".json") and not wish.asked.coordinates:
        raise InputError(
            "the file does not say whether its coordinates are metres or degrees.",
            where=Path(wish.file).name,
            mend="Say --coordinates metres or --coordinates degrees.",
        )
    return read_plan_file(Path(wish.file), wish.asked, options)


def _text(path: Path) -> str:
    try:
        refuse_irregular(path)
        return path.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise InputError("it cannot be read as text.", where=path.name, mend="Check the path.") from None


def _joined(before: Dwelling, new: Dwelling, replacing: bool) -> Dwelling:
    """Storeys with nothing in them give way to the new ones."""
    if replacing:
        return replace(new, plan_images=(), north_deg=before.north_deg)
    filled = {room.storey_id for room in before.rooms} | {wall.storey_id for wall in before.walls}
    kept = tuple(s for s in before.storeys if s.id in filled)
    doubled = {plain(s.name) for s in kept} & {plain(s.name) for s in new.storeys}
    if doubled:
        raise InputError(
            f"there is a storey named {sorted(doubled)[0]!r} with rooms already.",
            where="plan",
            mend="Say --replace to put the new plan in its place, or name another with --storey.",
        )
    return replace(
        before,
        storeys=(*kept, *new.storeys),
        rooms=(*before.rooms, *new.rooms),
        walls=(*before.walls, *new.walls),
        slabs=(*before.slabs, *new.slabs),
        furniture=(*before.furniture, *new.furniture),
    )


def _with(before: tuple[Place, ...], new: tuple[Place, ...]) -> tuple[Place, ...]:
    """Places of a template beside those that are there; one of the same name without a position takes the new one's."""
    by_name = {plain(place.name): place for place in new}
    kept = tuple(
        replace(place, position=by_name[plain(place.name)].position)
        if place.position is None and plain(place.name) in by_name
        else place
        for place in before
    )
    known, ids = {plain(place.name) for place in before}, {place.id for place in before}
    added = (place for name, place in by_name.items() if name not in known)
    return (*kept, *(replace(p, id=new_id("place")) if p.id in ids else p for p in added))


def _housed(place: Place, dwelling: Dwelling) -> Place:
    """The place with the room and storey that it lies in."""
    rooms = {room.id: room for room in dwelling.rooms}
    if place.position is None:
        return place if not place.room_id or place.room_id in rooms else replace(place, room_id="", storey_id="")
    x, y, z = place.position
    storeys = {s.id for s in dwelling.storeys if s.floor_m - 0.05 <= z <= s.ceiling_m + 0.05}
    inside = (r for r in dwelling.rooms if r.storey_id in storeys and Polygon(r.outline).covers(Point(x, y)))
    room = next(inside, None)
    storey = room.storey_id if room else next(iter(sorted(storeys)), "")
    return replace(place, room_id=room.id if room else "", storey_id=storey)
