"""What a logged number is: its unit, and how it turns into something that may be averaged."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import RoomfieldError
from roomfield.quantities.convert import canonical_unit

Array = NDArray[np.float64]

POWER_DENSITY_UNIT = "W/m2"
"""Unit in which a log is stored unless its mapping keeps the unit of the file."""


class Scale(StrEnum):
    """How a number relates to power; means are taken over power, never over decibels or amplitudes."""

    POWER = "power"
    AMPLITUDE = "amplitude"
    DECIBEL = "decibel"


class Quantity(StrEnum):
    """What the number is a number of."""

    POWER_DENSITY = "power density"
    FIELD_STRENGTH = "field strength"
    RELATIVE_LEVEL = "relative level"


@dataclass(frozen=True)
class Unit:
    """A unit as written, in plain letters, with the scale it is on."""

    name: str
    quantity: Quantity
    scale: Scale

    def power(self, values: Array) -> Array:
        """Something proportional to power, from values in this unit.

        Parameters
        ----------
        values : ndarray, shape (n,)
            Values in this unit.
        """
        if self.scale is Scale.POWER:
            return values
        if self.scale is Scale.AMPLITUDE:
            return np.square(values)
        return np.power(10.0, values / 10.0)

    def level(self, power: Array) -> Array:
        """Values in this unit; inverse of `power`."""
        if self.scale is Scale.POWER:
            return power
        if self.scale is Scale.AMPLITUDE:
            return np.sqrt(power)
        with np.errstate(divide="ignore"):
            return 10.0 * np.log10(power)

    def level_of(self, power: float) -> float:
        """One value in this unit."""
        return float(self.level(np.asarray([power], dtype=float))[0])

    def decibels(self, values: Array) -> Array:
        """Values as decibels on an arbitrary but fixed reference."""
        if self.scale is Scale.DECIBEL:
            return values
        with np.errstate(divide="ignore", invalid="ignore"):
            return (10.0 if self.scale is Scale.POWER else 20.0) * np.log10(values)


_RELATIVE = re.compile(r"^(dBm|dBW|dB|dBuV|dBuA|dBmV|dBFS|dBi)$", re.IGNORECASE)
_RELATIVE_NAMES = {name.casefold(): name for name in ("dBm", "dBW", "dB", "dBuV", "dBuA", "dBmV", "dBFS", "dBi")}
_LINEAR = {"w": "W", "mw": "mW", "uw": "uW", "nw": "nW"}
_VOLTS = {"v": "V", "mv": "mV", "uv": "uV"}


def _plain(text: str) -> str:
    return text.strip().replace("µ", "u").replace("μ", "u").replace(" ", "")


def find_unit(text: str) -> Unit | None:
    """The unit that a text names, or None.

    Parameters
    ----------
    text : str
        As written in a header or beside a value: ``µW/m²``, ``dBm``, ``V/m``.
    """
    try:
        name = canonical_unit(text)
    except RoomfieldError:
        return _relative_unit(_plain(text))
    if name in ("V/m", "mV/m"):
        return Unit(name, Quantity.FIELD_STRENGTH, Scale.AMPLITUDE)
    if name.startswith("dB"):
        field = name.endswith("V/m")
        return Unit(name, Quantity.FIELD_STRENGTH if field else Quantity.POWER_DENSITY, Scale.DECIBEL)
    return Unit(name, Quantity.POWER_DENSITY, Scale.POWER)


def _relative_unit(plain: str) -> Unit | None:
    if _RELATIVE.match(plain):
        return Unit(_RELATIVE_NAMES[plain.casefold()], Quantity.RELATIVE_LEVEL, Scale.DECIBEL)
    if plain in ("W", "mW", "uW", "nW"):
        return Unit(_LINEAR[plain.casefold()], Quantity.RELATIVE_LEVEL, Scale.POWER)
    if plain in ("V", "mV", "uV"):
        return Unit(_VOLTS[plain.casefold()], Quantity.RELATIVE_LEVEL, Scale.AMPLITUDE)
    return None


def stored_unit(found: Unit, keep: bool) -> Unit:
    """The unit in which values of `found` are stored.

    Parameters
    ----------
    found : Unit
        Unit of the file.
    keep : bool
        Keep field strengths as they are instead of turning them into power density.
    """
    if keep or found.quantity is Quantity.RELATIVE_LEVEL:
        return found
    return Unit(POWER_DENSITY_UNIT, Quantity.POWER_DENSITY, Scale.POWER)
