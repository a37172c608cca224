"""Compiled inner loops: folding, comb scans, edges of bursts."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@njit(cache=True, nogil=True)
def fold_blocks(samples: F32, step: float, bins: int, blocks: int) -> tuple[F64, F64]:
    """Sums and counts ``[block, bin]`` of samples by phase; ``step`` is the phase advance per sample."""
    sums = np.zeros((blocks, bins))
    counts = np.zeros((blocks, bins))
    n = samples.size
    for block in range(blocks):
        first = block * n // blocks
        last = (block + 1) * n // blocks
        phase = (first * step) % 1.0
        for i in range(first, last):
            b = int(phase * bins)
            sums[block, b] += samples[i]
            counts[block, b] += 1.0
            phase += step
            if phase >= 1.0:
                phase -= 1.0
    return sums, counts


@njit(cache=True, nogil=True)
def subtract_profile(samples: F32, step: float, profile: F64) -> None:
    """Take a folded profile off the samples in place."""
    bins = profile.size
    phase = 0.0
    for i in range(samples.size):
        samples[i] -= profile[int(phase * bins)]
        phase += step
        if phase >= 1.0:
            phase -= 1.0


@njit(cache=True, nogil=True)
def scan_comb(white: F32, bins_per_hz: float, lines_hz: F64, offsets: F64, cap: float) -> F64:
    """Capped whitened power summed over the lines, for each relative offset of the whole comb."""
    out = np.zeros(offsets.size)
    last = white.size - 1
    for j in range(offsets.size):
        stretch = bins_per_hz * (1.0 + offsets[j])
        total = 0.0
        for k in range(lines_hz.size):
            i = int(lines_hz[k] * stretch + 0.5)
            if i <= last:
                v = white[i]
                total += v if v < cap else cap
        out[j] = total
    return out


@njit(cache=True, nogil=True)
def harmonic_sums(white: F32, first_bin: float, step_bins: float, count: int, depth: int, cap: float) -> F64:
    """Capped sums over harmonics 1 .. 2^d for fundamentals on a grid: ``[d, fundamental]``, d <= depth."""
    out = np.zeros((depth + 1, count))
    size = white.size
    for j in range(count):
        base = first_bin + step_bins * j
        total = 0.0
        done = 0
        for d in range(depth + 1):
            upto = 1 << d
            for k in range(done + 1, upto + 1):
                i = int(base * k + 0.5)
                if i < size:
                    v = white[i]
                    total += v if v < cap else cap
                else:
                    total += 1.0
            done = upto
            out[d, j] = total
    return out


@njit(cache=True, nogil=True)
def edge_response(running: F64, reach: int) -> F32:
    """Mean of the next ``reach`` samples minus mean of the last ``reach``, from a running sum of n + 1 terms."""
    n = running.size - 1
    out = np.zeros(n, np.float32)
    scale = 1.0 / reach
    for i in range(reach, n - reach):
        out[i] = (running[i + reach] - 2.0 * running[i] + running[i - reach]) * scale
    return out


@njit(cache=True, nogil=True)
def pair_edges(edges: F32, threshold: float, reach: int, longest: int) -> tuple[I64, I64, F64]:
    """Bursts as a rise and the next fall of at least half its height: starts, ends, heights."""
    room = 200000
    starts = np.zeros(room, np.int64)
    ends = np.zeros(room, np.int64)
    heights = np.zeros(room)
    found = 0
    open_at = -1
    open_height = 0.0
    i = 1
    n = edges.size
    while i < n - 1 and found < room:
        v = edges[i]
        if -threshold < v < threshold:
            i += 1
            continue
        sign = 1.0 if v > 0 else -1.0
        best = i
        stop = i
        while stop < n - 1 and sign * edges[stop] >= threshold and stop - best <= 2 * reach:
            if sign * edges[stop] > sign * edges[best]:
                best = stop
            stop += 1
        flat = best
        while flat < n - 1 and flat - best < reach and abs(edges[flat + 1] - edges[best]) < 0.02 * abs(edges[best]):
            flat += 1
        best = (best + flat) // 2
        size = sign * edges[best]
        if sign > 0:
            if open_at < 0 or size > 0.6 * open_height or best - open_at > longest:
                open_at = best
                open_height = size
        elif open_at >= 0 and size > 0.5 * open_height and best > open_at:
            if best - open_at <= longest:
                starts[found] = open_at
                ends[found] = best
                heights[found] = 0.5 * (size + open_height)
                found += 1
            open_at = -1
            open_height = 0.0
        i = max(stop, i + 1)
    return starts[:found], ends[:found], heights[:found]
