"""Where the next reading would teach most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon, contains_xy

from roomfield.field.posterior import Posterior, levels_at
from roomfield.field.threads import on_one_thread
from roomfield.quantities import Kind
from roomfield.survey import Point3, Storey

Array = NDArray[np.float64]
CANDIDATE_STEP_M = 0.75
READING_STD_DB = 1.6
"""Repeatability and own scatter of one more scan [dB]: 1.0 and 1.2 added in squares."""
HEIGHT_M = 1.2
DRAWS = 200


@dataclass(frozen=True)
class NextPoint:
    """A point worth measuring.

    Parameters
    ----------
    position : (float, float, float)
        Where [m].
    std_now_db, std_then_db : float
        Mean standard deviation over the places of interest before and after [dB].
    """

    position: Point3
    std_now_db: float
    std_then_db: float


@on_one_thread
def measure_next(
    posterior: Posterior,
    *,
    candidates: ArrayLike | None = None,
    places: ArrayLike | None = None,
    kind: Kind = Kind.PEAK,
    count: int = 3,
) -> tuple[NextPoint, ...]:
    """Points where a reading narrows the levels at the places of interest most, best first.

    Parameters
    ----------
    candidates : array_like, shape (c, 3), optional
        Where one could measure; left out: a grid over the storeys, or the places themselves.
    places : array_like, shape (p, 3), optional
        Where the level matters; left out: the places of the survey, else the candidates.
    kind : Kind
        The reading that would be taken.
    count : int
        How many; each one given those before it.

    Notes
    -----
    Expected reduction of variance under the draws' covariance (linear Gaussian update): the sum over places of
    cov(candidate, place)² / (var(candidate) + reading variance).
    """
    goals = _goals(posterior) if places is None else np.asarray(places, dtype=np.float64).reshape(-1, 3)
    spots = _candidates(posterior) if candidates is None else np.asarray(candidates, dtype=np.float64).reshape(-1, 3)
    spots = goals if not len(spots) else spots
    goals = spots if not len(goals) else goals
    drawn = levels_at(posterior, np.vstack([spots, goals]), kind=kind, draws=DRAWS).level_db
    covariance = np.atleast_2d(np.cov(drawn.T))
    return _greedy(spots, covariance, count)


def _greedy(spots: Array, covariance: Array, count: int) -> tuple[NextPoint, ...]:
    n, found = len(spots), []
    for _ in range(min(count, n)):
        variance = np.diag(covariance)
        gain = np.sum(covariance[:n, n:] ** 2, axis=1) / (variance[:n] + READING_STD_DB**2 + 1e-12)
        best = int(np.argmax(gain))
        column = covariance[:, best]
        after = covariance - np.outer(column, column) / (variance[best] + READING_STD_DB**2)
        now, then = (float(np.mean(np.sqrt(np.maximum(np.diag(c)[n:], 0.0)))) for c in (covariance, after))
        x, y, z = spots[best].tolist()
        found.append(NextPoint((x, y, z), now, then))
        covariance = after
    return tuple(found)


def _goals(posterior: Posterior) -> Array:
    known = [p.position for p in posterior.survey.places if p.position is not None]
    return np.array(known, dtype=np.float64).reshape(-1, 3)


def _candidates(posterior: Posterior) -> Array:
    storeys = [s for s in posterior.survey.dwelling.storeys if len(s.outline) >= 3]
    return np.vstack([storey_points(s, CANDIDATE_STEP_M)[0] for s in storeys]) if storeys else np.zeros((0, 3))


def storey_points(
    storey: Storey, step_m: float, height_m: float = HEIGHT_M
) -> tuple[Array, tuple[Array, Array], Array]:
    """Grid over a storey.

    Returns
    -------
    points : ndarray, shape (n, 3)
        Cell centres inside the outline [m].
    axes : (ndarray, ndarray)
        x and y of the cell centres [m].
    inside : ndarray of bool, shape (ny, nx)
        Which cells are inside.
    """
    polygon = Polygon(storey.outline)
    x0, y0, x1, y1 = polygon.bounds
    x, y = np.arange(x0 + step_m / 2, x1, step_m), np.arange(y0 + step_m / 2, y1, step_m)
    gx, gy = np.meshgrid(x, y)
    inside = contains_xy(polygon, gx, gy)
    z = np.full(int(inside.sum()), storey.floor_m + height_m)
    return np.column_stack([gx[inside], gy[inside], z]), (x, y), inside
