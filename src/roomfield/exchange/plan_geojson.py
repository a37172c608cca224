"""Plans as GeoJSON (RFC 7946): lines are walls or openings, polygons are rooms.

Members of ``properties`` that are read, all optional:

- ``kind``: ``wall``, ``room``, ``window``, ``door`` or ``gap``; a line without it is a wall, a polygon a room
- ``name``: of a room
- ``material`` and ``thickness_m``: of a wall or opening
- ``build_up``: several of them, such as ``brick 0.24 + plasterboard 0.0125``
- ``exterior``: true or false, of a wall
- ``sill_m`` and ``head_m``: of an opening, above the floor
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

import shapely
from pydantic_core import from_json as parse
from shapely.geometry.base import BaseGeometry

from roomfield.errors import FormatError
from roomfield.exchange.material_names import known_layers
from roomfield.exchange.plan_drawing import (
    MOST_PARTS,
    DrawnOpening,
    DrawnRoom,
    DrawnWall,
    PlanDrawing,
    PlanOptions,
    PlanParts,
    assemble,
)
from roomfield.regular_files import whole_file
from roomfield.survey.dwelling import OpeningKind, Point2

Coordinates = Literal["metres", "degrees"]
_MOST_BYTES = 64 * 2**20
_EQUATOR_RADIUS_M = 6_378_137.0
_FLATTENING = 1 / 298.257223563
_KINDS = ("wall", "room", "window", "door", "gap")


def read_geojson_plan(path: Path, *, coordinates: Coordinates, options: PlanOptions | None = None) -> PlanParts:
    """A storey from a GeoJSON file.

    Parameters
    ----------
    coordinates : str
        ``metres`` on a plan of its own, or ``degrees`` of longitude and latitude as RFC 7946 has it; a file
        does not say which, so the user must.
    options : PlanOptions, optional
        What the drawing does not say.

    Raises
    ------
    FormatError
        If it is no GeoJSON, a feature is wrong (named by its number), or its size cannot be that of a dwelling.
    """
    content = file_content(path)
    features = list(features_of(content, path.name))
    to_plan = plane_around(features, path.name) if coordinates == "degrees" else as_metres
    drawing = PlanDrawing()
    for number, feature in enumerate(features, 1):
        draw_feature(feature, drawing, to_plan, f"{path.name}: feature {number}")
    if coordinates == "degrees":
        drawing.remarks.append("plan north is true north.")
    return assemble(drawing, options or PlanOptions(), path.name)


def file_content(path: Path) -> bytes:
    """Bytes of a file of bounded size; errors as `read_geojson_plan`."""
    return whole_file(path, _MOST_BYTES, "Take out what is not needed.")


def features_of(content: bytes, where: str) -> Iterator[Mapping[str, Any]]:
    """Features with a geometry, of a FeatureCollection or alone.

    Parameters
    ----------
    content : bytes
        A GeoJSON file.
    where : str
        Its name, for the message.
    """
    try:
        whole = parse(content)
    except ValueError as fault:
        raise FormatError(f"it is no JSON ({fault}).", where=where, mend="Choose a GeoJSON file.") from None
    kind = whole.get("type") if isinstance(whole, dict) else None
    found = whole.get("features") if kind == "FeatureCollection" else [whole] if kind == "Feature" else None
    if not isinstance(found, list) or not found:
        raise FormatError("it holds no features.", where=where, mend="Choose a GeoJSON file with a FeatureCollection.")
    if len(found) > MOST_PARTS:
        raise FormatError(
            f"it holds more than {MOST_PARTS} features.", where=where, mend="Take out what is not needed."
        )
    for number, feature in enumerate(found, 1):
        if not isinstance(feature, dict) or not isinstance(feature.get("geometry"), dict):
            raise FormatError(
                "it has no geometry.", where=f"{where}: feature {number}", mend="Correct it, or take it out."
            )
        yield feature


def _lines(geometry: Mapping[str, Any], where: str) -> list[tuple[str, list[Point2]]]:
    """Lines and rings of a geometry, each with what it is."""
    kind, inside = geometry.get("type"), geometry.get("coordinates")
    if kind == "LineString":
        return [("line", _points(inside, where))]
    if kind == "MultiLineString" and isinstance(inside, list):
        return [("line", _points(line, where)) for line in inside]
    if kind == "Polygon" and isinstance(inside, list) and inside:
        return [("ring", _points(inside[0], where))]
    if kind == "MultiPolygon" and isinstance(inside, list) and all(isinstance(p, list) and p for p in inside):
        return [("ring", _points(polygon[0], where)) for polygon in inside]
    raise FormatError(
        f"a geometry of type {str(kind)[:40]!r} is not used.", where=where, mend="Give lines and polygons."
    )


def _points(value: object, where: str) -> list[Point2]:
    if not isinstance(value, list) or not 2 <= len(value) <= MOST_PARTS:
        raise FormatError("its coordinates are no line.", where=where, mend="Correct it, or take it out.")
    points = []
    for pair in value:
        if not isinstance(pair, list) or len(pair) < 2 or not all(_is_number(n) for n in pair[:2]):
            raise FormatError(f"{str(pair)[:40]} is no position.", where=where, mend="Give x and y as numbers.")
        points.append((float(pair[0]), float(pair[1])))
    return points


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def feature_of(shape: BaseGeometry, properties: Mapping[str, Any]) -> dict[str, Any]:
    """A shape with its properties as GeoJSON has them, heights left out.

    Parameters
    ----------
    shape : Shapely geometry
    properties : mapping
        By name.
    """
    return {"geometry": parse(shapely.to_geojson(shapely.force_2d(shape))), "properties": properties}


def as_metres(point: Point2) -> Point2:
    """A point of a plan drawn in metres, as it is."""
    return point


def plane_around(features: Sequence[Mapping[str, Any]], where: str) -> Callable[[Point2], Point2]:
    """Metres east and north of the middle, on the WGS 84 ellipsoid (radii of curvature there).

    Parameters
    ----------
    features : sequence of mappings
        With their geometry in degrees.
    where : str
        Name of the file, for messages.
    """
    all_points = [
        p for i, f in enumerate(features, 1) for _, line in _lines(f["geometry"], f"{where}: feature {i}") for p in line
    ]
    if any(abs(lon) > 180 or abs(lat) > 89 for lon, lat in all_points):
        raise FormatError("its coordinates are no degrees.", where=where, mend="Say that they are metres.")
    lon_0 = sum(lon for lon, _ in all_points) / len(all_points)
    lat_0 = sum(lat for _, lat in all_points) / len(all_points)
    east_m, north_m = metres_per_degree(lat_0)
    return lambda point: ((point[0] - lon_0) * east_m, (point[1] - lat_0) * north_m)


def metres_per_degree(latitude_deg: float) -> tuple[float, float]:
    """Length of one degree of longitude and of latitude on the WGS 84 ellipsoid [m].

    Radii of curvature in the prime vertical and in the meridian (NIMA TR8350.2, 3rd edition, from memory).

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude [deg].
    """
    squared = _FLATTENING * (2 - _FLATTENING)
    latitude = math.radians(latitude_deg)
    root = math.sqrt(1 - squared * math.sin(latitude) ** 2)
    prime_vertical_m = _EQUATOR_RADIUS_M / root
    meridian_m = _EQUATOR_RADIUS_M * (1 - squared) / root**3
    return math.radians(prime_vertical_m * math.cos(latitude)), math.radians(meridian_m)


def draw_feature(
    feature: Mapping[str, Any], drawing: PlanDrawing, to_plan: Callable[[Point2], Point2], where: str
) -> None:
    """Put one feature into a drawing.

    Parameters
    ----------
    feature : mapping
        With ``geometry`` and ``properties``, as GeoJSON has them.
    drawing : PlanDrawing
        Gets its walls, rooms and openings.
    to_plan : callable
        From its coordinates to metres.
    where : str
        What it is, for messages.

    Raises
    ------
    FormatError
        If it cannot be used.
    """
    properties = feature.get("properties") or {}
    if not isinstance(properties, dict):
        raise FormatError("its properties are no object.", where=where, mend="Correct it.")
    kind = properties.get("kind")
    if kind is not None and kind not in _KINDS:
        raise FormatError(
            f"the kind {str(kind)[:40]!r} is not known.", where=where, mend=f"Choose one of: {', '.join(_KINDS)}."
        )
    layers = known_layers(_build_up(properties, where), drawing.remarks)
    for form, line in _lines(feature["geometry"], where):
        points = [to_plan(point) for point in line]
        if form == "ring" and kind in (None, "room"):
            drawing.rooms.append(_room(points, str(properties.get("name") or "")[:80], where))
        elif kind in ("window", "door", "gap"):
            sill_m, head_m = _height(properties, "sill_m", where), _height(properties, "head_m", where)
            drawing.openings.append(DrawnOpening(OpeningKind(kind), points[0], points[-1], layers, sill_m, head_m))
        else:
            exterior = properties.get("exterior")
            side = exterior if isinstance(exterior, bool) else None
            drawing.walls += [DrawnWall(a, b, layers, side) for a, b in pairwise(points)]


def _room(points: list[Point2], name: str, where: str) -> DrawnRoom:
    outline = tuple(points[:-1] if points[0] == points[-1] else points)
    if len(outline) < 3:
        raise FormatError("a room needs at least three corners.", where=where, mend="Correct it, or take it out.")
    return DrawnRoom(outline, name)


def _build_up(properties: Mapping[str, Any], where: str) -> list[tuple[str, float]]:
    """Materials with thicknesses [m]: one with ``thickness_m``, or several in ``build_up``."""
    several = properties.get("build_up")
    named: list[tuple[object, object]]
    if isinstance(several, str) and several.strip():
        parts = [part.strip().rpartition(" ") for part in several.split("+")]
        named = [(name, thickness_m) for name, _, thickness_m in parts]
    elif properties.get("material") is None:
        return []
    else:
        named = [(properties["material"], properties.get("thickness_m"))]
    return [_layer(name, thickness_m, where) for name, thickness_m in named]


def _layer(name: object, thickness_m: object, where: str) -> tuple[str, float]:
    try:
        thick = float(thickness_m) if _is_number(thickness_m) or isinstance(thickness_m, str) else 0.0  # type: ignore[arg-type]
    except ValueError:
        thick = 0.0
    if not isinstance(name, str) or not name.strip() or not 0 < thick < 5:
        raise FormatError("a material needs a thickness_m in metres.", where=where, mend="Give both.")
    return name.strip(), thick


def _height(properties: Mapping[str, Any], name: str, where: str) -> float | None:
    value = properties.get(name)
    if value is None:
        return None
    if not _is_number(value):
        raise FormatError(f"{name} is no number.", where=where, mend="Give it in metres above the floor.")
    return float(value)
