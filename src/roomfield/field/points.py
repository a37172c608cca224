"""Levels from points alone: coordinates and readings, with or without known emitters, no walls drawn."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import InputError
from roomfield.field.censored import Sites, sites_of
from roomfield.field.links import Centre, Hyper, LinkCovariance, Links, LinkVariance, centre_of, prior_mean
from roomfield.field.residuals import Conditioned, LevelMixture, Weighted, average_over, condition

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

PRIOR_MEDIANS = np.array([0.12, 4.0, 1.5, 2.5, 1.0, 3.0])
PRIOR_LOG_STDS = np.array([0.9, 0.7, 0.7, 0.5, 0.5, 1.2])
"""Medians and logarithmic spreads of the scales in `Hyper`, the length as a share of the site's diagonal.

Orders of magnitude: shadowing of 3 to 8 dB over a few metres and small-scale scatter of 2 to 3 dB of a local mean
are usual indoors (ITU-R P.1238 and P.1411 give 4 to 10 dB in all; from memory); an obstacle of 3.5 +- 2 dB every
4 to 5 m adds 3 dB²/m. Wide on purpose; nothing was fitted to the sets used for scoring.
"""
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

    links: Links
    level_db: Array
    censor: Indices


@dataclass(frozen=True)
class _Component:
    hyper: Hyper
    given: Conditioned
    sites: Sites


@dataclass(frozen=True, eq=False)
class PointPosterior:
    """What the readings say about levels at other points.

    Parameters
    ----------
    readings : PointReadings
        What it rests on.
    labels : tuple
        Emitters, in the order of ``readings.links.positions``.
    scales : Weighted
        Weighted standardised scales; diagnostics read its effective number.
    """

    readings: PointReadings
    labels: tuple[Hashable, ...]
    centre: Centre
    scales: Weighted
    components: tuple[_Component, ...]
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
        cross, variance = LinkCovariance(self.readings.links, new), LinkVariance(new)
        means, stds = [], []
        for part in self.components:
            mean, spread = part.given.predict(
                prior_mean(new, part.hyper, self.centre),
                cross(part.hyper, self.centre),
                variance(part.hyper, self.centre),
            )
            means.append(mean)
            stds.append(np.sqrt(spread + (part.hyper.noise_db**2 if reading else 0.0) + 1e-9))
        return LevelMixture(np.array(means), np.array(stds), self.weights)


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
    one serves the others.
    """
    labels = _labels(emitter, emitter_positions)
    positions = None
    if emitter_positions is not None:
        positions = _points([emitter_positions[name] for name in labels], "emitter position")
    links = _links(xyz, emitter, labels, positions, wall_counts)
    readings = _checked(links, level_db, censor)
    extent = extent_m or float(np.linalg.norm(np.ptp(links.points, axis=0))) or 1.0
    return _infer(readings, labels, extent, seed)


def _infer(readings: PointReadings, labels: tuple[Hashable, ...], extent_m: float, seed: int) -> PointPosterior:
    links = readings.links
    covariance, centre = LinkCovariance(links, links), centre_of(links, readings.level_db)

    def component(point: Array) -> _Component:
        hyper = hyper_of(point, extent_m)
        mean, cov = prior_mean(links, hyper, centre), covariance(hyper, centre)
        sites = sites_of(cov, mean, readings.level_db, readings.censor, hyper.noise_db)
        given = condition(cov, mean, sites.values, sites.variances)
        return _Component(hyper, given, sites)

    def evidence(point: Array) -> float:
        part = component(point)
        return part.given.log_evidence + part.sites.log_correction

    scales = average_over(evidence, len(PRIOR_MEDIANS), seed=seed)
    kept = np.argsort(-scales.weights)[:40]
    kept = kept[scales.weights[kept] > 1e-3]
    weights = scales.weights[kept] / scales.weights[kept].sum()
    parts = tuple(component(scales.points[k]) for k in kept)
    return PointPosterior(readings, labels, centre, scales, parts, weights)


def hyper_of(point: Array, extent_m: float) -> Hyper:
    """Scales from their standardised values.

    Parameters
    ----------
    point : ndarray, shape (6,)
        Standard-normal under the prior.
    extent_m : float
        Diagonal of the site [m].
    """
    length, shadow, clutter, noise, near, obstacle = PRIOR_MEDIANS * np.exp(PRIOR_LOG_STDS * point)
    return Hyper(float(length * extent_m), float(shadow), float(clutter), float(noise),
                 max(float(near), LEAST_NEAR_M), float(obstacle))  # fmt: skip


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
) -> Links:
    points = _points(xyz, "point")
    if emitter is None:
        index = np.zeros(len(points), dtype=np.int64)
    else:
        lookup = {name: k for k, name in enumerate(labels)}
        index = np.array([lookup[name] for name in emitter], dtype=np.int64)
    walls = None if wall_counts is None else np.asarray(wall_counts, dtype=np.float64)
    if len(index) != len(points) or (walls is not None and len(walls) != len(points)):
        raise InputError(f"{len(points)} points, but other columns have another length.", mend="Give one each.")
    return Links(points, index, positions, walls)


def _points(values: ArrayLike, noun: str) -> Array:
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] not in (2, 3) or not len(table):
        raise InputError(f"there is no {noun} to work with.", mend="Give rows of x, y and, if known, z in metres.")
    if not np.all(np.isfinite(table)):
        raise InputError(f"a {noun} is not a number.", mend="Give x, y and, if known, z in metres.")
    return np.hstack([table, np.zeros((len(table), 3 - table.shape[1]))])


def _checked(links: Links, level_db: ArrayLike, censor: ArrayLike | None) -> PointReadings:
    levels = np.asarray(level_db, dtype=np.float64)
    ends = np.zeros(len(links), dtype=np.int64) if censor is None else np.asarray(censor, dtype=np.int64)
    if levels.shape != (len(links),) or ends.shape != levels.shape:
        raise InputError(f"{len(links)} points, but {levels.size} levels.", mend="Give one level per point.")
    if not np.all(np.isfinite(levels)):
        raise InputError("a level is not a number.", mend="Leave the point out or give its bound as censored.")
    return PointReadings(links, levels, ends)
