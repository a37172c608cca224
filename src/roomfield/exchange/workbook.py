"""Guards before a workbook is read: bombs, and cells that would silently come out empty."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass

from roomfield.errors import FormatError

MOST_BYTES = 256 * 2**20
MOST_ROWS = 1_000_000
MOST_COLUMNS = 200
MOST_CELLS = 20_000_000
_CHUNK = 1 << 20
_OVERLAP = 8192
_CELL_NAME = re.compile(rb"""\br\s*=\s*["']([A-Z]{1,3})([0-9]{1,7})["']""")
_ERROR_CELL = re.compile(rb"""<(?:\w+:)?c\b[^>]*\bt\s*=\s*["']e["'][^>]*>""")
_FORMULA_CELL = re.compile(
    rb"<(?:\w+:)?c\b([^>]*)>\s*<(?:\w+:)?f\b[^<]*(?:</(?:\w+:)?f>)?\s*(?:<v\s*/>|<v>\s*</v>)?\s*</(?:\w+:)?c>"
)
_TEXT_RESULT = re.compile(rb"""\bt\s*=\s*["']str["']""")


@dataclass
class _Extent:
    rows: int = 0
    columns: int = 0

    def widen(self, part: bytes) -> None:
        found = _CELL_NAME.findall(part)
        self.rows = max(self.rows, max((int(row) for _, row in found), default=0))
        names = {name for name, _ in found}
        self.columns = max(self.columns, max((column_number(name) for name in names), default=0))

    def too_large(self) -> bool:
        return self.rows > MOST_ROWS or self.columns > MOST_COLUMNS or self.rows * self.columns > MOST_CELLS


def too_large(where: str) -> FormatError:
    """The refusal of a table with too many rows or columns."""
    return FormatError(
        f"it has more than {MOST_ROWS} rows, {MOST_COLUMNS} columns or {MOST_CELLS} cells.",
        where=where,
        mend="Split it, or remove the rest.",
    )


def refuse_unsafe_workbook(content: bytes, where: str) -> None:
    """Unpack a workbook once, keeping nothing, and refuse what cannot be read safely and wholly.

    A small file may unpack to gigabytes, or hold one cell in the last row and column. Cells with an error,
    and formulas that were never calculated, would be read as empty.

    Raises
    ------
    FormatError
        Saying which of these it is.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            left = 2 * MOST_BYTES
            for entry in archive.infolist():
                left -= _inspect(archive, entry, left, where)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError) as fault:
        raise FormatError(
            f"it is no readable workbook ({fault}).", where=where, mend="Save it again as XLSX."
        ) from None


def _inspect(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, left: int, where: str) -> int:
    """Length of one file in the workbook, once it has been looked through."""
    length, tail, extent = 0, b"", _Extent()
    is_sheet = "worksheets" in entry.filename
    with archive.open(entry) as source:
        while chunk := source.read(_CHUNK):
            length += len(chunk)
            if length > left:
                raise FormatError(f"unpacked it is longer than {MOST_BYTES >> 19} MiB.", where=where, mend="Split it.")
            if is_sheet:
                extent.widen(tail[-32:] + chunk)
                _refuse_lost_cells(tail + chunk, where)
                tail = chunk[-_OVERLAP:]
            if extent.too_large():
                raise too_large(where)
    return length


def _refuse_lost_cells(part: bytes, where: str) -> None:
    error = _ERROR_CELL.search(part)
    if error:
        raise FormatError(
            f"cell {_name_in(error.group())} holds an error instead of a value.",
            where=where,
            mend="Correct it.",
        )
    for formula in _FORMULA_CELL.finditer(part):
        if not _TEXT_RESULT.search(formula[1]):
            raise FormatError(
                f"the formula in cell {_name_in(formula[1])} has not been calculated.",
                where=where,
                mend="Open the file in a spreadsheet program and save it again.",
            )


def _name_in(tag: bytes) -> str:
    found = _CELL_NAME.search(tag)
    return (found[1] + found[2]).decode("ascii") if found else "(unnamed)"


def column_number(name: bytes) -> int:
    """Number of a column from its letters: 1 for A, 27 for AA."""
    number = 0
    for letter in name:
        number = number * 26 + letter - 64
    return number
