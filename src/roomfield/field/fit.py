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

UNUSUAL = 1.645
"""Readings that together lie so many standard deviations off what is usual are told (one case in ten by chance)."""
WHOLE_SIDE = 0.9
"""All of this interval of the offset lies on one side of zero before it is told, 1.645 standard deviations too."""
LEAST_WEIGHT = 1e-6
"""Share of the variance taken away that a transmitter counts with of which the readings say nothing [1]."""


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
class Together:
    """How far all readings together lie over what such transmitters usually give; negative if under.

    Parameters
    ----------
    offset_db : Range
        Power of the transmitters over what is usual plus what the meter shows too much beyond its certificate: the
        readings cannot tell one from the other, but they fix the sum [dB].
    usual_db : float
        Standard deviation of that before anything was read [dB].
    tolerance_db : float
        What the maker of the meter most used allows, plus or minus [dB].
    """

    offset_db: Range
    usual_db: float
    tolerance_db: float

    @property
    def beyond(self) -> bool:
        """True if it is more than the meter's tolerance and more than is usual, and its side is sure."""
        least = max(self.tolerance_db, UNUSUAL * self.usual_db)
        return abs(self.offset_db.median) > least and self.offset_db.low * self.offset_db.high > 0.0


@dataclass(frozen=True)
class Fit:
    """Misfit by site (largest first), gain errors by meter and band, outliers (largest first), the sum of all."""

    misfits: tuple[MisfitAt, ...]
    gains: tuple[GainOf, ...]
    outliers: tuple[OutlyingReading, ...]
    together: Together

    @property
    def doubtful(self) -> bool:
        """True if something of it must be told beside every answer of the model."""
        strange = any(m.ratio > FAR_OFF for m in self.misfits)
        return strange or bool(self.outliers) or any(g.beyond for g in self.gains) or self.together.beyond


def fit_of(posterior: Posterior) -> Fit:
    """How well a posterior fits what it rests on."""
    return Fit(_misfits(posterior), _gains(posterior), _outliers(posterior), together(posterior))


def together(posterior: Posterior) -> Together:
    """How far all readings together lie over what such transmitters usually give.

    Notes
    -----
    The mean over the transmitters, each weighted by how well its usual power is known and by the share of that
    variance which the readings took away, so that one of which nothing was heard neither adds nor dilutes.
    """
    forward, (mean, std, *_) = posterior.forward, posterior.forward.prior_eirp
    meter = int(np.bincount(forward.observed.levels.meter, minlength=1).argmax())
    gains = forward.gain_index[meter]
    offset = posterior.eirp_db - mean + (posterior.gain_db - forward.gain_mean_db)[:, gains]
    weight = np.maximum(1.0 - offset.var(axis=0) / std**2, LEAST_WEIGHT) / std**2
    weight /= weight.sum()
    on_gains = np.bincount(gains, weight, len(forward.gain_mean_db)) @ forward.gain_factor
    usual = float(np.sqrt(np.sum((weight * std) ** 2) + np.sum(on_gains**2)))
    return Together(Range.of(offset @ weight, WHOLE_SIDE), usual, forward.observed.meters[meter].figures.tolerance_db)


def _misfits(posterior: Posterior) -> tuple[MisfitAt, ...]:
    forward = posterior.forward
    rows = forward.observed.levels
    white = (forward.scale(posterior.x) * posterior.x[:, forward.blocks["misfit"]]).mean(axis=0)
    size = np.max(np.abs(forward.misfit.at_sites(white[None])[0]) / forward.misfit.std_db, axis=0)
    order = np.argsort(rows.site, kind="stable")
    read_at = np.split(order, np.searchsorted(rows.site[order], np.arange(1, len(size))))
    found = [
        MisfitAt(forward.observed.place_ids[site], float(size[site]), tuple(rows.ids[i] for i in read_at[site]))
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
