"""What stands in front of the meter: attenuator, filter, antenna or amplifier, in dB over frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roomfield.errors import InputError
from roomfield.quantities import ErrorContribution, ErrorShape
from roomfield.survey import Meter, Reading


@dataclass(frozen=True)
class InFront:
    """What an accessory does to a reading.

    Parameters
    ----------
    change_db : float
        How much more the meter shows with it [dB].
    contribution : ErrorContribution or None
        Error of that; shared by every reading through the same accessory. None with nothing in front.
    """

    change_db: float
    contribution: ErrorContribution | None


NOTHING_IN_FRONT = InFront(0.0, None)


def in_front(meter: Meter, accessory_id: str, frequency_hz: float | None = None) -> InFront:
    """What stands in front of a meter does at a frequency, or over all its rows if the frequency is not known.

    Parameters
    ----------
    accessory_id : str
        As the reading names it; empty for nothing.
    frequency_hz : float, optional
        Frequency of what dominates the reading [Hz].

    Raises
    ------
    InputError
        If the meter has no such accessory, or the accessory has no row.
    """
    if not accessory_id:
        return NOTHING_IN_FRONT
    accessory = meter.accessory(accessory_id)
    if accessory is None or not accessory.response:
        what = f"there is no accessory {accessory_id!r}." if accessory is None else "the accessory has no row."
        raise InputError(what, where=meter.name, mend="Enter what it does in dB, over frequency.")
    rows = sorted(accessory.response, key=lambda p: p.frequency_hz)
    changes = np.array([p.change_db for p in rows])
    stds = np.array([p.std_db for p in rows])
    key = f"{meter.id}/accessory/{accessory_id}"
    if frequency_hz is None:
        middle, half = float(changes.max() + changes.min()) / 2.0, float(np.ptp(changes)) / 2.0
        std = float(np.hypot(half / 3**0.5, stds.max()))
        return InFront(middle, ErrorContribution("accessory", std, ErrorShape.NORMAL, key))
    octaves = np.log2([p.frequency_hz for p in rows])
    asked = float(np.log2(frequency_hz))
    std = float(np.interp(asked, octaves, stds))
    return InFront(
        float(np.interp(asked, octaves, changes)), ErrorContribution("accessory", std, ErrorShape.NORMAL, key)
    )


def reading_in_front(reading: Reading, meter: Meter, frequency_hz: float | None = None) -> InFront:
    """The same for the accessory that a reading names."""
    return in_front(meter, reading.accessory_id, frequency_hz)
