"""A workbook's sheet as rows of cells, after guards: bombs, and cells that would silently come out empty."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from typing import Any

from roomfield.errors import FormatError, UnknownNameError
from roomfield.extras import library

calamine = library("python_calamine", "workbooks")

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

    def too_large(self, most_rows: int) -> bool:
        return self.rows > most_rows or self.columns > MOST_COLUMNS or self.rows * self.columns > MOST_CELLS


def too_large(where: str) -> FormatError:
    """The refusal of a table with too many rows or columns."""
    return FormatError(
        f"it has more than {MOST_ROWS} rows, {MOST_COLUMNS} columns or {MOST_CELLS} cells.",
        where=where,
        mend="Split it, or remove the rest.",
    )


@dataclass(frozen=True)
class SheetRows:
    """One sheet of a workbook.

    Parameters
    ----------
    name : str
        Its name.
    rows : list of lists of cells
        Every row, empty ones too; an empty text for an empty cell.
    others : tuple of str
        Sheets that were not read.
    """

    name: str
    rows: list[list[Any]]
    others: tuple[str, ...]


def read_sheet(content: bytes, where: str, sheet: str = "", most_rows: int = MOST_ROWS) -> SheetRows:
    """One sheet, once the workbook was looked through.

    Parameters
    ----------
    content : bytes
        The file.
    where : str
        Its name, for messages.
    sheet : str
        Name of the sheet; the first that is not empty if left out.
    most_rows : int
        Rows of a sheet that are still read.

    Raises
    ------
    FormatError
        If it cannot be read safely and wholly.
    UnknownNameError
        If there is no such sheet.
    """
    refuse_unsafe_workbook(content, where, most_rows)
    try:
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(content))
        names = list(book.sheet_names)
        if sheet and sheet not in names:
            raise UnknownNameError("sheet", sheet, names, where=where)
        chosen, rows = sheet, []
        for chosen in [sheet] if sheet else names:
            rows = book.get_sheet_by_name(chosen).to_python(skip_empty_area=False)
            if rows:
                break
    except calamine.CalamineError as fault:
        raise FormatError(
            f"it is no readable workbook ({fault}).", where=where, mend="Save it again as XLSX."
        ) from None
    return SheetRows(chosen, rows, tuple(name for name in names if name != chosen))


def refuse_unsafe_workbook(content: bytes, where: str, most_rows: int = MOST_ROWS) -> None:
    """Unpack a workbook once, keeping nothing, and refuse what cannot be read safely and wholly.

    A small file may unpack to gigabytes, or hold one cell in the last row and column. Cells with an error,
    and formulas that were never calculated, would be read as empty.

    Parameters
    ----------
    content : bytes
        The file.
    where : str
        Its name, for messages.
    most_rows : int
        Rows of a sheet that are still read.

    Raises
    ------
    FormatError
        Saying which of these it is.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            left = 2 * MOST_BYTES
            for entry in archive.infolist():
                left -= _inspect(archive, entry, left, where, most_rows)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError) as fault:
        raise FormatError(
            f"it is no readable workbook ({fault}).", where=where, mend="Save it again as XLSX."
        ) from None


def _inspect(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, left: int, where: str, most_rows: int) -> int:
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
            if extent.too_large(most_rows):
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
