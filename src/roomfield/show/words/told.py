"""Sentences that lower layers have filled in already, such as refusals and evidence, in another language.

They are recognised by the pattern that they were made from. The patterns of a language are JSON beside the message
catalogues: the English sentence with ``{name}`` for every value, and its wording.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files
from types import MappingProxyType

from roomfield.errors import Said
from roomfield.show.words.numbers import numbers_for

_HOLE = re.compile(r"\{(\w+)\}")
_JOINT = "; "
_DECIMAL = re.compile(r"[+\-−]?\d+\.\d+")
_NONE: Mapping[str, str] = MappingProxyType({})


@cache
def told_catalogue(language: str) -> Mapping[str, str]:
    """Patterns of filled-in sentences as they stand in the file; empty for English and for languages without one.

    Parameters
    ----------
    language : str
        For example ``de``.
    """
    file = files("roomfield.show.words").joinpath("locale", f"told.{language}.json")
    if not file.is_file():
        return _NONE
    pairs: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    return MappingProxyType(pairs)


@cache
def page_catalogue(language: str) -> Mapping[str, str]:
    """Texts of the pages by their English wording; empty for English and for languages without a catalogue.

    Parameters
    ----------
    language : str
        For example ``de``.
    """
    file = files("roomfield.show.words").joinpath("locale", "pages", f"{language}.json")
    if not file.is_file():
        return _NONE
    pairs: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    return MappingProxyType(pairs)


@cache
def terminal_catalogue(language: str) -> Mapping[str, str]:
    """Patterns of the lines that commands print; empty for English and for languages without a catalogue.

    Parameters
    ----------
    language : str
        For example ``de``.
    """
    file = files("roomfield.show.words").joinpath("locale", "terminal", f"{language}.json")
    if not file.is_file():
        return _NONE
    pairs: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    return MappingProxyType(pairs)


@cache
def help_catalogue(language: str) -> Mapping[str, str]:
    """Helps of commands and options by their English wording; empty for English and for languages without a catalogue.

    Parameters
    ----------
    language : str
        For example ``de``.
    """
    file = files("roomfield.show.words").joinpath("locale", "help", f"{language}.json")
    if not file.is_file():
        return _NONE
    pairs: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    return MappingProxyType(pairs)


@dataclass(frozen=True, eq=False)
class Teller:
    """Tells filled-in English sentences in one language.

    Parameters
    ----------
    patterns : tuple of (pattern, str)
        What recognises a sentence and its wording, the most particular first.
    whole : mapping of str to str
        Sentences without values that are looked up as they stand.
    keyed : mapping of str to str
        Wordings by phrase key, for sentences that know theirs (`roomfield.errors.Said`).
    sign : str
        Decimal sign that figures get; a version keeps its points.
    """

    patterns: tuple[tuple[re.Pattern[str], str], ...]
    whole: Mapping[str, str]
    keyed: Mapping[str, str]
    sign: str = "."

    def __call__(self, sentence: str) -> str:
        """A sentence in this language if its pattern is known, else as it is.

        Parameters
        ----------
        sentence : str
            In English, with its values; parts joined by semicolons are taken one by one if the whole is not known.
        """
        if isinstance(sentence, Said) and (wording := self.keyed.get(sentence.key) or self.whole.get(sentence.key)):
            return self._worded(wording, sentence.values)
        found = self.whole.get(sentence) or self._filled(sentence)
        if found is None and _JOINT in sentence:
            ending = "." if sentence.endswith(".") else ""
            return _JOINT.join(self(part) for part in sentence.removesuffix(".").split(_JOINT)) + ending
        return sentence if found is None else found

    def _filled(self, sentence: str) -> str | None:
        for matcher, wording in self.patterns:
            if match := matcher.fullmatch(sentence):
                return self._worded(wording, match.groupdict())
        return None

    def _worded(self, wording: str, values: Mapping[str, str]) -> str:
        told = {name: self._filled(value) or value for name, value in values.items()}
        if "version" not in values:
            told = {n: v.replace(".", self.sign) if _DECIMAL.fullmatch(v) else v for n, v in told.items()}
        return _HOLE.sub(partial(_poured, told), wording)


def teller(language: str, whole: Mapping[str, str] = _NONE) -> Teller:
    """What tells sentences in a language.

    Parameters
    ----------
    language : str
        For example ``de``; English sentences stay as they are.
    whole : mapping of str to str, optional
        Sentences without values that are known as well.
    """
    pairs = told_catalogue(language)
    return _teller_of(pairs, whole, numbers_for(language).decimal_sign if pairs else ".")


@cache
def terminal_teller(language: str) -> Teller:
    """What tells the lines of commands, and the sentences within them.

    Parameters
    ----------
    language : str
        For example ``de``.
    """
    lines = terminal_catalogue(language)
    return _teller_of({**told_catalogue(language), **lines}, {**page_catalogue(language), **lines})


def _teller_of(pairs: Mapping[str, str], whole: Mapping[str, str], sign: str = ".") -> Teller:
    ordered = sorted(pairs.items(), key=lambda pair: (-len(_HOLE.sub("", pair[0])), pair[0]))
    return Teller(tuple((_matcher(english), wording) for english, wording in ordered), whole, pairs, sign)


def _poured(values: dict[str, str], hole: re.Match[str]) -> str:
    return values[hole[1]]


def _matcher(english: str) -> re.Pattern[str]:
    """What recognises a sentence; a name that stands twice is the same value twice."""
    made, seen = "", set[str]()
    for odd, piece in enumerate(_HOLE.split(english)):
        if not odd % 2:
            made += re.escape(piece)
        elif piece in seen:
            made += f"(?P={piece})"
        else:
            seen.add(piece)
            made += f"(?P<{piece}>(?:(?!{_JOINT}).)+?)"
    return re.compile(made, re.DOTALL)
