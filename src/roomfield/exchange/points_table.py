"""A table of points of a site without a plan: where, what was read there, and of which emitter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from roomfield.errors import FormatError, InputError, RejectedRows, RowFault
from roomfield.exchange.cells import CellFault, amount, number
from roomfield.exchange.column_guess import guess_columns, is_empty, shown
from roomfield.exchange.column_mapping import ColumnMapping, MappedColumn
from roomfield.exchange.headers import VALUE_COLUMNS
from roomfield.exchange.names import plain
from roomfield.exchange.table_reader import Cell, read_table
from roomfield.quantities.convert import density_from_unit
from roomfield.survey.observation import Censoring
from roomfield.survey.reading_columns import ReadingColumn

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
    source = next((c for c in mapping.columns if plain(c.header) in EMITTER_WORDS), None)
    table = read_table(path)
    found, faults = [], []
    for line, row in zip(table.lines, table.rows, strict=True):
        if line <= mapping.header_line or is_empty(row):
            continue
        try:
            found.append(_row(line, row, mapping, axes, known[0], source))
        except CellFault as fault:
            faults.append(RowFault(line, "", "; ".join(shown(cell) for cell in row), str(fault)))
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
    table = read_table(path)
    headers = [plain(shown(cell)) for cell in table.rows[0]] if table.rows else []
    name_at = next((k for k, header in enumerate(headers) if header in EMITTER_WORDS), None)
    at = [next((k for k, header in enumerate(headers) if header.split()[:1] == [axis]), None) for axis in "xyz"]
    if name_at is None or at[0] is None or at[1] is None:
        raise FormatError("it has no columns emitter, x and y.", where=path.name, mend="Head them so, in metres.")
    found: dict[str, tuple[float, float, float]] = {}
    faults = []
    for line, row in zip(table.lines[1:], table.rows[1:], strict=True):
        if is_empty(row):
            continue
        try:
            x, y, z = (0.0 if k is None or k >= len(row) else _metres(row[k], ".") for k in at)
            found[shown(row[name_at])] = (x, y, z)
        except CellFault as fault:
            faults.append(RowFault(line, "", "; ".join(shown(cell) for cell in row), str(fault)))
    if faults:
        raise RejectedRows(faults, where=path.name, mend="Correct these rows.")
    return found


def _row(
    line: int,
    row: Sequence[Cell],
    mapping: ColumnMapping,
    axes: Sequence[MappedColumn | None],
    value: MappedColumn,
    source: MappedColumn | None,
) -> PointRow:
    x, y, z = (0.0 if c is None else _metres(_cell(row, c), mapping.decimal) for c in axes)
    read = amount(_cell(row, value), mapping.decimal, mapping.grouped)
    if read is not None and read.number is None:
        raise CellFault("a bound without its number; write it as '< 0.1' or '> 2000'")
    emitter = "" if source is None else shown(_cell(row, source))
    if read is None or read.number is None:
        return PointRow(line, (x, y, z), None, Censoring.NONE, emitter)
    density = float(density_from_unit(read.number, value.unit))
    if density <= 0.0:
        raise CellFault("a level of 0 has no decibels; write it as a bound, such as '< 0.1'")
    return PointRow(line, (x, y, z), density, read.censoring, emitter)


def _cell(row: Sequence[Cell], column: MappedColumn) -> Cell:
    return row[column.index] if column.index < len(row) else ""


def _metres(cell: Cell, decimal: str) -> float:
    return float(cell) if isinstance(cell, (int, float)) else number(str(cell), decimal, grouped=False)
