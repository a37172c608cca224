"""Conversions between the units of the trade, in pairs named result-from-source.

All act on plane waves in the far field: S = E²/Z0 (ITU-T K.61; ICNIRP 2020, notes to the tables).
Every function takes floats or arrays and returns the same shape.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.constants import FREE_SPACE_IMPEDANCE_OHM
from roomfield.errors import UnknownNameError

Array = NDArray[np.float64]


def _array(values: ArrayLike) -> Array:
    return np.asarray(values, dtype=np.float64)


def decibels_from_ratio(power_ratio: ArrayLike) -> Array:
    """10 log10 of a ratio of power densities [dB]; zero gives minus infinity."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(_array(power_ratio)))


def ratio_from_decibels(level_db: ArrayLike) -> Array:
    """Ratio of power densities from decibels; inverse of `decibels_from_ratio`."""
    return np.asarray(10.0 ** (_array(level_db) / 10.0))


def power_density_from_field(field_v_m: ArrayLike, impedance_ohm: float = FREE_SPACE_IMPEDANCE_OHM) -> Array:
    """Power density [W/m²] from rms field strength [V/m]: S = E²/Z0."""
    return np.asarray(_array(field_v_m) ** 2 / impedance_ohm)


def field_from_power_density(density_w_m2: ArrayLike, impedance_ohm: float = FREE_SPACE_IMPEDANCE_OHM) -> Array:
    """Rms field strength [V/m] from power density [W/m²]: E = sqrt(S Z0)."""
    return np.asarray(np.sqrt(_array(density_w_m2) * impedance_ohm))


def density_from_eirp(eirp_w: ArrayLike, distance_m: ArrayLike) -> Array:
    """Free-space power density [W/m²]: S = EIRP / (4 pi d²) (FCC OET 65, 97-01, eq. 4; ITU-R P.525).

    Parameters
    ----------
    eirp_w : array_like
        Equivalent isotropically radiated power [W].
    distance_m : array_like
        Distance [m]; broadcast against the powers.

    Examples
    --------
    >>> (1e6 * density_from_eirp(0.1, [1.0, 3.0])).round(0)
    array([7958.,  884.])
    """
    return np.asarray(_array(eirp_w) / (4.0 * np.pi * _array(distance_m) ** 2))


_TO_W_M2: dict[str, Callable[[Array], Array]] = {
    "W/m2": lambda v: v,
    "mW/m2": lambda v: v * 1e-3,
    "uW/m2": lambda v: v * 1e-6,
    "nW/m2": lambda v: v * 1e-9,
    "mW/cm2": lambda v: v * 10.0,
    "uW/cm2": lambda v: v * 1e-2,
    "nW/cm2": lambda v: v * 1e-5,
    "V/m": power_density_from_field,
    "mV/m": lambda v: power_density_from_field(v * 1e-3),
    "dBuV/m": lambda v: power_density_from_field(10.0 ** (v / 20.0) * 1e-6),
    "dBm/m2": lambda v: ratio_from_decibels(v) * 1e-3,
    "dBW/m2": ratio_from_decibels,
}

DENSITY_UNITS: tuple[str, ...] = tuple(_TO_W_M2)
"""Units of the trade, written in plain letters: ``uW/m2`` is microwatt per square metre."""

_SPELLINGS = {"µ": "u", "μ": "u", "²": "2", "^": "", " ": "", "·": "", "**": ""}


def canonical_unit(text: str) -> str:
    """Our spelling of a unit however it is written: ``µW/m²``, ``uW/m^2`` and ``uw/m2`` are one.

    Raises
    ------
    UnknownNameError
        If it is not a unit of power density or field strength.
    """
    plain = text.strip()
    for found, ours in _SPELLINGS.items():
        plain = plain.replace(found, ours)
    for unit in DENSITY_UNITS:
        if plain == unit:
            return unit
    loose = [unit for unit in DENSITY_UNITS if plain.casefold() == unit.casefold()]
    if len(loose) == 1:
        return loose[0]
    raise UnknownNameError("unit", text, DENSITY_UNITS)


def density_from_unit(value: ArrayLike, unit: str) -> Array:
    """Power density [W/m²] from a value in a unit of the trade.

    Parameters
    ----------
    value : array_like
        Value in ``unit``.
    unit : str
        One of `DENSITY_UNITS`, in any usual spelling.
    """
    return _TO_W_M2[canonical_unit(unit)](_array(value))
