"""Compiled loops of the simulator: sums of rectangular bursts, and a gain that follows the level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.kernel_cache import kernel


@kernel()
def add_boxes(
    power: NDArray[np.float32], starts: NDArray[np.float64], widths: NDArray[np.float64], heights: NDArray[np.float64]
) -> None:
    """Add bursts to a course of power, each sample the mean over its own time.

    Parameters
    ----------
    power : ndarray, shape (n,)
        Changed in place [relative].
    starts, widths : ndarray, shape (m,)
        Begin and length of each burst [samples].
    heights : ndarray, shape (m,)
        Power while on [relative].
    """
    n = power.size
    for i in range(starts.size):
        a = starts[i]
        b = a + widths[i]
        if b <= 0.0 or a >= n:
            continue
        a = max(a, 0.0)
        b = min(b, float(n))
        first = int(a)
        last = int(b)
        if first == last:
            power[first] += heights[i] * (b - a)
            continue
        power[first] += heights[i] * (first + 1 - a)
        for k in range(first + 1, last):
            power[k] += heights[i]
        if last < n:
            power[last] += heights[i] * (b - last)


@kernel()
def gain_course(levels: NDArray[np.float64], attack: float, release: float) -> NDArray[np.float64]:
    """Level as an automatic gain control sees it: quick to rise, slow to fall.

    Parameters
    ----------
    levels : ndarray, shape (n,)
        Level of each block [full scale].
    attack, release : float
        Part of the way to the new level that is gone in one block, when it rises and when it falls [1].

    Returns
    -------
    ndarray, shape (n,)
    """
    out = np.empty(levels.size)
    now = levels[0]
    for i in range(levels.size):
        step = attack if levels[i] > now else release
        now += step * (levels[i] - now)
        out[i] = now
    return out
