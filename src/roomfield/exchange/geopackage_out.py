"""Layers written as a GeoPackage (OGC 12-128r19): a plan and what was found on it, in metres of the plan."""

from __future__ import annotations

import os
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from roomfield.errors import StoreError
from roomfield.extras import library

raw = library("pyogrio.raw", "geo")

PLAN_SYSTEM = (
    'ENGCRS["roomfield plan",EDATUM["plan"],CS[Cartesian,2],AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
)
"""Metres on the plan, x east and y plan north; the place of the home on Earth does not follow from it."""


@dataclass(frozen=True)
class DrawnLayer:
    """One layer to be written.

    Parameters
    ----------
    name : str
        Of the layer.
    form : str
        ``Point Z``, ``LineString`` or ``Polygon``.
    shapes : sequence of geometries
        In metres of the plan.
    columns : mapping of str to sequence
        Text, numbers (None where there is none) or truth values by name, each as long as ``shapes``.
    """

    name: str
    form: str
    shapes: Sequence[BaseGeometry]
    columns: Mapping[str, Sequence[Any]]


def write_geopackage(path: Path, layers: Sequence[DrawnLayer]) -> Path:
    """Write layers into a new file, in one step; a file of this name is replaced once the new one is whole.

    Parameters
    ----------
    path : Path
        Ends in ``.gpkg``.
    layers : sequence of DrawnLayer
        Those without features are left out.

    Raises
    ------
    StoreError
        If the file cannot be written.
    MissingExtraError
        If the library is not installed.
    """
    part = path.with_name(f".{path.stem}.part.gpkg")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        for layer in layers:
            if layer.shapes:
                _write(part, layer)
        os.replace(part, path)
    except (OSError, RuntimeError) as fault:
        reason = getattr(fault, "strerror", None) or " ".join(str(fault).split())[:200]
        raise StoreError(f"it cannot be written ({reason}).", where=path.name, mend="Check the folder.") from None
    finally:
        part.unlink(missing_ok=True)
    return path


def _write(part: Path, layer: DrawnLayer) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        raw.write(
            part,
            np.array(shapely.to_wkb(list(layer.shapes), output_dimension=3 if "Z" in layer.form else 2), dtype=object),
            [_column(values) for values in layer.columns.values()],
            list(layer.columns),
            layer=layer.name,
            driver="GPKG",
            geometry_type=layer.form,
            crs=PLAN_SYSTEM,
            append=part.exists(),
        )


def _column(values: Sequence[Any]) -> np.ndarray:
    """An array of one type: truth values, numbers, or text."""
    said = [value for value in values if value is not None]
    if said and all(isinstance(value, bool) for value in said):
        return np.array(values, dtype=bool)
    if said and all(isinstance(value, int | float) for value in said):
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    return np.array([None if value is None else str(value) for value in values], dtype=object)
