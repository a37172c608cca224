"""What a slow hand scan finds: the largest value in a small volume against its mean, and one axis of three.

Model: the field in the volume is one steady wave and many weak ones (Rice's law, with the factor K), seen at a
number of places about half a wavelength apart that fade independently; the scan keeps the largest. The
distribution of the largest of M independent values is the M-th power of the distribution of one (order
statistics). Its number of cells and its use for a hand scan are our modelling choice.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import ncx2

from roomfield.constants import SPEED_OF_LIGHT_M_S

Array = NDArray[np.float64]
MOST_CELLS = 200.0
"""A hand does not pass through more independent places than this in one slow scan."""
MODEL_STD_DB = 0.9
"""Spread between places that Rice's law does not hold, as dwellings have few strong paths [dB]."""
_RICE_DB = np.arange(-20.0, 41.0, 2.0)
_LOG_CELLS = np.linspace(0.0, np.log(MOST_CELLS), 25)
_LEVELS = (0.1586552539, 0.5, 0.8413447461)


class ScanGain(NamedTuple):
    """How far the largest value found lies above the mean over the volume.

    Parameters
    ----------
    median_db, std_db : ndarray
        Median and standard deviation [dB].
    """

    median_db: Array
    std_db: Array


def scan_cells(edge_m: ArrayLike, frequency_hz: ArrayLike) -> Array:
    """Number of places in a cube that fade independently.

    Parameters
    ----------
    edge_m : array_like
        Edge of the scanned cube [m]; 0 for a fixed antenna.
    frequency_hz : array_like
        Frequency [Hz].

    Notes
    -----
    1 + edge / (wavelength / 2) along each of the two horizontal directions; half a wavelength is the first zero
    of the correlation of a diffuse field, sin(kr)/kr. Waves in a dwelling come mostly level, so that height
    adds little. Our modelling choice, made with one ray-traced dwelling in view.
    """
    half = SPEED_OF_LIGHT_M_S / np.asarray(frequency_hz, dtype=np.float64) / 2.0
    per_side = 1.0 + np.asarray(edge_m, dtype=np.float64) / half
    return np.clip(per_side**2, 1.0, MOST_CELLS)


def scan_gain(frequency_hz: ArrayLike, rice_factor: ArrayLike, edge_m: ArrayLike = 0.5) -> ScanGain:
    """Largest value in a scanned cube over its mean.

    Parameters
    ----------
    frequency_hz : array_like
        Frequency [Hz].
    rice_factor : array_like
        Power of the strongest path over that of all others [1].
    edge_m : array_like
        Edge of the cube [m].

    Returns
    -------
    ScanGain
        Broadcast over the arguments.
    """
    return largest_of(scan_cells(edge_m, frequency_hz), rice_factor)


def largest_of(cells: ArrayLike, rice_factor: ArrayLike) -> ScanGain:
    """Largest of some values of Rice's law over their mean.

    Parameters
    ----------
    cells : array_like
        Number of independent values, at least 1.
    rice_factor : array_like
        Power of the strongest path over that of all others [1].
    """
    cells = np.log(np.asarray(cells, dtype=np.float64))
    rice_db = 10.0 * np.log10(np.clip(np.asarray(rice_factor, dtype=np.float64), 1e-2, 1e4))
    cells, rice_db = np.broadcast_arrays(cells, rice_db)
    table = _table()
    median = _look_up(table[..., 1], rice_db, cells)
    std = _look_up((table[..., 2] - table[..., 0]) / 2.0, rice_db, cells)
    return ScanGain(median, np.hypot(std, MODEL_STD_DB))


def mean_std_db(frequency_hz: ArrayLike, rice_factor: ArrayLike, edge_m: ArrayLike = 0.5) -> Array:
    """Standard deviation of the mean over a scanned cube about the power sum of paths [dB].

    Paths of one emitter interfere, and a cube of a few wavelengths does not average that out.

    Parameters
    ----------
    frequency_hz, rice_factor, edge_m : array_like
        As for `scan_gain`.

    Notes
    -----
    Variance of one value of Rice's law over the number of half wavelengths along one edge; our modelling choice.
    """
    k = np.asarray(rice_factor, dtype=np.float64)
    variance = (1.0 + 2.0 * k) / (1.0 + k) ** 2
    return np.asarray(10.0 / np.log(10.0) * np.sqrt(variance / np.sqrt(scan_cells(edge_m, frequency_hz))))


@lru_cache(maxsize=1)
def _table() -> Array:
    """Quantiles [dB] of the largest of M values over Rice factor and ln M, read-only."""
    k = 10.0 ** (_RICE_DB / 10.0)[:, None, None]
    m = np.exp(_LOG_CELLS)[None, :, None]
    level = np.asarray(_LEVELS)[None, None, :] ** (1.0 / m)
    power = ncx2.ppf(level, 2, 2.0 * k) / (2.0 * (1.0 + k))
    table = np.asarray(10.0 * np.log10(power))
    table.setflags(write=False)
    return table


def _look_up(table: Array, rice_db: Array, log_cells: Array) -> Array:
    i, u = _place(_RICE_DB, rice_db)
    j, v = _place(_LOG_CELLS, log_cells)
    low = table[i, j] * (1.0 - v) + table[i, j + 1] * v
    high = table[i + 1, j] * (1.0 - v) + table[i + 1, j + 1] * v
    return np.asarray(low * (1.0 - u) + high * u)


def _place(grid: Array, value: Array) -> tuple[NDArray[np.int64], Array]:
    step = grid[1] - grid[0]
    place = np.clip((value - grid[0]) / step, 0.0, len(grid) - 1.0)
    index = np.minimum(place.astype(np.int64), len(grid) - 2)
    return index, place - index


def cube_points(centres: ArrayLike, edge_m: float = 0.5, per_side: int = 2) -> Array:
    """Points spread evenly over cubes, for means over a scanned volume.

    Parameters
    ----------
    centres : array_like, shape (n, 3)
        Centres [m].
    edge_m : float
        Edge [m].
    per_side : int
        Points along each edge.

    Returns
    -------
    ndarray, shape (n, per_side³, 3)
    """
    middle = np.asarray(centres, dtype=np.float64).reshape(-1, 1, 3)
    offsets = ((np.arange(per_side) + 0.5) / per_side - 0.5) * edge_m
    grid = np.stack(np.meshgrid(offsets, offsets, offsets, indexing="ij"), axis=-1).reshape(1, -1, 3)
    return np.asarray(middle + grid)
