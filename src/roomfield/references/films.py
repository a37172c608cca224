"""Materials of which only a loss in decibels is published: coatings, foils, meshes, taken as thin conducting films."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import log10
from statistics import NormalDist

from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, load_csv


@dataclass(frozen=True)
class LossFilm:
    """A film by its loss, which does not depend on the thickness that is entered for it.

    Parameters
    ----------
    name : str
        Material, as it is chosen for a layer.
    loss_db : float
        Loss of power density at 1 GHz, normal incidence [dB].
    db_per_ghz, db_per_decade : float
        How the loss changes with frequency [dB/GHz], [dB per decade].
    low_db, high_db : float
        Range of the loss at 1 GHz, taken as 95 % [dB].
    f_low_hz, f_high_hz : float
        Range of frequency that it was given for [Hz].
    source : Source
        Where it comes from.
    """

    name: str = column("material")
    loss_db: float = column(low=0.0)
    db_per_ghz: float = column()
    db_per_decade: float = column()
    low_db: float = column(low=0.0)
    high_db: float = column(low=0.0)
    f_low_hz: float = column("f_low_ghz", scale=1e9, low=0.0)
    f_high_hz: float = column("f_high_ghz", scale=1e9, low=0.0)
    note: str = column(blank=True)
    source: Source = SOURCE

    def covers(self, frequency_hz: float) -> bool:
        """True if the stated range holds this frequency [Hz]."""
        return self.f_low_hz <= frequency_hz <= self.f_high_hz

    def loss_at_db(self, frequency_hz: float) -> float:
        """Loss at a frequency [dB], never negative; the law is carried on beyond its range."""
        f_ghz = frequency_hz / 1e9
        return max(0.0, self.loss_db + self.db_per_ghz * (f_ghz - 1.0) + self.db_per_decade * log10(f_ghz))

    @property
    def std_db(self) -> float:
        """Standard uncertainty of the loss: the range over twice the half-width of 95 % [dB]."""
        return (self.high_db - self.low_db) / (2.0 * NormalDist().inv_cdf(0.975))


@cache
def loss_films() -> tuple[LossFilm, ...]:
    """Every film."""
    return load_csv(LossFilm, "losses", "films.csv")


@cache
def film_named(name: str) -> LossFilm | None:
    """The film of that name, with blanks or underscores; None if the material is no film."""
    return next((one for one in loss_films() if one.name == name.replace("_", " ")), None)
