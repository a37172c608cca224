"""One more reading: the draws of a posterior moved to what the longer list of readings says, without a new search.

Four steps. Sites that are new get draws of their misfit from what is known at the others. Every draw is then shifted
and narrowed as a linear Gaussian model would have it; as this step is affine, what it makes of the density is known,
and each shifted draw is weighed by how far the true posterior lies from it. If enough draws weigh, as many are taken
anew by their weights, and Hamiltonian moves let them go on from there. In a linear Gaussian model all weights are
equal and the step is exact; `Update.effective` says how far from it the case is.

Evensen, *Data Assimilation* (2009), for the shift with perturbed observations; Del Moral, Doucet and Jasra,
Sequential Monte Carlo samplers, J. R. Statist. Soc. B 68 (2006), for the weights of moved draws; Chopin, A sequential
particle filter method for static models, Biometrika 89 (2002), for moving on after taking anew.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, cholesky, solve_triangular

from roomfield.field.forward import Forward
from roomfield.field.inference import build_forward, within_band
from roomfield.field.observation_arrays import Observations, observe
from roomfield.field.path_gains import has_walls, residual_covariance, unit_db, wall_slopes
from roomfield.field.posterior import Posterior, site_units
from roomfield.field.sampling import Mode, hamiltonian_moves, settle_from
from roomfield.field.threads import on_one_thread
from roomfield.survey import Survey

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
LEAST_EFFECTIVE = 0.1
"""Share of the draws that must weigh; below it the posterior is to be inferred anew (our judgement)."""
MOVES, STEP = 1, 0.2
SEED_BEYOND = 61


@dataclass(frozen=True, eq=False)
class Update:
    """A posterior after some more readings.

    Parameters
    ----------
    posterior : Posterior
        With the new readings.
    effective : float
        Effective share of the draws that the new one rests on, 0 to 1: (sum of weights)² over sum of their squares.
    """

    posterior: Posterior
    effective: float


@on_one_thread
def updated(posterior: Posterior, survey: Survey) -> Update | None:
    """The posterior after more readings of the same home, transmitters and meters.

    Parameters
    ----------
    posterior : Posterior
        From `infer` of the same visit.
    survey : Survey
        The record with the new readings.

    Returns
    -------
    Update or None
        None where draws cannot be carried over: something other than readings was added, a reading was amended or
        taken back, there are so many sites that few carry the misfit of all, or too few draws agree with what is new.
        `infer` is then to be asked.
    """
    there = within_band(survey, posterior.visit_id)
    if not _alike(posterior.survey, there) or posterior.forward.misfit.weights is not None:
        return None
    observed = observe(there, posterior.visit_id)
    place, row = _matched(posterior.forward.observed, observed)
    if place is None or row is None:
        return None
    rng = np.random.default_rng([posterior.seed, SEED_BEYOND, len(observed.levels)])
    tables, units = _tables(posterior, observed.sites, place)
    raw = build_forward(there, observed, posterior.scene, posterior.radiators, posterior.materials, tables)
    if raw.misfit.weights is not None:
        return None
    raw = replace(raw, aimed=replace(raw.aimed, arrival=posterior.forward.aimed.arrival))
    before = _lifted(posterior, raw, place, rng)
    forward = settle_from(raw, before.mean(axis=0))
    old = posterior.forward.log_likelihood(posterior.x, posterior.site_units) - 0.5 * np.sum(before**2, axis=1)
    moved, weight, precision = _moved(forward, before, units, row, rng)
    value, _ = forward.log_posterior(moved, units)
    weight = weight + value - old
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    effective = 1.0 / float(np.sum(weight**2)) / len(weight)
    if effective < LEAST_EFFECTIVE:
        return None
    taken = np.searchsorted(np.cumsum(weight), (np.arange(len(weight)) + rng.uniform()) / len(weight))
    taken = np.minimum(taken, len(weight) - 1)
    units = None if units is None else units[taken]
    mode = Mode(moved.mean(axis=0), cholesky(precision, lower=True), 0.0, True)
    x = hamiltonian_moves(mode, lambda some: forward.log_posterior(some, units), moved[taken], MOVES, STEP, rng)
    made = replace(posterior, survey=there, forward=forward, x=x, candidate=posterior.candidate[taken])
    return Update(made, effective)


def gaussian_shift(
    x: Array, precision: Array, table: Array, covariance: Array, gap: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Draws shifted by linear Gaussian readings with perturbed observations, and what that does to their weights.

    Parameters
    ----------
    x : ndarray, shape (n, q)
        Draws before the readings.
    precision : ndarray, shape (q, q)
        Of these draws.
    table : ndarray, shape (r, q)
        Derivatives of the new readings by the unknowns.
    covariance : ndarray, shape (r, r)
        Of the new readings about the model.
    gap : ndarray, shape (r,)
        New readings minus the model at the mean of ``x``.

    Returns
    -------
    x : ndarray, shape (n, q)
        Shifted draws.
    log_weight : ndarray, shape (n,)
        To be added to the log posterior at the shifted draws minus that before at the old ones. The sum is alike for
        all draws if both are normal.
    """
    spread = np.linalg.solve(precision, table.T)
    total = table @ spread + covariance
    gain = np.linalg.solve(total, spread.T).T
    mean = x.mean(axis=0)
    scatter = rng.standard_normal((len(x), len(gap))) @ cholesky(covariance, lower=True).T
    moved = x + (gap + scatter - (x - mean) @ table.T) @ gain.T
    # Which scatter brought a draw there is, in the normal case, itself normal about what the draw lies off the mean.
    expected = (moved - (mean + gain @ gap)) @ table.T
    left = covariance @ np.linalg.solve(total, covariance)
    return moved, _normal(scatter - expected, 0.5 * (left + left.T)) - _normal(scatter, covariance)


def _normal(away: Array, covariance: Array) -> Array:
    """Log density of normal vectors, shape (n, r), but for what is alike in all."""
    free = solve_triangular(cholesky(covariance, lower=True), away.T, lower=True)
    return np.asarray(-0.5 * np.sum(free**2, axis=0))


def _tables(posterior: Posterior, sites: Array, place: Indices) -> tuple[tuple[Array, Array], Array | None]:
    """Level per watt at all sites and its change by wall losses, then the former by draw; only new sites are traced."""
    new, old = np.setdiff1d(np.arange(len(sites)), place), posterior.forward
    unit, slopes = np.empty((len(sites), *old.unit_db.shape[1:])), np.empty((len(sites), *old.wall_slopes.shape[1:]))
    unit[place], slopes[place] = old.unit_db, old.wall_slopes
    if len(new):
        unit[new] = unit_db(posterior.scene, posterior.radiators, sites[new])
        slopes[new] = wall_slopes(posterior.scene, posterior.radiators, sites[new], posterior.materials)
    known = posterior.site_units
    if known is None:
        return (unit, slopes), None
    units = np.empty((len(known), len(sites), known.shape[2]))
    units[:, place] = known
    if len(new):
        units[:, new] = site_units(posterior, sites[new])
    return (unit, slopes), units


def _moved(
    forward: Forward, x: Array, units: Array | None, old_rows: Indices, rng: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Draws shifted by the new readings that are values, with their weights, and the precision after all readings.

    Bounds enter by the weights alone.
    """
    new, known = np.setdiff1d(forward.noise.values, old_rows), np.intersect1d(forward.noise.values, old_rows)
    level, shares = forward.predict_compiled(x, units)
    residual = (forward.observed.levels.value_db - level).mean(axis=0)
    table = forward.jacobian(x.mean(axis=0), shares.mean(axis=0))
    whole = forward.noise.precision(residual, table) + np.eye(x.shape[1])
    if not len(new):
        return x, np.zeros(len(x)), whole
    carried, left = forward.noise.given(new, known)
    own = table[new] - carried @ table[known]
    # The curvature before the new readings: that of all of them, less what they bring.
    before = whole - own.T @ np.linalg.solve(left, own)
    gap = residual[new] - carried @ residual[known]
    return *gaussian_shift(x, 0.5 * (before + before.T), own, left, gap, rng), whole


def _alike(before: Survey, after: Survey) -> bool:
    """Whether two records differ in their readings (and in what was only planned) alone."""
    return (
        before.emitters == after.emitters
        and before.dwelling == after.dwelling
        and before.meters == after.meters
        and before.places == after.places
    )


def _matched(before: Observations, after: Observations) -> tuple[Indices | None, Indices | None]:
    """Where the sites and rows of the shorter list stand in the longer one; None if they are not all there."""
    sites = {(tuple(s), p): n for n, (s, p) in enumerate(zip(after.sites.tolist(), after.place_ids, strict=True))}
    place = [sites.get((tuple(s), p), -1) for s, p in zip(before.sites.tolist(), before.place_ids, strict=True)]
    if min(place, default=-1) < 0 or before.modes != after.modes:
        return None, None
    if before.heard.ids != after.heard.ids or len(before.bearings) != len(after.bearings):
        return None, None
    rows = {name: n for n, name in enumerate(_named(after.levels.ids))}
    found = [rows.get(name, -1) for name in _named(before.levels.ids)]
    if min(found, default=-1) < 0:
        return None, None
    row = np.array(found, dtype=np.int64)
    for column in ("value_db", "censor", "on", "mode", "count", "edge_m", "kind", "meter", "record_db2"):
        if not np.array_equal(getattr(before.levels, column), getattr(after.levels, column)[row]):
            return None, None
    axes = int(np.sum(~np.isnan(before.levels.axis_deg))), int(np.sum(~np.isnan(after.levels.axis_deg)))
    return (np.array(place, dtype=np.int64), row) if axes[0] == axes[1] else (None, None)


def _named(ids: tuple[str, ...]) -> list[tuple[str, int]]:
    """Ids with their number among equal ones: a bearing has two rows."""
    seen: Counter[str] = Counter()
    found = []
    for name in ids:
        found.append((name, seen[name]))
        seen[name] += 1
    return found


def _lifted(posterior: Posterior, forward: Forward, place: Indices, rng: np.random.Generator) -> Array:
    """Draws in the unknowns of the longer list: the misfit at new sites given that at the old ones."""
    old, count = posterior.forward, len(posterior.x)
    k, p = len(old.priors), len(forward.unit_db)
    kept = (np.arange(k)[:, None] * p + place).reshape(-1)
    fresh = np.setdiff1d(np.arange(k * p), kept)
    covariance = residual_covariance(
        has_walls(posterior.scene), posterior.radiators, forward.observed.sites, forward.observed.sites
    )
    drawn = np.zeros((count, k * p))
    drawn[:, kept] = posterior.x[:, old.blocks["misfit"]] @ old.misfit.factor.T
    if len(fresh):
        factor = (old.misfit.factor, True)
        carried = cho_solve(factor, covariance[np.ix_(kept, fresh)]).T
        left = covariance[np.ix_(fresh, fresh)] - carried @ covariance[np.ix_(kept, fresh)]
        half = cholesky(left + 1e-6 * np.eye(len(fresh)), lower=True)
        drawn[:, fresh] = drawn[:, kept] @ carried.T + rng.standard_normal((count, len(fresh))) @ half.T
    x = np.zeros((count, forward.blocks.total))
    for name, _ in old.blocks.sizes:
        if name != "misfit":
            x[:, forward.blocks[name]] = posterior.x[:, old.blocks[name]]
    x[:, forward.blocks["misfit"]] = solve_triangular(forward.misfit.factor, drawn.T, lower=True).T
    return x
