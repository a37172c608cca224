"""What is thought of an emitter that does something else than as found: idle, in use, or forced to transmit."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roomfield.field.emitter_states import ActivityMode
from roomfield.field.priors import EmitterPrior, duty_range_db
from roomfield.survey import Activity, Emitter

Array = NDArray[np.float64]
OFFSET_STD_DB, HANDSET_OFFSET_STD_DB = 3.0, 12.0
"""A device sends its bursts about as strongly idle as in use (its load changes how often); what sets its power by
need, as handsets do, does not (our judgement)."""
DUTY_STD_DB, STATED_DUTY_STD_DB, OPEN_DUTY_STD_DB = 4.0, 1.5, 8.0
FORCED_DUTY_DB = -2.0
_HANDSETS = ("phone", "handset", "handheld", "umts", "lte_ue", "tablet", "laptop")


class ActivityPriors(NamedTuple):
    """Normal priors in decibels of m activities.

    Parameters
    ----------
    emitter : ndarray of int, shape (m,)
        Whose.
    offset_std_db : ndarray, shape (m,)
        Of the power while on air, beside that as found [dB].
    duty_db, duty_std_db : ndarray, shape (m,)
        Share of time on air as 10 log10 [dB], at most 0.
    """

    emitter: NDArray[np.int64]
    offset_std_db: Array
    duty_db: Array
    duty_std_db: Array


def activity_priors(
    emitters: tuple[Emitter, ...], priors: tuple[EmitterPrior, ...], modes: tuple[ActivityMode, ...]
) -> ActivityPriors:
    """Priors of what emitters did in some readings only."""
    found = [_duty(emitters[m.emitter], priors[m.emitter], m.activity) for m in modes]
    offset = [
        HANDSET_OFFSET_STD_DB if any(w in _words(emitters[m.emitter]) for w in _HANDSETS) else OFFSET_STD_DB
        for m in modes
    ]
    duty = np.array(found, dtype=np.float64).reshape(-1, 2)
    return ActivityPriors(
        np.array([m.emitter for m in modes], dtype=np.int64), np.array(offset, dtype=np.float64), duty[:, 0], duty[:, 1]
    )


def _duty(emitter: Emitter, prior: EmitterPrior, activity: Activity | None) -> tuple[float, float]:
    """What the record says of it, else the end of the catalogue's range that goes with it."""
    stated = next((one.duty for one in emitter.activities if one.activity is activity), None)
    if stated:
        return 10.0 * float(np.log10(min(stated, 1.0))), STATED_DUTY_STD_DB
    low_db, high_db = duty_range_db(emitter)
    if activity is Activity.FORCED:
        return max(FORCED_DUTY_DB, high_db), DUTY_STD_DB
    if activity is Activity.IN_USE:
        return high_db, DUTY_STD_DB
    if activity is Activity.IDLE:
        return low_db, DUTY_STD_DB
    return prior.duty_db, OPEN_DUTY_STD_DB


def _words(emitter: Emitter) -> str:
    return f"{emitter.technology} {emitter.name}".lower()
