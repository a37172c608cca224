"""Shielding: published attenuations, test standards, and two rules of thumb."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

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
