"""Which sign is the decimal sign of a table, and whether the other one groups thousands."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

_POINT = re.compile(r"\d*\.(?:\d{1,2}|\d{4,})(?!\d)|(?<!\d)0\.\d+|\d,\d{3}\.\d|\.\d+[eE]")
_COMMA = re.compile(r"\d*,(?:\d{1,2}|\d{4,})(?!\d)|(?<!\d)0,\d+|\d\.\d{3},\d|,\d+[eE]")
_NUMBER_LIKE = re.compile(r"[<>≤≥=]*\s*[+-]?[\d.,'’ \u00a0\u202f]*\d(?:[eE][+-]?\d+)?")
_UNCLEAR = re.compile(r"\d[.,]\d")
_GROUPED = {".": re.compile(r"\d,\d{3}\.\d|\d,\d{3},\d{3}"), ",": re.compile(r"\d\.\d{3},\d|\d\.\d{3}\.\d{3}")}


@dataclass(frozen=True)
class DecimalGuess:
    """What the cells of a table tell about its decimal sign.

    Parameters
    ----------
    sign : str
        ``.`` or ``,``; empty if the cells could be read in two ways.
    grouped : bool
        True if the other sign groups thousands.
    because : str
        From which cells; empty if no cell has such a sign.
    unclear : str
        The cells that could be read in two ways, parted by blanks; empty if the sign is known.
    """

    sign: str
    grouped: bool = False
    because: str = ""
    unclear: str = ""


def looks_like_number(text: str) -> bool:
    """Whether a cell is a number in any way of writing it, with a sign for a bound or without.

    Parameters
    ----------
    text : str
        The cell, outer blanks removed.
    """
    return _NUMBER_LIKE.fullmatch(text) is not None


def guess_decimal(texts: Iterable[str]) -> DecimalGuess:
    """The decimal sign that the cells of a table speak for.

    Parameters
    ----------
    texts : iterable of str
        Cells with numbers, as they are written.
    """
    cells = set(texts)
    points = sorted(text for text in cells if _POINT.search(text))
    commas = sorted(text for text in cells if _COMMA.search(text) and text not in points)
    if points and commas:
        usual, rest = (points, commas) if len(points) >= len(commas) else (commas, points)
        because = f"{len(usual)} values such as {usual[0]}; but {len(rest)} such as {rest[0]} speak against it"
        return DecimalGuess("." if usual is points else ",", False, because)
    for sign, speaking in ((",", commas), (".", points)):
        if speaking:
            grouped = any(_GROUPED[sign].search(text) for text in cells)
            return DecimalGuess(sign, grouped, f"values such as {speaking[0]}")
    unclear = sorted(text for text in cells if _UNCLEAR.search(text))
    if unclear:
        return DecimalGuess("", False, f"values such as {unclear[0]} do not tell", " ".join(unclear))
    return DecimalGuess(".")
