"""The spectrum of a recording, whitened by its own local floor.

A line's whitened power is its power over the local noise floor: under noise alone it is exponential with
mean one, whatever the colour of the noise, which is what every later false-alarm rate rests on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft

F32 = NDArray[np.float32]

FLOOR_WINDOW_HZ = 24.0
PADDING = 2


@dataclass(frozen=True)
class WhiteSpectrum:
    """Whitened power on a grid of frequencies.

    Attributes
    ----------
    white : ndarray of float32, shape (n,)
        Power over the local floor [1].
    floor : ndarray of float32, shape (n,)
        Local mean noise power of a bin [sample units squared].
    bins_per_hz : float
        Grid density [1/Hz].
    duration_s : float
        Length analysed [s].
    """

    white: F32
    floor: F32
    bins_per_hz: float
    duration_s: float

    @property
    def top_hz(self) -> float:
        """Highest frequency on the grid [Hz]."""
        return (self.white.size - 1) / self.bins_per_hz


def local_floor(power: F32, window_bins: int) -> F32:
    """Mean noise power of each bin from medians of windows (median of an exponential is ln 2 of its mean)."""
    window = max(window_bins, 8)
    count = max(power.size // window, 1)
    rows = power[: count * window].reshape(count, -1)
    half = rows[:, ::2]
    medians = np.partition(half, half.shape[1] // 2, axis=1)[:, half.shape[1] // 2] / np.float32(np.log(2))
    medians = np.maximum(medians, np.float32(1e-20))
    ramp = (np.arange(window, dtype=np.float32) / window)[None, :]
    between = (medians[:-1, None] + ramp * np.diff(medians)[:, None]).ravel()
    head = np.full(window // 2, medians[0], np.float32)
    tail = np.full(max(power.size - head.size - between.size, 0), medians[-1], np.float32)
    return np.concatenate([head, between, tail])[: power.size]


@lru_cache(maxsize=6)
def _hann(count: int) -> F32:
    return np.hanning(count).astype(np.float32)


def white_spectrum(samples: F32, sample_rate_hz: float, top_hz: float = np.inf) -> WhiteSpectrum:
    """Hann-windowed, twofold zero-padded, whitened power spectrum.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]
    top_hz : float
        Highest frequency that is wanted, if below half the rate [Hz].
    """
    length = next_fast_len(PADDING * samples.size, real=True)
    spectrum = rfft(samples * _hann(samples.size), length)
    per_hz = length / sample_rate_hz
    if top_hz < sample_rate_hz / 2:
        spectrum = spectrum[: int(top_hz * per_hz) + 1]
    power = spectrum.real**2 + spectrum.imag**2
    floor = local_floor(power, int(FLOOR_WINDOW_HZ * per_hz))
    return WhiteSpectrum(power / floor, floor, per_hz, samples.size / sample_rate_hz)
