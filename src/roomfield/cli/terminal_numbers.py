"""Numbers in words for the terminal, written as every other door writes them."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from roomfield.show.words import Words

LANGUAGE = "ROOMFIELD_LANGUAGE"
"""Variable of the environment that names the language of the terminal."""
_SIGN = {"below_floor": "< ", "overload": "> "}


def terminal_words() -> Words:
    """The catalogue of the terminal's language; English if none is named or there is no such catalogue."""
    from roomfield.show.words import LANGUAGES, load_words

    wanted = os.environ.get(LANGUAGE, "en").split("_")[0].split("-")[0].lower()
    return load_words(wanted if wanted in LANGUAGES else "en")


def microwatts(density_w_m2: float | None, censoring: str = "none") -> str:
    """A power density [W/m²] in µW/m²; a bound is shown with its sign."""
    if density_w_m2 is None:
        return ""
    return _SIGN.get(censoring, "") + terminal_words().numbers.micro(density_w_m2)


def span(low_w_m2: float, high_w_m2: float) -> str:
    """An interval [W/m²] in µW/m²; open ends are shown as such."""
    return terminal_words().say("level.range", low=low_w_m2, high=high_w_m2)


def probability(chance: Sequence[float] | float | None) -> str:
    """A probability in per cent with both ends; never rounded to certainty."""
    from roomfield.show.findings import Chance

    if chance is None:
        return ""
    low, high = (chance, chance) if isinstance(chance, float) else (chance[0], chance[1])
    if math.isnan(low) or math.isnan(high):
        return ""
    return terminal_words().chance(Chance(low, high))


def decibels(value_db: float) -> str:
    """Decibels: one decimal under 10 dB."""
    return terminal_words().numbers.decibel(value_db)
