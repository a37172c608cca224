"""A night taken in second by second: of each second only a few numbers are kept, so that memory does not grow with sound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.night.shares import SPLIT_RATE_HZ, Portion, ShareSplitter, thinned
from roomfield.signals.night.voltage import Law, VoltageCourse, power_of

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

FULL_SCALE = 0.985
RIVAL_STRIDE = 4
"""Every fourth sample tells how a second's mean would differ by another law."""


@dataclass(frozen=True)
class NightAudio:
    """How the sound was made.

    Attributes
    ----------
    coupling_hz : float
        Corner of the high-pass between meter and recorder; 0 if there is none [Hz].
    law : Law or None
        If the detector's law is known.
    channel : int
        Which channel, from 0.
    """

    coupling_hz: float = 0.0
    law: Law | None = None
    channel: int = 0


class SecondGatherer:
    """Takes in one second of sound after the other.

    Parameters
    ----------
    sample_rate_hz : float
        [Hz]
    heard : tuple of str
        Technologies to split each second among; empty: only the whole is kept.
    audio : NightAudio
    law : Law
        How voltage follows power.
    decades : float
        Steepness of a logarithmic law [decades per unit of voltage].
    rivals : tuple of (Law, float)
        Other laws, each with its steepness, whose means are kept too.

    Attributes
    ----------
    means : list of float
        Mean power of each second, in the law's own unit.
    tops, noises : list of float
        Highest voltage and noise of each second, in units of the sound.
    clipped : list of bool
        Whether the recorder was overdriven.
    portions : list of dict of Portion
        By manner.
    rival_means : list of tuple of float
        Mean of each second by the law and by each rival, each in its own unit, over a part of the samples.
    """

    def __init__(
        self,
        sample_rate_hz: float,
        heard: tuple[str, ...],
        audio: NightAudio,
        law: Law = Law.SQUARE,
        decades: float = 0.0,
        rivals: tuple[tuple[Law, float], ...] = (),
    ) -> None:
        self._factor = max(1, round(sample_rate_hz / SPLIT_RATE_HZ))
        self.audio, self.law, self.decades, self.rivals = audio, law, decades, rivals
        self.splitter = ShareSplitter(sample_rate_hz / self._factor, heard)
        self._course = VoltageCourse(sample_rate_hz, audio.coupling_hz)
        self.means: list[float] = []
        self.tops: list[float] = []
        self.noises: list[float] = []
        self.clipped: list[bool] = []
        self.portions: list[dict[str, Portion]] = []
        self.rival_means: list[tuple[float, ...]] = []

    def take(self, samples: F32) -> F32:
        """Take in the next second, shape (n,); gives back its voltage over rest."""
        voltage, noise = self._course(samples)
        power = power_of(voltage, self.law, self.decades)
        self.means.append(float(power.mean(dtype=np.float64)))
        self.tops.append(float(voltage.max()))
        self.noises.append(noise)
        self.clipped.append(max(float(samples.max()), -float(samples.min())) > FULL_SCALE)
        if self.rivals:
            some = voltage[::RIVAL_STRIDE]
            ways = ((self.law, self.decades), *self.rivals)
            self.rival_means.append(tuple(float(power_of(some, *way).mean(dtype=np.float64)) for way in ways))
        self.portions.append(self.splitter.split(thinned(power, self._factor)) if self.splitter.heard else {})
        return voltage

    def power_of(self, voltages: list[float]) -> F64:
        """Power of voltages over rest, in the law's own unit."""
        return np.asarray(power_of(np.array(voltages, np.float32), self.law, self.decades), np.float64)
