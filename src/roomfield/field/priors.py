"""What is thought of an emitter before any reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.references import catalogue
from roomfield.survey import Emitter, Standing

Array = NDArray[np.float64]
LEAST_EIRP_STD_DB = 6.0
"""Devices of one kind differ by this at least (power control, antenna; our judgement)."""
UNKNOWN_FREQUENCY_HZ = 2.0e9
"""Taken where the record names none; middle of the bands used in dwellings."""
FALLBACK_EIRP_DB, FALLBACK_EIRP_STD_DB = -10.0, 12.0
"""100 mW, times or by 16, where the catalogue has nothing in the band."""
FALLBACK_DUTY_DB, FALLBACK_DUTY_STD_DB = -10.0, 6.0
UNKNOWN_DISTANCE_STD_DB = 15.0
"""An outdoor emitter of unknown distance: 30 m to 1 km (own arithmetic)."""
SUSPECTED_STD_DB = 15.0
"""It may be far weaker than its kind, or not transmit at all (our judgement)."""
FAR_M = 200.0
"""Distance at which an outdoor emitter of unknown distance is put; its power then is relative to that [m]."""
SHARED_EIRP = 0.6
"""Share of the variance of power that bands of one device or mast have in common: its antenna's direction and tilt,
how it is set, what its maker chose (our judgement)."""
RICE_INDOOR, RICE_OUTDOOR = 1.5, 5.0
"""Strongest path over all others in a furnished home: many ways lead from a device in it, few from a far mast (the
middle of what the path model finds in drawn homes; our judgement)."""


def rice_factor(emitter: Emitter) -> float:
    """Power of the strongest path over that of all others, taken for all points [1]."""
    return RICE_OUTDOOR if emitter.outdoor else RICE_INDOOR


@dataclass(frozen=True)
class EmitterPrior:
    """Normal priors in decibels.

    Parameters
    ----------
    eirp_db, eirp_std_db : float
        EIRP while transmitting [dB re 1 W] and its standard deviation [dB].
    duty_db, duty_std_db : float
        Share of time on air as 10 log10 [dB], at most 0, and its standard deviation [dB].
    """

    eirp_db: float
    eirp_std_db: float
    duty_db: float
    duty_std_db: float


def emitter_prior(emitter: Emitter) -> EmitterPrior:
    """Prior from what the record says, else from the catalogue's kinds in the same band.

    Parameters
    ----------
    emitter : Emitter
        As recorded.
    """
    kinds = similar_kinds(emitter)
    eirp_db, eirp_std_db = _eirp(emitter, kinds)
    duty_db, duty_std_db = _duty(emitter, kinds)
    if emitter.outdoor and emitter.position is None:
        eirp_std_db = float(np.hypot(eirp_std_db, UNKNOWN_DISTANCE_STD_DB))
    if emitter.standing is Standing.SUSPECTED:
        eirp_std_db = float(np.hypot(eirp_std_db, SUSPECTED_STD_DB))
    return EmitterPrior(eirp_db, eirp_std_db, duty_db, duty_std_db)


_NAMED = (
    ("dect", "DECT base"), ("cordless", "DECT base"), ("wifi", "Wi-Fi"), ("wlan", "Wi-Fi"),
    ("router", "Wi-Fi"), ("smart_meter", "Smart meter"), ("smart_meter", "Smart-home"),
    ("bluetooth", "Bluetooth"), ("zigbee", "Zigbee"),
    ("baby", "Baby monitor"), ("tetra", "TETRA"), ("dvb", "DVB"), ("ism", "Smart-home"), ("lora", "Smart-home"),
    ("base_station", "Macro"), ("gsm", "Macro"), ("umts", "Macro"), ("lte", "Macro"), ("nr_", "Macro"),
)  # fmt: skip
"""Words in a technology's key and how the catalogue's rows of that kind begin."""


def similar_kinds(emitter: Emitter) -> tuple[catalogue.EmitterType, ...]:
    """Rows of the named technology in the band, else all rows in the band.

    A neighbour's router stands outside the dwelling, but is still a router.
    """
    place = "outdoor" if emitter.outdoor else "indoor"
    rows = [k for k in catalogue.emitters() if k.eirp_typical_w]
    if emitter.frequency_hz is not None:
        near = (0.98 * emitter.frequency_hz, 1.02 * emitter.frequency_hz)
        rows = [k for k in rows if k.overlaps(*near)]
    here = [k for k in rows if place in k.place]
    starts = {start for word, start in _NAMED if word in emitter.technology}
    for among in (here, rows):
        named = [k for k in among if any(k.name.startswith(s) for s in starts) and "laptop" not in k.name]
        if named:
            return tuple(named)
    return tuple(here) if emitter.frequency_hz is not None else ()


def _eirp(emitter: Emitter, kinds: tuple[catalogue.EmitterType, ...]) -> tuple[float, float]:
    if emitter.eirp_w:
        return 10.0 * float(np.log10(emitter.eirp_w)), emitter.eirp_std_db
    typical = [10.0 * float(np.log10(k.eirp_typical_w)) for k in kinds if k.eirp_typical_w]
    if not typical:
        return (30.0 if emitter.outdoor else FALLBACK_EIRP_DB), FALLBACK_EIRP_STD_DB
    return float(np.median(typical)), float(np.hypot(np.std(typical), LEAST_EIRP_STD_DB))


def _duty(emitter: Emitter, kinds: tuple[catalogue.EmitterType, ...]) -> tuple[float, float]:
    if emitter.duty:
        return 10.0 * float(np.log10(min(emitter.duty, 1.0))), emitter.duty_std_db
    ends = [10.0 * float(np.log10(d)) for k in kinds for d in (k.duty_low, k.duty_high) if d]
    if not ends:
        return FALLBACK_DUTY_DB, FALLBACK_DUTY_STD_DB
    return float(np.median(ends)), float(np.hypot(np.std(ends), 3.0))


def duty_range_db(emitter: Emitter) -> tuple[float, float]:
    """Least and most share of time on air of such an emitter by the catalogue, as 10 log10 [dB]."""
    ends = [10.0 * float(np.log10(d)) for k in similar_kinds(emitter) for d in (k.duty_low, k.duty_high) if d]
    if not ends:
        return FALLBACK_DUTY_DB - FALLBACK_DUTY_STD_DB, FALLBACK_DUTY_DB + FALLBACK_DUTY_STD_DB
    return min(ends), max(ends)


def eirp_factor(emitters: tuple[Emitter, ...], std_db: Array) -> Array:
    """Lower Cholesky factor of the prior covariance of the powers [dB], shape (k, k).

    Parameters
    ----------
    emitters : tuple of Emitter
        Those of one group share a part.
    std_db : ndarray, shape (k,)
        Standard deviations [dB].
    """
    alike = np.array([[_one_device(a, b) for b in emitters] for a in emitters], dtype=np.float64)
    correlation = SHARED_EIRP * alike + (1.0 - SHARED_EIRP * np.diag(alike)) * np.eye(len(emitters))
    return np.asarray(np.linalg.cholesky(correlation * np.outer(std_db, std_db)))


def _one_device(a: Emitter, b: Emitter) -> bool:
    return a.group == b.group and a.outdoor == b.outdoor
