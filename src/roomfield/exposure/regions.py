"""Field regions: where a power density from an electric-field reading means something."""

from __future__ import annotations

import math

from roomfield.constants import SPEED_OF_LIGHT_M_S


def reactive_near_field_m(frequency_hz: float) -> float:
    """Distance [m] to the end of the reactive near field: lambda / 2 pi (OET 65; K.61; from memory)."""
    return SPEED_OF_LIGHT_M_S / frequency_hz / (2.0 * math.pi)


def far_field_m(frequency_hz: float, antenna_size_m: float) -> float:
    """Distance [m] from which the far field is taken: 2 D² / lambda (IEEE C95.3; from memory)."""
    return 2.0 * antenna_size_m**2 * frequency_hz / SPEED_OF_LIGHT_M_S


def is_indicative(distance_m: float, frequency_hz: float, antenna_size_m: float = 0.0) -> bool:
    """True if a reading so near a source is only indicative: within lambda/2pi or 2 D²/lambda.

    Parameters
    ----------
    distance_m : float
        From the source's antenna to the meter [m].
    frequency_hz : float
        Frequency [Hz].
    antenna_size_m : float
        Largest size of the source's antenna [m].
    """
    edge_m = max(reactive_near_field_m(frequency_hz), far_field_m(frequency_hz, antenna_size_m))
    return distance_m < edge_m
