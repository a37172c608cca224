"""Levels from points alone: coordinates and readings, with or without known emitters, no walls drawn."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import InputError
from roomfield.field.censored import sites_of
from roomfield.field.links import Centre, Hyper, LinkVariance, PointLinks, centre_of, prior_mean
from roomfield.field.pair_sums import PairSums
from roomfield.field.residuals import ConditionedProcess, LevelMixture, LogEvidence, Weighted, average_over, condition
from roomfield.field.threads import on_one_thread

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

PRIOR_MEDIANS = np.array([0.08, 4.0, 1.5, 2.5, 1.0, 3.0, 0.5, 3.0])
PRIOR_LOG_STDS = np.array([0.9, 0.7, 0.7, 0.5, 0.5, 1.2, 1.2, 0.8])
"""Medians and logarithmic spreads of the scales in `Hyper`, the length as a share of the site's diagonal.

Orders of magnitude: shadowing of 3 to 8 dB over a few metres and small-scale scatter of 2 to 3 dB of a local mean
are usual indoors (ITU-R P.1238 and P.1411 give 4 to 10 dB in all; from memory); an obstacle of 3.5 +- 2 dB every
4 to 5 m adds 3 dB²/m; one light wall of 3.4 dB (COST 231 multi-wall, from memory) is what leaving a corridor costs.
"""
STRUCTURES = ((0, 1, 2, 3, 4, 5), (0, 1, 2, 3, 4, 5, 7), (0, 1, 2, 3, 4, 5, 6, 7))
"""Which scales are free in each structure of the field; all are averaged over, alike before any reading."""
WITHOUT_EMITTER = ((0, 1, 2, 3),)
ODDS_COUNTS_SAY_NOTHING = 0.3
"""Before any reading, odds that counted walls say nothing of the loss here (shelves, glass, ways round them; our
judgement)."""
KEPT = 32
"""So many components at most stand for the posterior."""
LEAST_NEAR_M = 0.05
BLOCK = 12
"""At most so many emitters share one inference; more are split into neighbourhoods."""


@dataclass(frozen=True)
class PointReadings:
    """Readings at points.

    Parameters
    ----------
    links : Links
        Where, and from which emitter.
    level_db : ndarray, shape (n,)
        Levels, or bounds where censored [dB].
    censor : ndarray of int, shape (n,)
        0 a value, -1 the true level lies below, +1 above.
    """

    links: PointLinks
    level_db: Array
    censor: Indices


@dataclass(frozen=True, eq=False)
class PointComponent:
    """One set of scales and the process given the readings.

    Parameters
    ----------
    counted : bool
        True if it reckons with counted walls, False if it takes them as saying nothing.
    """

    hyper: Hyper
    given: ConditionedProcess
    counted: bool


@dataclass(frozen=True, eq=False)
class PointPosterior:
    """What the readings say about levels at other points.

    Parameters
    ----------
    readings : PointReadings
        What it rests on.
    labels : tuple
        Emitters, in the order of ``readings.links.positions``.
    centre : Centre
        Pivot of the linear terms.
    structure_weights : ndarray, shape (t,)
        Probability of each of `STRUCTURES` (or of the one without emitters).
    components, weights : tuple of PointComponent; ndarray
        What the levels are averaged over.
    """

    readings: PointReadings
    labels: tuple[Hashable, ...]
    centre: Centre
    structure_weights: Array
    components: tuple[PointComponent, ...]
    weights: Array

    def levels(
        self,
        xyz: ArrayLike,
        emitter: Sequence[Hashable] | None = None,
        wall_counts: ArrayLike | None = None,
        *,
        reading: bool = True,
    ) -> LevelMixture:
        """Levels at points.

        Parameters
        ----------
        xyz : array_like, shape (p, 2 or 3)
            Points [m].
        emitter : sequence, optional
            Label of the emitter for each point; may be left out if there is only one.
        wall_counts : array_like, shape (p, w), optional
            Walls of each material between point and emitter, if given with the readings.
        reading : bool
            True for what a reading would show there, False for the local mean without the reading's own scatter.
        """
        new = _links(xyz, emitter, self.labels, self.readings.links.positions, wall_counts)
        asked = {}
        for counted in {part.counted for part in self.components}:
            there, here = (one if counted else replace(one, walls=None) for one in (self.readings.links, new))
            centre = self.centre if counted else replace(self.centre, walls=None)
            asked[counted] = here, centre, PairSums(there, here, centre), LinkVariance(here)
        means, stds = [], []
        for part in self.components:
            here, centre, pairs, variance = asked[part.counted]
            hyper = part.hyper
            mean, spread = part.given.predict(
                prior_mean(here, hyper, centre), pairs.covariance(hyper), variance(hyper, centre)
            )
            means.append(mean)
            stds.append(np.sqrt(spread + (hyper.noise_db**2 if reading else 0.0) + 1e-9))
        return LevelMixture(np.array(means), np.array(stds), self.weights)


@on_one_thread
def infer_points(
    xyz: ArrayLike,
    level_db: ArrayLike,
    *,
    emitter: Sequence[Hashable] | None = None,
    emitter_positions: Mapping[Hashable, Sequence[float]] | None = None,
    wall_counts: ArrayLike | None = None,
    censor: ArrayLike | None = None,
    extent_m: float | None = None,
    seed: int = 0,
) -> PointPosterior:
    """Posterior of levels from readings at points.

    Parameters
    ----------
    xyz : array_like, shape (n, 2 or 3)
        Points [m].
    level_db : array_like, shape (n,)
        Levels in decibels over any fixed reference [dB].
    emitter : sequence, optional
        Label of the emitter each reading belongs to; left out: all are of one.
    emitter_positions : mapping, optional
        Positions of all emitters [m]; left out: distance plays no part.
    wall_counts : array_like, shape (n, w), optional
        Number of walls of each material on the straight line to the emitter.
    censor : array_like of int, optional
        0 a value, -1 the true level lies below ``level_db``, +1 above.
    extent_m : float, optional
        Diagonal of the site [m]; left out: of the points.
    seed : int
        The same seed gives the same answer.

    Raises
    ------
    InputError
        If there is no reading, a number is missing, or lengths differ.

    Notes
    -----
    Readings of several emitters are inferred together: what is found about exponent, clutter and obstacles from
    one serves the others. Three structures of the field (`STRUCTURES`) are weighed by their evidence (Hoeting et
    al., Bayesian model averaging, Statistical Science 14(4), 1999).
    """
    labels = _labels(emitter, emitter_positions)
    positions = None
    if emitter_positions is not None:
        positions = _points([emitter_positions[name] for name in labels], "emitter position")
    links = _links(xyz, emitter, labels, positions, wall_counts)
    readings = _checked(links, level_db, censor)
    extent = extent_m or float(np.linalg.norm(np.ptp(links.points, axis=0))) or 1.0
    return _infer(readings, labels, extent, seed)


_Case = tuple[PointReadings, PairSums, tuple[int, ...], bool, Weighted]


def _infer(readings: PointReadings, labels: tuple[Hashable, ...], extent_m: float, seed: int) -> PointPosterior:
    centre = centre_of(readings.links, readings.level_db)
    structures = STRUCTURES if readings.links.positions is not None else WITHOUT_EMITTER
    ways = [(readings, centre, True)]
    if readings.links.walls is not None:
        plain = replace(readings, links=replace(readings.links, walls=None))
        ways.append((plain, replace(centre, walls=None), False))
    cases: list[_Case] = []
    for taken, pivot, counted in ways:
        sums = PairSums(taken.links, taken.links, pivot)
        for k, which in enumerate(structures):
            evidence = _evidence(taken, sums, which, extent_m)
            cases.append(
                (taken, sums, which, counted, average_over(evidence, len(which), seed=seed + 101 * k, size=32))
            )
    log_evidence = np.array([found.log_evidence for *_, found in cases])
    log_evidence += np.array([np.log(1.0 if counted else ODDS_COUNTS_SAY_NOTHING) for *_, counted, _ in cases])
    probability = np.exp(log_evidence - log_evidence.max())
    probability /= probability.sum()
    whole = np.concatenate([p * found.weights for p, (*_, found) in zip(probability, cases, strict=True)])
    chosen, weights = Weighted(np.zeros((0, 0)), whole).thinned(KEPT)
    every = [(case, point) for case in cases for point in case[-1].points]
    parts = tuple(_component(case, point, extent_m) for case, point in (every[k] for k in chosen))
    by_structure = probability.reshape(len(ways), len(structures)).sum(axis=0)
    return PointPosterior(readings, labels, centre, by_structure, parts, weights)


def _component(case: _Case, point: Array, extent_m: float) -> PointComponent:
    readings, sums, which, counted, _ = case
    hyper = hyper_of(point, extent_m, which)
    return PointComponent(hyper, _given(readings, sums, hyper)[0], counted)


def _evidence(readings: PointReadings, sums: PairSums, which: tuple[int, ...], extent_m: float) -> LogEvidence:
    def evidence(points: Array) -> Array:
        hypers = [hyper_of(point, extent_m, which) for point in points]
        if np.any(readings.censor):
            given = [_given(readings, sums, hyper) for hyper in hypers]
            return np.array([part.log_evidence + more for part, more in given])
        return sums.log_evidences(hypers, readings.level_db)

    return evidence


def _given(readings: PointReadings, sums: PairSums, hyper: Hyper) -> tuple[ConditionedProcess, float]:
    """The process given the readings, and what bounds add to its log evidence."""
    mean, covariance = prior_mean(readings.links, hyper, sums.centre), sums.covariance(hyper)
    sites = sites_of(covariance, mean, readings.level_db, readings.censor, hyper.noise_db)
    return condition(covariance, mean, sites.values, sites.variances), sites.log_correction


def hyper_of(point: Array, extent_m: float, which: Sequence[int] = STRUCTURES[0]) -> Hyper:
    """Scales from their standardised values.

    Parameters
    ----------
    point : ndarray, shape (k,)
        Standard-normal under the prior.
    extent_m : float
        Diagonal of the site [m].
    which : sequence of int
        Fields of `Hyper` that the values stand for; the others are 0.
    """
    values = np.zeros(len(PRIOR_MEDIANS))
    index = list(which)
    values[index] = PRIOR_MEDIANS[index] * np.exp(PRIOR_LOG_STDS[index] * point)
    values[0] *= extent_m
    values[4] = max(values[4], LEAST_NEAR_M)
    return Hyper(*values.tolist())


def _labels(
    emitter: Sequence[Hashable] | None, positions: Mapping[Hashable, Sequence[float]] | None
) -> tuple[Hashable, ...]:
    if emitter is None:
        return tuple(positions)[:1] if positions else ("",)
    found = tuple(dict.fromkeys(emitter))
    missing = [name for name in found if positions is not None and name not in positions]
    if missing:
        raise InputError(f"emitter {missing[0]!r} has readings but no position.", mend="Give all or none.")
    return found


def _links(
    xyz: ArrayLike,
    emitter: Sequence[Hashable] | None,
    labels: tuple[Hashable, ...],
    positions: Array | None,
    wall_counts: ArrayLike | None,
) -> PointLinks:
    points = _points(xyz, "point")
    if emitter is None:
        index = np.zeros(len(points), dtype=np.int64)
    else:
        lookup = {name: k for k, name in enumerate(labels)}
        index = np.array([lookup[name] for name in emitter], dtype=np.int64)
    walls = None if wall_counts is None else np.asarray(wall_counts, dtype=np.float64)
    if len(index) != len(points) or (walls is not None and len(walls) != len(points)):
        raise InputError(f"{len(points)} points, but other columns have another length.", mend="Give one each.")
    return PointLinks(points, index, positions, walls)


def _points(values: ArrayLike, noun: str) -> Array:
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] not in (2, 3) or not len(table):
        raise InputError(f"there is no {noun} to work with.", mend="Give rows of x, y and, if known, z in metres.")
    if not np.all(np.isfinite(table)):
        raise InputError(f"a {noun} is not a number.", mend="Give x, y and, if known, z in metres.")
    return np.hstack([table, np.zeros((len(table), 3 - table.shape[1]))])


def _checked(links: PointLinks, level_db: ArrayLike, censor: ArrayLike | None) -> PointReadings:
    levels = np.asarray(level_db, dtype=np.float64)
    ends = np.zeros(len(links), dtype=np.int64) if censor is None else np.asarray(censor, dtype=np.int64)
    if levels.shape != (len(links),) or ends.shape != levels.shape:
        raise InputError(f"{len(links)} points, but {levels.size} levels.", mend="Give one level per point.")
    if not np.all(np.isfinite(levels)):
        raise InputError("a level is not a number.", mend="Leave the point out or give its bound as censored.")
    return PointReadings(links, levels, ends)
