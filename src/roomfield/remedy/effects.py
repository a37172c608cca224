"""What each action does: to the scene, to an emitter's power, or to where emitters and places stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely import Point, Polygon

from roomfield.errors import InputError, UnknownNameError
from roomfield.field.path_gains import unit_db
from roomfield.field.posterior import Posterior
from roomfield.field.scene import Scene, attenuation_db
from roomfield.quantities import Kind
from roomfield.survey.action import Action, ActionKind, SurfaceRef
from roomfield.survey.dwelling import FittedShield, Layer, Point3, Room, ShieldPart, ShieldSheet
from roomfield.survey.observation import NIGHT_HOURS
from roomfield.survey.place import Place

Array = NDArray[np.float64]
CLOSED_WITH = (Layer("wood", 0.04),)
"""What closes an opening if no material is named: a 40 mm wooden leaf."""
SCENE_KINDS = (ActionKind.SHIELD_SURFACE, ActionKind.CLOSE_OPENING)
MOVING_KINDS = (ActionKind.RELOCATE_EMITTER, ActionKind.MOVE_PLACE)
SILENT_KINDS = (ActionKind.SWITCH_OFF, ActionKind.WIRE_INSTEAD, ActionKind.NIGHT_SCHEDULE)


@dataclass(frozen=True)
class TargetColumn:
    """One place in one period: what the target is held against."""

    place_index: int
    night: bool


@dataclass(frozen=True, eq=False)
class Effect:
    """One action in numbers.

    Parameters
    ----------
    action : Action
        The action.
    scale : ndarray, shape (emitters, columns)
        Factor on the power of each emitter at each column.
    scene : Scene or None
        The changed scene, for shields and closed openings.
    emitter_positions : dict
        New positions of emitters [m].
    place_positions : dict
        New positions of places [m].
    """

    action: Action
    scale: Array
    scene: Scene | None = None
    emitter_positions: dict[str, Point3] = field(default_factory=dict)
    place_positions: dict[str, Point3] = field(default_factory=dict)

    @property
    def moves(self) -> bool:
        """True if something stands elsewhere afterwards."""
        return bool(self.emitter_positions or self.place_positions)


def columns_of(places: Sequence[Place], actions: Sequence[Action]) -> tuple[TargetColumn, ...]:
    """Places by period: both periods only if an action tells night from day."""
    split = any(a.kind is ActionKind.NIGHT_SCHEDULE for a in actions)
    columns = []
    for i, place in enumerate(places):
        by_night, by_day = place.night_hours > 0.0, place.day_hours > 0.0
        if not split:
            columns.append(TargetColumn(i, by_night and not by_day))
            continue
        if by_night or not by_day:
            columns.append(TargetColumn(i, True))
        if by_day or not by_night:
            columns.append(TargetColumn(i, False))
    return tuple(columns)


def effects_of(
    posterior: Posterior,
    actions: Sequence[Action],
    places: Sequence[Place],
    columns: Sequence[TargetColumn],
    kind: Kind,
) -> tuple[Effect, ...]:
    """Every action in numbers. What is done to emitters outside the meter's band changes nothing that it shows.

    Raises
    ------
    UnknownNameError
        If an action names an emitter, place, room, surface or opening that is not in the record.
    InputError
        If an action lacks what it needs.
    """
    return tuple(_effect(posterior, a, places, columns, kind) for a in actions)


def _effect(
    posterior: Posterior, action: Action, places: Sequence[Place], columns: Sequence[TargetColumn], kind: Kind
) -> Effect:
    scale = np.ones((len(posterior.emitter_ids), len(columns)))
    unread = {e.id for e in posterior.outside_band}
    if action.emitter_ids and unread.issuperset(action.emitter_ids):
        return Effect(action, scale)
    rows = [_emitter_row(posterior, action, name) for name in action.emitter_ids if name not in unread]
    if action.kind in SCENE_KINDS:
        return Effect(action, scale, changed_scene(posterior.scene, action))
    if action.kind is ActionKind.RELOCATE_EMITTER:
        return Effect(action, scale, emitter_positions=_new_positions(posterior, action, rows))
    if action.kind is ActionKind.MOVE_PLACE:
        _place_index(action, places)
        return Effect(action, scale, place_positions={action.place_id: _target_point(posterior, action)})
    if action.kind is ActionKind.CANOPY:
        _under_canopy(posterior, action, places, columns, scale)
        return Effect(action, scale)
    _need(bool(rows), action, "names no emitter")
    if action.kind in SILENT_KINDS:
        left = [_left_on(action, c.night, kind) for c in columns]
    else:
        _need(action.reduction_db > 0.0, action, "needs a reduction in dB above 0")
        left = [10.0 ** (-action.reduction_db / 10.0)] * len(columns)
    scale[rows] = left
    return Effect(action, scale)


def _need(given: bool, action: Action, what: str) -> None:
    if not given:
        raise InputError(f"action {action.id!r} {what}.", mend="Complete the action, then ask again.")


def _emitter_row(posterior: Posterior, action: Action, name: str) -> int:
    if name not in posterior.emitter_ids:
        raise UnknownNameError("emitter", name, posterior.emitter_ids, where=f"action {action.id!r}")
    return posterior.emitter_ids.index(name)


def _place_index(action: Action, places: Sequence[Place]) -> int:
    ids = [p.id for p in places]
    if action.place_id not in ids:
        raise UnknownNameError("place", action.place_id, ids, where=f"action {action.id!r}")
    return ids.index(action.place_id)


def _left_on(action: Action, night: bool, kind: Kind) -> float:
    """Share of power left: none if off; by night schedule what the schedule leaves of the night."""
    if action.kind is not ActionKind.NIGHT_SCHEDULE:
        return 0.0
    if not night:
        return 1.0
    left = 1.0 - night_share(action.off_hours or NIGHT_HOURS)
    return left if kind is Kind.AVERAGE else float(left > 1e-6)


def night_share(off_hours: tuple[float, float]) -> float:
    """Share of the night (22 to 6) that lies within the off hours."""
    quarter = np.arange(0.0, 24.0, 0.25) + 0.125
    night, off = _within(quarter, NIGHT_HOURS), _within(quarter, off_hours)
    return float((night & off).sum() / night.sum())


def _within(hour: Array, span: tuple[float, float]) -> NDArray[np.bool_]:
    start, end = span
    return (hour >= start) & (hour < end) if start <= end else (hour >= start) | (hour < end)


def _under_canopy(
    posterior: Posterior, action: Action, places: Sequence[Place], columns: Sequence[TargetColumn], scale: Array
) -> None:
    index = _place_index(action, places)
    if action.sheet is None:
        raise InputError(f"action {action.id!r} names no cloth.", mend="Give the canopy a sheet.")
    loss = [attenuation_db(action.sheet.attenuation, f) for f in posterior.radiators.frequencies_hz]
    passed = action.coverage * 10.0 ** (-np.array(loss) / 10.0) + 1.0 - action.coverage
    for c, column in enumerate(columns):
        if column.place_index == index:
            scale[:, c] = passed


def changed_scene(scene: Scene, action: Action) -> Scene:
    """The scene with an action's shields fitted or openings closed."""
    _need(bool(action.surfaces), action, "names no surface")
    if action.kind is ActionKind.SHIELD_SURFACE:
        if action.sheet is None:
            raise InputError(f"action {action.id!r} names no sheet.", mend="Say with what it is shielded.")
        return scene.with_shields([(s.surface_id, _fitted(action.sheet, s, action)) for s in action.surfaces])
    if action.sheet is not None:
        shutters = [replace_part(s) for s in action.surfaces]
        return scene.with_shields([(s.surface_id, _fitted(action.sheet, s, action)) for s in shutters])
    openings = [o for s in action.surfaces for o in _openings(scene, s)]
    return scene.with_openings_closed(openings, CLOSED_WITH)


def replace_part(surface: SurfaceRef) -> SurfaceRef:
    """The same surface, its openings only."""
    return SurfaceRef(surface.surface_id, ShieldPart.OPENINGS, surface.opening_ids)


def is_covered(surface: SurfaceRef, opening_id: str, kind: ActionKind) -> bool:
    """True if an action on a surface covers its masonry (no opening id) or this opening."""
    if kind is ActionKind.CLOSE_OPENING:
        surface = replace_part(surface)
    if not opening_id:
        return surface.part is not ShieldPart.OPENINGS
    wanted = not surface.opening_ids or opening_id in surface.opening_ids
    return surface.part is not ShieldPart.MASONRY and wanted


def _fitted(sheet: ShieldSheet, surface: SurfaceRef, action: Action) -> FittedShield:
    return FittedShield(sheet, surface.part, surface.opening_ids, action.coverage)


def _openings(scene: Scene, surface: SurfaceRef) -> list[str]:
    own = [p.opening_id for p in scene.shapes.plates if p.surface_id == surface.surface_id and p.opening_id]
    if not own:
        known = {p.surface_id for p in scene.shapes.plates if p.opening_id}
        raise UnknownNameError("wall with openings", surface.surface_id, known)
    return list(surface.opening_ids) or own


def _new_positions(posterior: Posterior, action: Action, rows: list[int]) -> dict[str, Point3]:
    _need(bool(rows), action, "names no emitter")
    target = np.array(_target_point(posterior, action))
    first = posterior.radiators.positions[rows[0]]
    moved = {}
    for row in rows:
        offset = posterior.radiators.positions[row] - first
        offset = offset if np.linalg.norm(offset) < 1.0 else np.zeros(3)
        x, y, z = (target + offset).tolist()
        moved[posterior.emitter_ids[row]] = (x, y, z)
    return moved


def _target_point(posterior: Posterior, action: Action) -> Point3:
    if action.position is not None:
        return action.position
    rooms = {r.id: r for r in posterior.survey.dwelling.rooms}
    if action.room_id not in rooms:
        raise UnknownNameError("room", action.room_id, rooms, where=f"action {action.id!r}")
    points = np.array(room_points(posterior, rooms[action.room_id]))
    x, y, z = points[int(np.argmin(_loudness(posterior, action, points)))].tolist()
    return (x, y, z)


def _loudness(posterior: Posterior, action: Action, points: Array) -> Array:
    """What each candidate point would mean: for an emitter the level at the worst place, for a place its own."""
    radiators = posterior.radiators
    if action.kind is ActionKind.MOVE_PLACE:
        unit = 10.0 ** (unit_db(posterior.scene, radiators, points) / 10.0)
        return np.asarray(unit @ 10.0 ** (np.median(posterior.eirp_db, axis=0) / 10.0))
    row = posterior.emitter_ids.index(action.emitter_ids[0])
    many = radiators.take([row] * len(points)).moved(points)
    stays = [p.position for p in posterior.survey.places if p.position is not None]
    return np.asarray(unit_db(posterior.scene, many, np.array(stays).reshape(-1, 3)).max(axis=0, initial=-400.0))


def room_points(posterior: Posterior, room: Room, spacing_m: float = 1.0, height_m: float = 1.0) -> list[Point3]:
    """Points of a room for something to stand, its middle first [m]."""
    area = Polygon(room.outline).buffer(-0.3)
    floors = {s.id: s.floor_m for s in posterior.survey.dwelling.storeys}
    z = floors.get(room.storey_id, 0.0) + height_m
    middle = area.representative_point()
    x0, y0, x1, y1 = area.bounds
    xs, ys = np.arange(x0, x1 + 1e-9, spacing_m), np.arange(y0, y1 + 1e-9, spacing_m)
    grid = [(float(x), float(y), z) for x in xs for y in ys if area.covers(Point(x, y))]
    return [(float(middle.x), float(middle.y), z), *grid]
