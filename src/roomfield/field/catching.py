"""Whether a transmitter that seldom speaks spoke while the meter listened.

A peak or held maximum is an instantaneous power: it holds all that were on the air together at one moment. What sends
every ten milliseconds is in every one of them; a meter radio that speaks every six seconds may be missing from a peak
watched for five, and within a scan it is met only at the few spots where it happened to speak, so that its largest
value found is that of few spots. An average is not concerned: there the duty cycle counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roomfield.field.level_rows import AVERAGE_ROW, LevelRows
from roomfield.survey import Emitter

Array = NDArray[np.float64]
USUAL_INTERVAL_S = {"smart_meter": 6.0, "ism": 30.0, "lora": 60.0, "tyre": 60.0, "alarm": 60.0}
"""Time from one transmission to the next where the record says nothing, by words in the technology's key. Utility
meters speak every few seconds to minutes (common practice, no source; a mesh meter 0.1 to 90 s, case study)."""
SELDOM_S = 0.5
"""What speaks more often than this is met at every spot of a scan."""
LEAST, MOST = 0.02, 0.98
"""No schedule is known so well that it is surely caught, or missed."""
MISFIT_STD_DB = 2.0
"""How far a reading may lie off the model for other reasons when it is asked whether it holds what seldom speaks."""
_NOTHING = 1e-6


@dataclass(frozen=True, eq=False)
class Caught:
    """Which readings hold which emitters.

    Parameters
    ----------
    chance : ndarray, shape (r, k)
        Probability that the emitter spoke while the reading was taken, before the reading is seen; 1 for what speaks
        often.
    share : ndarray, shape (r, k)
        The same given the readings: a factor on the emitter's power.
    """

    chance: Array
    share: Array

    @property
    def any(self) -> bool:
        """True if there is an emitter that may be missing from a reading."""
        return bool(np.any(self.chance < 1.0))

    def always(self) -> Caught:
        """As if every emitter had spoken in every reading."""
        return replace(self, share=np.ones_like(self.share))


def intervals_s(emitters: Sequence[Emitter]) -> Array:
    """Time from one transmission of each emitter to the next [s]; 0 where it speaks often or nothing is known."""
    return np.array([_interval_s(e) for e in emitters], dtype=np.float64)


def _interval_s(emitter: Emitter) -> float:
    stated = [one.interval_s for one in emitter.activities if one.interval_s]
    if stated:
        return min(stated)
    technology = emitter.technology.lower()
    return next((seconds for word, seconds in USUAL_INTERVAL_S.items() if word in technology), 0.0)


def caught_before(rows: LevelRows, interval_s: Array) -> Caught:
    """What is thought before the readings are seen.

    Parameters
    ----------
    rows : LevelRows
        The readings.
    interval_s : ndarray, shape (k,)
        From `intervals_s`.
    """
    seldom = (interval_s > SELDOM_S) & (rows.kind != AVERAGE_ROW)[:, None]
    chance = np.clip(rows.watched_s[:, None] / np.maximum(interval_s, 1e-9), LEAST, MOST)
    chance = np.where(seldom, chance, 1.0)
    return Caught(chance, chance)


def spots_met(cells: Array, watched_s: Array, interval_s: Array) -> Array:
    """Of how many independent places of a scan an emitter's value was seen, at least one.

    Parameters
    ----------
    cells : ndarray, shape (r, k)
        Places that fade independently.
    watched_s : ndarray, shape (r,)
        How long the scan took [s].
    interval_s : ndarray, shape (k,)
        From one transmission to the next [s].
    """
    spoke = watched_s[:, None] / np.maximum(interval_s, 1e-9)
    return np.where(interval_s > SELDOM_S, np.clip(spoke, 1.0, cells), cells)


def speaking(
    caught: Caught, terms_db: Array, single_db: Array, shown_db: Array, std_db: Array,
    scan_gain_db: Callable[[Array, Array], Array],
) -> tuple[Caught, Array]:  # fmt: skip
    """Probabilities that emitters were on air, by Bayes' rule with all else held; and what that leaves open.

    Parameters
    ----------
    caught : Caught
        With the chances before.
    terms_db : ndarray, shape (r, k)
        What each emitter adds to each reading while it speaks [dB].
    single_db : ndarray, shape (r, k)
        Gain of a scan of each alone [dB].
    shown_db, std_db : ndarray, shape (r,)
        Readings without what is known of their kind, and their scatter [dB].
    scan_gain_db : callable
        Of single gains and shares.

    Returns
    -------
    Caught
        With the probabilities after.
    ndarray, shape (r,)
        Standard deviation of the model's level for not knowing [dB].
    """
    share, added = caught.share.copy(), np.zeros(len(shown_db))
    power = 10.0 ** (terms_db / 10.0)
    spread = np.hypot(std_db, MISFIT_STD_DB)
    for e in np.flatnonzero(np.any(caught.chance < 1.0, axis=0)):
        weight = share.copy()
        levels = []
        for spoke in (_NOTHING, 1.0):
            weight[:, e] = np.where(caught.chance[:, e] < 1.0, spoke, 1.0)
            parts = np.maximum(power * weight, 1e-40)
            total = parts.sum(axis=1)
            levels.append(10.0 * np.log10(total) + scan_gain_db(single_db, parts / total[:, None]))
        off = -0.5 * ((shown_db - np.array(levels)) / spread[:, None].T) ** 2
        before = caught.chance[:, e]
        odds = before / np.maximum(1.0 - before, 1e-12) * np.exp(np.clip(off[1] - off[0], -50.0, 50.0))
        after = np.where(before < 1.0, odds / (1.0 + odds), 1.0)
        step = np.minimum(np.abs(levels[1] - levels[0]), 20.0)
        added = np.hypot(added, np.sqrt(after * (1.0 - after)) * step)
        share[:, e] = np.maximum(after, _NOTHING)
    return replace(caught, share=share), added
