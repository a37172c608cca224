"""Scatter of the readings about the model, and what of it is shared.

Four things part a reading from the power sum of local means, beside what the model infers:

========  =============================================================================================
own       display and hand, of one reading alone; its tails are heavy (Student's t), for slips happen
scan      repeatability, shared by the kinds read in one scan
fading    paths of one emitter interfere: its mean over a scanned cube differs from the sum of path powers,
          alike in all readings of that emitter at that site
crest     how far the largest value found lies over that mean, alike in all peaks and held maxima of that
          emitter at that site
========  =============================================================================================

Fading and crest of an emitter count in a reading by its share there. They are integrated out with the shares held
at the most probable ones; tails enter as weights (an expectation step for the scale mixture that is Student's t:
Lange, Little, Taylor, Robust statistical modeling using the t distribution, JASA 84, 1989).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, cholesky, solve_triangular
from scipy.special import gamma, stdtr

from roomfield.field.level_rows import AVERAGE_ROW, LevelRows

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

OWN_STD_DB = 0.8
"""Display, hand and rounding of a single reading (our judgement)."""
SCAN_STD_DB = 0.7
"""Two scans by one hand differ by this beyond the meter's repeatability (our judgement)."""
TAILS = 4.0
"""Degrees of freedom of a reading's own scatter: one in 100 lies over 3.7 standard units (our judgement)."""

_AT_ZERO = float(gamma(0.5 * (TAILS + 1.0)) / (np.sqrt(TAILS * np.pi) * gamma(0.5 * TAILS)))


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
    """

    rows: LevelRows
    scan_std_db: Array
    fading_std_db: Array
    crest_std_db: Array
    shares: Array
    weights: Array
    missed_std_db: Array | None = None

    def with_missed(self, std_db: Array) -> Noise:
        """The same with scatter of each reading for not knowing what spoke in it [dB], shape (r,)."""
        return replace(self, missed_std_db=std_db)

    def with_added(self, added_std_db: Array) -> Noise:
        """The same with other scatter of each reading beyond that of a scan [dB], shape (r,)."""
        return replace(self, rows=replace(self.rows, added_std_db=added_std_db))

    @cached_property
    def own_std_db(self) -> Array:
        """Scatter of each reading alone [dB], shape (r,)."""
        added = np.hypot(OWN_STD_DB / np.sqrt(self.rows.count), self.rows.added_std_db)
        return np.asarray(added if self.missed_std_db is None else np.hypot(added, self.missed_std_db))

    @property
    def variance(self) -> Array:
        """Of each reading about the model [dB²], shape (r,)."""
        return np.asarray(np.diag(self.covariance))

    @cached_property
    def loads(self) -> tuple[Array, Array]:
        """How much one decibel of each emitter's fading and crest moves each reading, each (r, k)."""
        moved = (self.rows.edge_m > 0.0)[:, None] * self.shares
        return moved, moved * (self.rows.kind != AVERAGE_ROW)[:, None]

    @cached_property
    def covariance(self) -> Array:
        """Of all readings, shape (r, r) [dB²]."""
        scan, site = self.rows.scan, self.rows.site
        total = np.diag(self.own_std_db**2 / self.weights)
        total += (scan[:, None] == scan[None]) * self.scan_std_db[scan] ** 2
        fading, crest = self.loads
        together = (fading * self.fading_std_db**2) @ fading.T + (crest * self.crest_std_db**2) @ crest.T
        return np.asarray(total + (site[:, None] == site[None]) * together)

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
        return np.asarray(np.sqrt(np.diag(self.covariance)[self.bounds]))

    @cached_property
    def factor(self) -> Array:
        """Lower Cholesky factor of the values' covariance."""
        return np.asarray(cholesky(self.covariance[np.ix_(self.values, self.values)], lower=True))

    @cached_property
    def white(self) -> Array:
        """What turns the values' residuals into independent ones of unit variance."""
        return np.asarray(solve_triangular(self.factor, np.eye(len(self.values)), lower=True))

    def log_likelihood(self, residual: Array) -> tuple[Array, Array]:
        """Log likelihood of residuals (reading minus model), shape (n, r), and its derivative by the model's level.

        Returns
        -------
        value : ndarray, shape (n,)
        pull : ndarray, shape (n, r)
        """
        pull = np.zeros_like(residual)
        free = residual[:, self.values] @ self.white.T
        value = -0.5 * np.sum(free**2, axis=1)
        pull[:, self.values] = free @ self.white
        if len(self.bounds):
            side = self._side(residual)
            value += np.log(_held(side)).sum(axis=1)
            pull[:, self.bounds] = self.rows.censor[self.bounds] * _hazard(side) / self.bound_std_db
        return value, pull

    def curved(self, residual: Array, table: Array) -> tuple[Array, Array]:
        """Gradient and Gauss-Newton precision by unknowns of which ``table`` (r, q) holds the readings' derivatives.

        Parameters
        ----------
        residual : ndarray, shape (r,)
            Reading minus model [dB].
        """
        _, pull = self.log_likelihood(residual[None])
        parts = [self.white @ table[self.values]]
        if len(self.bounds):
            side = self._side(residual[None])[0]
            parts.append(np.sqrt(_bend(side))[:, None] * table[self.bounds] / self.bound_std_db[:, None])
        both = np.vstack(parts)
        return table.T @ pull[0], both.T @ both

    def own_residual(self, residual: Array) -> Array:
        """The part of residuals, shape (r,), that only the reading's own scatter explains, in its standard units.

        Of bounds that are not kept, how far they are missed, else 0.
        """
        found = np.zeros(len(self.rows))
        solved = cho_solve((self.factor, True), residual[self.values])
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
        precise[self.values] = np.sum(self.white**2, axis=0)
        left = own - own**2 * precise
        square = self.own_residual(residual) ** 2 + np.where(self.rows.censor == 0, left / self.own_std_db**2, 1.0)
        return np.where(self.rows.censor == 0, (TAILS + 1.0) / (TAILS + square), 1.0)

    def draw_shared(self, residual: Array, n_sites: int, rng: np.random.Generator) -> tuple[Array, Array]:
        """Draws of fading and crest at the sites given residuals, shape (n, r); each (n, k, p) [dB].

        Notes
        -----
        Prior draws, corrected by what the residuals say more than theirs do (Matheron's rule).
        """
        n, k = len(residual), self.shares.shape[1]
        used, site = self.values, self.rows.site[self.values]
        drawn = (
            rng.standard_normal((2, n, k, n_sites))
            * np.stack([self.fading_std_db, self.crest_std_db])[:, None, :, None]
        )
        loads = [table[used] for table in self.loads]
        made = sum(np.einsum("nkr,rk->nr", one[:, :, site], load) for one, load in zip(drawn, loads, strict=True))
        scan = self.scan_std_db * rng.standard_normal((n, len(self.scan_std_db)))
        made = made + scan[:, self.rows.scan[used]]
        made += (self.own_std_db / np.sqrt(self.weights))[used] * rng.standard_normal((n, len(used)))
        gap = cho_solve((self.factor, True), (residual[:, used] - made).T).T
        back = np.zeros((len(used), n_sites))
        back[np.arange(len(used)), site] = 1.0
        stds = (self.fading_std_db, self.crest_std_db)
        for one, load, std in zip(drawn, loads, stds, strict=True):
            one += std[None, :, None] ** 2 * ((gap[:, None] * load.T[None]) @ back)
        return drawn[0], drawn[1]


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
