"""How a table lies in a text: its encoding, and the sign between its cells."""

from __future__ import annotations

import codecs
import csv
import io
from itertools import islice

from roomfield.errors import FormatError

SEPARATORS = ";\t|,"
FIRST_ROWS = 60
_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_MOST_LETTERS = 200_000


def no_text(where: str) -> FormatError:
    """The refusal of a file whose bytes are no text.

    Parameters
    ----------
    where : str
        Name of the file.
    """
    return FormatError("it is no text.", where=where, mend="Give a CSV file in UTF-8, or an XLSX file.")


def encoding_of(content: bytes, where: str) -> str:
    """The encoding of a text: by its mark, else UTF-8 if it can be that, else the one of western European tables.

    Parameters
    ----------
    content : bytes
        The text, or its beginning.
    where : str
        Name of the file, for messages.

    Raises
    ------
    FormatError
        If it is no text.
    """
    for mark, name in _MARKS:
        if content.startswith(mark):
            return name
    if b"\x00" in content:
        raise no_text(where)
    try:
        codecs.getincrementaldecoder("utf-8")().decode(content)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def guess_separator(text: str, signs: str = SEPARATORS) -> str:
    """The sign between the cells: the one that splits most of the first lines into equally many.

    Parameters
    ----------
    text : str
        The table, or its beginning.
    signs : str
        The signs that come in question; of equals the first one is taken.
    """
    return max(signs, key=lambda sign: (evenness(text[:_MOST_LETTERS], sign), -signs.index(sign)))


def evenness(text: str, sign: str) -> tuple[int, int]:
    """How many of the first rows have the usual number of cells, and that number; (0, 1) if it is one.

    Parameters
    ----------
    text : str
        The table, or its beginning.
    sign : str
        What is taken to part the cells.
    """
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=sign)
        counts = [len(row) for row in islice((row for row in rows if row), FIRST_ROWS)]
    except csv.Error:
        return (0, 0)
    usual = max(set(counts), key=lambda n: (n > 1, counts.count(n), n), default=1)
    return (counts.count(usual), usual) if usual > 1 else (0, 1)
