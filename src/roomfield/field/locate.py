"""Where an emitter is: a region inside the dwelling, or a direction outside it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, box, set_precision, unary_union

from roomfield.errors import UnknownNameError
from roomfield.field.posterior import Posterior
from roomfield.field.search import OUTDOOR_STEP_DEG, Search
from roomfield.survey import Point2, Point3

Array = NDArray[np.float64]
EDGE_M = 0.001
BEARING_FLOOR_DEG = 4.0
"""Walls and windows bend what comes in by this at least, however many readings agree (our judgement) [deg]."""


class Whereabouts(StrEnum):
    """What is known of an emitter's position."""

    RECORDED = "recorded"
    REGION = "region"
    DIRECTION = "direction"


@dataclass(frozen=True)
class Located:
    """Where an emitter is.

    Parameters
    ----------
    emitter_ids : tuple of str
        The emitter and those sought with it.
    whereabouts : Whereabouts
        Recorded position, region, or direction.
    coverage : float
        Probability content of region or interval [1].
    centre : (float, float, float) or None
        Point with the least expected distance to it [m].
    polygons : tuple of polygons
        Region in plan; each is a tuple of (x, y) [m].
    heights_m : (float, float) or None
        Lowest and highest height in the region [m].
    bearing_deg, bearing_low_deg, bearing_high_deg : float or None
        Direction and its interval, clockwise from plan north; low to high goes clockwise [deg].
    """

    emitter_ids: tuple[str, ...]
    whereabouts: Whereabouts
    coverage: float
    centre: Point3 | None = None
    polygons: tuple[tuple[Point2, ...], ...] = ()
    heights_m: tuple[float, float] | None = None
    bearing_deg: float | None = None
    bearing_low_deg: float | None = None
    bearing_high_deg: float | None = None


def locate(posterior: Posterior, emitter_id: str, *, coverage: float = 0.9) -> Located:
    """Where an emitter is, as far as the readings tell.

    Parameters
    ----------
    posterior : Posterior
        From `infer`.
    emitter_id : str
        The emitter.
    coverage : float
        Probability content of the region or interval, 0 to 1.

    Raises
    ------
    UnknownNameError
        If there is no such emitter.
    """
    if emitter_id not in posterior.emitter_ids:
        raise UnknownNameError("emitter", emitter_id, posterior.emitter_ids)
    for found in posterior.searches:
        if emitter_id in found.emitter_ids:
            return _direction(found, coverage) if found.outdoor else _region(found, coverage)
    emitter = posterior.survey.emitter(emitter_id)
    return Located((emitter_id,), Whereabouts.RECORDED, 1.0, emitter.position, bearing_deg=emitter.bearing_deg)


def _region(found: Search, coverage: float) -> Located:
    order = np.argsort(-found.probability)
    count = int(np.searchsorted(np.cumsum(found.probability[order]), coverage)) + 1
    cells = found.grid[order[:count]]
    half = found.cell_m / 2.0 + EDGE_M
    shape = unary_union([box(x - half, y - half, x + half, y + half) for x, y, _ in cells])
    shape = set_precision(shape, EDGE_M).simplify(EDGE_M)
    parts = list(shape.geoms) if isinstance(shape, MultiPolygon) else [shape]
    return Located(
        found.emitter_ids, Whereabouts.REGION, coverage, middle_of(found.grid, found.probability),
        tuple(_outline(p) for p in parts), (float(cells[:, 2].min()), float(cells[:, 2].max())),
    )  # fmt: skip


def middle_of(grid: Array, probability: Array) -> Point3:
    """Candidate with the least expected distance in plan to the emitter [m]."""
    apart = np.linalg.norm(grid[:, None, :2] - grid[None, :, :2], axis=2)
    x, y, z = grid[int(np.argmin(apart @ probability))].tolist()
    return (x, y, z)


def _outline(part: Polygon) -> tuple[Point2, ...]:
    return tuple((float(x), float(y)) for x, y in part.exterior.coords)


def _direction(found: Search, coverage: float) -> Located:
    offset = found.grid - found.centre
    bearing = np.rad2deg(np.arctan2(offset[:, 0], offset[:, 1])) % 360.0
    mean = np.sum(found.probability * np.exp(1j * np.deg2rad(bearing)))
    middle = float(np.rad2deg(np.angle(mean)) % 360.0)
    off = (bearing - middle + 180.0) % 360.0 - 180.0
    order = np.argsort(off)
    reached = np.cumsum(found.probability[order])
    tail = (1.0 - coverage) / 2.0
    low = float(off[order][int(np.searchsorted(reached, tail))])
    high = float(off[order][min(int(np.searchsorted(reached, 1.0 - tail)), len(order) - 1)])
    margin = float(np.hypot(OUTDOOR_STEP_DEG / 2.0, BEARING_FLOOR_DEG * 1.645))
    return Located(
        found.emitter_ids, Whereabouts.DIRECTION, coverage, bearing_deg=middle,
        bearing_low_deg=(middle + min(low, 0.0) - margin) % 360.0,
        bearing_high_deg=(middle + max(high, 0.0) + margin) % 360.0,
    )  # fmt: skip
