"""Walls, openings and slabs on the straight line between two points, each with what it takes from a wave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely import Point, Polygon

from roomfield.field.geometry import Plane, Plate
from roomfield.field.scene import Scene, plate_optics
from roomfield.survey import Point3

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Crossing:
    """One plate on the way.

    Parameters
    ----------
    name : str
        The opening's id, or the surface's.
    at : (float, float, float)
        Where the line meets it [m].
    loss_db : float
        Transmission loss at the angle of the line, mean power of both polarisations [dB].
    """

    name: str
    at: Point3
    loss_db: float


def crossings(scene: Scene, start: ArrayLike, end: ArrayLike, frequency_hz: float) -> tuple[Crossing, ...]:
    """Every plate between two points, in the order of the way; an opening stands for the wall around it.

    Parameters
    ----------
    scene : Scene
        The dwelling.
    start, end : array_like, shape (3,)
        Points [m].
    frequency_hz : float
        Frequency [Hz].
    """
    a, b = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
    length = float(np.linalg.norm(b - a))
    if length <= 0.0:
        return ()
    met: dict[str, tuple[float, Plate, float, Array]] = {}
    stacks = scene.build_ups
    for index, plate in enumerate(scene.shapes.plates):
        plane = scene.shapes.planes[plate.plane]
        along = float(plane.normal @ (b - a))
        if abs(along) < 1e-12:
            continue
        share = (plane.offset_m - float(plane.normal @ a)) / along
        point = a + share * (b - a)
        if not 0.0 < share < 1.0 or not _holds(plate, plane, point):
            continue
        known = met.get(plate.surface_id)
        if known is not None and known[1].opening_id:
            continue
        cosine = np.array([abs(along) / length])
        te, tm = plate_optics(stacks[index], frequency_hz, cosine, scene.edition)
        passed = 0.5 * float(te.transmission[0] + tm.transmission[0])
        met[plate.surface_id] = (share, plate, -10.0 * float(np.log10(max(passed, 1e-20))), point)
    return tuple(
        Crossing(plate.name, (float(point[0]), float(point[1]), float(point[2])), max(0.0, loss))
        for _, plate, loss, point in sorted(met.values(), key=lambda one: one[0])
    )


def nearest_in(scene: Scene, name: str, start: ArrayLike, end: ArrayLike) -> Point3 | None:
    """Where a way through a plate is drawn: where the straight line meets its plane, moved into the plate [m].

    Parameters
    ----------
    name : str
        The opening's id, or the surface's.

    Returns
    -------
    (float, float, float) or None
        None if the line never reaches the plane between its ends, or if there is no such plate.
    """
    a, b = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
    plate = next((one for one in scene.shapes.plates if one.name == name), None)
    if plate is None:
        return None
    plane = scene.shapes.planes[plate.plane]
    along = float(plane.normal @ (b - a))
    if abs(along) < 1e-12:
        return None
    share = (plane.offset_m - float(plane.normal @ a)) / along
    if not 0.0 < share < 1.0:
        return None
    point = a + share * (b - a)
    u = float(np.clip(plane.across @ point, plate.low[0], plate.high[0]))
    v = float(np.clip(plane.up @ point, plate.low[1], plate.high[1]))
    met = plane.offset_m * plane.normal + u * plane.across + v * plane.up
    return float(met[0]), float(met[1]), float(met[2])


def _holds(plate: Plate, plane: Plane, point: Array) -> bool:
    u, v = float(plane.across @ point), float(plane.up @ point)
    if not (plate.low[0] <= u <= plate.high[0] and plate.low[1] <= v <= plate.high[1]):
        return False
    return not plate.outline or bool(Polygon(plate.outline).covers(Point(u, v)))
