"""Floor and overload: when a number is only a bound, and what noise adds near the floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roomfield.instrument.accessory import reading_in_front
from roomfield.quantities import Censoring, ErrorContribution
from roomfield.survey import Meter, Reading

FLOOR_MARGIN = 3.0
"""A value under three times the floor is not told apart from nothing (common practice, no source)."""


@dataclass(frozen=True)
class BoundedValue:
    """A reading as number or bound.

    Parameters
    ----------
    density_w_m2 : float
        Value, or the bound if ``censor`` is not none, before whatever stands in front of the meter [W/m²].
    censoring : Censoring
        Below: the true value lies under the bound; above: over it.
    """

    density_w_m2: float
    censoring: Censoring


def bounded_value(reading: Reading, meter: Meter) -> BoundedValue:
    """The reading as a number, or as the bound that it really is.

    Parameters
    ----------
    reading : Reading
        As written down; may say itself that it is censored.
    meter : Meter
        With floor and overload [W/m²].
    """
    value = reading.value_w_m2
    figures = meter.figures
    received = 10.0 ** (-reading_in_front(reading, meter).change_db / 10.0)
    near_floor = FLOOR_MARGIN * figures.floor_w_m2
    if reading.censoring is Censoring.ABOVE or value >= figures.overload_w_m2:
        bound = min(value, figures.overload_w_m2) if value > 0 else figures.overload_w_m2
        return BoundedValue(bound * received, Censoring.ABOVE)
    if reading.censoring is Censoring.BELOW or value < near_floor:
        return BoundedValue(max(value, near_floor) * received, Censoring.BELOW)
    return BoundedValue(value * received, Censoring.NONE)


def floor_noise(density_w_m2: float, meter: Meter) -> ErrorContribution:
    """Error from the meter's own noise, which adds power of the size of its floor.

    Parameters
    ----------
    density_w_m2 : float
        Reading [W/m²].
    """
    spread_db = 10.0 * float(np.log10(1.0 + meter.figures.floor_w_m2 / density_w_m2))
    return ErrorContribution.from_half_width("floor_noise", spread_db)


def pulse_response_db(pulse_s: float, response_s: float) -> float:
    """How far a detector with one time constant falls short of a pulse's height [dB].

    Parameters
    ----------
    pulse_s : float
        Pulse width [s].
    response_s : float
        Time constant [s].

    Notes
    -----
    Step response of a first-order system: 1 - exp(-t / tau).
    """
    return float(-10.0 * np.log10(-np.expm1(-pulse_s / response_s)))
