"""Loops over readings that arrays cannot express without a pass each; compiled on first use.

Times, holds and observed times are whole microseconds, so that their sums are exact.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from roomfield.kernel_cache import inner, kernel

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_Loop = TypeVar("_Loop", bound=Callable[..., Any])


def compiled(loop: _Loop) -> _Loop:
    """A loop compiled on first use and kept on disk; other threads run on while it does."""
    return cast(_Loop, kernel(nogil=True)(loop))


def inlined(loop: _Loop) -> _Loop:
    """A piece of such a loop, written into it where it is called: a call that hands on arrays counts them each time."""
    return cast(_Loop, inner(inline="always")(loop))


@compiled
def ordered_key(bits: int) -> int:  # pragma: no cover - compiled
    """Whole number that rises with the float64 whose bits are given."""
    return bits if bits >= 0 else -9223372036854775807 - 1 - bits


@compiled
def followed(
    t: Ints, value: Floats, flag: NDArray[np.int8], following: int, step: Ints, whole: Ints, real: Floats
) -> None:  # pragma: no cover - compiled
    """Time from each reading to the next into ``step``, and what a run of readings holds.

    ``whole`` receives readings with flag 1 and with flag 2; ``real`` least, greatest and sum of the values.
    """
    low, high, total, n = value[0], value[0], 0.0, t.size
    first, second = 0, 0
    for i in range(n):
        step[i] = (t[i + 1] if i + 1 < n else following) - t[i]
        low, high, total = min(low, value[i]), max(high, value[i]), total + value[i]
        first += flag[i] == 1
        second += flag[i] == 2
    whole[0], whole[1] = first, second
    real[0], real[1], real[2] = low, high, total


@compiled
def moments(value: Floats, step: Ints, first: int, shift: float, gap_us: int, out: Floats) -> None:  # pragma: no cover
    """Sums about a shift: of deviations, their squares, and products of neighbours no gap apart.

    ``out`` receives sum, sum of squares, sum of products, number of products, and the sums of the first and of
    the second factors.
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


@compiled
def histogram(
    bits: Ints, hold: Ints, first: int, key0: int, shift: int, weight: Ints, sample: Ints, mixed: Bools
) -> None:  # pragma: no cover
    """Add each reading's hold to the bin of its value; bins are equal in the order of floats.

    ``sample`` keeps the bits of one value a bin, ``mixed`` whether the bin holds others.
    """
    for i in range(first, bits.size):
        k = (ordered_key(bits[i]) - key0) >> shift
        if weight[k] == 0:
            sample[k] = bits[i]
        elif sample[k] != bits[i]:
            mixed[k] = True
        weight[k] += hold[i]


@compiled
def in_bins(
    bits: Ints, key0: int, shift: int, wanted: Bools, at: Ints, place: Ints
) -> int:  # pragma: no cover - compiled
    """Which readings lie in bins that are wanted, and in which bin each; returns how many."""
    n = 0
    for i in range(bits.size):
        k = (ordered_key(bits[i]) - key0) >> shift
        if wanted[k]:
            at[n], place[n] = i, k
            n += 1
    return n


@compiled
def rolling(
    t: Ints, hold: Ints, power: Floats, first: int, window_us: int, need_us: int, whole: Ints, real: Floats
) -> None:  # pragma: no cover
    """Greatest mean power over windows that end where a reading's hold ends.

    ``whole`` carries, from call to call, the first reading still in the window, the time observed in it, the end
    of the best window so far and the time observed in that (-1 for none); ``real`` the energy in the window and
    the best mean.
    """
    j, seen, energy, best = whole[0], whole[1], real[0], real[1]
    for i in range(first, t.size):
        seen += hold[i]
        energy += hold[i] * power[i]
        end = t[i] + hold[i]
        begin = end - window_us
        while t[j] + hold[j] <= begin:
            seen -= hold[j]
            energy -= hold[j] * power[j]
            j += 1
        part = max(begin - t[j], 0)
        inside = seen - part
        if inside >= need_us:
            mean = (energy - part * power[j]) / inside
            if mean > best:
                best, whole[2], whole[3] = mean, end, inside
    whole[0], whole[1], real[0], real[1] = j, seen, energy, best


@compiled
def cells(
    t: Ints, hold: Ints, value: Floats, power: Floats, first: int, width_us: int, whole: Ints, real: Floats
) -> int:  # pragma: no cover
    """Sums by cell of equal width, one column a cell that holds readings; returns how many.

    ``whole`` receives index and observed time; ``real`` energy and greatest value.
    """
    k, until = -1, t[first]
    seen, energy, high = 0, 0.0, -np.inf
    for i in range(first, t.size):
        if t[i] >= until:
            if k >= 0:
                whole[1, k], real[0, k], real[1, k] = seen, energy, high
            k += 1
            cell = t[i] // width_us
            until = (cell + 1) * width_us
            whole[0, k], seen, energy, high = cell, 0, 0.0, -np.inf
        seen += hold[i]
        energy += hold[i] * power[i]
        high = max(high, value[i])
    whole[1, k], real[0, k], real[1, k] = seen, energy, high
    return k + 1


@compiled
def bins(
    t: Ints, value: Floats, power: Floats, first: int, width_us: int, whole: Ints, real: Floats
) -> int:  # pragma: no cover
    """Least and greatest value, sum of power and readings by bin; one column a bin that holds any; returns how many.

    ``whole`` receives index and readings; ``real`` least, greatest and sum.
    """
    k, until = -1, t[first]
    count, low, high, total = 0, np.inf, -np.inf, 0.0
    for i in range(first, t.size):
        if t[i] >= until:
            if k >= 0:
                whole[1, k], real[0, k], real[1, k], real[2, k] = count, low, high, total
            k += 1
            cell = t[i] // width_us
            until = (cell + 1) * width_us
            whole[0, k], count, low, high, total = cell, 0, np.inf, -np.inf, 0.0
        count += 1
        low = min(low, value[i])
        high = max(high, value[i])
        total += power[i]
    whole[1, k], real[0, k], real[1, k], real[2, k] = count, low, high, total
    return k + 1
