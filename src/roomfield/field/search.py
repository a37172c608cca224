"""Where emitters of unknown position may be: evidence over candidate positions or directions.

Emitters that hang on one switch and have no position are sought as one. Indoors the candidates are a grid that is
refined where it matters; outdoors they are directions, the emitter being put at a fixed far distance. For each
candidate the powers, duties and gains are fitted and integrated out (Laplace), the misfit of the propagation being
part of the covariance of the readings; bearings add their own likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from shapely import Polygon, contains_xy

from roomfield.field.forward import SPOT_MEAN_DB, SPOT_STD_DB, Forward, mixture_gain_db, power_sum
from roomfield.field.observations import BearingRows
from roomfield.field.priors import FAR_M
from roomfield.field.propagation import paths
from roomfield.field.scene import Scene
from roomfield.field.sources import KNOWN_WALLS_LENGTH_M, Radiators, has_walls, unit_db
from roomfield.survey import Storey

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
COARSE_CELLS = 220
FINE_CELLS = 25
FINE_STEPS = (-1.0 / 3.0, 0.0, 1.0 / 3.0)
HEIGHTS_M = (0.4, 1.0, 1.6, 2.2)
COARSE_HEIGHT_M = 1.2
OUTDOOR_STEP_DEG = 5.0
OUTDOOR_HEIGHT_M = 10.0
KEPT = 24
OPEN_MISFIT_DB, OPEN_LENGTH_M = 5.0, 3.0
SEARCH_MISFIT_DB = 4.0
"""Misfit during the search: that of `sources.KNOWN_WALLS_STD_DB` and one to two wall offsets, not fitted here."""
BEARING_MODEL_STD_DEG = 12.0
"""Reflections turn the axis by this, alike for all bearings at one site (our judgement)."""
STRAY_BEARINGS = 0.1
"""Share of bearings that mean nothing (our judgement)."""
MOST_ROWS = 160
FIT_STEPS = 6
_CHUNK = 40


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
        True if ``grid`` are far points that stand for directions.
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
    job = _Job(forward, scene, radiators, members)
    if outdoor:
        grid, cell_m = _directions(centre), 0.0
        log_weight, powers = job.evaluate(grid)
    else:
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


def _directions(centre: Array) -> Array:
    angle = np.deg2rad(np.arange(0.0, 360.0, OUTDOOR_STEP_DEG))
    flat = np.column_stack([np.sin(angle), np.cos(angle)]) * FAR_M
    return np.column_stack([centre[:2] + flat, np.full(len(angle), centre[2] + OUTDOOR_HEIGHT_M)])


def _coarse(storeys: tuple[Storey, ...], sites: Array) -> tuple[Array, float]:
    outlines = [(Polygon(s.outline), s.floor_m + COARSE_HEIGHT_M) for s in storeys if len(s.outline) >= 3]
    if not outlines:
        low, high = sites[:, :2].min(axis=0) - 2.0, sites[:, :2].max(axis=0) + 2.0
        box = Polygon([(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])])
        outlines = [(box, float(np.median(sites[:, 2])))]
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


class _Job:
    """Evidence of candidates, in batches."""

    def __init__(self, forward: Forward, scene: Scene, radiators: Radiators, members: list[int]) -> None:
        self.scene, self.radiators, self.members = scene, radiators, members
        self.forward = forward
        rows = forward.observed.levels
        self.rows = _chosen_rows(forward)
        self.site, self.kind, self.on = rows.site[self.rows], rows.kind[self.rows], rows.on[self.rows]
        self.value, self.censor = rows.value_db[self.rows], rows.censor[self.rows]
        self.gain = forward.gain_index[rows.meter[self.rows]]
        self.gain_matrix = np.eye(len(forward.gain_mean_db))[self.gain]
        self.single = forward.scan_gain_db[self.rows]
        self.pickup_db = 10.0 * np.log10(forward.pickup[self.rows])
        self.timed = (self.kind > 0).astype(np.float64)
        self.fixed_noise = self._shared_noise(rows.scan[self.rows])
        self.misfit = self._misfit_between_sites()
        self.bands = self._bands()

    def _shared_noise(self, scan: Indices) -> Array:
        """Scatter of the readings, fading and crest as of one emitter alone."""
        noise, rows = self.forward.noise, self.forward.observed.levels
        scanned, site = (rows.edge_m > 0.0)[self.rows], self.site
        largest = scanned & (self.kind < 2)
        fading, crest = float(noise.fading_std_db.mean()) ** 2, float(noise.crest_std_db.mean()) ** 2
        shared = fading * np.outer(scanned, scanned) + crest * np.outer(largest, largest)
        same = (scan[:, None] == scan[None]) * noise.scan_std_db[scan] ** 2
        return np.asarray(same + (site[:, None] == site[None]) * shared + np.diag(noise.own_std_db[self.rows] ** 2))

    def _misfit_between_sites(self) -> Array:
        sites = self.forward.observed.sites[self.site]
        known = has_walls(self.scene)
        std, length = (SEARCH_MISFIT_DB, KNOWN_WALLS_LENGTH_M) if known else (OPEN_MISFIT_DB, OPEN_LENGTH_M)
        return np.asarray(std**2 * np.exp(-cdist(sites, sites) / length))

    def _bands(self) -> Array:
        octaves = np.log2(self.radiators.frequencies_hz)
        apart = cdist(self.radiators.positions, self.radiators.positions)
        apart[self.members] = apart[:, self.members] = 1e3
        for i in self.members:
            apart[i, self.members] = 0.0
        np.fill_diagonal(apart, 0.0)
        return np.asarray(np.exp(-np.abs(np.subtract.outer(octaves, octaves)) - apart / KNOWN_WALLS_LENGTH_M))

    def evaluate(self, grid: Array) -> tuple[Array, Array]:
        """Log probability of each candidate, shape (c,), and fitted EIRP, shape (c, k) [dB]."""
        units = self._units(grid)
        parts = [self._fit(units[i : i + _CHUNK]) for i in range(0, len(grid), _CHUNK)]
        log_evidence = np.concatenate([p[0] for p in parts])
        fitted = np.vstack([p[1] for p in parts])
        k = len(self.radiators.positions)
        eirp = self.forward.prior_eirp[0] + fitted[:, :k] @ self.forward.eirp_factor.T
        return log_evidence + self._bearings(grid, fitted), eirp

    def _units(self, grid: Array) -> Array:
        """Level per watt, shape (c, p, k)."""
        sites = self.forward.observed.sites
        units = np.repeat(self.forward.unit_db[None], len(grid), axis=0)
        for member in self.members:
            many = self.radiators.take([member] * len(grid)).moved(grid)
            units[:, :, member] = unit_db(self.scene, many, sites, order=2).T
        return units

    def _fit(self, units: Array) -> tuple[Array, Array]:
        """Log evidence of each candidate and its fitted unknowns; readings correlated in the last step only."""
        theta = np.zeros((len(units), self._size))
        for step in range(FIT_STEPS):
            residual, table, shares = self._linear(units, theta)
            weight = 1.0 / (np.diag(self.fixed_noise) + SEARCH_MISFIT_DB**2)[:, None]
            precision = np.swapaxes(table * weight, 1, 2) @ table + np.eye(self._size)
            theta = theta + (0.7 if step < 3 else 1.0) * _step(table * weight, precision, residual, theta)
        residual, table, shares = self._linear(units, theta)
        overlap = (shares @ self.bands) @ np.swapaxes(shares, 1, 2)
        covariance = self.misfit * overlap + self.fixed_noise
        both = np.concatenate([table, residual[..., None]], axis=2)
        white = np.linalg.solve(covariance, both)
        precision = np.swapaxes(table, 1, 2) @ white[..., :-1] + np.eye(self._size)
        step_db = _step(white[..., :-1], precision, residual, theta)
        square = np.sum(residual * white[..., -1], axis=1) + np.sum(theta**2, axis=1)
        gained = np.sum(step_db * (precision @ step_db[..., None])[..., 0], axis=1)
        log_det = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(precision)[1]
        return -0.5 * (square - gained + log_det), theta + step_db

    @property
    def _size(self) -> int:
        return 2 * len(self.radiators.positions) + len(self.forward.gain_mean_db) + 3

    def _linear(self, units: Array, theta: Array) -> tuple[Array, Array, Array]:
        """Residuals (c, r), their derivatives by the unknowns (c, r, q), shares (c, r, k)."""
        forward, k = self.forward, units.shape[2]
        mean, _, duty_mean, duty_std = forward.prior_eirp
        duty = np.minimum(duty_mean + duty_std * theta[:, k : 2 * k], 0.0)
        gain = forward.gain_mean_db + forward.gain_std_db * theta[:, 2 * k : -3]
        terms = (
            units[:, self.site]
            + (mean + theta[:, :k] @ forward.eirp_factor.T)[:, None]
            + self.timed[:, None] * duty[:, None]
        )
        terms = np.where(self.on, terms + gain[:, self.gain] + self.pickup_db, -400.0)
        total, shares = power_sum(terms)
        spread = mixture_gain_db(self.single, shares) * (self.kind < 2)
        spot = (np.array(SPOT_MEAN_DB) + np.array(SPOT_STD_DB) * theta[:, -3:])[:, self.kind]
        residual = self.value - total - spread - spot
        satisfied = (self.censor != 0) & (residual * self.censor < 0.0)
        residual = np.where(satisfied, 0.0, residual)
        spot_table = np.zeros((len(self.kind), 3))
        spot_table[np.arange(len(self.kind)), self.kind] = np.array(SPOT_STD_DB)[self.kind]
        free = (duty_mean + duty_std * theta[:, k : 2 * k] < 0.0) * duty_std
        table = np.concatenate([
            shares @ forward.eirp_factor, shares * free[:, None] * self.timed[:, None],
            np.einsum("crk,rkg->crg", shares, self.gain_matrix, optimize=True) * forward.gain_std_db,
            np.broadcast_to(spot_table, (*shares.shape[:2], 3)),
        ], axis=2)  # fmt: skip
        return residual, np.where(satisfied[..., None], 0.0, table), shares

    def _bearings(self, grid: Array, fitted: Array) -> Array:
        rows = self.forward.observed.bearings
        if not len(rows):
            return np.zeros(len(grid))
        used, site = np.unique(rows.site, return_inverse=True)
        points = self.forward.observed.sites[used]
        fixed = _plan_arrival(self.scene, self.radiators, points)
        arrival = np.repeat(fixed[None], len(grid), axis=0)
        for member in self.members:
            many = self.radiators.take([member] * len(grid)).moved(grid)
            arrival[:, :, member] = np.swapaxes(_plan_arrival(self.scene, many, points), 0, 1)
        return bearing_log_likelihood(self.forward, fitted, arrival[:, site])


def _step(weighted: Array, precision: Array, residual: Array, theta: Array) -> Array:
    """Gauss-Newton step of each candidate towards its most probable unknowns."""
    goal = np.sum(weighted * residual[..., None], axis=1) - theta
    return np.asarray(np.linalg.solve(precision, goal[..., None])[..., 0])


def _plan_arrival(scene: Scene, radiators: Radiators, points: Array) -> Array:
    found = paths(scene, radiators.positions, radiators.frequencies_hz, radiators.patterns, points,
                  polarisation=radiators.polarisations, order=1)  # fmt: skip
    return np.asarray(found.arrival[:, :, :2, :2])


def bearing_log_likelihood(forward: Forward, theta: Array, arrival: Array) -> Array:
    """Log likelihood of the bearings.

    Parameters
    ----------
    theta : ndarray, shape (c, at least 2 k)
        Standardised powers and duties.
    arrival : ndarray, shape (c, b, k, 2, 2)
        Sum of density times direction times direction, in plan, for each bearing.

    Returns
    -------
    ndarray, shape (c,)
    """
    rows, k = forward.observed.bearings, arrival.shape[2]
    mean, _, duty_mean, duty_std = forward.prior_eirp
    power_db = mean + theta[:, :k] @ forward.eirp_factor.T + np.minimum(duty_mean + duty_std * theta[:, k : 2 * k], 0.0)
    power = 10.0 ** (power_db / 10.0)[:, None, :] * rows.on
    tensor = np.einsum("cbk,cbkij->cbij", power, arrival)
    axis = 90.0 - 0.5 * np.rad2deg(np.arctan2(2.0 * tensor[..., 0, 1], tensor[..., 0, 0] - tensor[..., 1, 1]))
    off = (rows.axis_deg - axis + 90.0) % 180.0 - 90.0
    spread = np.hypot(rows.std_deg, BEARING_MODEL_STD_DEG)
    density = np.exp(-0.5 * (off / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi))
    logs = np.log((1.0 - STRAY_BEARINGS) * density + STRAY_BEARINGS / 180.0)
    return np.asarray(logs @ _bearing_weights(rows))


def _bearing_weights(rows: BearingRows) -> Array:
    """What a bearing counts beside others at its site, whose model error it shares."""
    count = np.bincount(rows.site)[rows.site]
    own, shared = rows.std_deg**2, BEARING_MODEL_STD_DEG**2
    return np.asarray((own + shared) / (own + count * shared))


def _chosen_rows(forward: Forward) -> Indices:
    """Peaks and averages of scans, then readings of fixed spots as far as there is room, evenly thinned."""
    rows = forward.observed.levels
    index = np.flatnonzero(rows.kind != 1)
    if len(index) < 4:
        index = np.arange(len(rows))
    scanned = _thinned(index[rows.edge_m[index] > 0.0], MOST_ROWS)
    fixed = _thinned(index[rows.edge_m[index] == 0.0], MOST_ROWS - len(scanned))
    return np.sort(np.concatenate([scanned, fixed]))


def _thinned(index: Indices, most: int) -> Indices:
    return index[np.linspace(0, len(index) - 1, min(most, len(index))).astype(np.int64)] if len(index) else index


def at_best(searches: list[Search], radiators: Radiators) -> Radiators:
    """Emitters with every group at its most probable place."""
    positions = radiators.positions.copy()
    for found in searches:
        positions[found.members] = found.best
    return replace(radiators, positions=positions)
