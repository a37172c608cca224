"""How well each candidate position of an emitter explains the readings: powers, duties and gains integrated out.

For each candidate the unknowns are fitted by Gauss-Newton steps and integrated out about the fit (Laplace). The
misfit of the propagation is part of the covariance of the readings. All candidates are first fitted as if the
readings were independent; those that might be the best are then brought to their mode with the full covariance,
since a single step from afar can promise much more than is there.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from roomfield.field.directions import GUESSED_POWER_STD_DB, POWER_STD_DB, Aimed
from roomfield.field.forward import SPOT_MEAN_DB, SPOT_STD_DB, Forward, mixture_gain_db, power_sum
from roomfield.field.observation_arrays import AVERAGE_ROW, KINDS, BearingRows
from roomfield.field.path_gains import KNOWN_WALLS_LENGTH_M, Radiators, has_walls, unit_db
from roomfield.field.propagation import arrivals
from roomfield.field.scene import Scene
from roomfield.quantities import Kind

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
OPEN_MISFIT_DB, OPEN_LENGTH_M = 5.0, 3.0
SEARCH_MISFIT_DB = 4.0
"""Misfit during the search: that of `sources.KNOWN_WALLS_STD_DB` and one to two wall offsets, not fitted here."""
BEARING_MODEL_STD_DEG = 12.0
"""Reflections turn the axis by this, alike for all bearings at one site (our judgement)."""
STRAY_BEARINGS = 0.1
"""Share of bearings that mean nothing (our judgement)."""
MOST_ROWS, LEAST_ROWS = 160, 4
FIT_STEPS, GUESSING = 6, 3
"""Steps of the rough fit, and how many of them take the axes of readings mostly as noted."""
MODE_STEPS, MODE_GAIN = 8, 0.05
"""Steps to the mode of a candidate at most, and the gain in log probability under which it counts as reached."""
MARGIN = 12.0
"""A candidate whose rough log evidence lies this far under the best is not looked at closer."""
ROUNDS = 12
_CHUNK = 40


class Batch(NamedTuple):
    """Candidates.

    Parameters
    ----------
    units : ndarray, shape (c, p, k)
        Level per watt at each site [dB re 1/m²].
    arrival : ndarray, shape (c, u, k, 2, 2)
        Sum over waves of density per watt times direction times direction, in plan, at sites with bearings [1/m²].
    density : ndarray, shape (c, u, k)
        Density per watt there [1/m²].
    """

    units: Array
    arrival: Array
    density: Array

    def take(self, index: Indices | slice) -> Batch:
        """Some of the candidates."""
        return Batch(self.units[index], self.arrival[index], self.density[index])


class _Joint(NamedTuple):
    """Log density of readings and unknowns, and what a step from there needs."""

    value: Array
    step: Array
    precision: Array


class CandidateEvidence:
    """Evidence of candidates for one group of emitters.

    Parameters
    ----------
    forward : Forward
        Model with the other emitters in place.
    members : list of int
        The group.
    """

    def __init__(self, forward: Forward, scene: Scene, radiators: Radiators, members: list[int]) -> None:
        self.scene, self.radiators, self.members = scene, radiators, members
        self.forward = forward
        rows = forward.observed.levels
        self.rows = _chosen_rows(forward)
        self.site, self.kind, self.on = rows.site[self.rows], rows.kind[self.rows], rows.on[self.rows]
        self.front_db = rows.front_db[self.rows]
        self.value, self.censor = rows.value_db[self.rows], rows.censor[self.rows]
        self.gain = forward.gain_index[rows.meter[self.rows]]
        self.gain_matrix = np.eye(len(forward.gain_mean_db))[self.gain]
        self.single = forward.scan_gain_db[self.rows]
        self.timed = (self.kind == AVERAGE_ROW).astype(np.float64)
        self.fixed_noise = self._shared_noise(rows.scan[self.rows])
        self.misfit = self._misfit_between_sites()
        self.bands = self._bands()
        self.aimed = _among(forward.aimed, self.rows)
        self.used = np.unique([*forward.observed.bearings.site, *self.site[self.aimed.rows]]).astype(np.int64)

    def evaluate(self, grid: Array) -> tuple[Array, Array]:
        """Log probability of each candidate, shape (c,), and fitted EIRP, shape (c, k) [dB].

        Parameters
        ----------
        grid : ndarray, shape (c, 3)
            Candidate positions [m].
        """
        batch = self._batch(grid)
        parts = [self._rough(batch.take(slice(i, i + _CHUNK))) for i in range(0, len(grid), _CHUNK)]
        value, fitted = np.concatenate([p[0] for p in parts]), np.vstack([p[1] for p in parts])
        value += self._bearings(batch, fitted)
        self._refine(batch, value, fitted)
        k = len(self.radiators.positions)
        return value, self.forward.prior_eirp[0] + fitted[:, :k] @ self.forward.eirp_factor.T

    def _refine(self, batch: Batch, value: Array, fitted: Array) -> None:
        """Bring candidates that might be the best to their mode, in place, the most promising first."""
        exact = np.zeros(len(value), dtype=bool)
        for _ in range(ROUNDS):
            best = value[exact].max(initial=-np.inf)
            left = np.flatnonzero(~exact & (value > best - MARGIN))
            if not len(left):
                return
            chosen = left[np.argsort(-value[left])[:_CHUNK]]
            some = batch.take(chosen)
            at_mode, fitted[chosen] = self._mode(some, fitted[chosen])
            value[chosen] = at_mode + self._bearings(some, fitted[chosen])
            exact[chosen] = True
        value[~exact] = np.minimum(value[~exact], value[exact].max() - MARGIN)

    def _shared_noise(self, scan: Indices) -> Array:
        """Scatter of the readings, fading and crest as of one emitter alone."""
        noise, rows = self.forward.noise, self.forward.observed.levels
        scanned, site = (rows.edge_m > 0.0)[self.rows], self.site
        largest = scanned & (self.kind != AVERAGE_ROW)
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

    def _batch(self, grid: Array) -> Batch:
        sites = self.forward.observed.sites
        units = np.repeat(self.forward.unit_db[None], len(grid), axis=0)
        points = sites[self.used]
        arrival, density = (np.repeat(x[None], len(grid), axis=0) for x in self._arrivals(self.radiators, points))
        for member in self.members:
            many = self.radiators.take([member] * len(grid)).moved(grid)
            units[:, :, member] = unit_db(self.scene, many, sites, order=2).T
            if len(points):
                there, total = self._arrivals(many, points)
                arrival[:, :, member], density[:, :, member] = np.swapaxes(there, 0, 1), total.T
        return Batch(units, arrival, density)

    def _arrivals(self, radiators: Radiators, points: Array) -> tuple[Array, Array]:
        density, arrival = arrivals(
            self.scene, radiators.positions, radiators.frequencies_hz, radiators.patterns, points,
            polarisation=radiators.polarisations, order=1,
        )  # fmt: skip
        return arrival[:, :, :2, :2], density

    def _rough(self, batch: Batch) -> tuple[Array, Array]:
        """Log evidence and fitted unknowns of each candidate; readings correlated in the last step only."""
        theta = np.zeros((len(batch.units), self._size))
        for step in range(FIT_STEPS):
            pickup_db, added = self._pickup(batch, theta, GUESSED_POWER_STD_DB if step < GUESSING else POWER_STD_DB)
            residual, table, _ = self._linear(batch.units, pickup_db, theta)
            weight = 1.0 / (np.diag(self.fixed_noise) + added + SEARCH_MISFIT_DB**2)[..., None]
            precision = np.swapaxes(table * weight, 1, 2) @ table + np.eye(self._size)
            theta = theta + (0.7 if step < 3 else 1.0) * _step(table * weight, precision, residual, theta)
        here = self._joint(batch, self._pickup(batch, theta), theta)
        gained = np.sum(here.step * (here.precision @ here.step[..., None])[..., 0], axis=1)
        return _laplace(here) + 0.5 * gained, theta + here.step

    def _mode(self, batch: Batch, theta: Array) -> tuple[Array, Array]:
        """Log evidence and unknowns at the mode, by Gauss-Newton steps that are shortened where they lose."""
        pickup = self._pickup(batch, theta)
        here, length = self._joint(batch, pickup, theta), np.ones(len(theta))
        for _ in range(MODE_STEPS):
            tried = theta + length[:, None] * here.step
            there = self._joint(batch, pickup, tried)
            better = there.value > here.value
            gained = np.where(better, there.value - here.value, 0.0)
            theta = np.where(better[:, None], tried, theta)
            here = _Joint(*(_pick(better, new, old) for new, old in zip(there, here, strict=True)))
            length = np.where(better, np.minimum(1.0, 2.0 * length), length / 4.0)
            if np.all(better & (gained < MODE_GAIN)):
                break
        return _laplace(here), theta

    def _joint(self, batch: Batch, pickup: tuple[Array, Array], theta: Array) -> _Joint:
        """Log density of readings and unknowns, up to a constant, and the step to its maximum."""
        residual, table, shares = self._linear(batch.units, pickup[0], theta)
        overlap = (shares @ self.bands) @ np.swapaxes(shares, 1, 2)
        covariance = self.misfit * overlap + self.fixed_noise
        np.einsum("crr->cr", covariance)[...] += pickup[1]
        white = np.linalg.solve(covariance, np.concatenate([table, residual[..., None]], axis=2))
        precision = np.swapaxes(table, 1, 2) @ white[..., :-1] + np.eye(self._size)
        square = np.sum(residual * white[..., -1], axis=1) + np.sum(theta**2, axis=1)
        value = -0.5 * (square + np.linalg.slogdet(covariance)[1])
        return _Joint(value, _step(white[..., :-1], precision, residual, theta), precision)

    @property
    def _size(self) -> int:
        return 2 * len(self.radiators.positions) + len(self.forward.gain_mean_db) + 3

    def _terms(self, units: Array, theta: Array) -> Array:
        """What each emitter would add to each reading if an antenna turned every way took it, shape (c, r, k) [dB]."""
        forward, k = self.forward, units.shape[2]
        mean, _, duty_mean, duty_std = forward.prior_eirp
        duty = np.minimum(duty_mean + duty_std * theta[:, k : 2 * k], 0.0)
        gain = forward.gain_mean_db + theta[:, 2 * k : -3] @ forward.gain_factor.T
        power = (mean + theta[:, :k] @ forward.eirp_factor.T)[:, None]
        terms = units[:, self.site] + power + self.timed[:, None] * duty[:, None] + gain[:, self.gain]
        return np.where(self.on, terms + 10.0 * np.log10(forward.caught.share[self.rows]) + self.front_db, -400.0)

    def _pickup(self, batch: Batch, theta: Array, power_std_db: float = POWER_STD_DB) -> tuple[Array, Array]:
        """Pickup of each emitter in each reading [dB], (c, r, k), and what nulls add to the variance [dB²], (c, r)."""
        c, r, k = len(batch.units), len(self.rows), batch.units.shape[2]
        pickup, added = np.zeros((c, r, k)), np.zeros((c, r))
        aimed = self.aimed.rows
        if len(aimed):
            terms = self._terms(batch.units, theta)[:, aimed]
            power = 10.0 ** ((terms - terms.max(axis=2, keepdims=True)) / 10.0)
            at = np.searchsorted(self.used, self.site[aimed])
            arrival = (batch.arrival / np.maximum(batch.density, 1e-30)[..., None, None])[:, at]
            share, std_db = self.aimed.pickup(power, arrival, power_std_db=power_std_db)
            pickup[:, aimed], added[:, aimed] = 10.0 * np.log10(share), std_db**2
        return pickup, added

    def _linear(self, units: Array, pickup_db: Array, theta: Array) -> tuple[Array, Array, Array]:
        """Residuals (c, r), their derivatives by the unknowns (c, r, q), shares (c, r, k)."""
        forward, k = self.forward, units.shape[2]
        _, _, duty_mean, duty_std = forward.prior_eirp
        total, shares = power_sum(self._terms(units, theta) + pickup_db)
        spread = mixture_gain_db(self.single, shares) * (self.kind != AVERAGE_ROW)
        spot = (np.array(SPOT_MEAN_DB) + np.array(SPOT_STD_DB) * theta[:, -3:])[:, self.kind]
        residual = self.value - total - spread - spot
        satisfied = (self.censor != 0) & (residual * self.censor < 0.0)
        residual = np.where(satisfied, 0.0, residual)
        spot_table = np.zeros((len(self.kind), 3))
        spot_table[np.arange(len(self.kind)), self.kind] = np.array(SPOT_STD_DB)[self.kind]
        free = (duty_mean + duty_std * theta[:, k : 2 * k] < 0.0) * duty_std
        table = np.concatenate([
            shares @ forward.eirp_factor, shares * free[:, None] * self.timed[:, None],
            np.einsum("crk,rkg->crg", shares, self.gain_matrix, optimize=True) @ forward.gain_factor,
            np.broadcast_to(spot_table, (*shares.shape[:2], 3)),
        ], axis=2)  # fmt: skip
        return residual, np.where(satisfied[..., None], 0.0, table), shares

    def _bearings(self, batch: Batch, fitted: Array) -> Array:
        rows = self.forward.observed.bearings
        if not len(rows):
            return np.zeros(len(fitted))
        return bearing_log_likelihood(self.forward, fitted, batch.arrival[:, np.searchsorted(self.used, rows.site)])


def _laplace(joint: _Joint) -> Array:
    return np.asarray(joint.value - 0.5 * np.linalg.slogdet(joint.precision)[1])


def _pick(better: NDArray[np.bool_], new: Array, old: Array) -> Array:
    return np.where(better.reshape(-1, *(1,) * (new.ndim - 1)), new, old)


def _among(aimed: Aimed, rows: Indices) -> Aimed:
    """The readings taken on an axis among those used, counted there."""
    kept = np.isin(aimed.rows, rows)
    return Aimed(np.searchsorted(rows, aimed.rows[kept]), aimed.noted_deg[kept], aimed.noted_std_deg[kept],
                 aimed.null[kept], aimed.arrival[kept])  # fmt: skip


def _step(weighted: Array, precision: Array, residual: Array, theta: Array) -> Array:
    """Gauss-Newton step of each candidate towards its most probable unknowns."""
    goal = np.sum(weighted * residual[..., None], axis=1) - theta
    return np.asarray(np.linalg.solve(precision, goal[..., None])[..., 0])


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
    """Readings of scans, then of fixed spots as far as there is room, evenly thinned.

    A held maximum says little beside the peak of its scan; what emitters did beside their usual plays no part.
    """
    rows = forward.observed.levels
    peaks = rows.scan[rows.kind == KINDS.index(Kind.PEAK)]
    doubled = (rows.kind == KINDS.index(Kind.HIGHEST_HELD)) & np.isin(rows.scan, peaks)
    usual = np.all(rows.mode == np.arange(rows.mode.shape[1]), axis=1)
    index = np.flatnonzero(~doubled & usual)
    if len(index) < LEAST_ROWS:
        index = np.arange(len(rows))
    scanned = _thinned(index[rows.edge_m[index] > 0.0], MOST_ROWS)
    fixed = _thinned(index[rows.edge_m[index] == 0.0], MOST_ROWS - len(scanned))
    return np.sort(np.concatenate([scanned, fixed]))


def _thinned(index: Indices, most: int) -> Indices:
    return index[np.linspace(0, len(index) - 1, min(most, len(index))).astype(np.int64)] if len(index) else index
