"""Whether a value is known, or only a bound: one vocabulary for readings, levels, ratios, logs and what is shown.

This module loads no NumPy, so that the record (`roomfield.survey`) speaks as the physics does.
"""

from __future__ import annotations

from enum import StrEnum


class Censoring(StrEnum):
    """Whether the value is a number, or a bound that the true value lies below or above.

    The words are those of the survey document. A level or a ratio that is known from one side only for another reason
    than the meter's range (an average under a peak) bears the same word, for it is reckoned with alike.
    """

    NONE = "none"
    BELOW = "below_floor"
    """The true value lies below: left-censored."""
    ABOVE = "overload"
    """The true value lies above: right-censored."""

    @property
    def side(self) -> int:
        """-1 below, 0 known, 1 above: as arrays of observations hold it."""
        return (self is Censoring.ABOVE) - (self is Censoring.BELOW)

    @property
    def opposite(self) -> Censoring:
        """What a bound becomes in a denominator."""
        return {Censoring.BELOW: Censoring.ABOVE, Censoring.ABOVE: Censoring.BELOW}.get(self, self)
