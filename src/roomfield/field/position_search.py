"""Where emitters of unknown position may be: evidence over candidate positions or directions.

Emitters that hang on one switch and have no position are sought as one. Indoors the candidates are a grid that is
refined where it matters; outdoors they are directions, each with the emitter next door and far away. For each
candidate the powers, duties and gains are fitted and integrated out (Laplace), the misfit of the propagation being
part of the covariance of the readings; bearings add their own likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, MultiPoint, Polygon, contains_xy

from roomfield.field.forward import Forward
from roomfield.field.marginal_likelihood import CandidateEvidence
from roomfield.field.path_gains import Radiators
from roomfield.field.priors import FAR_M
from roomfield.field.scene import Scene
from roomfield.survey import Storey

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
COARSE_CELLS = 220
FINE_CELLS = 25
FINE_STEPS = (-1.0 / 3.0, 0.0, 1.0 / 3.0)
HEIGHTS_M = (0.4, 1.0, 1.6, 2.2)
COARSE_HEIGHT_M = 1.2
AROUND_M = 2.0
"""Without an outline a transmitter is looked for this far from what was read."""
OUTDOOR_STEP_DEG = 5.0
NEXT_DOOR_M = (4.0,)
"""So far beyond the outline a neighbour's device is tried, beside far away."""
OUTDOOR_HEIGHT_M = 10.0
KEPT = 24


@dataclass(frozen=True, eq=False)
class Search:
    """Result for one group of emitters of unknown position.

    Parameters
    ----------
    members : list of int
        Indices of the emitters.
    emitter_ids : tuple of str
        Their ids.
    outdoor : bool
        True if ``grid`` are points outside that stand for directions, each at several distances.
    centre : ndarray, shape (3,)
        From where directions are seen [m].
    grid : ndarray, shape (c, 3)
        All candidates of the last stage [m].
    cell_m : float
        Edge of a cell in plan; 0 outdoors.
    probability : ndarray, shape (c,)
        Of each, adding up to 1.
    eirp_shift_db : ndarray, shape (c, k)
        Fitted powers at each candidate relative to the best one.
    candidates : ndarray, shape (at most 24, 3)
        A few of them, drawn by probability, that the posterior's draws use.
    candidate_rows : ndarray of int
        Their rows in ``grid``.
    """

    members: list[int]
    emitter_ids: tuple[str, ...]
    outdoor: bool
    centre: Array
    grid: Array
    cell_m: float
    probability: Array
    eirp_shift_db: Array
    candidates: Array
    candidate_rows: Indices

    @property
    def best(self) -> Array:
        """Most probable candidate [m], shape (3,)."""
        return np.asarray(self.grid[int(np.argmax(self.probability))])


def search(forward: Forward, scene: Scene, radiators: Radiators, members: list[int], ids: tuple[str, ...],
           storeys: tuple[Storey, ...], outdoor: bool) -> Search:  # fmt: skip
    """Search for one group.

    Parameters
    ----------
    forward : Forward
        Model with the other emitters in place.
    members : list of int
        The group.
    storeys : tuple of Storey
        Where to look indoors; none: about the sites.
    outdoor : bool
        Search for a direction instead of a position.
    """
    centre = forward.observed.sites.mean(axis=0)
    job = CandidateEvidence(forward, scene, radiators, members)
    if outdoor:
        grid, cell_m = _directions(centre, storeys, forward.observed.sites), 0.0
        log_weight, powers = job.evaluate(grid)
    else:
        storeys = _to_look_in(storeys, forward.observed.sites)
        grid, cell_m = _coarse(storeys, forward.observed.sites)
        log_weight, _ = job.evaluate(grid)
        grid, cell_m = _fine(grid, log_weight, cell_m, storeys)
        log_weight, powers = job.evaluate(grid)
    probability = np.exp(log_weight - log_weight.max())
    probability /= probability.sum()
    kept = _systematic(probability)
    shift = powers - powers[int(np.argmax(probability))]
    return Search(members, ids, outdoor, centre, grid, cell_m, probability, shift, grid[kept], kept)


def _systematic(probability: Array) -> Indices:
    """Rows drawn by probability with even spacing, repeats kept so that all are equally likely."""
    marks = (np.arange(KEPT) + 0.5) / KEPT
    return np.minimum(np.searchsorted(np.cumsum(probability), marks), len(probability) - 1)


def _directions(centre: Array, storeys: tuple[Storey, ...], sites: Array) -> Array:
    angle = np.deg2rad(np.arange(0.0, 360.0, OUTDOOR_STEP_DEG))
    towards = np.column_stack([np.sin(angle), np.cos(angle)])
    inside = np.array([_way_out(centre, d, storeys, sites) for d in towards])
    distances = [np.full(len(angle), FAR_M), *(inside + beyond for beyond in NEXT_DOOR_M)]
    heights = [centre[2] + OUTDOOR_HEIGHT_M, *(centre[2] for _ in NEXT_DOOR_M)]
    return np.vstack([
        np.column_stack([centre[:2] + r[:, None] * towards, np.full(len(angle), z)])
        for r, z in zip(distances, heights, strict=True)
    ])  # fmt: skip


def _way_out(centre: Array, towards: Array, storeys: tuple[Storey, ...], sites: Array) -> float:
    """How far it is from the middle of the sites out of every storey's outline, and past every site [m]."""
    corners = np.vstack([np.array(s.outline, dtype=np.float64).reshape(-1, 2) for s in storeys] + [sites[:, :2]])
    beam = LineString([centre[:2], centre[:2] + FAR_M * towards])
    hull = MultiPoint(corners).convex_hull
    return float(beam.intersection(hull).length)


def _to_look_in(storeys: tuple[Storey, ...], sites: Array) -> tuple[Storey, ...]:
    """Storeys with an outline; if none has one, those on which something was read, as far as `AROUND_M` from there."""
    drawn = tuple(s for s in storeys if len(s.outline) >= 3)
    if drawn:
        return drawn
    height = sites[:, 2]
    read = (s for s in storeys if np.any((height >= s.floor_m) & (height < s.ceiling_m)))
    return tuple(replace(s, outline=tuple(_around(sites).exterior.coords)) for s in read)


def _around(sites: Array) -> Polygon:
    (x0, y0), (x1, y1) = sites[:, :2].min(axis=0) - AROUND_M, sites[:, :2].max(axis=0) + AROUND_M
    return Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _coarse(storeys: tuple[Storey, ...], sites: Array) -> tuple[Array, float]:
    outlines = [(Polygon(s.outline), s.floor_m + COARSE_HEIGHT_M) for s in storeys]
    if not outlines:
        outlines = [(_around(sites), float(np.median(sites[:, 2])))]
    step = float(np.sqrt(sum(p.area for p, _ in outlines) / COARSE_CELLS))
    cells = []
    for polygon, height in outlines:
        x0, y0, x1, y1 = polygon.bounds
        x, y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
        inside = contains_xy(polygon, x.ravel(), y.ravel())
        cells.append(np.column_stack([x.ravel(), y.ravel(), np.full(x.size, height)])[inside])
    return np.vstack(cells), step


def _fine(grid: Array, log_weight: Array, cell_m: float, storeys: tuple[Storey, ...]) -> tuple[Array, float]:
    best = np.argsort(-log_weight)[:FINE_CELLS]
    best = best[log_weight[best] > log_weight.max() - 12.0]
    offsets = np.array([(dx * cell_m, dy * cell_m) for dx in FINE_STEPS for dy in FINE_STEPS])
    flat = (grid[best, None, :2] + offsets[None]).reshape(-1, 2)
    floors = np.repeat(grid[best, 2] - COARSE_HEIGHT_M, len(offsets)) if storeys else None
    if floors is None:
        return np.column_stack([flat, np.repeat(grid[best, 2], len(offsets))]), cell_m / 3.0
    layers = [np.column_stack([flat, floors + h]) for h in HEIGHTS_M]
    return np.vstack(layers), cell_m / 3.0


def at_best(searches: list[Search], radiators: Radiators) -> Radiators:
    """Emitters with every group at its most probable place."""
    positions = radiators.positions.copy()
    for found in searches:
        positions[found.members] = found.best
    return replace(radiators, positions=positions)
