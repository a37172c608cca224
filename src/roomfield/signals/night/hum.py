"""Mains hum taken off: sines at the mains' harmonics, fitted to what is left when transmissions are clipped away.

Behind a capacitor the coupling must be undone first: the droop after pulses would be taken for hum.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.night.night_kernels import over_course

F32 = NDArray[np.float32]

MAINS_HZ = (50.0, 60.0)
HARMONICS = 6
CLIP_SPREADS = 2.5
ROUNDS, ROUNDS_ON = 10, 2
"""Rounds of the fit in the first second of a hum, and in each that follows one: a second holds whole cycles."""
SIGNIFICANT = 5.0
"""A set of sines is taken off if its amplitude exceeds so many standard errors of the fit."""
_STRIDE = 31
"""Samples that are looked at; prime, so that regular pulses are met at every phase and not always or never."""


class HumFilter:
    """Takes hum off second by second; begins each fit where the last one ended.

    Parameters
    ----------
    sample_rate_hz : float
        [Hz]
    """

    def __init__(self, sample_rate_hz: float) -> None:
        self.rate = sample_rate_hz
        self._mains = 0.0
        self._weights = np.zeros(1 + 2 * HARMONICS, np.float32)

    def __call__(self, samples: F32) -> F32:
        """One second without hum, shape (n,); unchanged where none stands out."""
        thin = _level(np.ascontiguousarray(samples[::_STRIDE]))
        middle, spread = middle_and_spread(thin)
        clipped = np.clip(thin - middle, -CLIP_SPREADS * spread, CLIP_SPREADS * spread)
        strengths = [_strength(clipped, mains, self.rate) / spread for mains in MAINS_HZ]
        if max(strengths) < SIGNIFICANT * np.sqrt(2 / len(thin)):
            self._mains = 0.0
            return samples
        mains = MAINS_HZ[int(np.argmax(strengths))]
        if self._fit(thin, middle, mains) > spread:
            self._mains = 0.0
            return samples
        cycle = _cycles(round(self.rate / 10), mains, self.rate) @ self._weights[1:]
        return np.asarray(samples - np.tile(cycle, 11)[: len(samples)], np.float32)

    def _fit(self, x: F32, middle: float, mains_hz: float) -> float:
        """Fit the sines; what is left when they are taken off (standard deviation), clipped as before."""
        design, inverse = _sines(len(x), mains_hz, self.rate)
        rounds = ROUNDS_ON
        if mains_hz != self._mains:
            self._weights[:], rounds, self._mains = 0.0, ROUNDS, mains_hz
        self._weights[0] = middle
        for _ in range(rounds):
            fitted = design @ self._weights
            left = x - fitted
            spread = 1.4826 * upper_median(np.abs(left)) + 1e-30
            self._weights = inverse @ (fitted + np.clip(left, -CLIP_SPREADS * spread, CLIP_SPREADS * spread))
        return middle_and_spread(np.asarray(x - design @ self._weights, np.float32))[1]


def without_hum(samples: NDArray[np.floating], sample_rate_hz: float) -> F32:
    """Samples without hum, second by second; unchanged where none stands out.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Less than a second is left as it is.
    sample_rate_hz : float
        [Hz]
    """
    x, second, hum = np.asarray(samples, np.float32), round(sample_rate_hz), HumFilter(sample_rate_hz)
    if len(x) < second:
        return x
    whole = len(x) // second * second
    parts = [hum(x[a : a + second]) for a in range(0, whole, second)]
    if whole < len(x):
        parts.append(HumFilter(sample_rate_hz)(x[-second:])[whole - len(x) :])
    return np.concatenate(parts)


def _level(x: F32) -> F32:
    """Without slow drift: the medians of tenths of a second, which hold whole cycles, and what lies straight between."""
    cell = len(x) // 10
    middles = np.partition(x[: 10 * cell].reshape(10, cell), cell // 2, axis=1)[:, cell // 2]
    return np.asarray(over_course(x, middles.astype(np.float64), cell))


def upper_median(values: F32) -> float:
    """The middle value, or the upper one of the two in the middle."""
    return float(np.partition(values, len(values) // 2)[len(values) // 2])


def middle_and_spread(x: F32) -> tuple[float, float]:
    """Median, and the standard deviation of a normal law with the same median deviation from it."""
    middle = upper_median(x)
    return middle, 1.4826 * upper_median(np.abs(x - np.float32(middle))) + 1e-30


def _strength(clipped: F32, mains_hz: float, rate_hz: float) -> float:
    """Largest amplitude among the harmonics of what is left when bursts are clipped away."""
    return float(np.abs((_sines(len(clipped), mains_hz, rate_hz)[1] @ clipped)[1:]).max())


@lru_cache(maxsize=16)
def _cycles(count: int, mains_hz: float, rate_hz: float) -> F32:
    phase = 2 * np.pi * mains_hz * np.arange(count)[:, None] / rate_hz * np.arange(1, HARMONICS + 1)
    return np.column_stack([np.cos(phase), np.sin(phase)]).astype(np.float32)


@lru_cache(maxsize=16)
def _sines(count: int, mains_hz: float, rate_hz: float) -> tuple[F32, F32]:
    """Design of a constant and the sines at every 31st sample, and its least-squares inverse."""
    sines = _cycles(count * _STRIDE, mains_hz, rate_hz)[::_STRIDE].astype(np.float64)
    design = np.column_stack([np.ones(count), sines])
    return np.asfortranarray(design, np.float32), np.linalg.solve(design.T @ design, design.T).astype(np.float32)
