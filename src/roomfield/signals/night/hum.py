"""Mains hum taken off: sines at the mains' harmonics, fitted to what is left when transmissions are clipped away."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

MAINS_HZ = (50.0, 60.0)
HARMONICS = 6
CLIP_SPREADS = 2.5
ROUNDS = 10
SIGNIFICANT = 5.0
"""A set of sines is taken off if its amplitude exceeds so many standard errors of the fit."""
_STRIDE = 8


def without_hum(samples: F64, sample_rate_hz: float) -> F64:
    """Samples without hum, second by second; unchanged where none stands out.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    sample_rate_hz : float
        [Hz]
    """
    second = round(sample_rate_hz)
    if len(samples) < second:
        return samples
    whole = len(samples) // second * second
    parts = [_one_second(samples[a : a + second], sample_rate_hz) for a in range(0, whole, second)]
    if whole < len(samples):
        parts.append(_one_second(samples[-second:], sample_rate_hz)[whole - len(samples) :])
    return np.concatenate(parts)


def _one_second(samples: F64, sample_rate_hz: float) -> F64:
    thin = samples[::_STRIDE]
    middle = float(np.median(thin))
    spread = 1.4826 * float(np.median(np.abs(thin - middle))) + 1e-30
    clipped = np.clip(thin - middle, -CLIP_SPREADS * spread, CLIP_SPREADS * spread)
    strengths = [_strength(clipped, mains, sample_rate_hz / _STRIDE) / spread for mains in MAINS_HZ]
    if max(strengths) < SIGNIFICANT * np.sqrt(2 / len(thin)):
        return samples
    mains = MAINS_HZ[int(np.argmax(strengths))]
    weights = _fit(thin, *_sines(len(thin), mains, sample_rate_hz / _STRIDE))
    full, _ = _sines(len(samples), mains, sample_rate_hz)
    return np.asarray(samples - full[:, 1:] @ weights[1:])


def _strength(clipped: F64, mains_hz: float, rate_hz: float) -> float:
    """Largest amplitude among the harmonics of what is left when bursts are clipped away."""
    return float(np.abs((_sines(len(clipped), mains_hz, rate_hz)[1] @ clipped)[1:]).max())


def _fit(x: F64, design: F64, inverse: F64) -> F64:
    weights = np.zeros(design.shape[1])
    weights[0] = np.median(x)
    for _ in range(ROUNDS):
        fitted = design @ weights
        left = x - fitted
        spread = 1.4826 * float(np.median(np.abs(left))) + 1e-30
        weights = inverse @ (fitted + np.clip(left, -CLIP_SPREADS * spread, CLIP_SPREADS * spread))
    return weights


@lru_cache(maxsize=16)
def _sines(count: int, mains_hz: float, rate_hz: float) -> tuple[F64, F64]:
    phase = 2 * np.pi * mains_hz * np.arange(count)[:, None] / rate_hz * np.arange(1, HARMONICS + 1)
    design = np.column_stack([np.ones(count), np.cos(phase), np.sin(phase)])
    return design, np.linalg.solve(design.T @ design, design.T)
