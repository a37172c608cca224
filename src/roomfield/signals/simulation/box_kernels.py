"""Compiled sum of rectangular bursts."""

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
