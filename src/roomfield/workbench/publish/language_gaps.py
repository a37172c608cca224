"""Which texts a language has, and which ones English stands in for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from babel import Locale

from roomfield.errors import UnknownNameError
from roomfield.show.words.message_catalogue import LANGUAGES, ORIGINAL, lacking, load_words
from roomfield.show.words.told import help_catalogue, page_catalogue, terminal_catalogue, told_catalogue

COMPLETE = "de"
"""Language whose catalogues of pages, messages and commands name every sentence that is to be translated."""


@dataclass(frozen=True)
class LanguageGaps:
    """One language.

    Parameters
    ----------
    report, messages, pages, commands, helps : float
        Share of the texts of report and answers, of the messages, of the pages, of the lines that commands print, and
        of the helps of commands and options that it has, 0 to 1.
    lacking : tuple of str
        Keys of the report, then sentences, that it lacks.
    """

    language: str
    name: str
    report: float
    messages: float
    pages: float
    commands: float
    helps: float
    lacking: tuple[str, ...]

    def to_dict(self, *, with_keys: bool) -> dict[str, Any]:
        """As plain values."""
        told = dict(vars(self))
        return told if with_keys else {key: value for key, value in told.items() if key != "lacking"}


def gaps(language: str = "") -> tuple[LanguageGaps, ...]:
    """Every language, or one.

    Raises
    ------
    UnknownNameError
        If there is no such language.
    """
    if language and language not in LANGUAGES:
        raise UnknownNameError("language", language, LANGUAGES)
    return tuple(_gaps(one) for one in LANGUAGES if language in ("", one))


def _gaps(language: str) -> LanguageGaps:
    name = str(Locale.parse(language).get_display_name(language)).capitalize()
    if language == ORIGINAL:
        return LanguageGaps(language, name, 1.0, 1.0, 1.0, 1.0, 1.0, ())
    keys = lacking(language)
    whole = len(load_words(ORIGINAL).messages)
    parts = []
    missing = list(keys)
    for catalogue in (told_catalogue, page_catalogue, terminal_catalogue, help_catalogue):
        wanted, there = set(catalogue(COMPLETE)), set(catalogue(language))
        parts.append(len(wanted & there) / max(len(wanted), 1))
        missing += sorted(wanted - there)
    return LanguageGaps(language, name, 1.0 - len(keys) / whole, parts[0], parts[1], parts[2], parts[3], tuple(missing))
