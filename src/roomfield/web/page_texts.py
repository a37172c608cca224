"""Catalogues of texts: the English sentence is the key, other languages are JSON beside it.

Page texts are looked up as they stand. Sentences that the calls behind the pages have filled in already, such as
faults and evidence, are recognised by the pattern that they were made from.
"""

from __future__ import annotations

from functools import cache, lru_cache

from babel import Locale

from roomfield.show.words import LANGUAGES as LANGUAGES
from roomfield.show.words.told import Teller, page_catalogue, teller

NAMES = {
    language: str(Locale.parse(language).get_display_name(language)).capitalize()
    for language in sorted(LANGUAGES, key=lambda one: (one != "en", one))
}
"""Languages by their own names, in the order of the catalogues."""


OFFERED = tuple(
    language for language in NAMES if language == "en" or len(page_catalogue(language)) > len(page_catalogue("de")) / 2
)
"""Languages that a reader is offered unasked: those in which most of the pages are there."""


@cache
def catalogue(language: str) -> dict[str, str]:
    """Sentences of one language by their English wording; empty for English itself.

    Parameters
    ----------
    language : str
        ``en`` or ``de``; anything else reads as English.
    """
    if language not in LANGUAGES or language == "en":
        return {}
    return dict(page_catalogue(language))


def say(language: str, sentence: str, **values: object) -> str:
    """One sentence in a language, with its placeholders filled in.

    Parameters
    ----------
    language : str
        ``en`` or ``de``.
    sentence : str
        English wording, with ``{name}`` placeholders.
    **values
        What stands in the placeholders.
    """
    wording = catalogue(language).get(sentence, sentence)
    return wording.format(**values) if values else wording


@cache
def _teller(language: str) -> Teller:
    return teller(language, catalogue(language))


@lru_cache(maxsize=4096)
def told(language: str, sentence: str) -> str:
    """A sentence that comes filled in from a call, in the reader's language if its pattern is known.

    Parameters
    ----------
    language : str
        ``en`` or ``de``.
    sentence : str
        In English, with its values.
    """
    return _teller(language)(sentence) if language in LANGUAGES and sentence else sentence


def tongue(language: str, sentence: str) -> str:
    """The language that a told sentence ends up in, for its ``lang`` attribute."""
    return "en" if told(language, sentence) == sentence else language


def preferred(cookie: str, accept_language: str) -> str:
    """The language a reader wants: their choice, else what the browser asks for, else English.

    Parameters
    ----------
    cookie : str
        Earlier choice; empty if none.
    accept_language : str
        The browser's ``Accept-Language`` header.
    """
    if cookie in LANGUAGES:
        return cookie
    for part in accept_language.split(","):
        code = part.split(";")[0].strip().lower()[:2]
        if code in OFFERED:
            return code
    return "en"
