"""Tables as text or as a workbook, read whole into rows of cells, with limits against hostile files."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from python_calamine import CalamineError, CalamineWorkbook

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.exchange.workbook import MOST_BYTES, MOST_COLUMNS, MOST_ROWS, refuse_unsafe_workbook, too_large
from roomfield.regular_files import refuse_irregular

Cell = Any
"""Text, number, date, time or truth value; an empty text for nothing."""

_WORKBOOK = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_FIRST_ROWS = 60
_SEPARATORS = ";\t|,"


@dataclass(frozen=True)
class RawTable:
    """A table as it stands in a file.

    Parameters
    ----------
    rows : sequence of sequences of cells
        Every row, empty ones too.
    lines : sequence of int
        The line of the file in which each row begins.
    encoding, separator, sheet : str
        How it was read; ``sheet`` for workbooks only, the others for text only.
    other_sheets : tuple of str
        Sheets of the workbook that were not read.
    """

    file_name: str
    sha256: str
    rows: Sequence[Sequence[Cell]]
    lines: Sequence[int]
    encoding: str = ""
    separator: str = ""
    sheet: str = ""
    other_sheets: tuple[str, ...] = ()


def read_table(path: Path, *, separator: str = "", sheet: str = "", encoding: str = "") -> RawTable:
    """The table in a CSV or XLSX file.

    Parameters
    ----------
    separator, encoding : str
        For text; guessed if empty.
    sheet : str
        For workbooks; the first one if empty.

    Raises
    ------
    InputError
        If the file cannot be read.
    FormatError
        If it is neither, is damaged or is too large.
    """
    content = _content(path)
    sha256 = hashlib.sha256(content).hexdigest()
    if content.startswith(_OLD_WORKBOOK):
        raise FormatError("it is a workbook of the old form.", where=path.name, mend="Save it as XLSX or CSV.")
    if content.startswith(_WORKBOOK):
        rows, name, others = _workbook(content, path.name, sheet)
        return RawTable(path.name, sha256, rows, range(1, len(rows) + 1), sheet=name, other_sheets=others)
    text, found = _decoded(content, path.name, encoding)
    used = separator or guess_separator(text)
    text_rows, lines = _text_rows(text, used, path.name)
    return RawTable(path.name, sha256, text_rows, lines, found, used)


def _content(path: Path) -> bytes:
    try:
        refuse_irregular(path)
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"it is longer than {MOST_BYTES >> 20} MiB.", where=path.name, mend="Split it.")
        return path.read_bytes()
    except OSError as fault:
        raise InputError(f"it cannot be read ({fault.strerror}).", where=path.name, mend="Check the path.") from None


def _decoded(content: bytes, where: str, encoding: str) -> tuple[str, str]:
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if content.startswith(mark):
            encoding = encoding or name
    for name in (encoding,) if encoding else ("utf-8", "cp1252"):
        try:
            text = content.decode(name)
        except (UnicodeError, LookupError):
            continue
        if "\x00" in text:
            break
        return text, name
    raise FormatError("it is no text.", where=where, mend="Give a CSV file in UTF-8, or an XLSX file.")


def guess_separator(text: str) -> str:
    """The sign between the cells: the one that splits most of the first lines into equally many."""
    return max(_SEPARATORS, key=lambda sign: (_how_even(text[:200_000], sign), -_SEPARATORS.index(sign)))


def _how_even(text: str, separator: str) -> tuple[int, int]:
    """How many of the first rows have the usual number of cells, and that number; nothing if it is one."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        counts = [len(row) for row in islice((row for row in reader if row), _FIRST_ROWS)]
    except csv.Error:
        return (0, 0)
    usual = max(set(counts), key=lambda n: (n > 1, counts.count(n), n), default=1)
    return (counts.count(usual), usual) if usual > 1 else (0, 1)


def _text_rows(text: str, separator: str, where: str) -> tuple[list[list[str]], list[int]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows: list[list[str]] = []
    lines: list[int] = []
    line = 1
    try:
        for row in reader:
            rows.append(row)
            lines.append(line)
            line = reader.line_num + 1
            if len(rows) > MOST_ROWS or len(row) > MOST_COLUMNS:
                raise too_large(where)
    except csv.Error as fault:
        raise FormatError(
            f"line {line} cannot be split into cells ({fault}).", where=where, mend="Correct it."
        ) from None
    return rows, lines


def _workbook(content: bytes, where: str, sheet: str) -> tuple[list[list[Cell]], str, tuple[str, ...]]:
    refuse_unsafe_workbook(content, where)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        names = book.sheet_names
        if sheet and sheet not in names:
            raise UnknownNameError("sheet", sheet, names, where=where)
        chosen = sheet or (names[0] if names else "")
        rows = book.get_sheet_by_name(chosen).to_python(skip_empty_area=False)
    except CalamineError as fault:
        raise FormatError(
            f"it is no readable workbook ({fault}).", where=where, mend="Save it again as XLSX."
        ) from None
    return rows, chosen, tuple(name for name in names if name != chosen)
