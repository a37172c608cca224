"""Numbers in words for the terminal, written as every other door writes them."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from roomfield.cli.terminal_language import terminal_language

if TYPE_CHECKING:
    from roomfield.show.words import Words

_SIGN = {"below_floor": "< ", "overload": "> "}


def terminal_words() -> Words:
    """The catalogue of the terminal's language."""
    from roomfield.show.words import load_words

    return load_words(terminal_language())


def tell(text: str) -> str:
    """What a command prints, in the terminal's language where its catalogue knows the lines; indents stay.

    Parameters
    ----------
    text : str
        In English, one line or several.
    """
    language = terminal_language()
    if language == "en":
        return text
    from roomfield.show.words.told import terminal_teller

    told = terminal_teller(language)
    parted = ((line, line.strip()) for line in text.split("\n"))
    return "\n".join(line.replace(core, told(core)) if core else line for line, core in parted)


def told_in(plain: Any, names: Collection[str]) -> Any:
    """Plain values with the sentences under some keys in the terminal's language; keys and all else stay.

    Parameters
    ----------
    plain : object
        Made of dictionaries, lists, strings and numbers.
    names : collection of str
        Keys under which sentences stand, one or a list of them.
    """
    if isinstance(plain, Mapping):
        return {key: _sentences(value) if key in names else told_in(value, names) for key, value in plain.items()}
    return [told_in(one, names) for one in plain] if isinstance(plain, (list, tuple)) else plain


def _sentences(value: Any) -> Any:
    if isinstance(value, (list, tuple)):
        return [_sentences(one) for one in value]
    return tell(value) if isinstance(value, str) else value


def microwatts(density_w_m2: float | None, censoring: str = "none") -> str:
    """A power density [W/m²] in µW/m²; a bound is shown with its sign."""
    if density_w_m2 is None:
        return ""
    return _SIGN.get(censoring, "") + terminal_words().numbers.micro(density_w_m2)


def whole(value: float) -> str:
    """A whole number, such as a price or a count; digits in groups as everywhere, never parted by commas."""
    return terminal_words().numbers.fixed(value, 0)


def digits(value: float, count: int) -> str:
    """A number with so many significant digits."""
    return terminal_words().numbers.significant(value, count)


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
