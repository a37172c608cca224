"""The plan as the report draws it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import atan2, degrees

from roomfield.remedy.as_built import with_work_done
from roomfield.show.drawings import PlanEmitter, PlanOpening, PlanPlace, PlanRoom, PlanStorey, PlanWall
from roomfield.show.findings import PlaceFinding
from roomfield.survey import Dwelling, Emitter, Place, Point2, Point3, Standing, Storey, Survey, Wall
from roomfield.workbench.assess.place_use import is_for_sleeping

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def emitter_letters(survey: Survey, also: Iterable[Emitter] = ()) -> dict[str, str]:
    """A letter for each emitter: the same on every plan, map and table of every visit.

    Parameters
    ----------
    survey : Survey
        The whole record, also with what a later visit no longer finds.
    also : iterable of Emitter
        Emitters that the model reckons with and the record does not list; their letters come last.
    """
    ids = dict.fromkeys([*(e.id for e in survey.emitters), *(e.id for e in also)])
    return {name: _LETTERS[i % 26] + (str(i // 26 + 1) if i >= 26 else "") for i, name in enumerate(ids)}


def plan_storeys(survey: Survey, places: Sequence[PlaceFinding | Place], visit_id: str = "") -> tuple[PlanStorey, ...]:
    """Every storey with what stands on it at a visit; places are numbered as in the tables.

    Parameters
    ----------
    visit_id : str
        The visit: what was taken out before is not drawn, shields that were fitted are. As recorded if empty.
    """
    numbers = {place.id: n for n, place in enumerate(places, start=1)}
    home = with_work_done(survey, visit_id) if visit_id else survey
    letters = emitter_letters(survey)
    return tuple(_storey(home, storey, numbers, letters) for storey in home.dwelling.storeys)


def _storey(survey: Survey, storey: Storey, numbers: dict[str, int], letters: dict[str, str]) -> PlanStorey:
    dwelling = survey.dwelling
    return PlanStorey(
        storey.name,
        storey.outline,
        tuple(PlanRoom(r.name, r.outline) for r in dwelling.rooms if r.storey_id == storey.id),
        tuple(_wall(w) for w in dwelling.walls if w.storey_id == storey.id),
        tuple(
            ((f.low[0], f.low[1]), (f.high[0], f.high[1]))
            for f in dwelling.furniture
            if storey.floor_m <= f.low[2] < storey.ceiling_m
        ),
        _places(survey, storey, numbers),
        tuple(_emitters(survey, storey, letters)),
        dwelling.north_deg,
    )


def _places(survey: Survey, storey: Storey, numbers: dict[str, int]) -> tuple[PlanPlace, ...]:
    return tuple(
        PlanPlace(numbers[p.id], p.name, (p.position[0], p.position[1]), is_for_sleeping(p))
        for p in survey.places
        if p.id in numbers and p.position is not None and _is_of(p, storey)
    )


def _is_of(place: Place, storey: Storey) -> bool:
    """Whether a place lies on a storey: as it says, or by its height if it says nothing."""
    if place.storey_id or place.position is None:
        return place.storey_id == storey.id
    return _on(storey, place.position[2])


def _wall(wall: Wall) -> PlanWall:
    thickness = sum(layer.thickness_m for layer in wall.layers)
    openings = tuple(PlanOpening(_along(wall, o.start_m), _along(wall, o.end_m), o.kind.value) for o in wall.openings)
    return PlanWall(wall.start, wall.end, thickness, wall.exterior, bool(wall.shields), openings)


def _along(wall: Wall, distance_m: float) -> Point2:
    length = ((wall.end[0] - wall.start[0]) ** 2 + (wall.end[1] - wall.start[1]) ** 2) ** 0.5
    share = distance_m / length if length else 0.0
    return (
        wall.start[0] + share * (wall.end[0] - wall.start[0]),
        wall.start[1] + share * (wall.end[1] - wall.start[1]),
    )


def _emitters(survey: Survey, storey: Storey, letters: dict[str, str]) -> list[PlanEmitter]:
    drawn = []
    for emitter in survey.emitters:
        letter, known = letters[emitter.id], emitter.standing is Standing.KNOWN
        if emitter.outdoor or emitter.bearing_deg is not None:
            bearing = _bearing(survey.dwelling, emitter)
            drawn.append(PlanEmitter(letter, emitter.name, bearing_deg=bearing))
        elif emitter.position is not None and _on(storey, emitter.position[2]):
            at = (emitter.position[0], emitter.position[1])
            drawn.append(PlanEmitter(letter, emitter.name, at, known=known))
    return [e for e in drawn if e.position is not None or e.bearing_deg is not None]


def _on(storey: Storey, height_m: float) -> bool:
    """True if something at a height stands on the storey; what lies in the slab counts as above it."""
    return storey.floor_m - 0.3 <= height_m < storey.ceiling_m


def _bearing(dwelling: Dwelling, emitter: Emitter) -> float | None:
    """Direction from the middle of the dwelling to a far emitter [deg clockwise from plan north]."""
    outline = dwelling.storeys[0].outline if dwelling.storeys else ()
    if emitter.bearing_deg is not None or emitter.position is None or not outline:
        return emitter.bearing_deg
    x = sum(p[0] for p in outline) / len(outline)
    y = sum(p[1] for p in outline) / len(outline)
    return degrees(atan2(emitter.position[0] - x, emitter.position[1] - y)) % 360.0


def room_at(survey: Survey, position: Point3) -> tuple[str, str]:
    """Names of the storey and of the room at a point [m]; empty where there is none."""
    x, y, z = position
    storey = next((s for s in survey.dwelling.storeys if s.floor_m - 0.2 <= z < s.ceiling_m + 0.2), None)
    if storey is None:
        return "", ""
    rooms = (r for r in survey.dwelling.rooms if r.storey_id == storey.id)
    return storey.name, next((r.name for r in rooms if _inside(r.outline, x, y)), "")


def _inside(outline: tuple[tuple[float, float], ...], x: float, y: float) -> bool:
    within = False
    for (x0, y0), (x1, y1) in zip(outline, (*outline[1:], outline[0]), strict=True):
        if (y0 > y) != (y1 > y) and x < (x1 - x0) * (y - y0) / (y1 - y0) + x0:
            within = not within
    return within
