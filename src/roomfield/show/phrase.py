"""Text that is either given as it is, or named by a key and put into words at rendering time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

PhraseValue: TypeAlias = "str | int | float | Phrase | Told"


@dataclass(frozen=True)
class Phrase:
    """A sentence of the message catalogue with the values that fill its places.

    Parameters
    ----------
    key : str
        Key of the catalogue, for example ``step.switch_off.title``.
    values : tuple of (str, str or number or Phrase or Told)
        What fills the named places; power densities in W/m², frequencies in Hz, probabilities 0 to 1.
    """

    key: str
    values: tuple[tuple[str, PhraseValue], ...] = ()


@dataclass(frozen=True)
class Told:
    """A sentence that a lower layer has filled in, in English; other languages know it by its pattern.

    Parameters
    ----------
    sentence : str
        As it came.
    """

    sentence: str


Text: TypeAlias = "str | Phrase | Told"
"""The user's own words (data, never markup), a :class:`Phrase`, or a :class:`Told` sentence."""


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
