"""One joint posterior from everything that was observed."""

from __future__ import annotations

import logging
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from roomfield.errors import TooEarlyError
from roomfield.field.activities import activity_priors
from roomfield.field.catching import caught_before, intervals_s, spots_met
from roomfield.field.directions import GUESSED_POWER_STD_DB, Aimed, aimed_at, plan_arrival
from roomfield.field.emitter_states import receives
from roomfield.field.forward import Forward, power_sum
from roomfield.field.hand_scan import largest_of, mean_std_db, scan_cells, scan_gain
from roomfield.field.misfit import MisfitPrior, misfit_prior
from roomfield.field.noise import SCAN_STD_DB, Noise
from roomfield.field.observation_arrays import AVERAGE_ROW, LevelRows, Observations, observe
from roomfield.field.path_gains import (
    Radiators,
    has_walls,
    materials_of,
    unit_db,
    unit_db_carried,
    wall_offset_std_db,
    wall_slopes,
)
from roomfield.field.position_search import Search, at_best, search
from roomfield.field.posterior import Posterior
from roomfield.field.priors import FAR_M, UNKNOWN_FREQUENCY_HZ, EmitterPrior, eirp_factor, emitter_prior, rice_factor
from roomfield.field.sampling import LONG, SHORT, Mode, Scales, best_mode, draw, scan_scales, settle
from roomfield.field.scene import Scene
from roomfield.field.threads import on_one_thread
from roomfield.instrument import correction, gain_key
from roomfield.survey import Emitter, Survey
from roomfield.survey.emitter import Control

_log = logging.getLogger("roomfield.field")

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
GAIN_SHARED = 0.5
"""Part of the variance of a meter's gain errors that is alike in all bands (our judgement)."""
SEARCH_PASSES = 2
MANY_CELLS = 20_000
"""Readings and sites times emitters from which on few long chains are taken."""
LOWEST_START, HALVINGS = 1.0, 8
"""Chains begin at most this many units of log posterior per unknown under the mode; draws lie half a unit under it."""


@on_one_thread
def infer(survey: Survey, *, visit_id: str | None = None, seed: int = 0, draws: int = 500) -> Posterior:
    """Infer powers, positions, gain errors, wall losses and misfit from all readings at once.

    Parameters
    ----------
    survey : Survey
        The record: emitters, meters, readings, bearings and, as far as known, the dwelling.
    visit_id : str, optional
        Use only one visit; left out: all.
    seed : int
        The same seed gives the same draws.
    draws : int
        Number of draws.

    Raises
    ------
    TooEarlyError
        If there is no reading or no emitter.
    UnknownNameError
        If a reading names something that is not in the record.

    Notes
    -----
    Mode, then Hamiltonian Monte Carlo. Readings of all kinds enter: a peak is the sum
    of all emitters that were on, so is the highest held; an average weighs each with its duty; bounds enter
    by their probability.
    """
    if not survey.emitters:
        raise TooEarlyError("there is no emitter to make the readings.", mend="Name at least one, known or suspected.")
    whole, survey = survey, within_band(survey, visit_id)
    observed = observe(survey, visit_id)
    scene = Scene.from_dwelling(survey.dwelling)
    radiators = Radiators.of(survey.emitters, _start_positions(survey.emitters, observed.sites))
    searches = _searches(survey, observed, scene, radiators)
    _log.debug(
        "evidence of visit %r: %d rows of levels, %d of them bounds; left out as outside the band: %s",
        visit_id, len(observed.levels.censor), int(np.count_nonzero(observed.levels.censor)),
        [e.id for e in whole.emitters if e not in survey.emitters],
    )  # fmt: skip
    radiators = at_best(searches, radiators)
    materials = materials_of(scene)
    forward = build_forward(survey, observed, scene, radiators, materials)
    forward = settle(replace(forward, aimed=_over_candidates(forward.aimed, observed, scene, radiators, searches)))
    scales = scan_scales(forward)
    forward = forward.with_rest(scales.best.x)
    mode = scales.best if forward.misfit.own_db2 is None else best_mode(forward, scales.best.x)
    rng = np.random.default_rng(seed)
    length = SHORT if forward.cells < MANY_CELLS else LONG
    chains = max(1, -(-draws // length.draws))
    candidate = _candidates(searches, chains, rng)
    units = _units_per_draw(forward, scene, radiators, searches, candidate)
    middle = _modes(scales, chains, rng) + _start_shift(forward, searches, candidate)
    start = _allowed(forward, middle, _near(mode, chains, rng), units)
    drawn = draw(mode, lambda x: forward.log_posterior(x, units), start, length, rng)
    _log.debug(
        "inferred from visit %r: %d emitters, %d searched for, mode converged %s, acceptance %s, drift %s, seed %d",
        visit_id, len(survey.emitters), len(searches), mode.converged, drawn.acceptance, drawn.drift, seed,
    )  # fmt: skip
    return Posterior(survey, visit_id, scene, radiators, forward, drawn.x[:draws], tuple(searches),
                     candidate[drawn.chain[:draws]], materials, seed, drawn.acceptance, drawn.drift,
                     mode.converged, tuple(e for e in whole.emitters if e not in survey.emitters))  # fmt: skip


def within_band(survey: Survey, visit_id: str | None = None) -> Survey:
    """The survey without emitters that no meter in use receives: nothing that was read comes from them.

    Raises
    ------
    TooEarlyError
        If no emitter is left.
    """
    bearings = [b for b in survey.current_bearings() if visit_id in (None, b.visit_id)]
    used = {r.meter_id for r in survey.current_readings(visit_id)} | {b.meter_id for b in bearings}
    meters = [m for m in survey.meters if m.id in used]
    if not meters:
        return survey
    heard = tuple(e for e in survey.emitters if any(receives(m, e) for m in meters))
    if not heard:
        raise TooEarlyError(
            "no emitter of the record lies within the band of the meter.", mend="Name one that the meter receives."
        )
    return replace(survey, emitters=heard)


def _candidates(searches: list[Search], chains: int, rng: np.random.Generator) -> Indices:
    columns = [rng.permutation(np.arange(chains) % len(s.candidates)) for s in searches]
    return np.column_stack(columns) if columns else np.zeros((chains, 0), dtype=np.int64)


def _modes(scales: Scales, chains: int, rng: np.random.Generator) -> Array:
    """Modes to start from, as often as their size of the misfit is probable."""
    marks = (np.arange(chains) + 0.5) / chains
    which = np.minimum(np.searchsorted(np.cumsum(scales.probability), marks), len(scales.probability) - 1)
    return np.asarray(scales.modes[rng.permutation(which)])


def _allowed(forward: Forward, middle: Array, offset: Array, units: Array | None) -> Array:
    """Starts that no reading forbids: offsets from the middle are halved where the log posterior is far too low.

    A weak emitter is only bounded from above, which the normal approximation does not know.
    """
    lowest = forward.log_posterior(middle, units)[0] - LOWEST_START * middle.shape[1]
    for _ in range(HALVINGS):
        low = forward.log_posterior(middle + offset, units)[0] < lowest
        if not np.any(low):
            break
        offset = np.where(low[:, None], 0.5 * offset, offset)
    return middle + offset


def _near(mode: Mode, chains: int, rng: np.random.Generator) -> Array:
    white = rng.standard_normal((len(mode.x), chains))
    return np.asarray(solve_triangular(mode.factor.T, white, lower=False, check_finite=False).T)


def build_forward(
    survey: Survey, observed: Observations, scene: Scene, radiators: Radiators, materials: tuple[str, ...],
    tables: tuple[Array, Array] | None = None,
) -> Forward:  # fmt: skip
    """The model of the readings.

    Parameters
    ----------
    radiators : Radiators
        All emitters with a position.
    materials : tuple of str
        Materials whose loss is inferred.
    tables : (ndarray, ndarray), optional
        Level per watt at the sites and its change by wall losses, if known already; see `Forward`.
    """
    sites, rows = observed.sites, observed.levels
    misfit = misfit_prior(has_walls(scene), radiators, sites, [bool(name) for name in observed.place_ids])
    index, mean, gain_factor = _gains(survey)
    priors = tuple(emitter_prior(e) for e in survey.emitters)
    unit, slopes = tables or (
        unit_db(scene, radiators, sites)
        if misfit.weights is None
        else unit_db_carried(scene, radiators, sites, misfit.carriers),
        wall_slopes(scene, radiators, sites, materials),
    )
    unplaced = np.array([e.position is None and e.bearing_deg is None for e in survey.emitters])
    forward = Forward(
        observed, priors, unit, slopes, misfit, index, mean, gain_factor,
        _scan_gains(survey.emitters, radiators, rows), np.ones((len(rows), len(priors))),
        np.array([wall_offset_std_db(name) for name in materials]),
        _noise(survey.emitters, radiators, observed, priors, unit, misfit),
        eirp_factor(survey.emitters, np.array([p.eirp_std_db for p in priors])),
        aimed_at(scene, radiators, observed, unplaced),
        activity_priors(survey.emitters, priors, observed.modes), caught_before(rows, intervals_s(survey.emitters)),
    )  # fmt: skip
    return forward.with_axes(np.zeros(forward.blocks.total), GUESSED_POWER_STD_DB)


def _over_candidates(
    aimed: Aimed, observed: Observations, scene: Scene, radiators: Radiators, searches: list[Search]
) -> Aimed:
    """Directions of emitters of unknown position: the mean over their candidates."""
    arrival, site = aimed.arrival.copy(), observed.levels.site[aimed.rows]
    for found in searches:
        for member in found.members:
            many = radiators.take([member] * len(found.candidates)).moved(found.candidates)
            arrival[:, member] = plan_arrival(scene, many, observed.sites, site).mean(axis=1)
    return replace(aimed, arrival=arrival)


def _scan_gains(emitters: tuple[Emitter, ...], radiators: Radiators, rows: LevelRows) -> Array:
    """How far a scan's largest value of each emitter lies over its mean: of the places at which it spoke."""
    rice = np.array([rice_factor(e) for e in emitters])
    cells = scan_cells(rows.edge_m[:, None], radiators.frequencies_hz[None])
    gain = largest_of(spots_met(cells, rows.watched_s, intervals_s(emitters)), rice[None]).median_db
    return np.asarray(gain * (rows.edge_m > 0.0)[:, None])


def _noise(
    emitters: tuple[Emitter, ...], radiators: Radiators, observed: Observations,
    priors: tuple[EmitterPrior, ...], unit: Array, misfit: MisfitPrior,
) -> Noise:  # fmt: skip
    """Scatter of the readings, with the shares that the priors say."""
    rows = observed.levels
    repeat = np.zeros(int(rows.scan.max()) + 1)
    repeat[rows.scan] = np.array([m.figures.repeatability_db for m in observed.meters])[rows.meter]
    scans = np.ones(len(repeat))
    scans[rows.scan] = rows.count
    rice = np.array([rice_factor(e) for e in emitters])
    fading = mean_std_db(radiators.frequencies_hz, rice)
    crest = scan_gain(radiators.frequencies_hz, rice).std_db
    power, duty = (np.array([getattr(p, name) for p in priors]) for name in ("eirp_db", "duty_db"))
    terms = np.where(rows.on, unit[rows.site] + power + (rows.kind == AVERAGE_ROW)[:, None] * duty, -400.0)
    shares = power_sum(terms)[1]
    scatter = np.hypot(repeat, SCAN_STD_DB) / np.sqrt(scans)
    return Noise(rows, scatter, fading, crest, shares, np.ones(len(rows)), rest_db2=misfit.own_db2)


def _gains(survey: Survey) -> tuple[Indices, Array, Array]:
    """Which gain error applies to (meter, emitter), the prior means, and the Cholesky factor of their covariance [dB].

    Errors of one meter in different bands share a part: its calibration moves all of them, its response over
    frequency each.
    """
    found: dict[str, tuple[int, float, float, int]] = {}
    index = np.zeros((len(survey.meters), len(survey.emitters)), dtype=np.int64)
    for m, meter in enumerate(survey.meters):
        for k, emitter in enumerate(survey.emitters):
            frequency_hz = emitter.frequency_hz or UNKNOWN_FREQUENCY_HZ
            key = gain_key(meter.id, frequency_hz)
            if key not in found:
                known = correction(meter, frequency_hz)
                found[key] = (len(found), -known.offset_db, known.contribution.std_db, m)
            index[m, k] = found[key][0]
    values = list(found.values())
    std, owner = np.array([v[2] for v in values]), np.array([v[3] for v in values])
    alike = GAIN_SHARED * (owner[:, None] == owner[None]) + (1.0 - GAIN_SHARED) * np.eye(len(values))
    factor = cholesky(alike * np.outer(std, std) + 1e-9 * np.eye(len(values)), lower=True)
    return index, np.array([v[1] for v in values]), np.asarray(factor)


def _start_positions(emitters: tuple[Emitter, ...], sites: Array) -> Array:
    centre = sites.mean(axis=0)
    return np.array([_start_position(e, centre) for e in emitters], dtype=np.float64)


def _start_position(emitter: Emitter, centre: Array) -> tuple[float, float, float]:
    if emitter.position is not None:
        return emitter.position
    if emitter.bearing_deg is not None:
        angle = np.deg2rad(emitter.bearing_deg)
        return (float(centre[0] + FAR_M * np.sin(angle)), float(centre[1] + FAR_M * np.cos(angle)), float(centre[2]))
    return (float(centre[0]), float(centre[1]), float(centre[2]) + (FAR_M if emitter.outdoor else 0.0))


def stands_outside(emitter: Emitter) -> bool:
    """Whether it is sought outside the dwelling: what a neighbour owns is, never at a spot inside."""
    return emitter.outdoor or (emitter.position is None and emitter.control is Control.NEIGHBOUR)


def unknown_groups(emitters: tuple[Emitter, ...]) -> list[list[int]]:
    """Indices of emitters without position and bearing, those on one switch together."""
    groups: dict[tuple[str, bool], list[int]] = {}
    for k, emitter in enumerate(emitters):
        if emitter.position is None and emitter.bearing_deg is None:
            groups.setdefault((emitter.group, stands_outside(emitter)), []).append(k)
    return list(groups.values())


def _searches(survey: Survey, observed: Observations, scene: Scene, radiators: Radiators) -> list[Search]:
    groups = unknown_groups(survey.emitters)
    found: dict[int, Search] = {}
    for _ in range(SEARCH_PASSES if len(groups) > 1 else 1):
        for g, members in enumerate(groups):
            here = at_best([s for other, s in found.items() if other != g], radiators)
            forward = build_forward(survey, observed, scene, here, ())
            ids = tuple(survey.emitters[i].id for i in members)
            outdoor = stands_outside(survey.emitters[members[0]])
            found[g] = search(forward, scene, here, members, ids, survey.dwelling.storeys, outdoor)
    return [found[g] for g in range(len(groups))]


def _units_per_draw(
    forward: Forward, scene: Scene, radiators: Radiators, searches: list[Search], candidate: Indices
) -> Array | None:
    if not searches:
        return None
    units = np.repeat(forward.unit_db[None], len(candidate), axis=0)
    for column, found in enumerate(searches):
        for member in found.members:
            many = radiators.take([member] * len(found.candidates)).moved(found.candidates)
            units[:, :, member] = unit_db(scene, many, forward.observed.sites).T[candidate[:, column]]
    return units


def _start_shift(forward: Forward, searches: list[Search], candidate: Indices) -> Array:
    shift = np.zeros((len(candidate), forward.blocks.total))
    for column, found in enumerate(searches):
        rows = found.candidate_rows[candidate[:, column]]
        shift[:, forward.blocks["eirp"]] += solve_triangular(
            forward.eirp_factor, found.eirp_shift_db[rows].T, lower=True, check_finite=False
        ).T
    return shift
