"""How well the model fits what was read, as values that a door can show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roomfield.field.posterior import Posterior
from roomfield.field.priors import UNKNOWN_FREQUENCY_HZ
from roomfield.field.ranges import Range

FAR_OFF = 3.5
"""Misfits and readings so many times their usual size are told."""
BEYOND = 1.0 / 3.0
"""A gain error is told as beyond the tolerance from this probability on; without readings it has 8 %."""


@dataclass(frozen=True)
class MisfitAt:
    """How far the readings of a site lie off the model's propagation.

    Parameters
    ----------
    place_id : str
        Empty for a point without a name.
    ratio : float
        Largest misfit of an emitter there over its usual size [1].
    reading_ids : tuple of str
        What was read there.
    """

    place_id: str
    ratio: float
    reading_ids: tuple[str, ...]


@dataclass(frozen=True)
class GainOf:
    """What the readings say of a meter's gain error at the frequency of an emitter.

    Parameters
    ----------
    gain_db : Range
        By how much it shows too much [dB].
    tolerance_db : float
        What its maker allows, plus or minus [dB].
    beyond : bool
        True if the error lies outside that with a probability of a third or more.
    """

    meter_id: str
    frequency_hz: float
    gain_db: Range
    tolerance_db: float
    beyond: bool


@dataclass(frozen=True)
class OutlyingReading:
    """A reading that all others contradict; positive if it shows more [standard deviations]."""

    reading_id: str
    place_id: str
    size: float


@dataclass(frozen=True)
class Fit:
    """Misfit by site (largest first), gain errors by meter and band, outliers (largest first)."""

    misfits: tuple[MisfitAt, ...]
    gains: tuple[GainOf, ...]
    outliers: tuple[OutlyingReading, ...]

    @property
    def doubtful(self) -> bool:
        """True if something of it must be told beside every answer of the model."""
        strange = any(m.ratio > FAR_OFF for m in self.misfits)
        return strange or bool(self.outliers) or any(g.beyond for g in self.gains)


def fit_of(posterior: Posterior) -> Fit:
    """How well a posterior fits what it rests on."""
    return Fit(_misfits(posterior), _gains(posterior), _outliers(posterior))


def _misfits(posterior: Posterior) -> tuple[MisfitAt, ...]:
    forward = posterior.forward
    rows, k, p = forward.observed.levels, len(posterior.emitter_ids), len(forward.unit_db)
    usual = np.sqrt(np.sum(forward.misfit_factor**2, axis=1)).reshape(k, p)
    size = np.max(np.abs(forward.misfit_db(posterior.x).mean(axis=0)) / usual, axis=0)
    found = [
        MisfitAt(
            forward.observed.place_ids[site],
            float(size[site]),
            tuple(rows.ids[i] for i in np.flatnonzero(rows.site == site)),
        )
        for site in np.argsort(-size)
    ]
    return tuple(m for m in found if m.reading_ids)


def _gains(posterior: Posterior) -> tuple[GainOf, ...]:
    observed, index = posterior.forward.observed, posterior.forward.gain_index
    found: dict[int, GainOf] = {}
    for m in sorted({int(n) for n in observed.levels.meter}):
        meter = observed.meters[m]
        for e, emitter in enumerate(posterior.survey.emitters):
            tolerance_db, drawn = meter.figures.tolerance_db, posterior.gain_db[:, index[m, e]]
            beyond = bool(np.mean(np.abs(drawn) > tolerance_db) > BEYOND)
            frequency_hz = emitter.frequency_hz or UNKNOWN_FREQUENCY_HZ
            one = GainOf(meter.id, frequency_hz, Range.of(drawn), tolerance_db, beyond)
            found.setdefault(int(index[m, e]), one)
    return tuple(found.values())


def _outliers(posterior: Posterior) -> tuple[OutlyingReading, ...]:
    rows, places = posterior.forward.observed.levels, posterior.forward.observed.place_ids
    residual = posterior.forward.residual_db(posterior.x, posterior.site_units).mean(axis=0)
    off = posterior.forward.noise.own_residual(residual)
    far = np.flatnonzero(np.abs(off) > FAR_OFF)
    return tuple(
        OutlyingReading(rows.ids[i], places[rows.site[i]], float(off[i])) for i in far[np.argsort(-np.abs(off[far]))]
    )
