"""What was read off the display while the sound was recorded: the scale of everything that the sound says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from roomfield.errors import FormatError, InputError

WATCHED_S = 5.0
HELD_S = 30.0
WINDOW_S = 1.25
READING_STD_DB = 0.3
"""Rounding and reading error of one number on the display; our judgement [dB]."""


@dataclass(frozen=True)
class DisplayReading:
    """Numbers that the meter showed at one moment of the recording.

    Attributes
    ----------
    at_s : float
        Moment, from the start of the recording [s].
    peak_w_m2, held_w_m2, average_w_m2 : float or None
        Momentary peak, highest held and average; None if not read [W/m2].
    peak_from_s, held_from_s, average_from_s : float
        Since when each counts [s].
    """

    at_s: float
    peak_w_m2: float | None = None
    held_w_m2: float | None = None
    average_w_m2: float | None = None
    peak_from_s: float = 0.0
    held_from_s: float = 0.0
    average_from_s: float = 0.0

    def __post_init__(self) -> None:
        values = [v for v in (self.average_w_m2, self.peak_w_m2, self.held_w_m2) if v is not None]
        if not values or any(not 0.0 < v < 1e6 for v in values):
            raise InputError(
                f"a display reading at {self.at_s:g} s has no value above 0.",
                where="display",
                mend="Give at least one number.",
            )
        if values != sorted(values):
            raise InputError(
                f"at {self.at_s:g} s the average is above the peak, or the peak above the highest held.",
                where="display",
                mend="Correct the numbers: average <= peak <= highest held.",
            )


def display_reading(row: Mapping[str, Any]) -> DisplayReading:
    """A reading from plain values; times that are missing are the usual ones before ``at_s``.

    Raises
    ------
    FormatError
        If ``at_s`` is missing or something is not a number.
    """
    try:
        at = float(row["at_s"])
        values: dict[str, float | None] = {
            k: None if row.get(k) is None else float(row[k]) for k in ("peak_w_m2", "held_w_m2", "average_w_m2")
        }
        begins = {
            name: max(0.0, float(row.get(name, at - before)))
            for name, before in (("peak_from_s", WATCHED_S), ("held_from_s", HELD_S), ("average_from_s", WINDOW_S))
        }
    except (KeyError, TypeError, ValueError) as fault:
        raise FormatError(
            f"a display reading cannot be understood: {dict(row)!r}.",
            where="display",
            mend="Give at_s and the values in W/m².",
        ) from fault
    return DisplayReading(at, values["peak_w_m2"], values["held_w_m2"], values["average_w_m2"], **begins)
