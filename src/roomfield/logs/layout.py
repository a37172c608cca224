"""How a table lies in its file: form, encoding, delimiter, preamble, header, first and last rows."""

from __future__ import annotations

import csv
import gzip
import zlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError
from roomfield.extras import library
from roomfield.regular_files import refuse_irregular
from roomfield.table_files.text_form import FIRST_ROWS, SEPARATORS, encoding_of, evenness, guess_separator
from roomfield.table_files.workbook import SheetRows, read_sheet

pa = library("pyarrow", "logs")
pq = library("pyarrow.parquet", "logs")

_HEAD_BYTES = 96_000
_TAIL_BYTES = 12_000
_PROBE_ROWS = 400
MOST_LOG_ROWS = 1 << 20
"""As many as a sheet of a workbook can have."""


@dataclass(frozen=True)
class Layout:
    """Where the rows of a table are found.

    Parameters
    ----------
    form : str
        ``text``, ``parquet`` or ``workbook``.
    encoding : str
        Text only: ``utf-8``, ``utf-16`` or ``latin-1``.
    delimiter : str
        Text only.
    first_row : int
        Lines before the first row of values.
    columns : tuple of str
        Names in order; ``column 1`` and so on where the file has none.
    preamble : str
        Lines above the header, as text.
    sheet : str
        Workbook only.
    """

    form: str
    columns: tuple[str, ...]
    first_row: int = 0
    encoding: str = "utf-8"
    delimiter: str = ","
    preamble: str = ""
    sheet: str = ""


@dataclass(frozen=True)
class Sample:
    """A layout with rows from the beginning and the end of the table, as text."""

    layout: Layout
    head: tuple[tuple[str, ...], ...]
    tail: tuple[tuple[str, ...], ...] = ()

    def column(self, index: int) -> tuple[str, ...]:
        """The sampled cells of one column, outer blanks removed."""
        return tuple(row[index].strip() for row in (*self.head, *self.tail) if index < len(row))


def look_at(path: Path, sheet: str = "") -> Sample:
    """Find the layout of a file and read a sample of its rows.

    Parameters
    ----------
    path : Path
        CSV, TSV, other delimited text (also gzip-compressed), Parquet or XLSX.
    sheet : str
        Sheet of a workbook; empty takes the first that is not empty.

    Raises
    ------
    FormatError
        If the file is missing, empty or not a table.
    """
    if not path.is_file():
        raise FormatError("there is no such file.", where=str(path), mend="Check the name.")
    refuse_irregular(path)
    with path.open("rb") as stream:
        magic = stream.read(4)
    if not magic:
        raise FormatError("the file is empty.", where=path.name, mend="Export the log again.")
    if magic == b"PAR1":
        return _look_at_parquet(path)
    if magic == b"PK\x03\x04":
        return _look_at_workbook(path, sheet)
    return _look_at_text(path)


def _look_at_parquet(path: Path) -> Sample:
    try:
        file = pq.ParquetFile(path)
        columns = tuple(str(name) for name in file.schema_arrow.names)
        rows = next(file.iter_batches(batch_size=_PROBE_ROWS), None)
    except (pa.ArrowInvalid, OSError) as fault:
        raise FormatError(
            "it begins like Parquet but cannot be read.", where=path.name, mend="Copy it again."
        ) from fault
    cells = [] if rows is None else [[_shown(value) for value in column] for column in rows.columns]
    return Sample(Layout("parquet", columns), tuple(zip(*cells, strict=True)))


def _shown(value: Any) -> str:
    try:
        plain = value.as_py()
    except (OverflowError, ValueError):  # a stamp beyond every date; the rows around it say what the column is
        return ""
    return "" if plain is None else str(plain)


def log_sheet(path: Path, sheet: str = "") -> SheetRows:
    """One sheet of a workbook that holds a log.

    Parameters
    ----------
    path : Path
        The workbook.
    sheet : str
        Name of the sheet; the first that is not empty if left out.

    Raises
    ------
    FormatError
        If the workbook cannot be read safely and wholly, or is empty.
    UnknownNameError
        If there is no such sheet.
    """
    read = read_sheet(path.read_bytes(), path.name, sheet, MOST_LOG_ROWS)
    if not read.rows:
        raise FormatError("the workbook is empty.", where=path.name, mend="Export the log again.")
    return read


def cell_text(value: object) -> str:
    """One workbook cell as text."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _look_at_workbook(path: Path, sheet: str) -> Sample:
    read = log_sheet(path, sheet)
    cells = read.rows
    rows = [[cell_text(value) for value in row] for row in cells[: _PROBE_ROWS + 50]]
    header, columns = _header(rows, path)
    first = header + 1 if header >= 0 else _first_full(rows)
    preamble = "\n".join(" ".join(filter(None, row)) for row in rows[: max(header, 0)])
    layout = Layout("workbook", columns, first, preamble=preamble, sheet=read.name)
    tail = [[cell_text(value) for value in row] for row in cells[-20:]] if len(cells) > len(rows) else []
    return Sample(layout, tuple(map(tuple, rows[first:])), tuple(map(tuple, tail)))


def _look_at_text(path: Path) -> Sample:
    head, tail = _ends(path)
    encoding = _encoding(head, path)
    lines = head.decode(encoding, errors="ignore").lstrip("\ufeff").splitlines()
    if len(head) >= _HEAD_BYTES and len(lines) > 1:
        lines = lines[:-1]
    lines = lines[: _PROBE_ROWS + 60]
    delimiter = _delimiter(lines, path)
    rows = list(csv.reader(lines, delimiter=delimiter))
    header, columns = _header(rows, path)
    first = header + 1 if header >= 0 else _first_full(rows)
    layout = Layout("text", columns, first, encoding, delimiter, "\n".join(lines[: max(header, 0)]))
    last = list(csv.reader(tail.decode(encoding, errors="ignore").splitlines()[1:-1], delimiter=delimiter))
    body = [row for row in rows[first:] if len(row) == len(columns)]
    return Sample(layout, tuple(map(tuple, body)), tuple(tuple(row) for row in last if len(row) == len(columns)))


def _ends(path: Path) -> tuple[bytes, bytes]:
    with path.open("rb") as stream:
        if stream.read(2) == b"\x1f\x8b":
            try:
                with gzip.open(path) as packed:
                    return packed.read(_HEAD_BYTES), b""
            except (OSError, EOFError, zlib.error) as fault:
                raise FormatError("the compressed file is damaged.", where=path.name, mend="Copy it again.") from fault
        stream.seek(0)
        head = stream.read(_HEAD_BYTES)
        size = path.stat().st_size
        if size <= _HEAD_BYTES + _TAIL_BYTES:
            return head, b""
        stream.seek(size - _TAIL_BYTES - size % 2)
        return head, stream.read()


def _encoding(head: bytes, path: Path) -> str:
    """The encoding as DuckDB names it; what is no UTF goes as Latin-1, which has all letters of units alike."""
    found = encoding_of(head, path.name)
    return {"utf-8-sig": "utf-8", "cp1252": "latin-1"}.get(found, found)


def _delimiter(lines: list[str], path: Path) -> str:
    probe = [line for line in lines[-_PROBE_ROWS:] if line.strip()]
    text = "\n".join(probe)
    for signs in (SEPARATORS, " "):
        sign = guess_separator(text, signs)
        if 2 * evenness(text, sign)[0] >= min(len(probe), FIRST_ROWS):
            return sign
    raise FormatError(
        "no two columns were found.",
        where=path.name,
        mend="A log needs at least a time and a value in each row.",
    )


def _numeric(text: str) -> bool:
    try:
        float(text.strip().replace(",", "."))
    except ValueError:
        return False
    return True


def _valuelike(text: str) -> bool:
    """Whether a cell looks like data rather than like a heading."""
    text = text.strip()
    return _numeric(text) or (sum(c.isdigit() for c in text) >= 4 and any(c in text for c in ":-/."))


def _first_full(rows: list[list[str]]) -> int:
    width = _width(rows)
    return next(i for i, row in enumerate(rows) if len(row) == width)


def _width(rows: list[list[str]]) -> int:
    return Counter(len(row) for row in rows if any(cell.strip() for cell in row)).most_common(1)[0][0]


def _header(rows: list[list[str]], path: Path) -> tuple[int, tuple[str, ...]]:
    """Index of the heading line, -1 if there is none, and the column names."""
    if not rows:
        raise FormatError("it holds no rows.", where=path.name, mend="Export the log again.")
    width = _width(rows)
    unnamed = tuple(f"column {i + 1}" for i in range(width))
    for i, row in enumerate(rows):
        if len(row) != width or not any(cell.strip() for cell in row):
            continue
        if any(_valuelike(cell) for cell in row):
            return -1, unnamed
        filled = sum(bool(cell.strip()) for cell in row)
        following = next((later for later in rows[i + 1 :] if len(later) == width), None)
        if filled >= max(2, width - 1) and following is not None and any(map(_valuelike, following)):
            return i, tuple(cell.strip() or unnamed[j] for j, cell in enumerate(row))
    raise FormatError(
        "no row of values was found.", where=path.name, mend="A log needs a time and a value in each row."
    )
