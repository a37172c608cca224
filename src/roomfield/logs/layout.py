"""How a table lies in its file: form, encoding, delimiter, preamble, header, first and last rows."""

from __future__ import annotations

import codecs
import csv
import gzip
import zlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import python_calamine

from roomfield.errors import FormatError
from roomfield.extras import library
from roomfield.regular_files import refuse_irregular

pa = library("pyarrow", "logs")
pq = library("pyarrow.parquet", "logs")

_HEAD_BYTES = 96_000
_TAIL_BYTES = 12_000
_DELIMITERS = (";", "\t", "|", ",", " ")
_PROBE_ROWS = 400


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


def workbook_rows(path: Path, sheet: str = "") -> tuple[str, list[list[object]]]:
    """Name and cells of one sheet.

    Raises
    ------
    FormatError
        If the workbook cannot be read or holds no such sheet.
    """
    try:
        book = python_calamine.CalamineWorkbook.from_path(str(path))
        for name in [sheet] if sheet else book.sheet_names:
            rows = [list(row) for row in book.get_sheet_by_name(name).to_python(skip_empty_area=False)]
            if rows:
                return name, rows
    except (python_calamine.CalamineError, ValueError) as fault:
        raise FormatError(
            "it cannot be read as a workbook.",
            where=path.name,
            mend="Save it as XLSX or CSV; check the sheet's name.",
        ) from fault
    raise FormatError("the workbook is empty.", where=path.name, mend="Export the log again.")


def cell_text(value: object) -> str:
    """One workbook cell as text."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _look_at_workbook(path: Path, sheet: str) -> Sample:
    name, cells = workbook_rows(path, sheet)
    rows = [[cell_text(value) for value in row] for row in cells[: _PROBE_ROWS + 50]]
    header, columns = _header(rows, path)
    first = header + 1 if header >= 0 else _first_full(rows)
    preamble = "\n".join(" ".join(filter(None, row)) for row in rows[: max(header, 0)])
    layout = Layout("workbook", columns, first, preamble=preamble, sheet=name)
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
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if b"\x00" in head:
        raise FormatError("it is not a table of text.", where=path.name, mend="Give CSV, TSV, XLSX or Parquet.")
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        decoder.decode(head)
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def _delimiter(lines: list[str], path: Path) -> str:
    best, best_score = "", 0.0
    probe = [line for line in lines[-_PROBE_ROWS:] if line.strip()]
    for rank, mark in enumerate(_DELIMITERS):
        counts = Counter(len(row) for row in csv.reader(probe, delimiter=mark))
        width, hits = counts.most_common(1)[0] if counts else (0, 0)
        score = hits / max(len(probe), 1) - 0.02 * rank
        if width >= 2 and score > best_score:
            best, best_score = mark, score
    if best_score < 0.5:
        raise FormatError(
            "no two columns were found.",
            where=path.name,
            mend="A log needs at least a time and a value in each row.",
        )
    return best


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
