"""What one pass over a series leaves of it: enough for every statistic but time above a bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.logs.clock import MICRO
from roomfield.logs.log_series import GapRule

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

CELL_US = 60 * MICRO
"""Width of the cells that profiles, comparisons and change points are built from [µs]."""

WINDOWS_S = (360.0, 1800.0)
"""Averaging times of the legal limits [s]: 6 min (ICNIRP 1998) and 30 min (ICNIRP 2020, whole body)."""

LEAST_SHARE = 0.8
"""Share of an averaging window that must be observed."""


@dataclass(frozen=True)
class Windowed:
    """The greatest mean over a window.

    Parameters
    ----------
    window_us : int
        Length [µs].
    mean_power : float
        Mean of what is proportional to power.
    end_us : int
        End of the window [µs].
    seen_us : int
        Time observed in it [µs]; negative if no window is observed enough.
    """

    window_us: int
    mean_power: float
    end_us: int
    seen_us: int


@dataclass(frozen=True)
class Cells:
    """Sums by minute, for the minutes that hold readings.

    Parameters
    ----------
    index : ndarray of int, shape (n,)
        Minutes since 1970.
    seen_us : ndarray of int, shape (n,)
        Time observed [µs].
    energy : ndarray, shape (n,)
        Sum of hold [µs] times power.
    high : ndarray, shape (n,)
        Greatest value.
    """

    index: Ints
    seen_us: Ints
    energy: Floats
    high: Floats


@dataclass(frozen=True)
class Tier:
    """Bins of equal width that hold readings: one level of the timeline's pyramid.

    Parameters
    ----------
    width_us : int
        Width of a bin [µs].
    index : ndarray of int, shape (n,)
        Start of each bin in widths since 1970.
    low, high : ndarray, shape (n,)
        Least and greatest value.
    power : ndarray, shape (n,)
        Sum over the readings of what is proportional to power.
    count : ndarray of int, shape (n,)
        Readings in the bin.
    """

    width_us: int
    index: Ints
    low: Floats
    high: Floats
    power: Floats
    count: Ints


@dataclass(frozen=True)
class PassRequest:
    """What one pass is asked.

    Parameters
    ----------
    rule : GapRule
        How long a reading stands.
    windows_s : tuple of float
        Lengths of rolling means [s].
    least_share : float
        Share of a window that must be observed.
    tier_us : int
        Width of bins for a timeline [µs]; 0 for none.
    """

    rule: GapRule
    windows_s: tuple[float, ...] = ()
    least_share: float = LEAST_SHARE
    tier_us: int = 0


@dataclass(frozen=True)
class Condensed:
    """The answer of one pass; sums over readings are taken about ``shift``."""

    question: PassRequest
    shift: float
    count: int
    moments: tuple[float, ...]
    seen_us: int
    energy: float
    floor_us: int
    floor_energy: float
    overload_us: int
    windows: tuple[Windowed, ...]
    histogram: Ints
    sample: Floats
    mixed: NDArray[np.bool_]
    key0: int
    key_shift: int
    gap_begin_us: Ints
    gap_end_us: Ints
    cells: Cells
    tier: Tier


def key_of(value: float) -> int:
    """Whole number that rises with float64."""
    bits = int(np.float64(value).view(np.int64))
    return bits if bits >= 0 else -(1 << 63) - bits
