"""A night while it goes on: seconds are taken in as they come, and the series can be asked for at any moment."""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError, RangeError
from roomfield.signals.analysis import analyse
from roomfield.signals.night.display import DisplayReading
from roomfield.signals.night.display_calibration import LONGEST_AVERAGE_S, Calibration, calibrate
from roomfield.signals.night.level_by_second import NightSeries, series_of
from roomfield.signals.night.second_gatherer import NightAudio, SecondGatherer
from roomfield.signals.night.voltage import Law
from roomfield.signals.recording import RATES_HZ

F32 = NDArray[np.float32]

KEPT_S = 180
"""So much sound is kept: a reading of the display has to be noted while its sound is there [s]."""
PIECE_S, FIRST_S, EVERY_S = 16, 20, 300
"""The ear is given the last 16 s at 20 s, at once again, and then every five minutes."""
TIMES_HEARD = 2
"""A technology counts from the second piece on that it was heard in."""
LIVE_LAWS = (Law.SQUARE, Law.LINEAR)
"""Laws followed at the same time while the law is not known; a logarithmic one has to be given, with its steepness
unknown it is left to the morning."""


class LiveNight:
    """Takes in sound as it comes.

    Parameters
    ----------
    sample_rate_hz : float
        [Hz]
    audio : NightAudio, optional

    Raises
    ------
    RangeError
        If the sample rate is out of range.
    FormatError
        If a logarithmic law is asked for.
    """

    def __init__(self, sample_rate_hz: float, audio: NightAudio | None = None) -> None:
        self.audio = audio or NightAudio()
        if not RATES_HZ[0] <= sample_rate_hz <= RATES_HZ[1]:
            raise RangeError("sample rate", sample_rate_hz, RATES_HZ, "Hz", where="sound card")
        if self.audio.law is Law.LOG:
            raise FormatError(
                "a logarithmic detector cannot be followed live.",
                where="law",
                mend="Record the night and give the recording in the morning.",
            )
        self.sample_rate_hz = sample_rate_hz
        laws = (self.audio.law,) if self.audio.law else LIVE_LAWS
        self._gatherers = {law: SecondGatherer(sample_rate_hz, (), self.audio, law) for law in laws}
        self._rest: F32 = np.empty(0, np.float32)
        self._voltage: deque[F32] = deque(maxlen=KEPT_S)
        self._sound: deque[F32] = deque(maxlen=PIECE_S)
        self._heard: Counter[str] = Counter()
        self._readings: list[DisplayReading] = []
        self._averages: dict[tuple[float, float], F32] = {}

    @property
    def seconds(self) -> int:
        """Whole seconds taken in so far [s]."""
        return len(next(iter(self._gatherers.values())).means)

    @property
    def readings(self) -> tuple[DisplayReading, ...]:
        """What was read off the display so far."""
        return tuple(self._readings)

    @property
    def heard(self) -> tuple[str, ...]:
        """Technologies heard so far."""
        return tuple(name for name, times in self._heard.items() if times >= TIMES_HEARD)

    def push(self, samples: NDArray[np.floating]) -> None:
        """Take in the next samples.

        Parameters
        ----------
        samples : ndarray, shape (n,)
            Full scale is 1.
        """
        second = round(self.sample_rate_hz)
        rest = np.concatenate([self._rest, np.asarray(samples, np.float32)])
        whole = len(rest) // second * second
        for first in range(0, whole, second):
            self._second(rest[first : first + second])
        self._rest = rest[whole:]

    def note(self, reading: DisplayReading) -> None:
        """Take in what the display shows; its moment counts from the start [s].

        Raises
        ------
        RangeError
            If its sound is no longer kept or has not come yet.
        """
        if not self.seconds - KEPT_S + LONGEST_AVERAGE_S <= reading.at_s <= self.seconds + 1.0:
            span = (max(0.0, self.seconds - KEPT_S + LONGEST_AVERAGE_S), float(self.seconds))
            raise RangeError("moment of the reading", reading.at_s, span, "s", mend="Note it while it is shown.")
        begin = max(reading.average_from_s, reading.at_s - LONGEST_AVERAGE_S)
        self._averages[(begin, reading.at_s)] = self._kept(begin, reading.at_s)
        self._readings.append(reading)

    def series(self) -> NightSeries:
        """Levels of all seconds so far.

        Raises
        ------
        TooEarlyError
            If nothing was read off the display.
        """
        found = calibrate(self._readings, self, self.audio.law)
        if found.law not in self._gatherers:
            found = self._other(found)
        rows = self._gatherers[found.law]
        return series_of(rows, found)

    def without_scale(self) -> list[tuple[float, float]]:
        """Mean power by the first law followed, and highest voltage, of all seconds in units of the sound."""
        rows = next(iter(self._gatherers.values()))
        return list(zip(rows.means, rows.tops, strict=True))

    def voltage(self, begin_s: float, end_s: float) -> F32:
        """Voltage over rest behind a reading that was noted."""
        return self._averages.get((begin_s, end_s), np.zeros(0, np.float32))

    def top(self, begin_s: float, end_s: float) -> float:
        """Highest voltage over rest in that part, by whole seconds."""
        tops = next(iter(self._gatherers.values())).tops
        return max(tops[int(begin_s) : int(np.ceil(end_s))], default=0.0)

    def _other(self, found: Calibration) -> Calibration:
        """The law that is followed, when the readings speak for one that is not."""
        law = next(iter(self._gatherers))
        return replace(calibrate(self._readings, self, law), law_probability=1.0 - found.law_probability)

    def _second(self, samples: F32) -> None:
        for gatherer in self._gatherers.values():
            voltage = gatherer.take(samples)
        self._voltage.append(voltage)
        self._sound.append(samples)
        if self.seconds in (FIRST_S, 2 * FIRST_S) or self.seconds % EVERY_S == 0:
            self._hear()

    def _hear(self) -> None:
        found = analyse(np.concatenate(self._sound), sample_rate_hz=self.sample_rate_hz, processes=1)
        self._heard.update(heard.name for heard in found.claimed)
        for gatherer in self._gatherers.values():
            gatherer.splitter.heard = self.heard

    def _kept(self, begin_s: float, end_s: float) -> F32:
        first = self.seconds - len(self._voltage)
        sound = np.concatenate(self._voltage) if self._voltage else np.zeros(0, np.float32)
        a, b = (int((moment - first) * self.sample_rate_hz) for moment in (begin_s, end_s))
        return sound[max(a, 0) : max(b, 0)]
