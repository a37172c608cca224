"""Scales: value to position, with ticks; logarithmic for levels, linear for dB, time and cost."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class LogScale:
    """A logarithmic scale.

    Parameters
    ----------
    low, high : float
        Ends of the scale, above 0 [any unit].
    start, end : float
        Positions of the ends [pt].
    """

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Position of a value [pt]; values beyond an end are put on the end."""
        clipped = min(self.high, max(self.low, value)) if value > 0 else self.low
        share = math.log(clipped / self.low) / math.log(self.high / self.low)
        return self.start + share * (self.end - self.start)

    def holds(self, value: float) -> bool:
        """Whether a value lies on the scale."""
        return self.low <= value <= self.high

    def decades(self) -> list[float]:
        """Powers of ten on the scale."""
        first, last = math.ceil(math.log10(self.low) - 1e-9), math.floor(math.log10(self.high) + 1e-9)
        return [10.0**n for n in range(first, last + 1)]

    def between(self) -> list[float]:
        """Twofold and fivefold powers of ten on the scale."""
        first, last = math.floor(math.log10(self.low)), math.ceil(math.log10(self.high))
        values = (m * 10.0**n for n in range(first, last + 1) for m in (2, 5))
        return [v for v in values if self.holds(v)]


def level_scale(values: list[float], start: float, end: float) -> LogScale:
    """A scale over whole decades that holds all values.

    Parameters
    ----------
    values : list of float
        Values above 0; others are left out.
    start, end : float
        Positions of the ends [pt].
    """
    kept = [v for v in values if v > 0 and math.isfinite(v)] or [1.0]
    low = 10.0 ** math.floor(math.log10(min(kept)) + 1e-9)
    high = 10.0 ** math.ceil(math.log10(max(kept)) - 1e-9)
    return LogScale(low, high if high > low else low * 10, start, end)


@dataclass(frozen=True)
class LinearScale:
    """A linear scale.

    Parameters
    ----------
    low, high : float
        Ends of the scale [any unit].
    start, end : float
        Positions of the ends [pt].
    """

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Position of a value [pt]; values beyond an end are put on the end."""
        clipped = min(self.high, max(self.low, value))
        return self.start + (clipped - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self, about: int = 6) -> list[float]:
        """Round values on the scale, about so many."""
        step = round_step((self.high - self.low) / max(1, about))
        first = math.ceil(self.low / step - 1e-9)
        last = math.floor(self.high / step + 1e-9)
        return [n * step for n in range(first, last + 1)]


def round_step(raw: float) -> float:
    """The next step of 1, 2 or 5 times a power of ten, not below ``raw``."""
    power = 10.0 ** math.floor(math.log10(raw)) if raw > 0 else 1.0
    return next((m * power for m in (1.0, 2.0, 5.0) if m * power >= raw * (1 - 1e-9)), 10.0 * power)


def linear_scale(values: list[float], start: float, end: float, *, about: int = 6) -> LinearScale:
    """A scale with round ends that holds all values.

    Parameters
    ----------
    values : list of float
        Finite values; others are left out.
    start, end : float
        Positions of the ends [pt].
    about : int
        Wanted number of ticks.
    """
    kept = [v for v in values if math.isfinite(v)] or [0.0]
    low, high = min(kept), max(kept)
    if high - low <= 1e-9 * max(abs(low), abs(high), 1e-6):
        low, high = low - 1.0, high + 1.0
    step = round_step((high - low) / about)
    return LinearScale(math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step, start, end)
