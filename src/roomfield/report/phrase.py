"""Text that is either given as it is, or named by a key and put into words at rendering time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

PhraseValue: TypeAlias = "str | int | float | Phrase"


@dataclass(frozen=True)
class Phrase:
    """A sentence of the message catalogue with the values that fill its places.

    Parameters
    ----------
    key : str
        Key of the catalogue, for example ``step.switch_off.title``.
    values : tuple of (str, str or number or Phrase)
        What fills the named places; power densities in W/m², frequencies in Hz, probabilities 0 to 1.
    """

    key: str
    values: tuple[tuple[str, PhraseValue], ...] = ()


Text: TypeAlias = "str | Phrase"
"""Either the user's own words (data, never markup) or a :class:`Phrase`."""


def phrase(key: str, /, **values: PhraseValue) -> Phrase:
    """A phrase with its values given by name.

    Parameters
    ----------
    key : str
        Key of the catalogue.
    **values
        What fills the named places.
    """
    return Phrase(key, tuple(sorted(values.items())))
