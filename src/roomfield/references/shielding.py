"""Shielding: published attenuations, test standards, and two rules of thumb."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from roomfield.constants import FREE_SPACE_IMPEDANCE_OHM, SPEED_OF_LIGHT_M_S
from roomfield.errors import RangeError
from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, load_csv


@dataclass(frozen=True)
class ShieldingPart:
    """Attenuation of a building part or shield; numbers only where the source gives them.

    Parameters
    ----------
    part : str
        What it is.
    attenuation : str
        As published, in words.
    low_db, high_db : float or None
        Range [dB].
    f_low_hz, f_high_hz : float or None
        Range of frequency it was given for [Hz].
    """

    part: str = column()
    attenuation: str = column()
    low_db: float | None = column(blank=True)
    high_db: float | None = column(blank=True)
    f_low_hz: float | None = column("f_low_ghz", scale=1e9, blank=True)
    f_high_hz: float | None = column("f_high_ghz", scale=1e9, blank=True)
    source: Source = SOURCE


@dataclass(frozen=True)
class ShieldingStandard:
    """A test standard of shielding, and the object and range it is valid for."""

    source: Source = SOURCE
    test_object: str = column("object")
    validity: str = column("range")
    remark: str = column()


@cache
def shielding_parts() -> tuple[ShieldingPart, ...]:
    """All published attenuations."""
    return load_csv(ShieldingPart, "shielding", "published.csv")


@cache
def shielding_standards() -> tuple[ShieldingStandard, ...]:
    """All test standards."""
    return load_csv(ShieldingStandard, "shielding", "standards.csv")


def sheet_attenuation_db(sheet_resistance_ohm: float) -> float:
    """Attenuation [dB] of a thin conductive sheet, plane wave, normal incidence: 20 log10(1 + Z0 / 2 Rs).

    Parameters
    ----------
    sheet_resistance_ohm : float
        Resistance of a square of the sheet [ohm].

    Raises
    ------
    RangeError
        If it is not positive.
    """
    if not sheet_resistance_ohm > 0.0:
        raise RangeError("sheet resistance", sheet_resistance_ohm, (0.0, math.inf), "ohm")
    return 20.0 * math.log10(1.0 + FREE_SPACE_IMPEDANCE_OHM / (2.0 * sheet_resistance_ohm))


def opening_attenuation_db(largest_opening_m: float, frequency_hz: float) -> float:
    """Attenuation [dB] left by the longest opening of a shield: 20 log10(lambda / 2 g), none above lambda/2.

    A rule of thumb (from memory) for one opening; several closer than half a wavelength leave less.

    Parameters
    ----------
    largest_opening_m : float
        Longest side or slot [m].
    frequency_hz : float
        Frequency [Hz].

    Raises
    ------
    RangeError
        If the opening is not positive.
    """
    if not largest_opening_m > 0.0:
        raise RangeError("opening", largest_opening_m, (0.0, math.inf), "m")
    wavelength_m = SPEED_OF_LIGHT_M_S / frequency_hz
    return max(0.0, 20.0 * math.log10(wavelength_m / (2.0 * largest_opening_m)))


def open_fraction_ceiling_db(open_fraction: float) -> float:
    """Most that a shield can gain [dB] when a fraction of the boundary stays open: -10 log10 a.

    Raises
    ------
    RangeError
        If the fraction does not lie above 0 and at most at 1.
    """
    if not 0.0 < open_fraction <= 1.0:
        raise RangeError("open fraction", open_fraction, (0.0, 1.0), "of the boundary")
    return -10.0 * math.log10(open_fraction)
