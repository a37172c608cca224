"""Where an emitter is: a region inside the dwelling, or a direction outside it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, box, set_precision, unary_union

from roomfield.errors import UnknownNameError
from roomfield.field.position_search import OUTDOOR_STEP_DEG, Search
from roomfield.field.posterior import Posterior
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
class Bearings:
    """An arc of directions, clockwise from plan north.

    Parameters
    ----------
    middle_deg, low_deg, high_deg : float
        Middle by probability and ends; low to high goes clockwise [deg].
    probability : float
        That the emitter lies that way [1].
    """

    middle_deg: float
    low_deg: float
    high_deg: float
    probability: float

    @property
    def span_deg(self) -> float:
        """From one end to the other [deg]."""
        return (self.high_deg - self.low_deg) % 360.0


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
        Most probable direction and its interval, clockwise from plan north; low to high goes clockwise [deg].
    arcs : tuple of Bearings
        All arcs that it takes to reach the coverage, most probable first: more than one if the readings cannot tell
        front from back.
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
    arcs: tuple[Bearings, ...] = ()


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
    arcs = arcs_of(*_by_direction(found), coverage)
    first = arcs[0]
    return Located(
        found.emitter_ids, Whereabouts.DIRECTION, coverage, bearing_deg=first.middle_deg,
        bearing_low_deg=first.low_deg, bearing_high_deg=first.high_deg, arcs=arcs,
    )  # fmt: skip


def _by_direction(found: Search) -> tuple[Array, Array]:
    """Directions in order [deg], and the probability of each, whatever the distance."""
    offset = found.grid - found.centre
    bearing = np.round(np.rad2deg(np.arctan2(offset[:, 0], offset[:, 1])) % 360.0, 6) % 360.0
    different, which = np.unique(bearing, return_inverse=True)
    return different, np.asarray(np.bincount(which, weights=found.probability), dtype=np.float64)


def arcs_of(bearing_deg: Array, probability: Array, coverage: float) -> tuple[Bearings, ...]:
    """The fewest directions that reach the coverage, neighbours joined, most probable arc first.

    Parameters
    ----------
    bearing_deg, probability : ndarray, shape (n,)
        Directions evenly spaced round the circle, ascending [deg], and the probability of each, adding up to 1.
    coverage : float
        Probability content of all arcs together [1].
    """
    order = np.argsort(-probability, kind="stable")
    count = int(np.searchsorted(np.cumsum(probability[order]), coverage)) + 1
    margin = float(np.hypot(OUTDOOR_STEP_DEG / 2.0, BEARING_FLOOR_DEG * 1.645))
    reach = np.zeros(len(probability), dtype=bool)
    step = 360.0 / len(probability)
    near = np.arange(-int(margin // step), int(margin // step) + 1)
    reach[(order[:count, None] + near) % len(probability)] = True
    arcs = [_arc(bearing_deg, probability, run, margin % step) for run in _runs_round(reach)]
    return tuple(sorted(arcs, key=lambda a: -a.probability))


def _runs_round(chosen: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Stretches of true entries round a circle, as indices in order."""
    n = len(chosen)
    if np.all(chosen):
        return [np.arange(n)]
    start = int(np.flatnonzero(~chosen)[0])
    turned = (np.arange(n) + start) % n
    inside = chosen[turned]
    cuts = np.flatnonzero(np.diff(inside)) + 1
    return [turned[run] for run in np.split(np.arange(n), cuts) if inside[run[0]]]


def _arc(bearing_deg: Array, probability: Array, run: NDArray[np.int64], more_deg: float) -> Bearings:
    share = float(probability[run].sum())
    whole = len(run) == len(probability)
    peak = run[int(np.argmax(probability[run]))]
    off = (bearing_deg[run] - bearing_deg[peak] + 180.0) % 360.0 - 180.0
    middle = float(bearing_deg[peak] + probability[run] @ off / max(share, 1e-300))
    if whole:
        return Bearings(middle % 360.0, (middle - 180.0) % 360.0, (middle + 179.999) % 360.0, share)
    low, high = float(bearing_deg[run[0]]) - more_deg, float(bearing_deg[run[-1]]) + more_deg
    return Bearings(middle % 360.0, low % 360.0, high % 360.0, share)
