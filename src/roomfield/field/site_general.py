"""Statistical loss for homes whose walls are not known: ITU-R P.1238 indoors, ITU-R P.2109 into a building.

Both describe many buildings, none in particular: every value comes with its spread.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from roomfield.errors import RangeError, UnknownNameError
from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, load_csv

Array = NDArray[np.float64]


class Building(StrEnum):
    """Kinds of building of ITU-R P.2109."""

    TRADITIONAL = "traditional"
    EFFICIENT = "thermally efficient"


@dataclass(frozen=True)
class SiteGeneralRow:
    """Coefficients of ITU-R P.1238, site-general model; range of frequency [Hz] and distance [m]."""

    environment: str = column()
    path: str = column()
    source: Source = SOURCE
    f_low_hz: float = column("f_low_ghz", scale=1e9)
    f_high_hz: float = column("f_high_ghz", scale=1e9)
    d_low_m: float = column()
    d_high_m: float = column()
    alpha: float = column()
    beta: float = column()
    gamma: float = column()
    sigma_db: float = column()


@dataclass(frozen=True)
class DistanceRow:
    """Power loss coefficient N of ITU-R P.1238-10."""

    environment: str = column()
    source: Source = SOURCE
    f_low_hz: float = column("f_low_ghz", scale=1e9)
    f_high_hz: float = column("f_high_ghz", scale=1e9)
    coefficient: float = column()


@dataclass(frozen=True)
class FloorRow:
    """Floor penetration loss of ITU-R P.1238-10: ``first_db + each_db n`` for n floors."""

    environment: str = column()
    source: Source = SOURCE
    f_low_hz: float = column("f_low_ghz", scale=1e9)
    f_high_hz: float = column("f_high_ghz", scale=1e9)
    first_db: float = column()
    each_db: float = column()


@dataclass(frozen=True)
class EntryRow:
    """Coefficients of ITU-R P.2109, Table 1."""

    building: str = column()
    source: Source = SOURCE
    r: float = column()
    s: float = column()
    t: float = column()
    u: float = column()
    v: float = column()
    w: float = column()
    x: float = column()
    y: float = column()
    z: float = column()


class IndoorLoss(NamedTuple):
    """Median loss and its spread.

    Parameters
    ----------
    loss_db : ndarray
        Median transmission loss between isotropic antennas [dB].
    std_db : float
        Standard deviation over places [dB].
    in_range : ndarray of bool
        False where frequency or distance lies outside the stated range.
    """

    loss_db: Array
    std_db: float
    in_range: NDArray[np.bool_]


_Row = TypeVar("_Row")


@cache
def _rows(row_type: type[_Row], folder: str, name: str) -> tuple[_Row, ...]:
    return load_csv(row_type, folder, name)


def indoor_loss_db(
    frequency_hz: ArrayLike, distance_m: ArrayLike, environment: str = "office", path: str = "NLoS"
) -> IndoorLoss:
    """Transmission loss indoors, walls not known.

    Parameters
    ----------
    frequency_hz : array_like
        Frequency [Hz].
    distance_m : array_like
        Distance [m].
    environment, path : str
        ``office``, ``corridor`` or ``industrial``; ``LoS`` or ``NLoS``. The recommendation has no residential row.

    Raises
    ------
    UnknownNameError
        If there is no such row.

    Notes
    -----
    ITU-R P.1238-11, site-general model: L = 10 alpha log10 d + beta + 10 gamma log10 f, f in GHz.
    """
    rows = _rows(SiteGeneralRow, "itu-r-p.1238-11", "site-general.csv")
    found = [r for r in rows if (r.environment, r.path) == (environment, path)]
    if not found:
        raise UnknownNameError("environment", f"{environment} {path}", {f"{r.environment} {r.path}" for r in rows})
    row = found[0]
    f, d = np.broadcast_arrays(np.asarray(frequency_hz, dtype=np.float64), np.asarray(distance_m, dtype=np.float64))
    loss = 10.0 * row.alpha * np.log10(d) + row.beta + 10.0 * row.gamma * np.log10(f / 1e9)
    inside = (f >= row.f_low_hz) & (f <= row.f_high_hz) & (d >= row.d_low_m) & (d <= row.d_high_m)
    return IndoorLoss(np.asarray(loss), row.sigma_db, np.asarray(inside))


def home_loss_db(
    frequency_hz: float, distance_m: ArrayLike, floors: int = 0, environment: str = "residential"
) -> Array:
    """Transmission loss in a home by the older, distance-and-floors model [dB].

    Parameters
    ----------
    frequency_hz : float
        Frequency [Hz]; the nearest tabulated one is used.
    distance_m : array_like
        Distance, over 1 m [m].
    floors : int
        Floors between the ends.
    environment : str
        ``residential``, ``apartment``, ``house``, ``office`` or ``commercial``.

    Notes
    -----
    ITU-R P.1238-10 (2019): L = 20 log10 f(MHz) + N log10 d + Lf(n) - 28. Where a row is only known for homes in
    general (or only for flats or houses), it serves for the other.
    """
    near = _nearest(_rows(DistanceRow, "itu-r-p.1238-10", "distance.csv"), environment, frequency_hz)
    loss = 20.0 * np.log10(frequency_hz / 1e6) + near.coefficient * np.log10(np.asarray(distance_m)) - 28.0
    if floors:
        row = _nearest(_rows(FloorRow, "itu-r-p.1238-10", "floors.csv"), environment, frequency_hz)
        loss = loss + row.first_db + row.each_db * floors
    return np.asarray(loss, dtype=np.float64)


_SAME_HOME = {
    "residential": ("residential", "apartment"),
    "apartment": ("apartment", "residential"),
    "house": ("house", "residential"),
}
_TableRow = TypeVar("_TableRow", DistanceRow, FloorRow)


def _nearest(rows: tuple[_TableRow, ...], environment: str, frequency_hz: float) -> _TableRow:
    names = _SAME_HOME.get(environment, (environment,))
    found = [r for r in rows if r.environment in names]
    if not found:
        raise UnknownNameError("environment", environment, {r.environment for r in rows} | set(_SAME_HOME))

    def off(row: _TableRow) -> tuple[float, int]:
        middle = np.sqrt(row.f_low_hz * row.f_high_hz)
        within = row.f_low_hz <= frequency_hz <= row.f_high_hz
        return 0.0 if within else abs(float(np.log(frequency_hz / middle))), names.index(row.environment)

    return min(found, key=off)


def entry_loss_db(
    frequency_hz: ArrayLike,
    probability: ArrayLike = 0.5,
    *,
    building: Building = Building.TRADITIONAL,
    elevation_deg: ArrayLike = 0.0,
) -> Array:
    """Building entry loss that is not exceeded with a probability [dB].

    Parameters
    ----------
    frequency_hz : array_like
        Frequency, 0.08 to 100 GHz [Hz].
    probability : array_like
        Between 0 and 1.
    building : Building
        Kind of building.
    elevation_deg : array_like
        Elevation of the path at the facade [deg].

    Raises
    ------
    RangeError
        If a frequency is outside 0.08 to 100 GHz.

    Notes
    -----
    ITU-R P.2109-2 (08/2023), section 3. A statistic over many buildings, no prediction for one.
    """
    f_hz = np.asarray(frequency_hz, dtype=np.float64)
    if np.any((f_hz < 0.08e9) | (f_hz > 100e9)):
        asked = float(np.ravel(f_hz[(f_hz < 0.08e9) | (f_hz > 100e9)])[0])
        raise RangeError("frequency", asked, (0.08e9, 100e9), "Hz", where="ITU-R P.2109-2")
    rows = _rows(EntryRow, "itu-r-p.2109-2", "coefficients.csv")
    k = next(r for r in rows if r.building == building.value)
    log_f, deviate = np.log10(f_hz / 1e9), ndtri(np.asarray(probability, dtype=np.float64))
    level = k.r + k.s * log_f + k.t * log_f**2
    first = deviate * (k.u + k.v * log_f) + level + 0.212 * np.abs(np.asarray(elevation_deg))
    second = deviate * (k.y + k.z * log_f) + k.w + k.x * log_f
    total = 10.0 ** (first / 10.0) + 10.0 ** (second / 10.0) + 10.0**-0.3
    return np.asarray(10.0 * np.log10(total), dtype=np.float64)
