"""Loops over readings that arrays cannot express without a pass each; compiled on first use.

Times, holds and observed times are whole microseconds, so that their sums are exact.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_compiled = numba.njit(cache=True, nogil=True)


@_compiled
def ordered_key(bits: int) -> int:  # pragma: no cover - compiled
    """Whole number that rises with the float64 whose bits are given."""
    return bits if bits >= 0 else -9223372036854775807 - 1 - bits


@_compiled
def moments(
    value: Floats, step: Ints, first: int, shift: float, gap_us: int, out: Floats
) -> None:  # pragma: no cover
    """Sums about a shift: of deviations, their squares, and products of neighbours no gap apart.

    ``out`` receives sum, sum of squares, sum of products, number of products, and the sums of the first and
    second factors.
    """
    for i in range(first, value.size):
        d = value[i] - shift
        out[0] += d
        out[1] += d * d
        if i > 0 and step[i - 1] <= gap_us:
            e = value[i - 1] - shift
            out[2] += d * e
            out[3] += 1.0
            out[4] += e
            out[5] += d


@_compiled
def histogram(
    bits: Ints, hold: Ints, first: int, key0: int, shift: int, weight: Ints
) -> None:  # pragma: no cover
    """Add each reading's hold to the bin of its value; bins are equal in the order of floats."""
    for i in range(first, bits.size):
        weight[(ordered_key(bits[i]) - key0) >> shift] += hold[i]


@_compiled
def rolling(
    t: Ints, hold: Ints, power: Floats, first: int, window_us: int, need_us: int
) -> tuple[float, int, int]:  # pragma: no cover
    """Greatest mean power over windows that end where a reading's hold ends.

    Returns the mean, the window's end and the time observed in it; -1 as time if no window is observed enough.
    """
    best, best_end, best_seen = -np.inf, 0, -1
    j, seen, energy = 0, 0, 0.0
    for i in range(t.size):
        seen += hold[i]
        energy += hold[i] * power[i]
        end = t[i] + hold[i]
        begin = end - window_us
        while t[j] + hold[j] <= begin:
            seen -= hold[j]
            energy -= hold[j] * power[j]
            j += 1
        if i < first:
            continue
        part = max(begin - t[j], 0)
        inside = seen - part
        if inside >= need_us:
            mean = (energy - part * power[j]) / inside
            if mean > best:
                best, best_end, best_seen = mean, end, inside
    return best, best_end, best_seen


@_compiled
def cells(
    t: Ints, hold: Ints, value: Floats, power: Floats, first: int, width_us: int,
    index: Ints, seen: Ints, energy: Floats, low: Floats, high: Floats, count: Ints,
) -> int:  # pragma: no cover  # fmt: skip
    """Sums by cell of equal width, one entry a cell that holds readings; returns how many."""
    k = -1
    for i in range(first, t.size):
        cell = t[i] // width_us
        if k < 0 or index[k] != cell:
            k += 1
            index[k], seen[k], energy[k], low[k], high[k], count[k] = cell, 0, 0.0, np.inf, -np.inf, 0
        seen[k] += hold[i]
        energy[k] += hold[i] * power[i]
        low[k] = min(low[k], value[i])
        high[k] = max(high[k], value[i])
        count[k] += 1
    return k + 1


@_compiled
def runs_above(
    t: Ints, value: Floats, first: int, bound: float, join_us: int, open_run: Floats,
    begins: Ints, ends: Ints, peaks: Floats, counts: Ints,
) -> int:  # pragma: no cover  # fmt: skip
    """Runs of readings above a bound, joined when no further apart than `join_us`.

    ``open_run`` carries the run that may go on (begin, last, peak, count; count 0 for none) from call to call;
    times are stored as they are, being below 2**53. Returns how many runs were closed.
    """
    closed = 0
    begin, last, peak, count = int(open_run[0]), int(open_run[1]), open_run[2], int(open_run[3])
    for i in range(first, t.size):
        if not value[i] > bound:
            continue
        if count and t[i] - last > join_us:
            begins[closed], ends[closed], peaks[closed], counts[closed] = begin, last, peak, count
            closed += 1
            count = 0
        if count == 0:
            begin, peak = t[i], value[i]
        last = t[i]
        peak = max(peak, value[i])
        count += 1
    open_run[0], open_run[1], open_run[2], open_run[3] = begin, last, peak, count
    return closed


@_compiled
def rolling_readings(
    t: Ints, power: Floats, window_us: int, least: int, mean: Floats
) -> int:  # pragma: no cover
    """Plain mean of the readings in (t - window, t] for each reading; NaN where there are fewer than `least`.

    Sums are compensated (Neumaier) both on entering and on leaving, so that they do not drift.
    Returns the number of windows with enough readings.
    """
    j, total, lost, valid = 0, 0.0, 0.0, 0
    for i in range(t.size):
        x = power[i]
        s = total + x
        lost += (total - s) + x if abs(total) >= abs(x) else (x - s) + total
        total = s
        while t[j] <= t[i] - window_us:
            x = -power[j]
            s = total + x
            lost += (total - s) + x if abs(total) >= abs(x) else (x - s) + total
            total = s
            j += 1
        n = i - j + 1
        if n >= least:
            mean[i] = (total + lost) / n
            valid += 1
        else:
            mean[i] = np.nan
    return valid
