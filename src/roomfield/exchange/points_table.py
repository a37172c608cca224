"""A table of points of a site without a plan: where, what was read there, and of which emitter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from roomfield.errors import FormatError, InputError, RejectedRows, RowFault
from roomfield.exchange.names import plain
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.convert import density_from_unit
from roomfield.survey.reading_columns import ReadingColumn
from roomfield.table_files.cells import CellFault, amount, number
from roomfield.table_files.column_guess import guess_columns, is_empty, shown
from roomfield.table_files.column_mapping import ColumnMapping, MappedColumn
from roomfield.table_files.reading_scheme import VALUE_COLUMNS
from roomfield.table_files.table_reader import Cell, read_table

EMITTER_WORDS = frozenset({"emitter", "transmitter", "source", "sender", "quelle", "strahler"})
AXES = (ReadingColumn.X, ReadingColumn.Y, ReadingColumn.Z)


@dataclass(frozen=True)
class PointRow:
    """One line of the table.

    Parameters
    ----------
    xyz : tuple of float
        Where [m]; a height that is not given is 0.
    density_w_m2 : float or None
        What was read [W/m²], or the bound if censored; None where a level is only asked for.
    censoring : Censoring
        Whether the reading is a bound.
    emitter : str
        Whose level it is; empty if the table names none.
    """

    line: int
    xyz: tuple[float, float, float]
    density_w_m2: float | None
    censoring: Censoring
    emitter: str


def read_points(path: Path) -> tuple[PointRow, ...]:
    """Points with readings, and points where a level is asked for: those whose reading is left empty.

    Parameters
    ----------
    path : Path
        CSV or XLSX with the columns x and y [m], z if known, one column of values whose header names its unit, and a
        column ``emitter`` if the readings belong to several.

    Raises
    ------
    FormatError, InputError
        If a column is missing or open.
    RejectedRows
        With every faulty row.
    """
    mapping = guess_columns(path)
    axes = [mapping.first(axis) for axis in AXES]
    values = [c for c in mapping.columns if c.column in VALUE_COLUMNS]
    if axes[0] is None or axes[1] is None:
        raise FormatError("it has no columns x and y.", where=path.name, mend="Head two columns x and y, in metres.")
    known = [c for c in values if c.unit]
    if len(known) != 1:
        raise InputError(
            f"it has {len(known)} columns of readings with a known unit.",
            where=path.name,
            mend="Give one column of readings and its unit in the header, such as 'peak [µW/m²]'.",
        )
    if not mapping.decimal:
        raise InputError("the decimal sign is open.", where=path.name, mend="Write numbers with a decimal point.")
    source = _source_of(mapping)
    found, faults = [], []
    for line, row in _rows_below(path, mapping):
        try:
            found.append(_row(line, row, mapping, axes, known[0], source))
        except CellFault as fault:
            faults.append(_unread(line, row, fault))
    if faults:
        raise RejectedRows(faults, where=path.name, mend="Correct these rows.")
    return tuple(found)


def read_positions(path: Path) -> dict[str, tuple[float, float, float]]:
    """Positions of emitters by name [m], from a table with the columns emitter, x, y and, if known, z.

    Raises
    ------
    FormatError
        If a column is missing.
    RejectedRows
        With every faulty row.
    """
    mapping = guess_columns(path)
    source = _source_of(mapping)
    axes = [mapping.first(axis) for axis in AXES]
    if source is None or axes[0] is None or axes[1] is None:
        raise FormatError("it has no columns emitter, x and y.", where=path.name, mend="Head them so, in metres.")
    found: dict[str, tuple[float, float, float]] = {}
    faults = []
    for line, row in _rows_below(path, mapping):
        try:
            found[shown(_cell(row, source))] = _point(row, axes, ".")
        except CellFault as fault:
            faults.append(_unread(line, row, fault))
    if faults:
        raise RejectedRows(faults, where=path.name, mend="Correct these rows.")
    return found


def _rows_below(path: Path, mapping: ColumnMapping) -> Iterator[tuple[int, Sequence[Cell]]]:
    """Line and cells of each row under the headings."""
    table = read_table(path)
    for line, row in zip(table.lines, table.rows, strict=True):
        if line > mapping.header_line and not is_empty(row):
            yield line, row


def _source_of(mapping: ColumnMapping) -> MappedColumn | None:
    return next((c for c in mapping.columns if plain(c.header) in EMITTER_WORDS), None)


def _unread(line: int, row: Sequence[Cell], fault: CellFault) -> RowFault:
    return RowFault(line, "", "; ".join(shown(cell) for cell in row), str(fault))


def _point(row: Sequence[Cell], axes: Sequence[MappedColumn | None], decimal: str) -> tuple[float, float, float]:
    x, y, z = (0.0 if c is None else _metres(_cell(row, c), decimal) for c in axes)
    return x, y, z


def _row(
    line: int,
    row: Sequence[Cell],
    mapping: ColumnMapping,
    axes: Sequence[MappedColumn | None],
    value: MappedColumn,
    source: MappedColumn | None,
) -> PointRow:
    point = _point(row, axes, mapping.decimal)
    read = amount(_cell(row, value), mapping.decimal, mapping.grouped)
    if read is not None and read.number is None:
        raise CellFault("a bound without its number; write it as '< 0.1' or '> 2000'")
    emitter = "" if source is None else shown(_cell(row, source))
    if read is None or read.number is None:
        return PointRow(line, point, None, Censoring.NONE, emitter)
    density = float(density_from_unit(read.number, value.unit))
    if density <= 0.0:
        raise CellFault("a level of 0 has no decibels; write it as a bound, such as '< 0.1'")
    return PointRow(line, point, density, read.censoring, emitter)


def _cell(row: Sequence[Cell], column: MappedColumn) -> Cell:
    return row[column.index] if column.index < len(row) else ""


def _metres(cell: Cell, decimal: str) -> float:
    return float(cell) if isinstance(cell, (int, float)) else number(str(cell), decimal, grouped=False)
