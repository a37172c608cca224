"""Catalogues of texts: the English sentence is the key, other languages are JSON beside it.

Page texts are looked up as they stand. Sentences that the calls behind the pages have filled in already, such as
faults and evidence, are recognised by the pattern that they were made from.
"""

from __future__ import annotations

import json
import re
from functools import cache, lru_cache, partial
from importlib.resources import files

LANGUAGES = ("en", "de")
NAMES = {"en": "English", "de": "Deutsch"}
_HOLE = re.compile(r"\{(\w+)\}")
_JOINT = "; "


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
    text = files("roomfield.web").joinpath("locale", f"{language}.json").read_text(encoding="utf-8")
    loaded: dict[str, str] = json.loads(text)
    return loaded


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
def told_catalogue(language: str) -> dict[str, str]:
    """Patterns of filled-in sentences as they stand in the file; empty for English itself.

    Parameters
    ----------
    language : str
        ``en`` or ``de``.
    """
    if language not in LANGUAGES or language == "en":
        return {}
    text = files("roomfield.web").joinpath("locale", f"told.{language}.json").read_text(encoding="utf-8")
    pairs: dict[str, str] = json.loads(text)
    return pairs


@cache
def patterns(language: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Patterns of filled-in sentences with their wording in a language, the most particular first.

    Parameters
    ----------
    language : str
        ``en`` or ``de``.
    """
    pairs = told_catalogue(language)
    ordered = sorted(pairs.items(), key=lambda pair: (-len(_HOLE.sub("", pair[0])), pair[0]))
    return tuple((_matcher(english), wording) for english, wording in ordered)


@lru_cache(maxsize=4096)
def told(language: str, sentence: str) -> str:
    """A sentence that comes filled in from a call, in the reader's language if its pattern is known.

    Parameters
    ----------
    language : str
        ``en`` or ``de``.
    sentence : str
        In English, with its values; parts joined by semicolons are taken one by one if the whole is not known.
    """
    if language == "en" or not sentence:
        return sentence
    found = catalogue(language).get(sentence) or _filled(language, sentence)
    if found is None and _JOINT in sentence:
        ending = "." if sentence.endswith(".") else ""
        parts = sentence.removesuffix(".").split(_JOINT)
        return _JOINT.join(told(language, part) for part in parts) + ending
    return sentence if found is None else found


def tongue(language: str, sentence: str) -> str:
    """The language that a told sentence ends up in, for its ``lang`` attribute."""
    return "en" if told(language, sentence) == sentence else language


def _filled(language: str, sentence: str) -> str | None:
    for matcher, wording in patterns(language):
        if match := matcher.fullmatch(sentence):
            values = {name: _filled(language, value) or value for name, value in match.groupdict().items()}
            return _HOLE.sub(partial(_poured, values), wording)
    return None


def _poured(values: dict[str, str], hole: re.Match[str]) -> str:
    return values[hole[1]]


def _matcher(english: str) -> re.Pattern[str]:
    pieces = _HOLE.split(english)
    made = "".join(
        f"(?P<{piece}>(?:(?!{_JOINT}).)+?)" if odd % 2 else re.escape(piece) for odd, piece in enumerate(pieces)
    )
    return re.compile(made, re.DOTALL)


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
        if code in LANGUAGES:
            return code
    return "en"
