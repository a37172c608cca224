"""Text that the page's fonts can show: what they cannot is named in brackets, never dropped."""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from functools import lru_cache
from importlib import resources


@lru_cache(maxsize=1)
def _ranges() -> tuple[tuple[int, ...], tuple[int, ...]]:
    """First and last code points of what the fonts show, from the data file beside this module."""
    text = (resources.files("roomfield.report.render") / "displayable.txt").read_text(encoding="ascii")
    pairs = [line.split("-") for line in text.split() if line and not line.startswith("#")]
    return tuple(int(p[0], 16) for p in pairs), tuple(int(p[-1], 16) for p in pairs)


@lru_cache(maxsize=4096)
def displayable(character: str) -> bool:
    """Whether the page's fonts have a glyph for a character.

    Parameters
    ----------
    character : str
        One character.
    """
    code = ord(character)
    if 0x20 <= code < 0x7F:
        return True
    firsts, lasts = _ranges()
    index = bisect_right(firsts, code) - 1
    return index >= 0 and code <= lasts[index]


@lru_cache(maxsize=4096)
def named(character: str) -> str:
    """What stands for a character that cannot be shown.

    Parameters
    ----------
    character : str
        One character.
    """
    if character in "\n\t\r\u2028\u2029":
        return " "
    if character == "\ufe0f" or character == "\ufe0e":
        return ""
    name = unicodedata.name(character, "").lower()
    if not name or name.startswith(("cjk ", "hangul ")):
        return f"[U+{ord(character):04X}]"
    return f"[{name}]"


_LONG = re.compile(r"[^\s\u200b]{41,}")
_JOINED = re.compile(r"[\w./-]{16,}")
_JOINT = re.compile(r"([_/-])(?=\w)")
_STRETCH = 16


def breakable(text: str) -> str:
    """Text in which endless words may be broken; an ordinary word stays as it is.

    Parameters
    ----------
    text : str
        Any text.
    """
    joined = _JOINED.sub(lambda found: _JOINT.sub("\\1\u200b", found.group()), text)
    return _LONG.sub(lambda found: "\u200b".join(_cut(found.group())), joined)


def unbroken(text: str) -> str:
    """Text without the break points of :func:`breakable`."""
    return text.replace("\u200b", "")


def _cut(word: str) -> list[str]:
    return [word[i : i + _STRETCH] for i in range(0, len(word), _STRETCH)]


def plain(text: str) -> str:
    """Text in composed form in which every character can be shown.

    Parameters
    ----------
    text : str
        Any text.
    """
    if text.isascii() and text.isprintable():
        return text
    composed = unicodedata.normalize("NFC", text)
    return composed.translate({ord(ch): named(ch) for ch in set(composed) if not displayable(ch)})


def strictly_plain(text: str) -> str:
    """As :func:`plain`, but combining marks and all but the commonest scripts are named as well.

    Parameters
    ----------
    text : str
        Any text.
    """
    composed = unicodedata.normalize("NFC", text)
    kept = (ch if displayable(ch) and (ord(ch) < 0x250 or 0x2000 <= ord(ch) < 0x2300) else named(ch) for ch in composed)
    return "".join(kept)
