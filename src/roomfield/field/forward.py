"""From unknowns to readings: what the meter would show if the unknowns had these values.

All unknowns are standardised (normal with mean 0 and standard deviation 1 before the readings are seen), in blocks:

========  ==========================================================================
eirp      power of each emitter
duty      share of time each emitter is on air
activity  by how much an emitter's power differs where it did something else, then its share of time there
gain      error of each meter in each band, shared by its readings there
spot      by kind, how the largest value (or the chosen axis) differs from the model
wall      what each material loses more than its table row
scale     logarithm of the size of the misfit
misfit    correlated misfit of every emitter at every site
========  ==========================================================================

What readings scatter about that is `roomfield.field.noise`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from roomfield.field import forward_kernels
from roomfield.field.activities import ActivityPriors
from roomfield.field.catching import Caught, speaking
from roomfield.field.directions import POWER_STD_DB, Aimed, levelled
from roomfield.field.misfit import MisfitPrior
from roomfield.field.noise import Noise
from roomfield.field.observation_arrays import AVERAGE_ROW, Observations
from roomfield.field.priors import EmitterPrior

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

SPOT_MEAN_DB = (-0.5, 0.0, -0.6)
SPOT_STD_DB = (1.0, 1.0, 1.0)
"""Highest held: the scan model may be off by this. Peak: the strongest spot and axis are found back to some 15 degrees
and a few centimetres, which costs about half a decibel (cos² of the angle; our judgement). Average: one axis misses 0
to 3 dB, the less the more one polarisation prevails (simulation in `roomfield.instrument.pickup`; the middle of an
indoor mix is our judgement)."""
LOG_SCALE_STD = 0.5
MANY_SOURCES_POWER = 0.38
"""The gain of a scan falls with this power of the number of equal sources: order statistics of sums of exponential
values (gamma's law) give 0.35 to 0.41 for two to four of them and 10 to 40 places."""
FARTHEST_DB = 300.0
"""Levels farther from 1 W/m² than this are cut off; only trajectories that are refused come there."""
LARGEST_LOG_SCALE = 4.0
MOST_CELLS = 2_000_000
"""Draws times readings and sites times emitters worked on at once."""
_OFF_DB = -400.0
_TO_NEPER = np.log(10.0) / 10.0


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
    misfit : MisfitPrior
        Prior of the misfit for a scale of 1.
    gain_index : ndarray of int, shape (n_meters, k)
        Which gain error applies.
    gain_mean_db : ndarray, shape (n_gains,)
        Prior mean of the gain errors [dB].
    gain_factor : ndarray, shape (n_gains, n_gains)
        Cholesky factor of the prior covariance of the gain errors [dB].
    scan_gain_db : ndarray, shape (r, k)
        How far a scan's largest value of one emitter alone lies over its mean [dB].
    pickup : ndarray, shape (r, k)
        Share of each emitter's power that the antenna's axis picks up [1]; 1 for what is turned every way.
    wall_std_db : ndarray, shape (m,)
        Prior of the wall offsets [dB].
    noise : Noise
        How readings scatter about the model.
    eirp_factor : ndarray, shape (k, k)
        Cholesky factor of the prior covariance of the powers [dB].
    aimed : Aimed
        Readings taken on an axis, from which ``pickup`` follows for given powers.
    activities : ActivityPriors
        Of what emitters did in some readings only, m of them.
    caught : Caught
        Which readings hold emitters that seldom speak.
    """

    observed: Observations
    priors: tuple[EmitterPrior, ...]
    unit_db: Array
    wall_slopes: Array
    misfit: MisfitPrior
    gain_index: Indices
    gain_mean_db: Array
    gain_factor: Array
    scan_gain_db: Array
    pickup: Array
    wall_std_db: Array
    noise: Noise
    eirp_factor: Array
    aimed: Aimed
    activities: ActivityPriors
    caught: Caught

    @cached_property
    def blocks(self) -> Blocks:
        """Layout of the unknowns."""
        k = self.unit_db.shape[1]
        return Blocks((
            ("eirp", k), ("duty", k), ("activity", 2 * len(self.activities.emitter)),
            ("gain", len(self.gain_mean_db)), ("spot", 3),
            ("wall", self.wall_slopes.shape[2]), ("scale", 1), ("misfit", self.misfit.unknowns),
        ))  # fmt: skip

    @cached_property
    def prior_eirp(self) -> Array:
        """Means and standard deviations of EIRP and duty [dB], shape (4, k)."""
        return np.array([[p.eirp_db, p.eirp_std_db, p.duty_db, p.duty_std_db] for p in self.priors]).T

    def eirp_db(self, x: Array) -> Array:
        """EIRP of each emitter [dB re 1 W], shape (n, k)."""
        return np.asarray(self.prior_eirp[0] + x[:, self.blocks["eirp"]] @ self.eirp_factor.T)

    def duty_db(self, x: Array) -> Array:
        """Duty of each emitter [dB], at most 0, shape (n, k)."""
        _, _, mean, std = self.prior_eirp
        return np.asarray(np.minimum(mean + std * x[:, self.blocks["duty"]], 0.0))

    def mode_db(self, x: Array) -> tuple[Array, Array]:
        """Power beside that as found, and share of time, of emitters as found, then of activities [dB]; (n, k + m)."""
        own, noted = x[:, self.blocks["activity"]], self.activities
        m = len(noted.emitter)
        offset = np.concatenate([np.zeros((len(x), len(self.priors))), noted.offset_std_db * own[:, :m]], axis=1)
        duty = np.minimum(noted.duty_db + noted.duty_std_db * own[:, m:], 0.0)
        return offset, np.concatenate([self.duty_db(x), duty], axis=1)

    def gain_db(self, x: Array) -> Array:
        """Gain errors [dB], shape (n, n_gains)."""
        return np.asarray(self.gain_mean_db + x[:, self.blocks["gain"]] @ self.gain_factor.T)

    def spot_db(self, x: Array) -> Array:
        """Offset of each kind [dB], shape (n, 3)."""
        return np.asarray(np.array(SPOT_MEAN_DB) + np.array(SPOT_STD_DB) * x[:, self.blocks["spot"]])

    def wall_db(self, x: Array) -> Array:
        """Additional loss of each material [dB], shape (n, m)."""
        return np.asarray(self.wall_std_db * x[:, self.blocks["wall"]])

    def scale(self, x: Array) -> Array:
        """Size of the misfit [1], shape (n, 1)."""
        return np.asarray(
            np.exp(np.clip(LOG_SCALE_STD * x[:, self.blocks["scale"]], -LARGEST_LOG_SCALE, LARGEST_LOG_SCALE))
        )

    def misfit_db(self, x: Array) -> Array:
        """What is carried of the misfit of each emitter to each site [dB], shape (n, k, p)."""
        return self.misfit.at_sites(self.scale(x) * x[:, self.blocks["misfit"]])

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
        timed = (rows.kind == AVERAGE_ROW).astype(np.float64)
        offset, duty = self.mode_db(x)
        terms = terms + offset[:, rows.mode] + timed[None, :, None] * duty[:, rows.mode]
        terms += self.gain_db(x)[:, self.gain_index[rows.meter]] + 10.0 * np.log10(self._received)
        return np.asarray(np.where(rows.on[None], terms, _OFF_DB))

    def with_axes(self, x: Array, power_std_db: float = POWER_STD_DB) -> Forward:
        """The model with the axes of strongest and least pickup that go with some unknowns.

        Parameters
        ----------
        x : ndarray, shape (total,)
            Unknowns.
        power_std_db : float
            How uncertain the powers at a place are about them [dB].
        """
        if not len(self.aimed.rows):
            return self
        bare = replace(self, pickup=np.ones_like(self.pickup)).terms_db(x[None])[0][self.aimed.rows]
        power = np.exp(_TO_NEPER * (bare - bare.max(axis=1, keepdims=True)))
        pickup, added = levelled(self.observed.levels, self.aimed, self.aimed.pickup(power, power_std_db=power_std_db))
        return replace(self, pickup=pickup, noise=self.noise.with_added(added))

    def with_caught(self, x: Array) -> Forward:
        """The model with what seldom speaks in those readings in which, by some unknowns, it was on air.

        Parameters
        ----------
        x : ndarray, shape (total,)
            Unknowns.
        """
        if not self.caught.any:
            return self
        every = replace(self, caught=self.caught.always())
        residual = self.observed.levels.value_db - self.spot_db(x[None])[0, self.observed.levels.kind]
        caught, added = speaking(
            self.caught, every.terms_db(x[None])[0], self.scan_gain_db, residual, np.sqrt(self.noise.variance),
            mixture_gain_db,
        )  # fmt: skip
        return replace(self, caught=caught, noise=self.noise.with_missed(added))

    def predict(self, x: Array, unit_db: Array | None = None) -> tuple[Array, Array]:
        """Readings and shares.

        Returns
        -------
        level_db : ndarray, shape (n, r)
            What the meter would show, scatter apart [dB re 1 W/m²].
        shares : ndarray, shape (n, r, k)
            Part of each emitter in it.
        """
        rows = self.observed.levels
        total_db, shares = power_sum(self.terms_db(x, unit_db))
        spread = mixture_gain_db(self.scan_gain_db[None], shares) * (rows.kind != AVERAGE_ROW)
        return total_db + spread + self.spot_db(x)[:, rows.kind], shares

    def with_rest(self, x: Array) -> Forward:
        """The model with the sites' own parts of the misfit as large as some unknowns, shape (total,), say."""
        own = self.misfit.own_db2
        return (
            self if own is None else replace(self, noise=replace(self.noise, rest_db2=own * self.scale(x[None]) ** 2))
        )

    def residual_db(self, x: Array, unit_db: Array | None = None) -> Array:
        """Reading minus model [dB], shape (n, r)."""
        shown = [self.predict_compiled(x[part], _of_draws(unit_db, part))[0] for part in self._parts(len(x))]
        return np.asarray(self.observed.levels.value_db - np.concatenate(shown))

    def log_likelihood(self, x: Array, unit_db: Array | None = None) -> Array:
        """Log likelihood of all readings, shape (n,)."""
        value = self.noise.log_likelihood(self.residual_db(x, unit_db))[0]
        heard = self.observed.heard
        return value + heard.log_likelihood(self.site_levels_db(x, unit_db))[0] if len(heard) else value

    def log_posterior(self, x: Array, unit_db: Array | None = None) -> tuple[Array, Array]:
        """Log posterior and its gradient, the scan gain's dependence on the shares left out of the latter.

        Returns
        -------
        value : ndarray, shape (n,)
        gradient : ndarray, shape (n, total)
        """
        found = [self._log_posterior(x[part], _of_draws(unit_db, part)) for part in self._parts(len(x))]
        return np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])

    @property
    def cells(self) -> int:
        """Readings and sites times emitters: what a step of one chain costs."""
        return (len(self.observed.levels) + len(self.unit_db)) * len(self.priors)

    def _parts(self, n: int) -> list[slice]:
        """Draws that are worked on together, so that memory does not grow with readings and sites."""
        size = max(1, MOST_CELLS // self.cells)
        return [slice(i, i + size) for i in range(0, n, size)]

    def _log_posterior(self, x: Array, unit_db: Array | None) -> tuple[Array, Array]:
        rows, blocks = self.observed.levels, self.blocks
        level, shares = self.predict_compiled(x, unit_db)
        value, pull = self.noise.log_likelihood(rows.value_db - level)
        gradient = -x
        self._add_power_gradient(gradient, x, pull, shares)
        if len(self.observed.heard):
            value = value + self.add_heard(gradient, x, unit_db)
        gradient[:, blocks["spot"]] += pull @ np.eye(3)[rows.kind] * np.array(SPOT_STD_DB)
        return value - 0.5 * np.sum(x**2, axis=1), gradient

    def predict_compiled(self, x: Array, unit_db: Array | None = None) -> tuple[Array, Array]:
        """Like `predict`, compiled."""
        rows = self.observed.levels
        site = np.exp(_TO_NEPER * np.clip(self.site_levels_db(x, unit_db), -FARTHEST_DB, FARTHEST_DB))
        offset, duty, gain = (
            np.exp(_TO_NEPER * np.clip(t, -FARTHEST_DB, FARTHEST_DB)) for t in (*self.mode_db(x), self.gain_db(x))
        )
        level, shares = forward_kernels.mix(
            site, np.stack([offset, duty]), gain, self._rows, rows.mode, self._received,
            self.scan_gain_db, MANY_SOURCES_POWER,
        )  # fmt: skip
        return level + self.spot_db(x)[:, rows.kind], shares

    @cached_property
    def _received(self) -> Array:
        """What of each emitter's power at the site comes to each reading, shape (r, k) [1]."""
        return np.asarray(self.pickup * self.caught.share * np.exp(_TO_NEPER * self.observed.levels.front_db))

    @cached_property
    def _rows(self) -> Indices:
        rows = self.observed.levels
        gains = np.where(rows.on, self.gain_index[rows.meter], -1)
        return np.column_stack([rows.site, rows.kind, gains]).astype(np.int64)

    def _add_power_gradient(self, gradient: Array, x: Array, pull: Array, shares: Array) -> None:
        blocks = self.blocks
        k, noted = len(self.priors), self.activities
        m = len(noted.emitter)
        site, offset, duty, gain = forward_kernels.spread_back(
            pull, shares, self._rows, self.observed.levels.mode, len(self.unit_db), len(self.gain_mean_db), k + m
        )
        _, _, duty_mean, duty_std = self.prior_eirp
        free = (duty_mean + duty_std * x[:, blocks["duty"]] < 0.0) * duty_std
        gradient[:, blocks["duty"]] += duty[:, :k] * free
        own = blocks["activity"]
        free = (noted.duty_db + noted.duty_std_db * x[:, own][:, m:] < 0.0) * noted.duty_std_db
        gradient[:, own] += np.concatenate([offset[:, k:] * noted.offset_std_db, duty[:, k:] * free], axis=1)
        gradient[:, blocks["gain"]] += gain @ self.gain_factor
        self._spread_sites(gradient, x, site)

    def add_heard(self, gradient: Array, x: Array, unit_db: Array | None = None) -> Array:
        """Log likelihood of what was heard, shape (n,); its derivatives are added to ``gradient`` (n, total)."""
        value, site = self.observed.heard.log_likelihood(self.site_levels_db(x, unit_db))
        self._spread_sites(gradient, x, site)
        return value

    def _spread_sites(self, gradient: Array, x: Array, site: Array) -> None:
        """Add the derivatives by the unknowns behind each emitter's level at each site, given those (n, k, p)."""
        blocks = self.blocks
        gradient[:, blocks["eirp"]] += site.sum(axis=2) @ self.eirp_factor
        flat = site.reshape(len(x), -1)
        scale = self.scale(x)
        back = self.misfit.back(flat)
        drawn = x[:, blocks["misfit"]]
        gradient[:, blocks["misfit"]] += scale * back
        gradient[:, blocks["scale"]] += LOG_SCALE_STD * scale * np.sum(back * drawn, axis=1, keepdims=True)
        if self.wall_slopes.shape[2]:
            slopes = np.swapaxes(self.wall_slopes, 0, 1).reshape(flat.shape[1], -1)
            gradient[:, blocks["wall"]] += flat @ slopes * self.wall_std_db

    def quadratic(self, x: Array, held: slice) -> tuple[Array, Array]:
        """Gradient of the log posterior and its Gauss-Newton precision; what is held does not move.

        Parameters
        ----------
        x : ndarray, shape (total,)
            Unknowns.
        held : slice
            Unknowns that are held.
        """
        level, shares = self.predict(x[None])
        residual, scale = self.observed.levels.value_db - level[0], self.scale(x[None])[0]
        plain = self._plain_slopes(x, shares[0])
        plain[:, held] = 0.0
        bent = self.noise.curved(residual, plain, self._site_slopes(shares[0]))
        pull, misfit = -x[None], self.blocks["misfit"]
        if len(self.observed.heard):
            self.add_heard(pull, x[None])
        pull[:, held] = 0.0
        mixed = scale * self.misfit.back(bent.mixed.T)
        gradient = np.concatenate([bent.slope, scale * self.misfit.back(bent.sparse_slope[None])[0]])
        precision = np.eye(self.blocks.total)
        precision[: misfit.start, : misfit.start] += bent.plain
        precision[: misfit.start, misfit] += mixed
        precision[misfit, : misfit.start] += mixed.T
        precision[misfit, misfit] += scale**2 * self.misfit.curvature(bent.sparse)
        return gradient + pull[0], precision

    def jacobian(self, x: Array, shares: Array) -> Array:
        """Derivatives of the readings by the unknowns, shape (r, total); for one vector, shape (total,)."""
        sites = self._site_slopes(shares)
        if self.misfit.weights is not None:
            sites = sites @ self.misfit.weights
        misfit = sites @ self.misfit.factor * self.scale(x[None])[0]
        return np.hstack([self._plain_slopes(x, shares), misfit])

    def _site_slopes(self, shares: Array) -> csr_array:
        """Derivatives of the readings by each emitter's level at each site, shape (r, k p)."""
        r, k = shares.shape
        row, column = np.repeat(np.arange(r), k), np.tile(len(self.unit_db) * np.arange(k), r)
        at = column + np.repeat(self.observed.levels.site, k)
        return csr_array((shares.reshape(-1), (row, at)), shape=(r, k * len(self.unit_db)))

    def _plain_slopes(self, x: Array, shares: Array) -> Array:
        """Derivatives of the readings by all unknowns before the misfit; for one vector, shape (total,)."""
        rows, blocks = self.observed.levels, self.blocks
        r, k = shares.shape
        table = np.zeros((r, blocks["misfit"].start))
        here = x[None]
        _, _, duty_mean, duty_std = self.prior_eirp
        table[:, blocks["eirp"]] = shares @ self.eirp_factor
        free = (duty_mean + duty_std * x[blocks["duty"]] < 0.0) * duty_std
        timed = (rows.kind == AVERAGE_ROW)[:, None]
        table[:, blocks["duty"]] = shares * free * timed * (rows.mode == np.arange(k))
        noted, own = self.activities, x[blocks["activity"]]
        m = len(noted.emitter)
        there = shares[:, noted.emitter] * (rows.mode[:, noted.emitter] == k + np.arange(m))
        free = (noted.duty_db + noted.duty_std_db * own[m:] < 0.0) * noted.duty_std_db
        table[:, blocks["activity"]] = np.concatenate([there * noted.offset_std_db, there * free * timed], axis=1)
        gains = np.zeros((r, len(self.gain_mean_db)))
        np.add.at(gains, (np.arange(r)[:, None], self.gain_index[rows.meter]), shares)
        table[:, blocks["gain"]] = gains @ self.gain_factor
        table[np.arange(r), blocks["spot"].start + rows.kind] = np.array(SPOT_STD_DB)[rows.kind]
        table[:, blocks["wall"]] = np.einsum("rk,rkm->rm", shares, self.wall_slopes[rows.site]) * self.wall_std_db
        misfit = self.misfit_db(here)[0][:, rows.site].T
        table[:, blocks["scale"]] = LOG_SCALE_STD * np.sum(shares * misfit, axis=1)[:, None]
        return table


def _of_draws(unit_db: Array | None, part: slice) -> Array | None:
    """Levels per watt of some draws; one for all if they are not per draw."""
    return unit_db if unit_db is None or unit_db.ndim == 2 else unit_db[part]


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
