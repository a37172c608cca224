"""Hearing while it plays: answers five times a second from chunks of sound, in bounded memory."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError, RangeError
from roomfield.signals.classifier import Judgement
from roomfield.signals.conditioning import condition, one_channel
from roomfield.signals.features import Evidence, gather
from roomfield.signals.hearing import CLAIM, plain
from roomfield.signals.periodicity import find_periods
from roomfield.signals.recording import RATES_HZ
from roomfield.signals.strangers import hear_again
from roomfield.signals.tones import judgement

WINDOW_S = 6.0
UPDATE_S = 0.2
HURRIED_S = 1.0
FIRST_S = 1.0
RELEASE = 0.35
SETTLED_S = 1.0
EARNED_S = 2.0


@dataclass(frozen=True)
class LiveAnswer:
    """The newest answer of a stream.

    Attributes
    ----------
    time_s : float
        Sound received so far [s].
    window_s : float
        Length of the stretch the answer rests on [s].
    fresh : bool
        Whether this push brought a new answer.
    probabilities : dict
        Of each technology, for the window alone; empty before the first second.
    claimed : tuple of str
        Technologies above one half in two answers in a row, held until they fall below 0.35 in two, the most certain first.
    stable : bool
        Whether the claims have stayed the same for the last second.
    rms, peak : float
        Of the newest chunk [full scale].
    clipped : bool
        Whether the window touches the rails.
    transmitter : float
        Probability that there is any transmitter, listed or not.
    """

    time_s: float
    window_s: float
    fresh: bool
    probabilities: dict[str, float]
    claimed: tuple[str, ...]
    stable: bool
    rms: float
    peak: float
    clipped: bool
    transmitter: float = 0.0

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        answer: dict[str, Any] = plain(self)
        return answer


class StreamingAnalyser:
    """Keeps the last six seconds of a stream and answers five times a second.

    Parameters
    ----------
    sample_rate_hz : float
        [Hz]
    """

    def __init__(self, sample_rate_hz: float) -> None:
        if not RATES_HZ[0] <= sample_rate_hz <= RATES_HZ[1]:
            raise RangeError(
                "sample rate", sample_rate_hz, RATES_HZ, "Hz", where="stream", mend="Set the sound device to 48 kHz."
            )
        self.sample_rate_hz = float(sample_rate_hz)
        self._ring = np.zeros(int(WINDOW_S * sample_rate_hz), np.float32)
        self._filled = 0
        self._received = 0
        self._since_update = 0
        self._changed_at = 0.0
        self._limits: dict[str, float] = {}
        self._limited_at = 0.0
        self._answer = LiveAnswer(0.0, 0.0, False, {}, (), False, 0.0, 0.0, False)

    def push(self, chunk: NDArray[np.floating], *, hurry: bool = False) -> LiveAnswer:
        """Take in the next samples and return the newest answer.

        Parameters
        ----------
        chunk : ndarray, shape (n,) or (n, channels)
        hurry : bool
            Whether more sound is waiting: then one answer a second is worked out and not five.

        Raises
        ------
        FormatError
            If the chunk holds values that are not numbers.
        """
        data = one_channel(np.asarray(chunk))
        if not np.isfinite(data).all():
            raise FormatError(
                "the stream holds values that are not numbers.", where="stream", mend="Restart the input."
            )
        self._store(data)
        rms = float(np.sqrt(np.mean(data**2))) if data.size else 0.0
        peak = float(np.abs(data).max()) if data.size else 0.0
        due = self._since_update >= (HURRIED_S if hurry else UPDATE_S) * self.sample_rate_hz
        if due and self._filled >= FIRST_S * self.sample_rate_hz:
            self._since_update = 0
            self._update(rms, peak)
        else:
            old = self._answer
            self._answer = LiveAnswer(
                self.time_s, old.window_s, False, old.probabilities, old.claimed, old.stable, rms, peak, old.clipped,
                old.transmitter,
            )  # fmt: skip
        return self._answer

    @property
    def time_s(self) -> float:
        """Sound received so far [s]."""
        return self._received / self.sample_rate_hz

    def _store(self, data: NDArray[np.float32]) -> None:
        self._received += data.size
        self._since_update += data.size
        size = self._ring.size
        data = data[-size:]
        self._ring = np.roll(self._ring, -data.size) if data.size < size else self._ring
        self._ring[size - data.size :] = data
        self._filled = min(size, self._filled + data.size)

    def _update(self, rms: float, peak: float) -> None:
        window = self._ring[self._ring.size - self._filled :]
        conditioned = condition(window, self.sample_rate_hz)
        evidence = gather(conditioned)
        found = self._earned(evidence, judgement(evidence))
        chances = found.chances
        held, before = set(self._answer.claimed), self._answer.probabilities
        claimed = [n for n, p in chances.items() if _holds(p, before.get(n, p), n in held)]
        claimed.sort(key=lambda n: -chances[n])
        if set(claimed) != held:
            self._changed_at = self.time_s
        self._answer = LiveAnswer(
            time_s=self.time_s,
            window_s=window.size / self.sample_rate_hz,
            fresh=True,
            probabilities=chances,
            claimed=tuple(claimed),
            stable=self.time_s - self._changed_at >= SETTLED_S,
            rms=rms,
            peak=peak,
            clipped=conditioned.clipped_fraction > 0,
            transmitter=found.transmitter,
        )

    def _earned(self, evidence: Evidence, found: Judgement) -> Judgement:
        """The judgement, names limited by what is said without repetitions of no listed technology.

        That is worked out when a name is new, and every two seconds.
        """
        names = {n for n, p in found.chances.items() if p >= CLAIM}
        if names - self._limits.keys() or (names and self.time_s - self._limited_at >= EARNED_S):
            data = evidence.conditioned
            periods = find_periods(data.samples, data.sample_rate_hz, evidence.spectrum)
            again = hear_again(evidence, found, periods)
            lowered = {n: again.chances[n] for n in names if again.chances[n] < found.chances[n]}
            self._limits, self._limited_at = dict.fromkeys(names, 1.0) | lowered, self.time_s
        chances = {n: min(p, self._limits.get(n, 1.0)) for n, p in found.chances.items()}
        return Judgement(chances, found.transmitter)


def _holds(now: float, before: float, held: bool) -> bool:
    """Whether a technology is claimed: two answers in a row must agree on a change."""
    return max(now, before) >= RELEASE if held else min(now, before) >= CLAIM
