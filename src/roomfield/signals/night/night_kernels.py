"""Compiled inner loops of a night: the coupling undone, the course over rest, energies of bursts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.kernel_cache import kernel

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
Bools = NDArray[np.bool_]


@kernel(nogil=True, fastmath=True)
def undo_high_pass(samples: F32, pole: float, leak: float, held: F64) -> F32:
    """Inverse of a one-pole high-pass with a slow leak; ``held`` keeps the state [output before, input before]."""
    out = np.empty(samples.size, np.float32)
    gain = 2.0 / (1.0 + pole)
    level, before = held[0], held[1]
    for i in range(samples.size):
        now = np.float64(samples[i])
        level = leak * level + gain * (now - pole * before)
        before = now
        out[i] = level
    held[0], held[1] = level, before
    return out


@kernel(nogil=True, fastmath=True)
def over_course(samples: F32, rest: F64, cell: int) -> F32:
    """Samples over a course known at the middles of cells, straight between them and level beyond the ends."""
    out = np.empty(samples.size, np.float32)
    last = rest.size - 1
    half = cell // 2
    for i in range(min(half, samples.size)):
        out[i] = samples[i] - rest[0]
    for k in range(last):
        first = half + k * cell
        slope = (rest[k + 1] - rest[k]) / cell
        for i in range(first, min(first + cell, samples.size)):
            out[i] = samples[i] - (rest[k] + slope * (i - first))
    for i in range(half + last * cell, samples.size):
        out[i] = samples[i] - rest[last]
    return out


@kernel(nogil=True)
def mean_near(values: F32, middle: float, reach: float) -> tuple[float, int]:
    """Mean of the rising values within ``reach`` of a place, and how many these are."""
    total, met = 0.0, 0
    for i in range(values.size):
        if values[i] > middle + reach:
            break
        if values[i] >= middle - reach:
            total += values[i]
            met += 1
    return total / max(met, 1), met


@kernel(nogil=True)
def lowest_clusters(rows: F32, share: int, noise: float, held: F64) -> F64:
    """Middle of the lowest close cluster of each row, whose values rise, shape (rows,).

    A cluster is close if ``share`` values lie within three standard deviations of noise, or nearly as close as any do.
    Its middle is the mean within 1.5 standard deviations, from the lowest values upwards until it rests (mean shift).
    Rest does not jump up while an eighth of ``share`` values still lie where it was; ``held`` keeps where that is
    (not a number: not known).
    """
    count, size = rows.shape
    out = np.empty(count)
    for k in range(count):
        values = rows[k]
        least = np.inf
        for i in range(size - share):
            least = min(least, values[i + share] - values[i])
        close, reach = max(3.0 * noise, 1.5 * least), max(1.5 * noise, 0.5 * least)
        first = 0
        while values[first + share] - values[first] > close:
            first += 1
        middle = float(values[first + share // 2])
        for _ in range(12):
            mean, met = mean_near(values, middle, reach)
            if met == 0 or abs(mean - middle) < 0.02 * reach:
                break
            middle = mean
        if middle > held[0] + 2.0 * reach:
            mean, met = mean_near(values, held[0], reach)
            if met >= share // 8:
                middle = mean
        held[0] = out[k] = middle
    return out


@kernel(nogil=True)
def opened(values: F64, size: int) -> F64:
    """Morphological opening: of the lowest of every ``size`` neighbours the highest; what is narrower is cut off."""
    n = values.size
    before = size // 2
    after = size - 1 - before
    low, out = np.empty(n), np.empty(n)
    for i in range(n):
        low[i] = values[max(i - before, 0) : i + after + 1].min()
    for i in range(n):
        out[i] = low[max(i - after, 0) : i + before + 1].max()
    return out


@kernel(nogil=True)
def low_of_neighbours(values: F32, size: int, rank: int) -> F32:
    """Of ``size`` (odd) neighbours the one with ``rank`` lower ones; the ends are continued level."""
    n = values.size
    out = np.empty(n, np.float32)
    half = size // 2
    least = np.empty(rank + 1, np.float32)
    for i in range(n):
        least[:] = np.inf
        for j in range(i - half, i + half + 1):
            value = values[min(max(j, 0), n - 1)]
            for k in range(rank + 1):
                least[k], value = min(least[k], value), max(least[k], value)
        out[i] = least[rank]
    return out


@kernel(nogil=True, fastmath=True)
def neighbours_on_circle(phases: F64, others: F64, within: float) -> I64:
    """How many of the others stand within an angle of each phase; all from 0 to a whole turn [rad]."""
    out = np.zeros(phases.size, np.int64)
    for i in range(phases.size):
        for j in range(others.size):
            apart = abs(phases[i] - others[j])
            out[i] += min(apart, 2.0 * np.pi - apart) <= within
    return out


@kernel(nogil=True)
def running_mean(values: F32, width: int) -> F32:
    """Mean over ``width`` (odd) neighbours; the ends are continued level."""
    n = values.size
    out = np.empty(n, np.float32)
    half = width // 2
    total = 0.0
    for i in range(-half, half + 1):
        total += values[min(max(i, 0), n - 1)]
    for i in range(n):
        out[i] = total / width
        total += values[min(i + half + 1, n - 1)] - values[max(i - half, 0)]
    return out


@kernel(nogil=True)
def runs_above(values: F32, limit: float, shortest: int) -> I64:
    """First and one past the last index of every stretch above the limit, shape (runs, 2)."""
    out = np.empty((values.size // (max(shortest, 1) + 1) + 1, 2), np.int64)
    count, start = 0, 0
    for i in range(values.size + 1):
        if i == values.size or not values[i] > limit:
            if i - start >= max(shortest, 1):
                out[count, 0], out[count, 1] = start, i
                count += 1
            start = i + 1
    return out[:count]


@kernel(nogil=True)
def run_sums(values: F32, runs: I64, margin: int) -> F64:
    """Sum of the values in every stretch, widened by ``margin`` on both sides."""
    out = np.zeros(runs.shape[0])
    for k in range(runs.shape[0]):
        for i in range(max(0, runs[k, 0] - margin), min(values.size, runs[k, 1] + margin)):
            out[k] += values[i]
    return out


@kernel(nogil=True)
def mark_runs(mask: Bools, first: I64, last: I64) -> None:
    """Make every stretch from ``first`` to before ``last`` true in place."""
    for k in range(first.size):
        for i in range(first[k], last[k]):
            mask[i] = True


@kernel(nogil=True, fastmath=True)
def mean_outside(values: F32, mask: Bools) -> float:
    """Mean of the values where the mask is false; of all values if it is true everywhere."""
    outside, everywhere, met = 0.0, 0.0, 0
    for i in range(values.size):
        free = not mask[i]
        outside += free * np.float64(values[i])
        everywhere += np.float64(values[i])
        met += free
    return outside / met if met else everywhere / max(values.size, 1)


@kernel(nogil=True)
def lifted(values: F32, mask: Bools, least: float) -> F32:
    """Values of which those under the mask are no lower than ``least``."""
    out = np.empty(values.size, np.float32)
    for i in range(values.size):
        out[i] = least if mask[i] and values[i] < least else values[i]
    return out
