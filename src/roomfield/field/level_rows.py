"""Readings as arrays, one row each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.quantities import Kind

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]
KINDS = (Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE)
AVERAGE_ROW = KINDS.index(Kind.AVERAGE)
"""Only averages are weighed by the duty; peaks and held maxima are instantaneous powers."""


@dataclass(frozen=True)
class LevelRows:
    """One row per reading.

    Parameters
    ----------
    ids : tuple of str
        Ids of the readings (or bearings).
    site, kind, meter, scan : ndarray of int, shape (r,)
        Index of the site, of `KINDS`, of the meter, and of the scan whose repeatability is shared.
    value_db : ndarray, shape (r,)
        Reading, or the bound [dB re 1 W/m²].
    censor : ndarray of int, shape (r,)
        0 a value, -1 below the bound, +1 above it.
    on : ndarray of bool, shape (r, k)
        Which emitters were on.
    edge_m : ndarray, shape (r,)
        Edge of the scanned cube; 0 for a fixed antenna [m].
    added_std_db : ndarray, shape (r,)
        Scatter beyond that of a scan [dB].
    axis_deg, axis_std_deg : ndarray, shape (r,)
        Axis of a figure-of-eight antenna held level, and how sure it is [deg]; NaN if turned every way.
    null : ndarray of bool, shape (r,)
        True for what was read on the axis that shows least.
    watched_s : ndarray, shape (r,)
        How long the display was watched, or the hold ran [s].
    mode : ndarray of int, shape (r, k)
        What each emitter did: its own index for what it does as found, else k + the index among `Observations.modes`.
    count : ndarray, shape (r,)
        Number of readings that were put together.
    front_db : ndarray, shape (r, k)
        By how much what stood in front of the meter changes an emitter more than what the reading was corrected by.
    record_db2 : ndarray, shape (r,)
        By how much the record of a scan's sound changes the variance of a reading's own scatter [dB²]; 0 without.
    """

    ids: tuple[str, ...]
    site: Indices
    kind: Indices
    meter: Indices
    scan: Indices
    value_db: Array
    censor: Indices
    on: Mask
    edge_m: Array
    added_std_db: Array
    axis_deg: Array
    axis_std_deg: Array
    null: Mask
    watched_s: Array
    mode: Indices
    count: Array
    front_db: Array
    record_db2: Array

    def __len__(self) -> int:
        return len(self.site)
