"""Numbers and units as text: never more digits than a several-dB meter supports."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from babel import Locale, dates

GROUP = "\u202f"
"""Narrow no-break space between groups of three digits (ISO 80000-1, 7.3.1)."""
NBSP = "\u00a0"
MICRO = 1e6
"""µW in one W."""
_REGION = {"en": "en_GB"}
"""Dates in English run day, month, year."""


def rounded(value: float, digits: int) -> tuple[float, int]:
    """Value to so many significant digits, and the decimals to print.

    Parameters
    ----------
    value : float
        Any finite number.
    digits : int
        Significant digits, 1 or more.
    """
    if value == 0 or not math.isfinite(value):
        return value, 0
    exponent = math.floor(math.log10(abs(value)))
    result = round(value, digits - 1 - exponent)
    exponent = math.floor(math.log10(abs(result)))
    return result, max(0, digits - 1 - exponent)


@dataclass(frozen=True)
class Numbers:
    """Formats numbers for one language.

    Parameters
    ----------
    locale : Locale
        Babel's locale; gives the decimal sign and the form of dates.
    """

    locale: Locale

    @property
    def decimal_sign(self) -> str:
        """Decimal point or comma."""
        return str(self.locale.number_symbols["latn"]["decimal"])

    def fixed(self, value: float, decimals: int) -> str:
        """With so many decimals, digits in groups of three, a true minus sign.

        Parameters
        ----------
        value : float
            The number.
        decimals : int
            Digits after the decimal sign.
        """
        if not math.isfinite(value):
            return "∞" if value > 0 else "−∞" if value < 0 else "–"
        whole, _, part = f"{abs(value):.{decimals}f}".partition(".")
        if len(whole) > 4:
            head = len(whole) % 3
            groups = ([whole[:head]] if head else []) + [whole[i : i + 3] for i in range(head, len(whole), 3)]
            whole = GROUP.join(groups)
        text = f"{whole}{self.decimal_sign}{part}" if part else whole
        return f"−{text}" if value < 0 and text.strip("0.,") else text

    def significant(self, value: float, digits: int = 2) -> str:
        """With so many significant digits.

        Parameters
        ----------
        value : float
            The number.
        digits : int
            Significant digits.
        """
        if not math.isfinite(value):
            return self.fixed(value, 0)
        return self.fixed(*rounded(value, digits))

    def as_given(self, value: float) -> str:
        """All digits that were given, at most six after the first, whole numbers in full; no trailing zeros."""
        digits = 6
        if value and math.isfinite(value):
            digits = max(digits, math.floor(math.log10(abs(value))) + 1)
        result, decimals = rounded(value, digits)
        text = f"{result:.{decimals}f}"
        kept = len(text.rstrip("0").partition(".")[2]) if "." in text else 0
        return self.fixed(result, kept)

    def micro(self, value_w_m2: float) -> str:
        """Power density in µW/m², two significant digits, no unit.

        Parameters
        ----------
        value_w_m2 : float
            Power density [W/m²].
        """
        return self.significant(value_w_m2 * MICRO)

    def power(self, value_w_m2: float) -> str:
        """Power density in µW/m² with the unit; from 1 W/m² on also in W/m².

        Parameters
        ----------
        value_w_m2 : float
            Power density [W/m²].
        """
        text = f"{self.as_given(rounded(value_w_m2 * MICRO, 2)[0])}{NBSP}µW/m²"
        if value_w_m2 >= 1:
            text += f" ({self.as_given(rounded(value_w_m2, 2)[0])}{NBSP}W/m²)"
        return text

    def decibel(self, value_db: float) -> str:
        """A ratio in dB, one decimal below 10 dB, none above.

        Parameters
        ----------
        value_db : float
            Ratio [dB].
        """
        return f"{self.fixed(value_db, 1 if abs(value_db) < 9.95 else 0)}{NBSP}dB"

    def percent(self, share: float) -> str:
        """A share as whole percent; next to certainty it says more or less than, never 0 or 100.

        Parameters
        ----------
        share : float
            Share, 0 to 1.
        """
        if share > 0.99:
            return f">{NBSP}99{NBSP}%"
        if share < 0.01:
            return f"<{NBSP}1{NBSP}%"
        return f"{self.fixed(100 * share, 0)}{NBSP}%"

    def exact_percent(self, share: float) -> str:
        """A stated share, such as a coverage, as percent with the digits it has."""
        return f"{self.as_given(100 * share)}{NBSP}%"

    def frequency(self, value_hz: float) -> str:
        """A frequency in Hz, kHz, MHz or GHz.

        Parameters
        ----------
        value_hz : float
            Frequency [Hz].
        """
        for factor, unit in ((1e9, "GHz"), (1e6, "MHz"), (1e3, "kHz")):
            if abs(value_hz) >= factor:
                return f"{self.as_given(value_hz / factor)}{NBSP}{unit}"
        return f"{self.as_given(value_hz)}{NBSP}Hz"

    def duration(self, value_s: float) -> str:
        """A time in µs, ms, s or min.

        Parameters
        ----------
        value_s : float
            Duration [s].
        """
        for limit, factor, unit in (
            (1e-3, 1e-6, "µs"),
            (1.0, 1e-3, "ms"),
            (180.0, 1.0, "s"),
            (1e9, 60.0, "min"),
        ):
            if abs(value_s) < limit:
                return f"{self.as_given(value_s / factor)}{NBSP}{unit}"
        return f"{self.as_given(value_s)}{NBSP}s"

    def times(self, ratio: float) -> str:
        """A factor in words of two digits: 29 000 for 28 731.

        Parameters
        ----------
        ratio : float
            Factor, above 0.
        """
        return self.as_given(rounded(ratio, 2)[0])

    def date(self, iso: str) -> str:
        """A date in the language's medium form; text that is no date stays as it is."""
        moment = _moment(iso)
        return dates.format_date(moment, "long", locale=self.locale) if moment else iso

    def iso_moment(self, iso: str) -> str:
        """Date and time to the minute as ISO 8601 writes them: the same in every language."""
        moment = _moment(iso)
        if moment is None:
            return iso
        return f"{moment:%Y-%m-%d %H:%M}" if "T" in iso or " " in iso.strip() else f"{moment:%Y-%m-%d}"

    def moment(self, iso: str) -> str:
        """Date and time to the minute; text that is no date stays as it is."""
        moment = _moment(iso)
        if moment is None:
            return iso
        day = dates.format_date(moment, "medium", locale=self.locale)
        return f"{day}, {moment:%H:%M}" if "T" in iso or " " in iso.strip() else day


def _moment(iso: str) -> datetime | None:
    try:
        return datetime.fromisoformat(iso)
    except ValueError:
        return None


@lru_cache(maxsize=8)
def numbers_for(language: str) -> Numbers:
    """The number formats of a language.

    Parameters
    ----------
    language : str
        For example ``en`` or ``de``.
    """
    return Numbers(Locale.parse(_REGION.get(language, language)))
