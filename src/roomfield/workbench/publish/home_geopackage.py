"""A home as layers of a GeoPackage: rooms, walls, what is in them, places with their levels, transmitters, the map."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from roomfield.errors import TooEarlyError
from roomfield.exchange.geopackage_out import DrawnLayer, write_geopackage
from roomfield.field.map import LevelMap
from roomfield.show.trade_units import MICROWATT_M2
from roomfield.survey import Survey
from roomfield.survey.dwelling import Layer, Opening, OpeningKind, Wall
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.plain_values import PlaceRow, place_rows

_OF_OPENINGS = {OpeningKind.WINDOW: "windows", OpeningKind.DOOR: "doors", OpeningKind.GAP: "gaps"}


def write_home(target: str | Path, survey: Survey, visit_id: str | None, cells: LevelMap | None = None) -> Path:
    """Write a home with what was found in it; `roomfield plan` reads its plan again.

    Parameters
    ----------
    target : str or Path
        Ends in ``.gpkg``.
    survey : Survey
        With a plan.
    visit_id : str or None
        The visit whose levels stand at the places; the first one if None.
    cells : LevelMap, optional
        The map of a storey.

    Raises
    ------
    StoreError
        If the file cannot be written.
    MissingExtraError
        If the library is not installed.
    """
    return write_geopackage(Path(target), home_layers(survey, visit_id, cells))


def home_layers(survey: Survey, visit_id: str | None, cells: LevelMap | None = None) -> tuple[DrawnLayer, ...]:
    """The layers; parameters as `write_home`.

    Parameters
    ----------
    survey : Survey
        With a plan.
    """
    storeys = {storey.id: storey.name for storey in survey.dwelling.storeys}
    rooms = survey.dwelling.rooms
    walls = survey.dwelling.walls
    layers = [
        DrawnLayer(
            "rooms",
            "Polygon",
            [Polygon(room.outline) for room in rooms],
            {"name": [room.name for room in rooms], "storey": [storeys.get(room.storey_id, "") for room in rooms]},
        ),
        DrawnLayer(
            "walls",
            "LineString",
            [LineString((wall.start, wall.end)) for wall in walls],
            {
                "storey": [storeys.get(wall.storey_id, "") for wall in walls],
                "exterior": [wall.exterior for wall in walls],
                "build_up": [_build_up(wall.layers) for wall in walls],
                "base_m": [wall.base_m for wall in walls],
                "top_m": [wall.top_m for wall in walls],
            },
        ),
        *(_openings(survey, kind, name) for kind, name in _OF_OPENINGS.items()),
        _places(survey, visit_id),
        _transmitters(survey),
    ]
    return (*layers, _cells(cells)) if cells is not None else tuple(layers)


def _build_up(layers: Sequence[Layer]) -> str | None:
    return " + ".join(f"{one.material} {one.thickness_m:g}" for one in layers) or None


def _openings(survey: Survey, kind: OpeningKind, name: str) -> DrawnLayer:
    floors = {storey.id: storey.floor_m for storey in survey.dwelling.storeys}
    storeys = {storey.id: storey.name for storey in survey.dwelling.storeys}
    found = [(wall, one) for wall in survey.dwelling.walls for one in wall.openings if one.kind is kind]
    return DrawnLayer(
        name,
        "LineString",
        [_stretch(wall, one) for wall, one in found],
        {
            "storey": [storeys.get(wall.storey_id, "") for wall, _ in found],
            "build_up": [_build_up(one.layers) for _, one in found],
            "sill_m": [round(one.sill_m - floors.get(wall.storey_id, 0.0), 4) for wall, one in found],
            "head_m": [round(one.head_m - floors.get(wall.storey_id, 0.0), 4) for wall, one in found],
        },
    )


def _stretch(wall: Wall, opening: Opening) -> LineString:
    line = LineString((wall.start, wall.end))
    return LineString((line.interpolate(opening.start_m), line.interpolate(opening.end_m)))


def _places(survey: Survey, visit_id: str | None) -> DrawnLayer:
    """Places that stand on the plan, with what was found there [µW/m²]; kinds side by side, never mixed."""
    placed = [place for place in survey.places if place.position is not None]
    rows = {(row.place_id, row.kind): row for row in _levels(survey, visit_id)}
    columns: dict[str, list[Any]] = {"name": [p.name for p in placed], "use": [p.kind.value for p in placed]}
    for kind in sorted({kind for _, kind in rows}):
        found = [rows.get((place.id, kind)) for place in placed]
        for end in ("low", "median", "high"):
            columns[f"{kind}_{end}_uW_m2"] = [_microwatts(one, f"{end}_w_m2") for one in found]
        columns[f"{kind}_censoring"] = [one.censoring if one else None for one in found]
        columns[f"{kind}_outcome"] = [one.outcome if one else None for one in found]
    return DrawnLayer("places", "Point Z", [Point(place.position) for place in placed], columns)


def _levels(survey: Survey, visit_id: str | None) -> tuple[PlaceRow, ...]:
    try:
        return place_rows(assess(survey, visit_id))
    except TooEarlyError:
        return ()


def _microwatts(row: PlaceRow | None, name: str) -> float | None:
    """An end that is open stays empty."""
    value = None if row is None else getattr(row, name)
    return None if value is None or not math.isfinite(value) else MICROWATT_M2.shown(value)


def _transmitters(survey: Survey) -> DrawnLayer:
    placed = [one for one in survey.emitters if one.position is not None]
    return DrawnLayer(
        "transmitters",
        "Point Z",
        [Point(one.position) for one in placed],
        {
            "name": [one.name for one in placed],
            "technology": [one.technology or None for one in placed],
            "frequency_hz": [one.frequency_hz for one in placed],
            "eirp_w": [one.eirp_w for one in placed],
            "outdoor": [one.outdoor for one in placed],
        },
    )


def _cells(found: LevelMap) -> DrawnLayer:
    half = found.step_m / 2.0
    inside = np.argwhere(np.isfinite(found.mean_db))
    shapes: list[BaseGeometry] = []
    columns: dict[str, list[Any]] = {"mean_db_w_m2": [], "std_db": []}
    if found.probability_over_bound is not None:
        columns["probability_over_bound"] = []
    for row, column in inside:
        x, y = float(found.x_m[column]), float(found.y_m[row])
        shapes.append(box(x - half, y - half, x + half, y + half))
        columns["mean_db_w_m2"].append(round(float(found.mean_db[row, column]), 3))
        columns["std_db"].append(round(float(found.std_db[row, column]), 3))
        if found.probability_over_bound is not None:
            columns["probability_over_bound"].append(round(float(found.probability_over_bound[row, column]), 4))
    return DrawnLayer("cells", "Polygon", shapes, columns)
