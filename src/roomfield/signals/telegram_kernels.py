"""Compiled inner loops: edges that stand out of their surroundings, and pairs of a rise and the next fall."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.kernel_cache import kernel

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@kernel(nogil=True)
def sudden_changes(samples: F32, ahead: int, behind: int) -> F32:
    """Mean of the next ``ahead`` samples less that of the last ``behind``.

    A step makes one triangle of its sign, whatever a high-pass leaves of the level after it; a short pulse makes one of its own.
    """
    n = samples.size
    out = np.zeros(n, np.float32)
    last, coming = 0.0, 0.0
    for i in range(min(behind, n)):
        last += samples[i]
    for i in range(behind, min(behind + ahead, n)):
        coming += samples[i]
    near, far = 1.0 / ahead, 1.0 / behind
    for i in range(behind, n - ahead):
        out[i] = coming * near - last * far
        here = float(samples[i])
        coming += samples[i + ahead] - here
        last += here - samples[i - behind]
    return out


@kernel(nogil=True)
def block_powers(edges: F32, block: int, most: float) -> F64:
    """Mean square in blocks; no value counts for more than ``most``, so that what lasts comes before what is loud."""
    powers = np.zeros(edges.size // block)
    limit = np.float32(most * most)
    for k in range(powers.size):
        total = np.float32(0.0)
        for i in range(k * block, (k + 1) * block):
            total += min(edges[i] * edges[i], limit)
        powers[k] = total / block
    return powers


@kernel(nogil=True)
def signed_peaks(edges: F32, threshold: float, hold: int) -> tuple[I64, F64]:
    """Places and signed heights of edges above a threshold, none within ``hold`` samples after a higher one of either sign."""
    room = edges.size // hold + 2
    places = np.zeros(room, np.int64)
    found = 0
    for i in range(edges.size):
        size = abs(edges[i])
        if size < threshold:
            continue
        if found > 0 and i - places[found - 1] <= hold:
            if size > abs(edges[places[found - 1]]):
                places[found - 1] = i
        elif found < room:
            places[found] = i
            found += 1
    heights = np.zeros(found)
    for k in range(found):
        heights[k] = edges[places[k]]
    return places[:found], heights


@kernel(nogil=True)
def lone_pairs(places: I64, heights: F64, least: int, most: int, quiet: int) -> tuple[I64, I64, NDArray[np.bool_]]:
    """A rise and the fall that is the next edge of about its height: indices of both, and whether nothing is near them.

    They are ``least`` to ``most`` samples apart; ``quiet`` samples before and after hold no edge of nearly that height for a pair
    that is alone.
    """
    n = places.size
    rises, falls = np.zeros(n, np.int64), np.zeros(n, np.int64)
    alone = np.zeros(n, np.bool_)
    found = 0
    for i in range(n):
        if heights[i] <= 0.0:
            continue
        limit = 0.4 * heights[i]
        j = i + 1
        while j < n and abs(heights[j]) < limit and places[j] - places[i] <= most:
            j += 1
        if j >= n or heights[j] > 0.0 or -heights[j] > 2.2 * heights[i]:
            continue
        if not least <= places[j] - places[i] <= most:
            continue
        limit = 0.4 * min(heights[i], -heights[j])
        single = True
        k = i - 1
        while k >= 0 and places[i] - places[k] <= quiet:
            single = single and abs(heights[k]) < limit
            k -= 1
        k = j + 1
        while k < n and places[k] - places[j] <= quiet:
            single = single and abs(heights[k]) < limit
            k += 1
        rises[found], falls[found], alone[found] = i, j, single
        found += 1
    return rises[:found], falls[:found], alone[:found]


@kernel(nogil=True)
def windows_without_slow(samples: F32, centres: I64, half: int, reach: int) -> F64:
    """Samples round each place, nothing beyond the ends, less their running mean over ``2 reach + 1`` and their mean."""
    size = 2 * half
    rows = np.zeros((centres.size, size))
    running = np.zeros(size + 1)
    for k in range(centres.size):
        first = centres[k] - half
        for i in range(size):
            at = first + i
            running[i + 1] = running[i] + (samples[at] if 0 <= at < samples.size else 0.0)
        total = 0.0
        for i in range(size):
            low, high = max(i - reach, 0), min(i + reach + 1, size)
            value = running[i + 1] - running[i] - (running[high] - running[low]) / (high - low)
            rows[k, i] = value
            total += value
        for i in range(size):
            rows[k, i] -= total / size
    return rows


@kernel(nogil=True)
def shortest_step(lags: F64, first: int, last: int, nearly: float) -> int:
    """The first peak between two lags that is nearly as high as the highest of them; -1 if there is none."""
    highest, found = -2.0, False
    for i in range(first, min(last, lags.size - 2) + 1):
        if lags[i] >= lags[i - 1] and lags[i] > lags[i + 1]:
            highest, found = max(highest, lags[i]), True
    if not found:
        return -1
    for i in range(first, last + 1):
        if lags[i] >= lags[i - 1] and lags[i] > lags[i + 1] and lags[i] >= nearly * highest:
            return i
    return -1
