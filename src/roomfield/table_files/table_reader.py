"""Tables as text or as a workbook, read whole into rows of cells, with limits against hostile files."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError
from roomfield.regular_files import whole_file
from roomfield.table_files.geopackage import BEGINS_WITH, points_as_rows, read_layer
from roomfield.table_files.text_form import encoding_of, guess_separator, no_text
from roomfield.table_files.workbook import MOST_BYTES, MOST_COLUMNS, MOST_ROWS, read_sheet, too_large

Cell = Any
"""Text, number, date, time or truth value; an empty text for nothing."""

_WORKBOOK = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


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
    """The table in a CSV or XLSX file, or the points of a GeoPackage.

    Parameters
    ----------
    separator, encoding : str
        For text; guessed if empty.
    sheet : str
        Of a workbook, or layer of a GeoPackage; the first one if empty.

    Raises
    ------
    InputError
        If the file cannot be read.
    FormatError
        If it is neither, is damaged or is too large.
    """
    content = whole_file(path, MOST_BYTES, "Split it.")
    sha256 = hashlib.sha256(content).hexdigest()
    if content.startswith(_OLD_WORKBOOK):
        raise FormatError("it is a workbook of the old form.", where=path.name, mend="Save it as XLSX or CSV.")
    if content.startswith(_WORKBOOK):
        read = read_sheet(content, path.name, sheet)
        return RawTable(
            path.name, sha256, read.rows, range(1, len(read.rows) + 1), sheet=read.name, other_sheets=read.others
        )
    if content.startswith(BEGINS_WITH):
        layer = read_layer(path, sheet)
        listed = points_as_rows(layer, path.name)
        return RawTable(path.name, sha256, listed, layer.numbered(), sheet=layer.name, other_sheets=layer.others)
    text, found = _decoded(content, path.name, encoding)
    used = separator or guess_separator(text)
    text_rows, lines = _text_rows(text, used, path.name)
    return RawTable(path.name, sha256, text_rows, lines, found, used)


def _decoded(content: bytes, where: str, encoding: str) -> tuple[str, str]:
    name = encoding or encoding_of(content, where)
    try:
        return content.decode(name), name
    except (UnicodeError, LookupError):
        raise no_text(where) from None


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
