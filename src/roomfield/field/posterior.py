"""The joint posterior as draws, and levels at any point read off it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_triangular
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from roomfield.errors import InputError, UnknownNameError
from roomfield.field.forward import Forward, mixture_gain_db, power_sum
from roomfield.field.hand_scan import scan_gain
from roomfield.field.observation_arrays import KINDS
from roomfield.field.path_gains import (
    Radiators,
    has_walls,
    residual_covariance,
    residual_variance,
    unit_db_over,
    wall_slopes,
)
from roomfield.field.position_search import Search
from roomfield.field.priors import rice_factor
from roomfield.field.scene import Scene
from roomfield.field.threads import on_one_thread
from roomfield.quantities import Kind
from roomfield.survey import Activity, Emitter, RadioState, Survey

Array = NDArray[np.float64]
SCAN_EDGE_M = 0.5
LEAST_REST_DB = 0.01
SAME_SPOT_M = 0.25
"""Fading and crest of a scanned cube are known at points this near its middle (half its edge)."""


@dataclass(frozen=True)
class LevelDraws:
    """Draws of levels at points.

    Parameters
    ----------
    kind : Kind
        Peak and highest held: largest value in a scanned volume about the point. Average: local mean over time.
    density_w_m2 : ndarray, shape (n_draws, n_points)
        Draws of the total [W/m²].
    by_emitter_w_m2 : ndarray, shape (n_draws, n_emitters, n_points)
        The same by emitter: local means, weighted with the duty unless the kind is peak [W/m²].
    emitter_ids : tuple of str
        Emitters, in order.
    """

    kind: Kind
    density_w_m2: Array
    by_emitter_w_m2: Array
    emitter_ids: tuple[str, ...]

    @property
    def level_db(self) -> Array:
        """Draws [dB re 1 W/m²], shape (n_draws, n_points)."""
        return np.asarray(10.0 * np.log10(self.density_w_m2))

    def quantile_w_m2(self, probability: float | Sequence[float]) -> Array:
        """Quantiles over the draws [W/m²]."""
        return np.asarray(np.quantile(self.density_w_m2, probability, axis=0))

    def probability_over(self, bound_w_m2: float) -> Array:
        """Share of draws over a bound [W/m²], shape (n_points,)."""
        return np.asarray(np.mean(self.density_w_m2 > bound_w_m2, axis=0))


@dataclass(frozen=True, eq=False)
class Posterior:
    """What all readings together say.

    Parameters
    ----------
    survey : Survey
        The record it rests on.
    visit_id : str or None
        The visit, or None for all.
    scene : Scene
        The dwelling as the readings found it.
    radiators : Radiators
        Emitters; unknown positions filled with the most probable one.
    forward : Forward
        The model with its readings.
    x : ndarray, shape (n_draws, total)
        Draws of the standardised unknowns.
    searches : tuple of Search
        One per group of emitters of unknown position.
    candidate : ndarray of int, shape (n_draws, n_searches)
        Which candidate position each draw has.
    materials : tuple of str
        Materials with an inferred offset.
    seed : int
        Seed of the draws.
    acceptance : float
        Share of accepted proposals.
    drift : ndarray
        How far the chains still moved, for each unknown, see `sampling.Draws`.
    converged : bool
        True if the mode was found.
    outside_band : tuple of Emitter
        Emitters of the record that no meter in use receives; they play no part.
    """

    survey: Survey
    visit_id: str | None
    scene: Scene
    radiators: Radiators
    forward: Forward
    x: Array
    searches: tuple[Search, ...]
    candidate: NDArray[np.int64]
    materials: tuple[str, ...]
    seed: int
    acceptance: float
    drift: Array
    converged: bool
    outside_band: tuple[Emitter, ...] = ()

    @property
    def emitter_ids(self) -> tuple[str, ...]:
        """Emitters in the order of all arrays."""
        return tuple(e.id for e in self.survey.emitters)

    @cached_property
    def eirp_db(self) -> Array:
        """Draws of EIRP while transmitting [dB re 1 W], shape (n_draws, n_emitters)."""
        return self.forward.eirp_db(self.x)

    @cached_property
    def duty_db(self) -> Array:
        """Draws of the share of time on air [dB], shape (n_draws, n_emitters)."""
        return self.forward.duty_db(self.x)

    @cached_property
    def gain_db(self) -> Array:
        """Draws of the meters' gain errors [dB], shape (n_draws, n_gains)."""
        return self.forward.gain_db(self.x)

    @cached_property
    def wall_db(self) -> Array:
        """Draws of what each material loses beyond its table row [dB], shape (n_draws, n_materials)."""
        return self.forward.wall_db(self.x)

    @cached_property
    def positions_m(self) -> Array:
        """Draws of the emitters' positions [m], shape (n_draws, n_emitters, 3)."""
        positions = np.broadcast_to(self.radiators.positions, (len(self.x), *self.radiators.positions.shape)).copy()
        for column, search in enumerate(self.searches):
            positions[:, search.members] = search.candidates[self.candidate[:, column]][:, None, :]
        return positions

    @cached_property
    def misfit_weights(self) -> Array:
        """What carries the misfit to any point, shape (n_draws, k m)."""
        forward = self.forward
        white = forward.scale(self.x) * self.x[:, forward.blocks["misfit"]]
        return np.asarray(solve_triangular(forward.misfit.factor, white.T, lower=True, trans="T").T)

    @cached_property
    def shared_db(self) -> Array:
        """Draws of fading, crest and, if there is any, rest of every emitter at every site [dB], (2 or 3, n, k, p)."""
        forward, residual = self.forward, self.forward.residual_db(self.x, self.site_units)
        return forward.noise.draw_shared(residual, len(forward.unit_db), np.random.default_rng([self.seed, 5]))

    @cached_property
    def site_units(self) -> Array | None:
        """Level per watt at the sites, one per draw; None if all positions are known."""
        return site_units(self, self.forward.observed.sites)

    @cached_property
    def scanned(self) -> NDArray[np.int64]:
        """Sites with a position where a cube was scanned."""
        rows = self.forward.observed.levels
        return np.unique(rows.site[(rows.edge_m > 0.0) & (rows.censor == 0)])

    def on_mask(self, state: str | RadioState | None) -> NDArray[np.bool_]:
        """Which emitters are on in a radio state, shape (n_emitters,).

        Parameters
        ----------
        state : str or RadioState, optional
            Id of a state of the visit(s), or a state of one's own; left out: all are on.

        Raises
        ------
        UnknownNameError
            If there is no state with this id.
        """
        did = self._activities(state)
        return np.array([activity is not Activity.SILENT for activity in did])

    def activity_change_db(self, state: str | RadioState | None, kind: Kind, x: Array) -> Array:
        """By how much emitters differ in a radio state from what they do as found [dB], shape (n_draws, n_emitters).

        What was never read (a call that nobody made) is taken as found.
        """
        did, modes = self._activities(state), self.forward.observed.modes
        k = len(did)
        found = {(m.emitter, m.activity): k + n for n, m in enumerate(modes)}
        index = [found.get((e, activity), e) for e, activity in enumerate(did)] if state else list(range(k))
        offset, duty = self.forward.mode_db(x)
        change = offset[:, index]
        return change if kind.instantaneous else change + duty[:, index] - duty[:, :k]

    def _activities(self, state: str | RadioState | None) -> tuple[Activity | None, ...]:
        """What each emitter does in a radio state; None for as found."""
        if state is None:
            return (None,) * len(self.survey.emitters)
        if isinstance(state, str):
            visits = [v for v in self.survey.visits if self.visit_id in (None, v.id)]
            known = {s.id: s for v in visits for s in v.radio_states}
            if state not in known:
                raise UnknownNameError("radio state", state, known)
            state = known[state]
        return tuple(state.activity_of(e.id, e.group) for e in self.survey.emitters)


def site_units(posterior: Posterior, sites: Array) -> Array | None:
    """Level per watt at some sites, one table per draw, shape (n_draws, p, k); None if all positions are known."""
    if not posterior.searches:
        return None
    rows = list(range(len(posterior.emitter_ids)))
    table = _unit(posterior, posterior.scene, posterior.radiators, sites, len(posterior.x), rows)
    return np.asarray(np.swapaxes(table, 1, 2))


@on_one_thread
def levels_at(
    posterior: Posterior,
    points: ArrayLike,
    *,
    kind: Kind,
    state: str | RadioState | None = None,
    scene: Scene | None = None,
    emitter_positions: Mapping[str, Sequence[float]] | None = None,
    draws: int | None = None,
) -> LevelDraws:
    """Draws of the level at points.

    Parameters
    ----------
    posterior : Posterior
        From `infer`.
    points : array_like, shape (n, 3)
        Points [m].
    kind : Kind
        Which question: peak or highest held (all transmit at once), or average (weighted with the duty).
    state : str or RadioState, optional
        Which emitters are off; left out: none.
    scene : Scene, optional
        Another dwelling, for example with a shield; left out: as found.
    emitter_positions : mapping, optional
        Emitters moved to another place [m].
    draws : int, optional
        Use only the first so many draws.

    Returns
    -------
    LevelDraws
        Equal points and draws give equal misfit draws in any scene, so that before and after compare.
    """
    x = posterior.x[:draws]
    level = level_table_db(posterior, points, kind=kind, scene=scene, emitter_positions=emitter_positions, draws=draws)
    on = posterior.on_mask(state)
    level = level + posterior.activity_change_db(state, kind, x)[:, :, None]
    moved = tuple(emitter_positions or ())
    return total_of(posterior, np.where(on[None, :, None], level, -400.0), x, kind, points=points, moved=moved)


@on_one_thread
def level_table_db(
    posterior: Posterior,
    points: ArrayLike,
    *,
    kind: Kind,
    scene: Scene | None = None,
    emitter_positions: Mapping[str, Sequence[float]] | None = None,
    draws: int | None = None,
    rows: Sequence[int] | None = None,
    columns: Sequence[int] | None = None,
) -> Array:
    """Draws of what each emitter makes at each point, local mean [dB re 1 W/m²], shape (n_draws, n_emitters, n_points).

    Parameters
    ----------
    posterior, points, kind, scene, emitter_positions, draws
        As in `levels_at`.
    rows, columns : sequence of int, optional
        Work out only these emitters and points of the table; each entry is the same as in the whole one.
    """
    places = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    if not np.all(np.isfinite(places)):
        raise InputError("a point is not a number.", mend="Give x, y and z in metres.")
    x, whole = posterior.x[:draws], (len(posterior.emitter_ids), len(places))
    row = list(range(whole[0])) if rows is None else list(rows)
    column = list(range(whole[1])) if columns is None else list(columns)
    stand = _moved(posterior, emitter_positions or {})
    moved, used, places = stand.take(row), scene or posterior.scene, places[column]
    level = posterior.forward.eirp_db(x)[:, row, None] + _unit(posterior, used, stand, places, len(x), row)
    slopes = wall_slopes(used, moved, places, posterior.materials)
    level = level + np.einsum("pkm,nm->nkp", slopes, posterior.forward.wall_db(x))
    level = level + _misfit(posterior, stand, places, x, row, column, whole[1])
    still = np.all(stand.positions == posterior.radiators.positions, axis=1)
    level = level + _near_sites(posterior, 0, places, len(x), still, column, whole[1])[:, row]
    if not kind.instantaneous:
        level = level + posterior.forward.duty_db(x)[:, row, None]
    return np.asarray(level)


def _moved(posterior: Posterior, changes: Mapping[str, Sequence[float]]) -> Radiators:
    positions = posterior.radiators.positions.copy()
    for name, position in changes.items():
        if name not in posterior.emitter_ids:
            raise UnknownNameError("emitter", name, posterior.emitter_ids)
        positions[posterior.emitter_ids.index(name)] = position
    return posterior.radiators.moved(positions)


def _unit(
    posterior: Posterior, scene: Scene, radiators: Radiators, points: Array, count: int, rows: list[int]
) -> Array:
    """Level per watt of some emitters, shape (1 or count, k, n): with one position per draw where it is not known."""
    base = unit_db_over(scene, radiators.take(rows), points).T[None]
    still = np.all(radiators.positions == posterior.radiators.positions, axis=1)
    searched = [(c, s) for c, s in enumerate(posterior.searches) if all(still[s.members]) and {*rows} & {*s.members}]
    if not searched:
        return base
    table = np.repeat(base, count, axis=0)
    for column, search in searched:
        different, row = np.unique(search.candidates, axis=0, return_inverse=True)
        chosen = row[posterior.candidate[:count, column]]
        for member in {*rows} & {*search.members}:
            many = radiators.take([member] * len(different)).moved(different)
            table[:, rows.index(member)] = unit_db_over(scene, many, points).T[chosen]
    return table


def _misfit(
    posterior: Posterior, radiators: Radiators, points: Array, x: Array, rows: list[int], columns: list[int], among: int
) -> Array:
    """Misfit of some emitters at some of ``among`` points given that at the sites, shape (n_draws, k, n).

    What is left open is drawn for the whole table, so that a part of it is the same as in the whole.
    """
    forward, k = posterior.forward, len(radiators.positions)
    known = has_walls(posterior.scene)
    cross = residual_covariance(known, posterior.radiators, forward.misfit.carriers, points, to=radiators)
    variance = residual_variance(known, radiators, points)
    chosen = (np.array(rows)[:, None] * len(points) + np.arange(len(points))).reshape(-1)
    cross, variance = cross[:, chosen], variance[chosen]
    mean = posterior.misfit_weights[: len(x)] @ cross
    half = solve_triangular(forward.misfit.factor, cross, lower=True, check_finite=False)
    left = np.sqrt(np.maximum(variance - np.sum(half**2, axis=0), 0.0))
    rng = np.random.default_rng([posterior.seed, 7])
    normal = rng.standard_normal((len(x), k, among))[:, rows][:, :, columns]
    still = np.all(radiators.positions == posterior.radiators.positions, axis=1)
    normal = _with_rest(posterior, points, normal, rows, still[rows]).reshape(len(x), -1)
    return np.asarray((mean + forward.scale(x) * left * normal).reshape(len(x), len(rows), len(points)))


def _with_rest(posterior: Posterior, points: Array, fresh: Array, rows: list[int], still: NDArray[np.bool_]) -> Array:
    """Standardised misfit that the carriers leave open, (n_draws, k, n): that of a site in one spot, else fresh."""
    noise = posterior.forward.noise
    if noise.rest_db2 is None:
        return fresh
    apart, nearest = cKDTree(posterior.forward.observed.sites).query(points)
    std = np.sqrt(noise.rest_db2)[rows][:, nearest]
    alike = np.exp(-((apart / SAME_SPOT_M) ** 2)) * still[:, None] * (std > LEAST_REST_DB)
    known = posterior.shared_db[2][: len(fresh)][:, rows][:, :, nearest] / np.maximum(std, LEAST_REST_DB)
    return np.asarray(alike * known + np.sqrt(1.0 - alike**2) * fresh)


def _near_sites(
    posterior: Posterior, which: int, points: Array, count: int, still: NDArray[np.bool_],
    columns: list[int], among: int,
) -> Array:  # fmt: skip
    """Fading (0) or crest (1) at points: that of a site in the same spot, else fresh, shape (n_draws, k, n) [dB]."""
    noise = posterior.forward.noise
    std = (noise.fading_std_db, noise.crest_std_db)[which]
    rng = np.random.default_rng([posterior.seed, 13 + which])
    fresh = std[None, :, None] * rng.standard_normal((count, len(std), among))[:, :, columns]
    if not len(posterior.scanned):
        return np.asarray(fresh)
    apart = cdist(points, posterior.forward.observed.sites[posterior.scanned])
    nearest = posterior.scanned[np.argmin(apart, axis=1)]
    alike = np.exp(-((apart.min(axis=1) / SAME_SPOT_M) ** 2)) * still[:, None]
    known = posterior.shared_db[which][:count][:, :, nearest]
    return np.asarray(alike * known + np.sqrt(1.0 - alike**2) * fresh)


def total_of(
    posterior: Posterior, level_db: Array, x: Array, kind: Kind, *, points: ArrayLike, moved: Sequence[str] = ()
) -> LevelDraws:
    """Levels of a table of what each emitter makes.

    Parameters
    ----------
    level_db : ndarray, shape (n_draws, n_emitters, n_points)
        From `level_table_db` [dB re 1 W/m²].
    x : ndarray
        The posterior's draws that it was made with.
    points : array_like, shape (n_points, 3)
        Where [m].
    moved : sequence of str
        Emitters that stand elsewhere than when the readings were taken.
    """
    total_db, shares = power_sum(np.swapaxes(level_db, 1, 2))
    if kind.instantaneous:
        places = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        rice = np.array([rice_factor(e) for e in posterior.survey.emitters])
        single = scan_gain(posterior.radiators.frequencies_hz, rice, SCAN_EDGE_M).median_db
        still = np.array([name not in moved for name in posterior.emitter_ids])
        crest = _near_sites(posterior, 1, places, len(x), still, list(range(len(places))), len(places))
        spread = mixture_gain_db(single, shares) + np.einsum("npk,nkp->np", shares, crest)
        total_db = total_db + spread + posterior.forward.spot_db(x)[:, [KINDS.index(kind)]]
    return LevelDraws(kind, 10.0 ** (total_db / 10.0), 10.0 ** (level_db / 10.0), posterior.emitter_ids)
