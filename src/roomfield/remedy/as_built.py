"""The home as a visit finds it: the record's dwelling and transmitters after the work that the visit says was done."""

from __future__ import annotations

from dataclasses import replace

from roomfield.remedy.effects import CLOSED_WITH
from roomfield.survey import Action, ActionKind, Dwelling, Emitter, FittedShield, Place, Survey
from roomfield.survey.action import SurfaceRef
from roomfield.survey.dwelling import Opening, ShieldPart, ShieldSheet, Slab, Wall

GONE = (ActionKind.SWITCH_OFF, ActionKind.WIRE_INSTEAD)
WEAKER = (ActionKind.REDUCE_POWER, ActionKind.REPLACE_DEVICE)


def with_work_done(survey: Survey, visit_id: str) -> Survey:
    """The survey as the home stands on a visit.

    Parameters
    ----------
    survey : Survey
        The record; its dwelling and transmitters are those of the first visit.
    visit_id : str
        The visit. What its and earlier visits' ``done_action_ids`` name counts as done.

    Returns
    -------
    Survey
        The same survey if nothing was done. Night schedules and canopies change nothing here: the first leave the
        day as it was, the second are no surface of the dwelling.
    """
    visit = survey.visit(visit_id)
    earlier = [v for v in survey.visits if v.started_at <= visit.started_at]
    done_ids = {name for v in earlier for name in v.done_action_ids}
    for action in survey.actions:
        if action.id in done_ids:
            survey = _after(survey, action)
    return survey


def _after(survey: Survey, action: Action) -> Survey:
    if action.kind in GONE:
        return replace(survey, emitters=tuple(e for e in survey.emitters if e.id not in action.emitter_ids))
    if action.kind in WEAKER or (action.kind is ActionKind.RELOCATE_EMITTER and action.position is not None):
        return replace(survey, emitters=tuple(_changed(e, action) for e in survey.emitters))
    if action.kind is ActionKind.MOVE_PLACE and action.position is not None:
        return replace(survey, places=tuple(_moved(p, action) for p in survey.places))
    if action.kind in (ActionKind.SHIELD_SURFACE, ActionKind.CLOSE_OPENING):
        return replace(survey, dwelling=_built(survey.dwelling, action))
    return survey


def _changed(emitter: Emitter, action: Action) -> Emitter:
    if emitter.id not in action.emitter_ids:
        return emitter
    if action.kind is ActionKind.RELOCATE_EMITTER:
        return replace(emitter, position=action.position)
    if emitter.eirp_w is None:
        return emitter
    return replace(emitter, eirp_w=emitter.eirp_w * 10.0 ** (-action.reduction_db / 10.0))


def _moved(place: Place, action: Action) -> Place:
    return replace(place, position=action.position) if place.id == action.place_id else place


def _built(dwelling: Dwelling, action: Action) -> Dwelling:
    for surface in action.surfaces:
        walls = tuple(_wall(w, surface, action) if w.id == surface.surface_id else w for w in dwelling.walls)
        slabs = tuple(_slab(s, surface, action) if s.id == surface.surface_id else s for s in dwelling.slabs)
        dwelling = replace(dwelling, walls=walls, slabs=slabs)
    return dwelling


def _wall(wall: Wall, surface: SurfaceRef, action: Action) -> Wall:
    if action.sheet is not None:
        return replace(wall, shields=(*wall.shields, _fitted(action.sheet, surface, action)))
    return replace(wall, openings=tuple(_closed(o, surface) for o in wall.openings))


def _slab(slab: Slab, surface: SurfaceRef, action: Action) -> Slab:
    if action.sheet is None:
        return slab
    return replace(slab, shields=(*slab.shields, _fitted(action.sheet, surface, action)))


def _fitted(sheet: ShieldSheet, surface: SurfaceRef, action: Action) -> FittedShield:
    part = ShieldPart.OPENINGS if action.kind is ActionKind.CLOSE_OPENING else surface.part
    return FittedShield(sheet, part, surface.opening_ids, action.coverage)


def _closed(opening: Opening, surface: SurfaceRef) -> Opening:
    return replace(opening, layers=CLOSED_WITH) if opening.id in (surface.opening_ids or (opening.id,)) else opening
