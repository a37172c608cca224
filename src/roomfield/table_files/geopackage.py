"""Layers of a GeoPackage (OGC 12-128r19): features with their attributes, as drawings and as rows of a table.

What lies on the Earth, in any reference system, comes as longitude and latitude (WGS 84); what is drawn in a system of
its own, or in none, comes in metres as it is.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.extras import library
from roomfield.table_files.headings import plain_heading
from roomfield.table_files.workbook import MOST_COLUMNS, MOST_ROWS, too_large

pyogrio = library("pyogrio", "geo")
raw = library("pyogrio.raw", "geo")
pyproj = library("pyproj", "geo")

BEGINS_WITH = b"SQLite format 3\0"
"""First bytes of the file: a GeoPackage is an SQLite database."""
_ON_EARTH, _ON_A_PLAN = ("latitude", "longitude"), ("x [m]", "y [m]", "z [m]")


@dataclass(frozen=True)
class FeatureLayer:
    """One layer.

    Parameters
    ----------
    name : str
        Its name.
    others : tuple of str
        Layers of the file that were not read.
    fields : tuple of str
        Names of the attributes.
    rows : list of lists of cells
        Attributes by feature; an empty text for nothing.
    shapes : list of geometries
        By feature, None where one has none; degrees of longitude and latitude if ``on_earth``, else metres.
    lines : list of int
        Numbers of the features in the file.
    on_earth : bool
        True if the layer names a reference system of the Earth.
    """

    name: str
    others: tuple[str, ...]
    fields: tuple[str, ...]
    rows: list[list[Any]]
    shapes: list[BaseGeometry | None]
    lines: list[int]
    on_earth: bool

    def numbered(self) -> list[int]:
        """Lines of a table of this layer: one for the headings, then the numbers of the features."""
        return [min(self.lines, default=1) - 1, *self.lines]

    def named_rows(self) -> Iterator[tuple[int, BaseGeometry | None, dict[str, Any]]]:
        """Number, geometry, and attributes by name of each feature."""
        for line, shape, row in zip(self.lines, self.shapes, self.rows, strict=True):
            yield line, shape, dict(zip(self.fields, row, strict=True))


def layer_names(path: Path) -> tuple[str, ...]:
    """Layers of a file that hold features.

    Raises
    ------
    FormatError
        If it is no GeoPackage, or holds none.
    MissingExtraError
        If the library is not installed.
    """
    listed = _asked(path, lambda: pyogrio.list_layers(path))
    names = tuple(str(name) for name, form in listed if form is not None)
    if not names:
        raise FormatError("it holds no layer of features.", where=path.name, mend="Choose another GeoPackage.")
    return names


def read_layer(path: Path, layer: str = "") -> FeatureLayer:
    """One layer of a GeoPackage.

    Parameters
    ----------
    path : Path
        The file.
    layer : str
        Its name; the first one if empty.

    Raises
    ------
    FormatError
        If it is no GeoPackage, or too large.
    InputError
        If its reference system cannot be brought to longitude and latitude.
    UnknownNameError
        If there is no such layer.
    """
    names = layer_names(path)
    if layer and layer not in names:
        raise UnknownNameError("layer", layer, names, where=path.name)
    chosen = layer or names[0]
    about = _asked(path, lambda: pyogrio.read_info(path, layer=chosen, force_feature_count=True))
    if about["features"] > MOST_ROWS or len(about["fields"]) > MOST_COLUMNS:
        raise too_large(path.name)
    meta, numbers, shapes, columns = _asked(path, lambda: raw.read(path, layer=chosen, return_fids=True))
    drawn = list(shapely.from_wkb(shapes)) if shapes is not None else [None] * len(numbers)
    turn = _to_degrees(meta["crs"], path.name)
    return FeatureLayer(
        chosen,
        tuple(name for name in names if name != chosen),
        tuple(str(name) for name in meta["fields"]),
        [[_cell(value) for value in row] for row in zip(*columns, strict=True)] if columns else [[] for _ in numbers],
        [shape if shape is None or turn is None else shapely.transform(shape, turn) for shape in drawn],
        [int(number) for number in numbers],
        turn is not None,
    )


def points_as_rows(layer: FeatureLayer, where: str) -> list[list[Any]]:
    """Points with their attributes as rows below a line of headings.

    Parameters
    ----------
    layer : FeatureLayer
        From `read_layer`.
    where : str
        Name of the file, for the message.

    Raises
    ------
    FormatError
        If a feature is no point.
    """
    heads = _ON_EARTH if layer.on_earth else _ON_A_PLAN
    own = {plain_heading(head.partition(" [")[0]) for head in heads}
    kept = [at for at, name in enumerate(layer.fields) if plain_heading(name) not in own]
    rows: list[list[Any]] = [[*heads, *(layer.fields[at] for at in kept)]]
    for line, shape, row in zip(layer.lines, layer.shapes, layer.rows, strict=True):
        rows.append([*_coordinates(shape, line, layer, where), *(row[at] for at in kept)])
    return rows


def _coordinates(shape: BaseGeometry | None, line: int, layer: FeatureLayer, where: str) -> Sequence[float]:
    if shape is None or shape.geom_type != "Point" or shape.is_empty:
        raise FormatError(
            f"feature {line} of the layer {layer.name!r} is no point.",
            where=where,
            mend="Name a layer of points.",
        )
    x, y, *z = shape.coords[0]
    return (y, x) if layer.on_earth else (x, y, z[0] if z else 0.0)


def _asked(path: Path, call: Any) -> Any:
    """What the library answers about a file, its faults told as ours."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return call()
    except (ValueError, RuntimeError) as fault:
        reason = " ".join(str(fault).split())[:200]
        raise FormatError(
            f"it is no readable GeoPackage ({reason}).", where=path.name, mend="Save it again as GeoPackage."
        ) from None


def _to_degrees(system: str | None, where: str) -> Any:
    """What brings coordinates to longitude and latitude; None for a drawing in metres of its own."""
    if not system:
        return None
    try:
        found = pyproj.CRS.from_user_input(system)
        if not (found.is_geographic or found.is_projected or found.is_compound or found.is_bound):
            return None
        moved = pyproj.Transformer.from_crs(found, "EPSG:4326", always_xy=True)
    except pyproj.exceptions.ProjError as fault:
        raise InputError(
            f"its reference system cannot be brought to longitude and latitude ({' '.join(str(fault).split())[:120]}).",
            where=where,
            mend="Save it in WGS 84 (EPSG:4326).",
        ) from None

    def turn(points: np.ndarray) -> np.ndarray:
        return np.stack(moved.transform(points[:, 0], points[:, 1]), axis=1)

    return turn


def _cell(value: Any) -> Any:
    """A value as a cell: numbers, truth values, moments and text; an empty text for nothing."""
    if value is None or (isinstance(value, float | np.floating) and np.isnan(value)):
        return ""
    if isinstance(value, np.datetime64):
        return "" if np.isnat(value) else value.astype("datetime64[us]").astype(datetime)
    plain = value.item() if isinstance(value, np.generic) else value
    return plain if isinstance(plain, bool | int | float | str | datetime) else str(plain)
