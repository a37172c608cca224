"""Message catalogues: one TOML file per language, keys in dotted form, values with named places."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from roomfield.errors import UnknownNameError
from roomfield.show.findings import Chance
from roomfield.show.phrase import Phrase, Text, Told
from roomfield.show.words.numbers import Numbers, numbers_for
from roomfield.show.words.told import Teller, teller

_FOLDER = "locale"
ORIGINAL = "en"
"""Language that every other catalogue falls back to."""
PLURALS = ("zero", "one", "two", "few", "many", "other")


def _available() -> tuple[str, ...]:
    folder = resources.files("roomfield.show.words") / _FOLDER
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


LANGUAGES: tuple[str, ...] = _available()
"""Languages that have a catalogue."""


def flatten(table: Mapping[str, Any], prefix: str = "") -> dict[str, str]:
    """Nested tables to dotted keys.

    Parameters
    ----------
    table : mapping
        As read from TOML.
    """
    flat: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, Mapping):
            flat.update(flatten(value, f"{prefix}{key}."))
        else:
            flat[f"{prefix}{key}"] = str(value)
    return flat


class _Filler(string.Formatter):
    """Fills named places; the part after the colon names the kind of number."""

    def __init__(self, words: Words, key: str) -> None:
        self._words, self._key = words, key

    def get_value(self, key: int | str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> Any:
        """The value of a place; a message is never shown with a place left empty."""
        if key not in kwargs:
            where = f"message {self._key}, catalogue {self._words.language}"
            raise UnknownNameError("value", str(key), kwargs, where=where)
        return kwargs[str(key)]

    def format_field(self, value: Any, format_spec: str) -> str:
        """One value as text."""
        if isinstance(value, (Phrase, Told)):
            return self._words.text(value)
        if format_spec == "term":
            return self._words.term(str(value))
        form = self._words.forms().get(format_spec)
        worded = isinstance(value, str) and format_spec not in ("date", "moment")
        return form(value) if form is not None and not worded else str(value)


@dataclass(frozen=True)
class Words:
    """The sentences of one language.

    Parameters
    ----------
    language : str
        For example ``en`` or ``de``.
    messages : mapping of str to str
        Dotted key to sentence.
    """

    language: str
    messages: Mapping[str, str]
    numbers: Numbers

    def forms(self) -> dict[str, Callable[[Any], str]]:
        """How the kinds of number named in a message are written."""
        n = self.numbers
        return {
            "power": n.power,
            "micro": n.micro,
            "db": n.decibel,
            "percent": n.percent,
            "chance": self.chance,
            "times": n.times,
            "exact": n.exact_percent,
            "hz": n.frequency,
            "s": n.duration,
            "given": n.as_given,
            "two": n.significant,
            "int": lambda v: n.fixed(v, 0),
            "date": n.date,
            "moment": n.moment,
        }

    def chance(self, found: Chance) -> str:
        """A probability, with both ends where they are written differently.

        Parameters
        ----------
        found : Chance
            Probability between two bounds, 0 to 1.
        """
        low, high = self.numbers.percent(found.low), self.numbers.percent(found.high)
        return low if low == high else self.say("chance.range", low=low.removesuffix("\u00a0%"), high=high)

    def has(self, key: str) -> bool:
        """Whether the catalogue carries a key.

        Parameters
        ----------
        key : str
            Dotted key.
        """
        return key in self.messages

    def say(self, key: str, /, **values: Any) -> str:
        """The sentence of a key with its places filled.

        Parameters
        ----------
        key : str
            Key of the catalogue; with plural forms, ``n`` chooses among them.
        **values
            What fills the named places.

        Raises
        ------
        UnknownNameError
            If the catalogue has no such key.
        """
        message = self.messages.get(key)
        if message is None and "n" in values:
            plural = self.numbers.locale.plural_form(values["n"])
            message = self.messages.get(f"{key}.{plural}", self.messages.get(f"{key}.other"))
        if message is None:
            raise UnknownNameError("message", key, self.messages, where=f"catalogue {self.language}")
        return _Filler(self, key).vformat(message, (), values)

    def text(self, text: Text) -> str:
        """The user's own words as they are, a phrase put into words, or a sentence told in this language.

        Parameters
        ----------
        text : str, Phrase or Told
            What is to be said; text stays as it is.
        """
        if isinstance(text, Told):
            return _teller(self.language)(text.sentence)
        if isinstance(text, Phrase):
            return self.say(text.key, **dict(text.values))
        return text

    def translated(self, group: str, original: str, otherwise: str | None = None) -> str:
        """A text of the reference data in this language; the original where nobody has translated it.

        Parameters
        ----------
        group : str
            Table of the catalogue, for example ``cautions``.
        original : str
            The text as the reference data carries it.
        otherwise : str, optional
            What stands where nobody has translated it, instead of the original.
        """
        return self.messages.get(f"{group}.{original}", original if otherwise is None else otherwise)

    def term(self, name: str) -> str:
        """A name of the reference data, such as a guideline's category or a span of two, in this language.

        Parameters
        ----------
        name : str
            Name of a term of the catalogue.
        """
        return " – ".join(self.translated("term", part) for part in name.split(" – "))


@lru_cache(maxsize=8)
def _teller(language: str) -> Teller:
    return teller(language)


@lru_cache(maxsize=8)
def load_words(language: str) -> Words:
    """The catalogue of a language.

    Parameters
    ----------
    language : str
        One of :data:`LANGUAGES`; a region such as ``de-AT`` falls back to its language.

    Raises
    ------
    UnknownNameError
        If there is no such catalogue.
    """
    base = language.replace("_", "-").split("-")[0].lower()
    if base not in LANGUAGES:
        raise UnknownNameError("language", language, LANGUAGES)
    source = resources.files("roomfield.show.words") / _FOLDER / f"{base}.toml"
    own = flatten(tomllib.loads(source.read_text(encoding="utf-8")))
    spoken = own if base == ORIGINAL else {**_without_plurals(load_words(ORIGINAL).messages, own), **own}
    return Words(base, MappingProxyType(spoken), numbers_for(base))


def _without_plurals(english: Mapping[str, str], own: Mapping[str, str]) -> dict[str, str]:
    """What a catalogue lacks, in English; a plural that it has is not mixed with an English one."""
    stems = {key.rsplit(".", 1)[0] for key in own if key.rsplit(".", 1)[-1] in PLURALS}
    return {k: m for k, m in english.items() if not (k.rsplit(".", 1)[0] in stems and k.rsplit(".", 1)[-1] in PLURALS)}


def lacking(language: str) -> tuple[str, ...]:
    """Keys that a catalogue lacks, so that the English sentence stands in for them.

    Parameters
    ----------
    language : str
        One of :data:`LANGUAGES`.
    """
    source = resources.files("roomfield.show.words") / _FOLDER / f"{language}.toml"
    own = flatten(tomllib.loads(source.read_text(encoding="utf-8")))
    stems = {key.rsplit(".", 1)[0] for key in own}
    english = load_words(ORIGINAL).messages
    return tuple(
        k for k in english if k not in own and not (k.split(".")[-1] in PLURALS and k.rsplit(".", 1)[0] in stems)
    )
