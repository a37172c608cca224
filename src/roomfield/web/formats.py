"""How figures and moments are written on a page."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from babel.dates import format_datetime

from roomfield.show.words.numbers import numbers_for, rounded
from roomfield.web.page_texts import say

MICRO = 1e6


@dataclass(frozen=True)
class Show:
    """Figures and moments in one language.

    Parameters
    ----------
    language : str
        ``en`` or ``de``.
    """

    language: str

    def number(self, value: float, digits: int = 2) -> str:
        """A number with so many significant digits, written as in the report, without trailing zeros."""
        if not math.isfinite(value):
            return "–"
        result, decimals = rounded(value, digits)
        kept = len(f"{result:.{decimals}f}".rstrip("0").partition(".")[2]) if decimals else 0
        return numbers_for(self.language).fixed(result, kept)

    def density(self, value_w_m2: float, digits: int = 2) -> str:
        """A power density [W/m²] in µW/m²."""
        return f"{self.number(value_w_m2 * MICRO, digits)} µW/m²"

    def micro(self, value_w_m2: float, digits: int = 2) -> str:
        """A power density [W/m²] as a number of µW/m², for columns that name the unit."""
        return self.number(value_w_m2 * MICRO, digits)

    def span(self, low_w_m2: float, high_w_m2: float) -> str:
        """An interval of power density [W/m²] in µW/m²; open ends in words."""
        if low_w_m2 <= 0.0:
            return say(self.language, "below {high}", high=self.density(high_w_m2))
        if math.isinf(high_w_m2):
            return say(self.language, "above {low}", low=self.density(low_w_m2))
        return say(
            self.language,
            "{low} to {high}",
            low=self.number(low_w_m2 * MICRO),
            high=self.density(high_w_m2),
        )

    def share(self, probability: float) -> str:
        """A probability in per cent, never rounded to certainty."""
        percent = 100.0 * probability
        if percent > 99.0:
            return say(self.language, "over 99 %")
        if percent < 1.0:
            return say(self.language, "under 1 %")
        return f"{percent:.0f} %"

    def moment(self, iso: str, *, seconds: bool = False) -> str:
        """Date and time as they stand in the text; empty if there is none.

        A moment in UTC is none that anybody noted so: it is shown on this computer's clock.
        """
        if not iso:
            return ""
        try:
            at = datetime.fromisoformat(iso)
        except ValueError:
            return iso
        clock = "HH:mm:ss" if seconds else "HH:mm"
        pattern = f"d. MMM y, {clock}" if self.language == "de" else f"d MMM y, {clock}"
        shown = at.astimezone() if at.utcoffset() == timedelta() else at
        return str(format_datetime(shown.replace(tzinfo=None), pattern, locale=self.language))

    def day(self, iso: str) -> str:
        """The day of a moment, short enough for a line: with the year only if it is not this one."""
        try:
            at = datetime.fromisoformat(iso)
        except ValueError:
            return iso
        shown = at.astimezone() if at.utcoffset() == timedelta() else at
        year = "" if shown.year == datetime.now().astimezone().year else " y"
        pattern = f"d. MMM{year}" if self.language == "de" else f"d MMM{year}"
        return str(format_datetime(shown.replace(tzinfo=None), pattern, locale=self.language))
