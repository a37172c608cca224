"""From unknowns to readings: what the meter would show if the unknowns had these values.

All unknowns are standardised (normal with mean 0 and standard deviation 1 before the readings are seen), in blocks:

========  ==========================================================================
eirp      power of each emitter
duty      share of time each emitter is on air
gain      error of each meter in each band, shared by its readings there
spot      by kind, how the largest value (or the chosen axis) differs from the model
wall      what each material loses more than its table row
scale     logarithm of the size of the misfit
misfit    correlated misfit of every emitter at every site
scan      repeatability, shared by the kinds read in one scan
========  ==========================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from roomfield.field import mixing
from roomfield.field.observations import Observations
from roomfield.field.priors import EmitterPrior

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

SPOT_MEAN_DB = (0.0, 0.0, -1.2)
SPOT_STD_DB = (1.5, 1.5, 1.2)
"""Peak and max-hold: the scan model may be off by this. Average: one axis misses 0 to 4.8 dB, less on the axis of
the maximum (simulation in `roomfield.instrument.pickup`; the middle of an indoor mix is our judgement)."""
OWN_STD_DB = 1.2
"""What is left of a single reading: display, hand, spread of the largest value about its median (our judgement)."""
SCAN_STD_DB = 1.0
"""Spread of the largest value in a scan beyond the meter's repeatability, shared by its kinds (our judgement)."""
LOG_SCALE_STD = 0.5
MANY_SOURCES_POWER = 0.5
"""The gain of a scan falls with the square root of the number of equal sources, as any spread does."""
_OFF_DB = -400.0
_TO_NEPER = np.log(10.0) / 10.0
_HALF_LOG_2PI = 0.5 * np.log(2.0 * np.pi)


@dataclass(frozen=True)
class Blocks:
    """Where each block of unknowns stands in the vector."""

    sizes: tuple[tuple[str, int], ...]

    @cached_property
    def _slices(self) -> dict[str, slice]:
        ends = np.cumsum([0, *(n for _, n in self.sizes)]).tolist()
        return {name: slice(a, b) for (name, _), a, b in zip(self.sizes, ends, ends[1:], strict=False)}

    def __getitem__(self, name: str) -> slice:
        return self._slices[name]

    @property
    def total(self) -> int:
        """Length of the vector."""
        return sum(n for _, n in self.sizes)


@dataclass(frozen=True, eq=False)
class Forward:
    """Everything that ties unknowns to readings.

    Parameters
    ----------
    observed : Observations
        The readings, p sites.
    priors : tuple of EmitterPrior
        One per emitter (k).
    unit_db : ndarray, shape (p, k)
        Level per watt at each site [dB re 1/m²].
    wall_slopes : ndarray, shape (p, k, m)
        Change per decibel of wall loss.
    misfit_factor : ndarray, shape (k p, k p)
        Cholesky factor of the misfit's covariance for a scale of 1, emitter-major.
    gain_index : ndarray of int, shape (n_meters, k)
        Which gain error applies.
    gain_mean_db, gain_std_db : ndarray, shape (n_gains,)
        Prior of the gain errors [dB].
    scan_gain_db : ndarray, shape (r, k)
        How far a scan's largest value of one emitter alone lies over its mean [dB].
    repeat_std_db : ndarray, shape (n_scans,)
        Repeatability [dB].
    wall_std_db : float
        Prior of the wall offsets [dB].
    """

    observed: Observations
    priors: tuple[EmitterPrior, ...]
    unit_db: Array
    wall_slopes: Array
    misfit_factor: Array
    gain_index: Indices
    gain_mean_db: Array
    gain_std_db: Array
    scan_gain_db: Array
    repeat_std_db: Array
    wall_std_db: float

    @cached_property
    def blocks(self) -> Blocks:
        """Layout of the unknowns."""
        p, k = self.unit_db.shape
        return Blocks((
            ("eirp", k), ("duty", k), ("gain", len(self.gain_mean_db)), ("spot", 3),
            ("wall", self.wall_slopes.shape[2]), ("scale", 1), ("misfit", p * k), ("scan", len(self.repeat_std_db)),
        ))  # fmt: skip

    @cached_property
    def prior_eirp(self) -> Array:
        """Means and standard deviations of EIRP and duty [dB], shape (4, k)."""
        return np.array([[p.eirp_db, p.eirp_std_db, p.duty_db, p.duty_std_db] for p in self.priors]).T

    @cached_property
    def noise_std_db(self) -> Array:
        """Independent scatter of each reading [dB], shape (r,)."""
        return np.asarray(np.hypot(OWN_STD_DB, self.observed.levels.added_std_db))

    def eirp_db(self, x: Array) -> Array:
        """EIRP of each emitter [dB re 1 W], shape (n, k)."""
        mean, std, _, _ = self.prior_eirp
        return np.asarray(mean + std * x[:, self.blocks["eirp"]])

    def duty_db(self, x: Array) -> Array:
        """Duty of each emitter [dB], at most 0, shape (n, k)."""
        _, _, mean, std = self.prior_eirp
        return np.asarray(np.minimum(mean + std * x[:, self.blocks["duty"]], 0.0))

    def gain_db(self, x: Array) -> Array:
        """Gain errors [dB], shape (n, n_gains)."""
        return np.asarray(self.gain_mean_db + self.gain_std_db * x[:, self.blocks["gain"]])

    def spot_db(self, x: Array) -> Array:
        """Offset of each kind [dB], shape (n, 3)."""
        return np.asarray(np.array(SPOT_MEAN_DB) + np.array(SPOT_STD_DB) * x[:, self.blocks["spot"]])

    def wall_db(self, x: Array) -> Array:
        """Additional loss of each material [dB], shape (n, m)."""
        return np.asarray(self.wall_std_db * x[:, self.blocks["wall"]])

    def scale(self, x: Array) -> Array:
        """Size of the misfit [1], shape (n, 1)."""
        return np.asarray(np.exp(LOG_SCALE_STD * x[:, self.blocks["scale"]]))

    def misfit_db(self, x: Array) -> Array:
        """Misfit of each emitter at each site [dB], shape (n, k, p)."""
        p, k = self.unit_db.shape
        drawn = x[:, self.blocks["misfit"]] @ self.misfit_factor.T
        return np.asarray((self.scale(x) * drawn).reshape(len(x), k, p))

    def site_levels_db(self, x: Array, unit_db: Array | None = None) -> Array:
        """Local mean of each emitter at each site while on air [dB re 1 W/m²], shape (n, k, p).

        Parameters
        ----------
        x : ndarray, shape (n, total)
            Unknowns.
        unit_db : ndarray, shape (p, k) or (n, p, k), optional
            Level per watt, if not that of the model.
        """
        unit = self.unit_db if unit_db is None else unit_db
        walls = np.einsum("pkm,nm->nkp", self.wall_slopes, self.wall_db(x))
        return np.asarray(self.eirp_db(x)[:, :, None] + np.swapaxes(unit, -1, -2) + walls + self.misfit_db(x))

    def terms_db(self, x: Array, unit_db: Array | None = None) -> Array:
        """What each emitter adds to each reading [dB re 1 W/m²], shape (n, r, k)."""
        rows = self.observed.levels
        terms = np.swapaxes(self.site_levels_db(x, unit_db)[:, :, rows.site], 1, 2)
        timed = (rows.kind > 0).astype(np.float64)
        terms = terms + timed[None, :, None] * self.duty_db(x)[:, None, :]
        terms += self.gain_db(x)[:, self.gain_index[rows.meter]]
        return np.asarray(np.where(rows.on[None], terms, _OFF_DB))

    def predict(self, x: Array, unit_db: Array | None = None) -> tuple[Array, Array]:
        """Readings and shares.

        Returns
        -------
        level_db : ndarray, shape (n, r)
            What the meter would show, own scatter apart [dB re 1 W/m²].
        shares : ndarray, shape (n, r, k)
            Part of each emitter in it.
        """
        rows = self.observed.levels
        total_db, shares = power_sum(self.terms_db(x, unit_db))
        spread = mixture_gain_db(self.scan_gain_db[None], shares) * (rows.kind < 2)
        scan = self.scan_std_db * x[:, self.blocks["scan"]]
        level = total_db + spread + self.spot_db(x)[:, rows.kind] + scan[:, rows.scan]
        return level, shares

    @cached_property
    def scan_std_db(self) -> Array:
        """Standard deviation shared by the kinds of one scan [dB], shape (n_scans,)."""
        return np.asarray(np.hypot(self.repeat_std_db, SCAN_STD_DB))

    def log_likelihood(self, x: Array, unit_db: Array | None = None) -> Array:
        """Log likelihood of all readings, shape (n,)."""
        rows = self.observed.levels
        level, _ = self.predict(x, unit_db)
        z = (rows.value_db - level) / self.noise_std_db
        values = np.where(rows.censor == 0, -0.5 * z**2, log_ndtr(-rows.censor * z))
        return np.asarray(values.sum(axis=1))

    def log_posterior(self, x: Array, unit_db: Array | None = None) -> tuple[Array, Array]:
        """Log posterior and its gradient, the scan gain's dependence on the shares left out of the latter.

        Returns
        -------
        value : ndarray, shape (n,)
        gradient : ndarray, shape (n, total)
        """
        rows, blocks = self.observed.levels, self.blocks
        level, shares = self._mixed(x, unit_db)
        z = (rows.value_db - level) / self.noise_std_db
        pull = z / self.noise_std_db
        logs = -0.5 * z**2
        ends = np.flatnonzero(rows.censor)
        if len(ends):
            side = -rows.censor[ends] * z[:, ends]
            logs[:, ends] = log_ndtr(side)
            hazard = np.exp(-0.5 * side**2 - _HALF_LOG_2PI - logs[:, ends])
            pull[:, ends] = rows.censor[ends] * hazard / self.noise_std_db[ends]
        gradient = -x
        self._add_power_gradient(gradient, x, pull, shares)
        gradient[:, blocks["spot"]] += pull @ np.eye(3)[rows.kind] * np.array(SPOT_STD_DB)
        gradient[:, blocks["scan"]] += pull @ self._scan_table
        return logs.sum(axis=1) - 0.5 * np.sum(x**2, axis=1), gradient

    def _mixed(self, x: Array, unit_db: Array | None) -> tuple[Array, Array]:
        """Like `predict`, compiled."""
        rows = self.observed.levels
        site = np.exp(_TO_NEPER * np.clip(self.site_levels_db(x, unit_db), -300.0, 300.0))
        duty, gain = np.exp(_TO_NEPER * self.duty_db(x)), np.exp(_TO_NEPER * self.gain_db(x))
        level, shares = mixing.mix(site, duty, gain, self._rows, self.scan_gain_db, MANY_SOURCES_POWER)
        scan = self.scan_std_db * x[:, self.blocks["scan"]]
        return level + self.spot_db(x)[:, rows.kind] + scan[:, rows.scan], shares

    @cached_property
    def _rows(self) -> Indices:
        rows = self.observed.levels
        gains = np.where(rows.on, self.gain_index[rows.meter], -1)
        return np.column_stack([rows.site, rows.kind, gains]).astype(np.int64)

    @cached_property
    def _scan_table(self) -> Array:
        scan = self.observed.levels.scan
        return np.asarray(np.eye(len(self.repeat_std_db))[scan] * self.scan_std_db)

    def _add_power_gradient(self, gradient: Array, x: Array, pull: Array, shares: Array) -> None:
        blocks = self.blocks
        site, duty, gain = mixing.spread_back(pull, shares, self._rows, len(self.unit_db), len(self.gain_mean_db))
        _, eirp_std, duty_mean, duty_std = self.prior_eirp
        gradient[:, blocks["eirp"]] += site.sum(axis=2) * eirp_std
        free = (duty_mean + duty_std * x[:, blocks["duty"]] < 0.0) * duty_std
        gradient[:, blocks["duty"]] += duty * free
        gradient[:, blocks["gain"]] += gain * self.gain_std_db
        flat = site.reshape(len(x), -1)
        scale = self.scale(x)
        back = flat @ self.misfit_factor
        drawn = x[:, blocks["misfit"]]
        gradient[:, blocks["misfit"]] += scale * back
        gradient[:, blocks["scale"]] += LOG_SCALE_STD * scale * np.sum(back * drawn, axis=1, keepdims=True)
        if self.wall_slopes.shape[2]:
            slopes = np.swapaxes(self.wall_slopes, 0, 1).reshape(flat.shape[1], -1)
            gradient[:, blocks["wall"]] += flat @ slopes * self.wall_std_db

    def jacobian(self, x: Array, shares: Array) -> Array:
        """Derivatives of the readings by the unknowns, shape (r, total); for one vector, shape (total,)."""
        rows, blocks = self.observed.levels, self.blocks
        r, k = shares.shape
        p = len(self.unit_db)
        table = np.zeros((r, blocks.total))
        here = x[None]
        _, eirp_std, duty_mean, duty_std = self.prior_eirp
        table[:, blocks["eirp"]] = shares * eirp_std
        free = (duty_mean + duty_std * x[blocks["duty"]] < 0.0) * duty_std
        table[:, blocks["duty"]] = shares * free * (rows.kind > 0)[:, None]
        gains = np.zeros((r, len(self.gain_mean_db)))
        np.add.at(gains, (np.arange(r)[:, None], self.gain_index[rows.meter]), shares)
        table[:, blocks["gain"]] = gains * self.gain_std_db
        table[np.arange(r), blocks["spot"].start + rows.kind] = np.array(SPOT_STD_DB)[rows.kind]
        table[:, blocks["wall"]] = np.einsum("rk,rkm->rm", shares, self.wall_slopes[rows.site]) * self.wall_std_db
        misfit = self.misfit_db(here)[0][:, rows.site].T
        table[:, blocks["scale"]] = LOG_SCALE_STD * np.sum(shares * misfit, axis=1)[:, None]
        pick = np.zeros((r, k, p))
        pick[np.arange(r)[:, None], np.arange(k)[None], rows.site[:, None]] = shares
        table[:, blocks["misfit"]] = pick.reshape(r, k * p) @ self.misfit_factor * self.scale(here)[0]
        table[np.arange(r), blocks["scan"].start + rows.scan] = self.scan_std_db[rows.scan]
        return table


def power_sum(terms_db: Array) -> tuple[Array, Array]:
    """Sum of powers over the last axis [dB], and each term's share."""
    top = np.max(terms_db, axis=-1, keepdims=True)
    powers = np.exp(_TO_NEPER * (terms_db - top))
    total = np.sum(powers, axis=-1, keepdims=True)
    return np.asarray((top + np.log(total) / _TO_NEPER)[..., 0]), np.asarray(powers / total)


def mixture_gain_db(single_db: Array, shares: Array) -> Array:
    """Gain of a scan over a mix of emitters that fade independently [dB].

    Parameters
    ----------
    single_db : ndarray, shape (..., k)
        Gain for each emitter alone [dB].
    shares : ndarray, shape (..., k)
        Their parts of the power.
    """
    evenness = np.sum(shares**2, axis=-1)
    return np.asarray(np.sum(shares * single_db, axis=-1) * evenness**MANY_SOURCES_POWER)
