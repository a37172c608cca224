"""The map of a storey as a drawing, and where unknown transmitters are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from roomfield.errors import InputError
from roomfield.field.design import measure_next
from roomfield.field.export import MAP_COLUMNS, map_to_csv, map_to_geojson, map_to_geotiff, map_to_netcdf
from roomfield.field.locate import Located, Whereabouts, locate
from roomfield.field.map import LevelMap, level_map
from roomfield.quantities import Kind
from roomfield.show.csv_metadata import column_of, metadata_bytes, metadata_path
from roomfield.show.figures.level_map import level_map as map_drawing
from roomfield.show.words import load_words
from roomfield.survey import Point3, Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.publish.contents.model_answers import storey_grid, whereabouts_of
from roomfield.workbench.publish.contents.plan_figures import room_at
from roomfield.workbench.publish.home_geopackage import write_home

STEP_M = 0.4
MAP_FORMATS = (".svg", ".csv", ".geojson", ".gpkg", ".tif", ".nc")


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


@dataclass(frozen=True)
class MapOrder:
    """What a map is to show.

    Parameters
    ----------
    step_m : float
        Edge of a cell [m].
    bound_w_m2 : float or None
        Also give the probability of exceeding this [W/m²].
    language : str
        Of a drawing, ``en`` or ``de``.
    """

    kind: Kind = Kind.PEAK
    step_m: float = 0.25
    bound_w_m2: float | None = None
    language: str = "en"


@in_turn
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
        ``peak``, ``highest_held`` or ``average``.
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
        map_drawing(storey_grid(survey, storey_id, found, visit_id), load_words(language), touched=True),
        float(np.nanmedian(found.std_db)) if np.isfinite(found.std_db).any() else 0.0,
        found.where_next,
    )


def ordered_map(survey: Survey, visit_id: str | None, storey_id: str, wanted: MapOrder) -> tuple[str, LevelMap]:
    """The map of one storey, and the storey's id; parameters as `write_map`.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from.
    """
    storey = storey_id or next((s.id for s in survey.dwelling.storeys), "")
    posterior = posterior_of(survey, visit_id)
    return storey, level_map(posterior, storey, step_m=wanted.step_m, kind=wanted.kind, bound_w_m2=wanted.bound_w_m2)


def write_map(survey: Survey, visit_id: str | None, storey_id: str, target: str | Path, wanted: MapOrder) -> Path:
    """Write the map of one storey; the ending of the name says in which form.

    Parameters
    ----------
    storey_id : str
        Id of the storey; the first one if empty.
    target : str or Path
        Ends in .svg, .csv, .geojson, .tif, .nc, or .gpkg: with the plan, the places and their levels.
    wanted : MapOrder
        Kind, grid and bound.

    Raises
    ------
    InputError
        If the ending is none of these.
    """
    path = Path(target)
    if path.suffix.lower() not in MAP_FORMATS:
        raise InputError(
            f"a map cannot be written as {path.suffix or 'a file without an ending'}.",
            where=path.name,
            mend=f"Choose a name that ends in {', '.join(MAP_FORMATS)}.",
        )
    storey, found = ordered_map(survey, visit_id, storey_id, wanted)
    if path.suffix.lower() == ".gpkg":
        return write_home(path, survey, visit_id, found)
    content = _map_bytes(survey, storey, found, path.suffix.lower(), wanted.language)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    if path.suffix.lower() == ".csv":
        columns = [column_of(heading) for heading in MAP_COLUMNS]
        title = f"{survey.title}: {wanted.kind.value.replace('_', ' ')} by cell of the map"
        metadata_path(path).write_bytes(metadata_bytes(path, title, columns))
    return path


def _map_bytes(survey: Survey, storey_id: str, found: LevelMap, ending: str, language: str) -> bytes:
    if ending == ".tif":
        return map_to_geotiff(found)
    if ending == ".nc":
        return map_to_netcdf(found)
    if ending == ".svg":
        return map_drawing(storey_grid(survey, storey_id, found), load_words(language)).encode("utf-8")
    text = map_to_csv(found) if ending == ".csv" else map_to_geojson(found)
    return text.encode("utf-8")


@in_turn
def next_readings(survey: Survey, visit_id: str) -> tuple[NextReading, ...]:
    """The three points worth measuring next for the levels at the places."""
    return tuple(
        NextReading(point.position, *room_at(survey, point.position), point.std_now_db, point.std_then_db)
        for point in measure_next(posterior_of(survey, visit_id), count=3)
    )


@in_turn
def sought(survey: Survey, visit_id: str) -> tuple[tuple[str, Located], ...]:
    """Names and whereabouts of emitters without a position on the plan."""
    posterior = posterior_of(survey, visit_id)
    return tuple(
        (emitter.name, located)
        for emitter in survey.emitters
        if emitter.position is None
        and (located := locate(posterior, emitter.id)).whereabouts is not Whereabouts.RECORDED
    )


@in_turn
def sought_in_words(survey: Survey, visit_id: str, language: str) -> tuple[tuple[str, Located, str], ...]:
    """Names, whereabouts, and the report's words for them, of emitters without a position on the plan."""
    rows = {emitter.name: row for row, emitter in enumerate(posterior_of(survey, visit_id).survey.emitters)}
    return tuple(
        (name, found, load_words(language).text(whereabouts_of(posterior_of(survey, visit_id), rows[name])))
        for name, found in sought(survey, visit_id)
    )
