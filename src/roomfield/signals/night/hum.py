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
    """Samples of about one second without hum; unchanged where none stands out.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    sample_rate_hz : float
        [Hz]
    """
    thin = samples[::_STRIDE]
    best, most = None, SIGNIFICANT
    for mains in MAINS_HZ:
        design, inverse = _sines(len(thin), mains, sample_rate_hz / _STRIDE)
        weights, spread = _fit(thin, design, inverse)
        strength = float(np.abs(weights[1:]).max()) / (spread * np.sqrt(2 / len(thin)) + 1e-30)
        if strength > most:
            best, most = (mains, weights), strength
    if best is None:
        return samples
    full, _ = _sines(len(samples), best[0], sample_rate_hz)
    return np.asarray(samples - full[:, 1:] @ best[1][1:])


def _fit(x: F64, design: F64, inverse: F64) -> tuple[F64, float]:
    weights = np.zeros(design.shape[1])
    weights[0] = np.median(x)
    spread = 1e-30
    for _ in range(ROUNDS):
        fitted = design @ weights
        left = x - fitted
        spread = 1.4826 * float(np.median(np.abs(left))) + 1e-30
        weights = inverse @ (fitted + np.clip(left, -CLIP_SPREADS * spread, CLIP_SPREADS * spread))
    return weights, spread


@lru_cache(maxsize=16)
def _sines(count: int, mains_hz: float, rate_hz: float) -> tuple[F64, F64]:
    phase = 2 * np.pi * mains_hz * np.arange(count)[:, None] / rate_hz * np.arange(1, HARMONICS + 1)
    design = np.column_stack([np.ones(count), np.cos(phase), np.sin(phase)])
    return design, np.linalg.solve(design.T @ design, design.T)
