"""Maps as CSV, GeoJSON, GeoTIFF and NetCDF."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
from numpy.typing import NDArray
from scipy.io import netcdf_file

from roomfield.extras import library
from roomfield.field.map import LevelMap

tifffile = library("tifffile", "science")

Array = NDArray[np.float64]
MAP_COLUMNS = ("x_m", "y_m", "z_m", "mean_db_w_m2", "std_db", "probability_over_bound")
NO_DATA = -9999.0
"""Written outside the storey."""
_PIXEL_SCALE, _TIE_POINT, _GEO_KEYS, _GEO_ASCII, _GDAL_NODATA = 33550, 33922, 34735, 34737, 42113
_CITATION = "roomfield plan, metres, x east, y plan north|"


def map_to_csv(level_map: LevelMap) -> str:
    """One row per cell inside the storey: x, y, z [m], mean and standard deviation [dB re 1 W/m²], probability."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(MAP_COLUMNS)
    for row, column in np.argwhere(np.isfinite(level_map.mean_db)):
        over = level_map.probability_over_bound
        writer.writerow([
            f"{level_map.x_m[column]:.3f}", f"{level_map.y_m[row]:.3f}", f"{level_map.z_m:.3f}",
            f"{level_map.mean_db[row, column]:.2f}", f"{level_map.std_db[row, column]:.2f}",
            "" if over is None else f"{over[row, column]:.3f}",
        ])  # fmt: skip
    return out.getvalue()


def map_to_geojson(level_map: LevelMap) -> str:
    """A feature per cell (polygon in plan metres) with level and probability.

    RFC 7946 wants longitude and latitude; a plan has none, so the coordinates are metres on the plan, as the
    member ``coordinates_note`` says.
    """
    half = level_map.step_m / 2.0
    features = []
    for row, column in np.argwhere(np.isfinite(level_map.mean_db)):
        x, y = float(level_map.x_m[column]), float(level_map.y_m[row])
        ring = [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half],
                [x - half, y - half]]  # fmt: skip
        over = level_map.probability_over_bound
        features.append({
            "type": "Feature",
            "geometry": {"type": "Polygon", "coordinates": [[[round(v, 4) for v in p] for p in ring]]},
            "properties": {
                "mean_db_w_m2": round(float(level_map.mean_db[row, column]), 2),
                "std_db": round(float(level_map.std_db[row, column]), 2),
                "probability_over_bound": None if over is None else round(float(over[row, column]), 3),
            },
        })  # fmt: skip
    document = {
        "type": "FeatureCollection",
        "coordinates_note": "metres on the plan: x east, y plan north",
        "storey": level_map.storey_id,
        "kind": level_map.kind.value,
        "bound_w_m2": level_map.bound_w_m2,
        "features": features,
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False)


def map_to_netcdf(level_map: LevelMap) -> bytes:
    """Mean, standard deviation and, if asked for, probability on the axes of the plan, for labelled arrays.

    NetCDF classic (OGC 10-092r3) with attributes after the CF conventions 1.8; cells outside the storey are missing.
    """
    out = io.BytesIO()
    file = netcdf_file(out, "w")
    file.Conventions, file.title = "CF-1.8", f"level map of storey {level_map.storey_id}"
    file.kind, file.height_m = level_map.kind.value, level_map.z_m
    for name, values in (("y", level_map.y_m), ("x", level_map.x_m)):
        file.createDimension(name, len(values))
        axis = file.createVariable(name, "d", (name,))
        axis[:] = values
        axis.units, axis.long_name = "m", {"x": "east on the plan", "y": "plan north"}[name]
    layers: dict[str, tuple[Array | None, str, str]] = {
        "mean_db": (level_map.mean_db, "dB re 1 W/m2", "expected level"),
        "std_db": (level_map.std_db, "dB", "standard deviation of the level"),
        "probability_over_bound": (level_map.probability_over_bound, "1", "probability of exceeding bound_w_m2"),
    }
    for name, (cells, unit, meaning) in layers.items():
        if cells is not None:
            layer = file.createVariable(name, "d", ("y", "x"))
            layer[:] = np.where(np.isfinite(cells), cells, NO_DATA)
            layer.units, layer.long_name, layer._FillValue = unit, meaning, NO_DATA
    if level_map.bound_w_m2 is not None:
        file.bound_w_m2 = level_map.bound_w_m2
    file.flush()
    return out.getvalue()


def map_to_geotiff(level_map: LevelMap) -> bytes:
    """Bands mean [dB re 1 W/m²], standard deviation [dB] and, if asked for, probability, north up.

    Tags after OGC GeoTIFF 1.1 (19-008r4): pixel scale, tie point and a user-defined projected system in metres.
    """
    bands = [level_map.mean_db, level_map.std_db]
    if level_map.probability_over_bound is not None:
        bands.append(level_map.probability_over_bound)
    raster = np.where(np.isfinite(np.stack(bands)), np.stack(bands), NO_DATA)[:, ::-1].astype(np.float32)
    step = level_map.step_m
    left, top = float(level_map.x_m[0]) - step / 2.0, float(level_map.y_m[-1]) + step / 2.0
    extra = [
        (_PIXEL_SCALE, "d", 3, (step, step, 0.0), False),
        (_TIE_POINT, "d", 6, (0.0, 0.0, 0.0, left, top, level_map.z_m), False),
        (_GEO_KEYS, "H", 20, (1, 1, 1, 4, 1024, 0, 1, 32767, 1025, 0, 1, 1, 1026, 34737, len(_CITATION), 0,
                              3076, 0, 1, 9001), False),
        (_GEO_ASCII, "s", 0, _CITATION, False),
        (_GDAL_NODATA, "s", 0, f"{NO_DATA:g}", False),
    ]  # fmt: skip
    out = io.BytesIO()
    tifffile.imwrite(out, raster, photometric="minisblack", planarconfig="separate", extratags=extra,
                     metadata=None, software="roomfield")  # fmt: skip
    return out.getvalue()
