"""From one kind of level to another, only with a stated model and a widened interval."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from roomfield.errors import InputError, RangeError
from roomfield.quantities import Censor, ErrorContribution, Kind, UncertainLevel, require_kind
from roomfield.references.catalogue import EmitterType


@dataclass(frozen=True)
class CrestFactor:
    """Peak over time average, known between two values.

    Parameters
    ----------
    low_db, high_db : float
        Range of the ratio [dB], 0 or more.
    basis : str
        Where the range comes from, for the report.
    """

    low_db: float
    high_db: float
    basis: str

    def __post_init__(self) -> None:
        """Refuse a range that is not one.

        Raises
        ------
        RangeError
            If the range is reversed or below 0 dB.
        """
        if not 0.0 <= self.low_db <= self.high_db:
            raise RangeError("crest factor, lower end", self.low_db, (0.0, self.high_db), "dB")

    @property
    def middle_db(self) -> float:
        """Middle of the range [dB]."""
        return 0.5 * (self.low_db + self.high_db)

    @property
    def contribution(self) -> ErrorContribution:
        """Rectangular error about the middle."""
        return ErrorContribution.from_half_width(f"crest factor ({self.basis})", 0.5 * (self.high_db - self.low_db))


def duty_cycle(low: float, high: float, basis: str) -> CrestFactor:
    """Crest factor of a burst signal from the fraction of time it transmits: -10 log10(duty).

    Parameters
    ----------
    low, high : float
        Range of the duty cycle, above 0 and at most 1.
    basis : str
        Where the range comes from.

    Raises
    ------
    RangeError
        If the range is not within 0 to 1.
    """
    for name, value in (("duty cycle, lower end", low), ("duty cycle, upper end", high)):
        if not 0.0 < value <= 1.0:
            raise RangeError(name, value, (0.0, 1.0), "of the time")
    if low > high:
        raise RangeError("duty cycle, lower end", low, (0.0, high), "of the time")
    return CrestFactor(-10.0 * math.log10(high) + 0.0, -10.0 * math.log10(low) + 0.0, basis)


def emitter_duty(emitter: EmitterType) -> CrestFactor:
    """Crest factor of a kind of emitter, from the duty cycle in the catalogue."""
    return duty_cycle(emitter.duty_low, emitter.duty_high, f"{emitter.name}, {emitter.source.how}")


def average_from_peak(level: UncertainLevel, model: CrestFactor) -> UncertainLevel:
    """Time average from a peak of the same signal at the same spot.

    Parameters
    ----------
    level : UncertainLevel
        A peak.
    model : CrestFactor
        Peak over average of the signal.

    Raises
    ------
    KindMismatchError
        If the level is not a peak.
    """
    require_kind(level.kind, Kind.PEAK, "A time average by crest factor")
    return replace(level.shifted(-model.middle_db, model.contribution), kind=Kind.AVERAGE)


def peak_from_average(level: UncertainLevel, model: CrestFactor) -> UncertainLevel:
    """Peak from a time average; inverse of `average_from_peak`, same errors.

    Raises
    ------
    KindMismatchError
        If the level is not an average.
    """
    require_kind(level.kind, Kind.AVERAGE, "A peak by crest factor")
    return replace(level.shifted(model.middle_db, model.contribution), kind=Kind.PEAK)


def average_bound(level: UncertainLevel) -> UncertainLevel:
    """Upper bound of the time and space average: no average is above its own peak or highest held.

    Parameters
    ----------
    level : UncertainLevel
        A peak or highest held; an average is returned as it is.

    Returns
    -------
    UncertainLevel
        An average that is known only to lie below.

    Raises
    ------
    InputError
        If the level is an overload, for it bounds nothing from above.
    """
    if level.kind is Kind.AVERAGE:
        return level
    if level.censor is Censor.ABOVE:
        raise InputError(
            "a reading in overload gives no upper bound of the average.",
            mend="Repeat it with an attenuator or from farther away.",
        )
    return replace(level, kind=Kind.AVERAGE, censor=Censor.BELOW)
