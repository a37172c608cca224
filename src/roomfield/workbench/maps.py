"""The map of a storey as a drawing, and where unknown transmitters are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from roomfield.field.design import measure_next
from roomfield.field.locate import Located, Whereabouts, locate
from roomfield.field.map import level_map
from roomfield.quantities import Kind
from roomfield.report.figures.level_map import level_map as map_drawing
from roomfield.report.words import load_words
from roomfield.survey import Point3, Survey
from roomfield.workbench.contents.model import storey_grid
from roomfield.workbench.understand import posterior_of

STEP_M = 0.4


@dataclass(frozen=True)
class StoreyMap:
    """A map ready to be shown.

    Parameters
    ----------
    svg : str
        Contour map with labels in dB re 1 µW/m², hatched where it is unsure.
    median_std_db : float
        Standard deviation in the middle of its distribution over the storey [dB].
    where_next : (float, float, float) or None
        Where a reading would narrow the map most [m].
    """

    svg: str
    median_std_db: float
    where_next: Point3 | None


@dataclass(frozen=True)
class NextReading:
    """Where a reading would narrow the levels at the places most.

    Parameters
    ----------
    storey, room : str
        Names of the storey and of the room, if it lies in one.
    std_now_db, std_then_db : float
        Mean standard deviation over the places before and after [dB].
    """

    position: Point3
    storey: str
    room: str
    std_now_db: float
    std_then_db: float


@lru_cache(maxsize=32)
def storey_map(survey: Survey, visit_id: str, storey_id: str, kind: str = "peak", language: str = "en") -> StoreyMap:
    """The map of one storey with everything on.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str
        The visit whose readings are used.
    storey_id : str
        The storey.
    kind : str
        ``peak``, ``max_hold`` or ``average``.
    language : str
        ``en`` or ``de``.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from.
    UnknownNameError
        If there is no such storey.
    """
    found = level_map(posterior_of(survey, visit_id), storey_id, step_m=STEP_M, kind=Kind(kind))
    return StoreyMap(
        map_drawing(storey_grid(survey, storey_id, found), load_words(language)),
        float(np.nanmedian(found.std_db)) if np.isfinite(found.std_db).any() else 0.0,
        found.where_next,
    )


def next_readings(survey: Survey, visit_id: str) -> tuple[NextReading, ...]:
    """The three points worth measuring next for the levels at the places."""
    return tuple(
        NextReading(point.position, *_room_at(survey, point.position), point.std_now_db, point.std_then_db)
        for point in measure_next(posterior_of(survey, visit_id), count=3)
    )


def sought(survey: Survey, visit_id: str) -> tuple[tuple[str, Located], ...]:
    """Names and whereabouts of emitters without a position on the plan."""
    posterior = posterior_of(survey, visit_id)
    return tuple(
        (emitter.name, located)
        for emitter in survey.emitters
        if emitter.position is None
        and (located := locate(posterior, emitter.id)).whereabouts is not Whereabouts.RECORDED
    )


def _room_at(survey: Survey, position: Point3) -> tuple[str, str]:
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
