"""Misfit of the propagation: a Gaussian process over emitters and sites, carried by a bounded number of sites.

Few sites carry themselves. Of many, some that are spread out carry the misfit; every other site is a weighted mean of
its nearest carriers plus a part of its own, which is integrated out with the other scatter of the readings
(`roomfield.field.noise`). So the unknowns do not grow with the sites, and what is known at a site stays known there.

Datta, Banerjee, Finley, Gelfand, Hierarchical nearest-neighbor Gaussian process models for large geostatistical
datasets, JASA 111 (2016), section 2, with the carriers as reference set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from roomfield.field.path_gains import Radiators, residual_covariance, residual_variance

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
MOST_UNKNOWNS, CARRIED_UNKNOWNS = 600, 400
"""Emitters times sites up to which every site carries itself; emitters times carriers where there are more."""
LEAST_CARRIERS = 12
NEIGHBOURS = 6
"""Carriers of one site."""
_JITTER = 1e-6


@dataclass(frozen=True, eq=False)
class MisfitPrior:
    """The prior of the misfit, for a scale of 1.

    Parameters
    ----------
    carriers : ndarray, shape (m, 3)
        Sites that carry it [m].
    factor : ndarray, shape (k m, k m)
        Cholesky factor of its covariance there, emitter-major [dB].
    weights : sparse array, shape (k p, k m), or None
        From carriers to sites; None if each site carries itself.
    std_db : ndarray, shape (k, p)
        Standard deviation at the sites of what is carried [dB].
    own_db2 : ndarray, shape (k, p), or None
        Variance of each site's own part [dB²].
    """

    carriers: Array
    factor: Array
    weights: csr_array | None
    std_db: Array
    own_db2: Array | None

    @property
    def unknowns(self) -> int:
        """How many unknowns carry it."""
        return len(self.factor)

    @cached_property
    def _back(self) -> csr_array | None:
        """Transpose of the weights, row by row."""
        return None if self.weights is None else self.weights.T.tocsr()

    def at_carriers(self, white: Array) -> Array:
        """Misfit at the carriers from standardised unknowns, both (n, k m)."""
        return np.asarray(white @ self.factor.T)

    def at_sites(self, white: Array) -> Array:
        """What is carried to the sites, shape (n, k, p) [dB]; unknowns as (n, k m)."""
        drawn = self.at_carriers(white)
        carried = drawn if self.weights is None else (self.weights @ drawn.T).T
        return np.asarray(carried.reshape(len(white), *self.std_db.shape))

    def back(self, slopes: Array) -> Array:
        """Slopes by the unknowns (n, k m) from those by the misfit at the sites (n, k p)."""
        there = slopes if self._back is None else (self._back @ slopes.T).T
        return np.asarray(there @ self.factor)

    def curvature(self, at_sites: csr_array) -> Array:
        """Curvature by the unknowns (k m, k m) from that by the misfit at the sites (k p, k p)."""
        there = at_sites if self._back is None else self._back @ at_sites @ self.weights
        return np.asarray(self.factor.T @ (there @ self.factor))


def misfit_prior(walls_known: bool, radiators: Radiators, sites: Array, named: Sequence[bool]) -> MisfitPrior:
    """Prior of the misfit at some sites.

    Parameters
    ----------
    walls_known : bool
        True if the walls are drawn.
    radiators : Radiators
        All emitters with a position (k).
    sites : ndarray, shape (p, 3)
        Where something was read [m].
    named : sequence of bool, length p
        Sites that are places of the survey; they are taken as carriers first.
    """
    k, p = len(radiators.positions), len(sites)
    most = p if k * p <= MOST_UNKNOWNS else max(LEAST_CARRIERS, CARRIED_UNKNOWNS // k)
    chosen = carriers_of(sites, named, most)
    carriers = sites[chosen]
    covariance = residual_covariance(walls_known, radiators, carriers, carriers)
    factor = np.asarray(cholesky(covariance + _JITTER * np.eye(len(covariance)), lower=True))
    if len(chosen) == p:
        return MisfitPrior(carriers, factor, None, np.sqrt(np.sum(factor**2, axis=1)).reshape(k, p), None)
    weights, own = _carried(walls_known, radiators, sites, carriers)
    whole = residual_variance(walls_known, radiators, sites).reshape(k, p)
    return MisfitPrior(carriers, factor, weights, np.sqrt(np.maximum(whole - own, _JITTER)), own)


def carriers_of(sites: Array, named: Sequence[bool], most: int) -> Indices:
    """Sites that stand as far apart as can be, places of the survey before others, in order of the sites.

    Each next one is the site farthest from those chosen (Gonzalez, Clustering to minimize the maximum intercluster
    distance, Theor. Comput. Sci. 38, 1985).
    """
    if len(sites) <= most:
        return np.arange(len(sites))
    place = np.array(named, dtype=np.bool_)
    chosen: list[int] = []
    apart = np.full(len(sites), np.inf)
    for group in (np.flatnonzero(place), np.flatnonzero(~place)):
        while len(group) and len(chosen) < most:
            from_middle = -np.linalg.norm(sites[group] - sites.mean(axis=0), axis=1)
            best = group[int(np.argmax(apart[group] if chosen else from_middle))]
            if apart[best] <= 0.0:
                break
            chosen.append(int(best))
            apart = np.minimum(apart, np.linalg.norm(sites - sites[best], axis=1))
    return np.sort(np.array(chosen, dtype=np.int64))


def _carried(walls_known: bool, radiators: Radiators, sites: Array, carriers: Array) -> tuple[csr_array, Array]:
    """Weights of the nearest carriers (k p, k m), and the variance that they leave (k, p)."""
    k, p, m = len(radiators.positions), len(sites), len(carriers)
    near = np.asarray(cKDTree(carriers).query(sites, min(NEIGHBOURS, m))[1]).reshape(p, -1)
    tables: list[Array] = []
    left: list[Array] = []
    for e in range(k):
        if walls_known and e:
            tables, left = [*tables, tables[0]], [*left, left[0]]
            continue
        one = radiators.take([e])
        between = residual_covariance(walls_known, one, carriers, carriers)
        across = residual_covariance(walls_known, one, sites, carriers)[np.arange(p)[:, None], near]
        inner = between[near[:, :, None], near[:, None, :]] + _JITTER * np.eye(near.shape[1])
        weight = np.linalg.solve(inner, across[..., None])[..., 0]
        tables.append(weight)
        left.append(np.maximum(residual_variance(walls_known, one, sites) - np.sum(weight * across, axis=1), 0.0))
    row = np.repeat(np.arange(k * p), near.shape[1])
    column = (near[None] + m * np.arange(k)[:, None, None]).reshape(-1)
    weights = csr_array((np.stack(tables).reshape(-1), (row, column)), shape=(k * p, k * m))
    return weights, np.stack(left)
