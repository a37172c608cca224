"""Plans from a GeoPackage: layers of lines and polygons with the attributes that `plan_geojson` reads.

What a layer is called says what is in it where the attribute ``kind`` does not: ``rooms``, ``walls``, ``windows``,
``doors`` or ``gaps``. Layers of points are no plan and are left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError, InputError
from roomfield.exchange.names import plain
from roomfield.exchange.plan_drawing import MOST_PARTS, PlanDrawing, PlanOptions, PlanParts, assemble
from roomfield.exchange.plan_geojson import as_metres, draw_feature, feature_of, plane_around
from roomfield.table_files.geopackage import FeatureLayer, layer_names, read_layer

_KINDS = {"rooms": "room", "walls": "wall", "windows": "window", "doors": "door", "gaps": "gap"}
_NO_PLAN = ("Point", "MultiPoint")
_CELLS = "cells"
"""Layer of a map, written by `roomfield map`: cells are no rooms."""


def read_geopackage_plan(path: Path, *, options: PlanOptions | None = None) -> PlanParts:
    """A storey from a GeoPackage.

    Parameters
    ----------
    path : Path
        The file. Layers in a reference system of the Earth become metres around their middle, true north up; others
        are in metres as they are.
    options : PlanOptions, optional
        What it does not say. If its features name several storeys, ``storey_name`` says which is read.

    Raises
    ------
    FormatError
        If it is no GeoPackage, a feature is wrong, or its size cannot be that of a dwelling.
    InputError
        If it holds several storeys and none of them is named, or layers on the Earth and layers that are not.
    """
    given = options or PlanOptions()
    layers = [read_layer(path, name) for name in layer_names(path) if name != _CELLS]
    features = _of_storey(list(_features(layers, path.name)), given.storey_name, path.name)
    if len(features) > MOST_PARTS:
        raise FormatError(
            f"it holds more than {MOST_PARTS} features.", where=path.name, mend="Take out what is not needed."
        )
    on_earth = {layer.on_earth for layer in layers}
    if len(on_earth) > 1:
        raise InputError(
            "some layers lie on the Earth and some do not.", where=path.name, mend="Save them in one reference system."
        )
    told = [feature for _, feature in features]
    to_plan = plane_around(told, path.name) if True in on_earth and told else as_metres
    drawing = PlanDrawing()
    for where, feature in features:
        draw_feature(feature, drawing, to_plan, where)
    if True in on_earth:
        drawing.remarks.append("plan north is true north.")
    return assemble(drawing, given, path.name)


def _features(layers: list[FeatureLayer], where: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Lines and polygons, each with where it stands, as GeoJSON has them."""
    for layer in layers:
        usual = _KINDS.get(plain(layer.name))
        for line, shape, row in layer.named_rows():
            if shape is None or shape.is_empty or shape.geom_type in _NO_PLAN:
                continue
            properties = {name: value for name, value in row.items() if value != ""}
            if usual:
                properties.setdefault("kind", usual)
            yield f"{where}: layer {layer.name}, feature {line}", feature_of(shape, properties)


def _of_storey(
    features: list[tuple[str, Mapping[str, Any]]], wanted: str, where: str
) -> list[tuple[str, Mapping[str, Any]]]:
    """Features of the storey that is wanted; all of them if they name no more than one."""
    names = sorted({str(one["properties"].get("storey", "")) for _, one in features} - {""})
    if len(names) < 2:
        return features
    if wanted not in names:
        raise InputError(
            f"it holds several storeys: {', '.join(names)}.", where=where, mend="Name the storey that is wanted."
        )
    return [(said, one) for said, one in features if one["properties"].get("storey", wanted) == wanted]
