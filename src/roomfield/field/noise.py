"""Scatter of the readings about the model, and what of it is shared.

Four things part a reading from the power sum of local means, beside what the model infers:

========  =============================================================================================
own       display and hand, of one reading alone; its tails are heavy (Student's t), for slips happen
scan      repeatability, shared by the kinds read in one scan
fading    paths of one emitter interfere: its mean over a scanned cube differs from the sum of path powers,
          alike in all readings of that emitter at that site
crest     how far the largest value found lies over that mean, alike in all peaks and held maxima of that
          emitter at that site
rest      what of an emitter's misfit at a site its carriers do not say (`roomfield.field.misfit`), alike in all
          readings of that emitter at that site; none where every site carries itself
========  =============================================================================================

Fading, crest and rest of an emitter count in a reading by its share there. They are integrated out with the shares held
at the most probable ones; tails enter as weights (an expectation step for the scale mixture that is Student's t:
Lange, Little, Taylor, Robust statistical modeling using the t distribution, JASA 84, 1989).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, diags_array, vstack
from scipy.special import gamma, stdtr

from roomfield.field.level_rows import AVERAGE_ROW, LevelRows
from roomfield.field.scatter_blocks import BlockMatrix, scattering_together

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

OWN_STD_DB = 0.8
"""Display, hand and rounding of a single reading, what a usual scan misses in it (our judgement). A record of the
scan's sound puts what that scan misses in the place of the usual (`roomfield.instrument.pickup.record_change`)."""
SCAN_STD_DB = 0.7
"""Two scans by one hand differ by this beyond the meter's repeatability (our judgement)."""
TAILS = 4.0
"""Degrees of freedom of a reading's own scatter: one in 100 lies over 3.7 standard units (our judgement)."""

_AT_ZERO = float(gamma(0.5 * (TAILS + 1.0)) / (np.sqrt(TAILS * np.pi) * gamma(0.5 * TAILS)))


class Curvature(NamedTuple):
    """Slope and Gauss-Newton precision by plain unknowns (q of them) and by unknowns with few readings each (s).

    Parameters
    ----------
    slope : ndarray, shape (q,)
    sparse_slope : ndarray, shape (s,)
    plain : ndarray, shape (q, q)
    mixed : ndarray, shape (s, q)
    sparse : sparse array, shape (s, s)
    """

    slope: Array
    sparse_slope: Array
    plain: Array
    mixed: Array
    sparse: csr_array


@dataclass(frozen=True, eq=False)
class Noise:
    """Scatter of all readings for given shares.

    Parameters
    ----------
    rows : LevelRows
        The readings, r of them.
    scan_std_db : ndarray, shape (n_scans,)
        Repeatability of each scan [dB].
    fading_std_db, crest_std_db : ndarray, shape (k,)
        Of each emitter alone [dB].
    shares : ndarray, shape (r, k)
        Part of each emitter in each reading.
    weights : ndarray, shape (r,)
        What each reading counts; a slip counts little.
    missed_std_db : ndarray, shape (r,), optional
        Scatter for not knowing whether what seldom speaks is in the reading [dB].
    rest_db2 : ndarray, shape (k, p), optional
        Variance of each site's own part of the misfit [dB²].
    """

    rows: LevelRows
    scan_std_db: Array
    fading_std_db: Array
    crest_std_db: Array
    shares: Array
    weights: Array
    missed_std_db: Array | None = None
    rest_db2: Array | None = None

    def with_missed(self, std_db: Array) -> Noise:
        """The same with scatter of each reading for not knowing what spoke in it [dB], shape (r,)."""
        return replace(self, missed_std_db=std_db)

    def with_added(self, added_std_db: Array) -> Noise:
        """The same with other scatter of each reading beyond that of a scan [dB], shape (r,)."""
        return replace(self, rows=replace(self.rows, added_std_db=added_std_db))

    @cached_property
    def own_std_db(self) -> Array:
        """Scatter of each reading alone [dB], shape (r,)."""
        one = np.sqrt(OWN_STD_DB**2 + self.rows.record_db2)
        added = np.hypot(one / np.sqrt(self.rows.count), self.rows.added_std_db)
        return np.asarray(added if self.missed_std_db is None else np.hypot(added, self.missed_std_db))

    @cached_property
    def variance(self) -> Array:
        """Of each reading about the model [dB²], shape (r,)."""
        shared = sum(np.sum(load**2 * own, axis=1) for load, own in self.shared)
        return np.asarray(self.own_std_db**2 / self.weights + self.scan_std_db[self.rows.scan] ** 2 + shared)

    @cached_property
    def shared(self) -> tuple[tuple[Array, Array], ...]:
        """Fading, crest and, if there is any, rest: how much a decibel of each emitter's moves each reading, (r, k).

        Beside each its variance [dB²], shape (k,) or (r, k).
        """
        moved = (self.rows.edge_m > 0.0)[:, None] * self.shares
        largest = moved * (self.rows.kind != AVERAGE_ROW)[:, None]
        found = ((moved, self.fading_std_db**2), (largest, self.crest_std_db**2))
        return found if self.rest_db2 is None else (*found, (self.shares, self.rest_db2[:, self.rows.site].T))

    def _covariance(self, rows: Indices) -> Array:
        """Of rows that scatter together, shape (blocks, size, size) [dB²]; their indices as (blocks, size)."""
        scan, site = self.rows.scan[rows], self.rows.site[rows]
        total = (scan[:, :, None] == scan[:, None]) * self.scan_std_db[scan][:, None] ** 2
        same = site[:, :, None] == site[:, None]
        for load, own in self.shared:
            total += same * ((load[rows] * (own if own.ndim == 1 else own[rows])) @ np.swapaxes(load[rows], 1, 2))
        own = (self.own_std_db**2 / self.weights)[rows]
        return np.asarray(total + own[:, :, None] * np.eye(rows.shape[1]))

    @cached_property
    def values(self) -> Indices:
        """Readings that are values."""
        return np.flatnonzero(self.rows.censor == 0)

    @cached_property
    def bounds(self) -> Indices:
        """Readings that are bounds; their scatter counts as independent."""
        return np.flatnonzero(self.rows.censor)

    @cached_property
    def bound_std_db(self) -> Array:
        """Scatter of the bounds [dB]."""
        return np.asarray(np.sqrt(self.variance[self.bounds]))

    @cached_property
    def white(self) -> BlockMatrix:
        """What turns the values' residuals into independent ones of unit variance."""
        return self._white_of(self.values)

    def _white_of(self, used: Indices) -> BlockMatrix:
        blocks = scattering_together(self.rows.scan[used], self.rows.site[used])
        tables = (np.linalg.inv(np.linalg.cholesky(self._covariance(used[b]))) for b in blocks)
        return BlockMatrix(len(used), blocks, tuple(tables))

    def given(self, new: Indices, known: Indices) -> tuple[Array, Array]:
        """How residuals of some rows follow from those of others.

        Returns
        -------
        carried : ndarray, shape (new, known)
            Weights of the known ones.
        left : ndarray, shape (new, new)
            Covariance that is left [dB²].
        """
        blocks = scattering_together(self.rows.scan, self.rows.site)
        whole = BlockMatrix(len(self.rows), blocks, tuple(map(self._covariance, blocks))).sparse()
        between, white = whole[known][:, new].toarray(), self._white_of(known)
        carried = (white.transposed @ (white @ between)).T
        return carried, whole[new][:, new].toarray() - carried @ between

    @cached_property
    def _sparse_white(self) -> csr_array:
        return self.white.sparse()

    def _precise(self, residual: Array) -> Array:
        """Residuals of the values, shape (n, v), by the inverse of their covariance."""
        return np.asarray((self.white.transposed @ (self.white @ residual.T)).T)

    def log_likelihood(self, residual: Array) -> tuple[Array, Array]:
        """Log likelihood of residuals (reading minus model), shape (n, r), and its derivative by the model's level.

        Returns
        -------
        value : ndarray, shape (n,)
        pull : ndarray, shape (n, r)
        """
        pull = np.zeros_like(residual)
        free = self.white @ residual[:, self.values].T
        value = -0.5 * np.sum(free**2, axis=0)
        pull[:, self.values] = (self.white.transposed @ free).T
        if len(self.bounds):
            side = self._side(residual)
            value += np.log(_held(side)).sum(axis=1)
            pull[:, self.bounds] = self.rows.censor[self.bounds] * _hazard(side) / self.bound_std_db
        return value, pull

    def curved(self, residual: Array, plain: Array, sparse: csr_array) -> Curvature:
        """Slope and Gauss-Newton precision by unknowns.

        Parameters
        ----------
        residual : ndarray, shape (r,)
            Reading minus model [dB].
        plain, sparse : ndarray, shape (r, q), and sparse array, shape (r, s)
            Derivatives of the readings by the unknowns.
        """
        _, pull = self.log_likelihood(residual[None])
        dense, few = [self.white @ plain[self.values]], [self._sparse_white @ sparse[self.values]]
        if len(self.bounds):
            side = self._side(residual[None])[0]
            weight = np.sqrt(_bend(side)) / self.bound_std_db
            dense.append(weight[:, None] * plain[self.bounds])
            few.append(diags_array(weight).tocsr() @ sparse[self.bounds])
        both, thin = np.vstack(dense), vstack(few, format="csr")
        return Curvature(
            plain.T @ pull[0], sparse.T @ pull[0], both.T @ both, np.asarray(thin.T @ both), (thin.T @ thin).tocsr()
        )

    def precision(self, residual: Array, table: Array) -> Array:
        """Gauss-Newton precision by unknowns of which ``table`` (r, q) holds the readings' derivatives, (q, q)."""
        return self.curved(residual, table, csr_array((len(table), 0))).plain

    def own_residual(self, residual: Array) -> Array:
        """The part of residuals, shape (r,), that only the reading's own scatter explains, in its standard units.

        Of bounds that are not kept, how far they are missed, else 0.
        """
        found = np.zeros(len(self.rows))
        solved = self._precise(residual[None, self.values])[0]
        found[self.values] = ((self.own_std_db**2 / self.weights)[self.values] * solved) / self.own_std_db[self.values]
        found[self.bounds] = -self.rows.censor[self.bounds] * np.minimum(self._side(residual[None])[0], 0.0)
        return found

    def _side(self, residual: Array) -> Array:
        """How far the model is on the right side of each bound, in standard deviations, shape (n, b)."""
        return np.asarray(-self.rows.censor[self.bounds] * residual[:, self.bounds] / self.bound_std_db)

    def tail_weights(self, residual: Array) -> Array:
        """What each reading counts, given its residual; 1 for bounds, shape (r,)."""
        own = self.own_std_db**2 / self.weights
        precise = np.zeros(len(self.rows))
        precise[self.values] = self.white.column_squares
        left = own - own**2 * precise
        square = self.own_residual(residual) ** 2 + np.where(self.rows.censor == 0, left / self.own_std_db**2, 1.0)
        return np.where(self.rows.censor == 0, (TAILS + 1.0) / (TAILS + square), 1.0)

    def draw_shared(self, residual: Array, n_sites: int, rng: np.random.Generator) -> Array:
        """Draws of fading, crest and, if there is any, rest at the sites given residuals, shape (n, r).

        Returns
        -------
        ndarray, shape (2 or 3, n, k, p)
            In decibels.

        Notes
        -----
        Prior draws, corrected by what the residuals say more than theirs do (Matheron's rule).
        """
        n, k = len(residual), self.shares.shape[1]
        used, site = self.values, self.rows.site[self.values]
        stds = [np.repeat(std[:, None], n_sites, axis=1) for std in (self.fading_std_db, self.crest_std_db)]
        stds += [] if self.rest_db2 is None else [np.sqrt(self.rest_db2)]
        drawn = rng.standard_normal((len(stds), n, k, n_sites)) * np.stack(stds)[:, None]
        loads = [load[used] for load, _ in self.shared]
        made = sum(np.einsum("nkr,rk->nr", one[:, :, site], load) for one, load in zip(drawn, loads, strict=True))
        scan = self.scan_std_db * rng.standard_normal((n, len(self.scan_std_db)))
        made = made + scan[:, self.rows.scan[used]]
        made += (self.own_std_db / np.sqrt(self.weights))[used] * rng.standard_normal((n, len(used)))
        gap = self._precise(residual[:, used] - made)
        back = csr_array((np.ones(len(used)), (site, np.arange(len(used)))), shape=(n_sites, len(used)))
        for one, load, std in zip(drawn, loads, stds, strict=True):
            for e in range(k):
                one[:, e] += std[e] ** 2 * (back @ (gap * load[:, e]).T).T
        return np.asarray(drawn)


def _held(side: Array) -> Array:
    """Probability that a bound is noted as it was, this far on its right side: Student's distribution function."""
    return np.asarray(stdtr(TAILS, side))


def _hazard(side: Array) -> Array:
    """Derivative of the logarithm of `_held`; falls off slowly on the wrong side, so that a search finds its way."""
    return np.asarray(_AT_ZERO * (1.0 + side**2 / TAILS) ** (-0.5 * (TAILS + 1.0)) / _held(side))


def _bend(side: Array) -> Array:
    """Weight of a bound in a Gauss-Newton step: its curvature, or a part of that of a value where it has none."""
    pull, slope = _hazard(side), (TAILS + 1.0) / (TAILS + side**2)
    return np.asarray(np.maximum(pull * (pull + slope * side), np.where(side < 0.0, 0.25 * slope, 0.0)))
