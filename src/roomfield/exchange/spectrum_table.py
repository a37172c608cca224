"""Tables of a frequency-selective instrument: traces, levels by band, factors of antennas and cables, lists of bands.

No maker's file is imitated: any table with headings is read, and what its headings leave open is asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from roomfield.errors import FormatError, InputError, RejectedRows, RowFault
from roomfield.exchange.names import KINDS, plain
from roomfield.extras import library
from roomfield.instrument.receiving_chain import FactorCurve
from roomfield.quantities.kind import Kind
from roomfield.table_files.cells import Amount, CellFault, amount, number
from roomfield.table_files.column_guess import guess_columns, is_empty, shown
from roomfield.table_files.column_mapping import ColumnMapping, MappedColumn, confirmed_table
from roomfield.table_files.headings import unit_or_nothing
from roomfield.table_files.spectrum_scheme import (
    ANTENNA_OR_CABLE,
    BANDS,
    FACTORS,
    FREQUENCY_UNITS,
    LEVELS,
    SPECTRUM,
    SpectrumColumn,
)
from roomfield.table_files.table_reader import Cell

_KIND_OF = {
    SpectrumColumn.PEAK: Kind.PEAK,
    SpectrumColumn.HIGHEST_HELD: Kind.HIGHEST_HELD,
    SpectrumColumn.AVERAGE: Kind.AVERAGE,
}
_MOST_HZ = 3e12

two_ports = library("skrf.io.touchstone", "touchstone")
TOUCHSTONE = ".s2p"
_MEASURE = "Measure the cable again."


@dataclass(frozen=True, slots=True)
class SpectrumValue:
    """One level of a table, as it stands there.

    Parameters
    ----------
    line : int
        In the file.
    low_hz, high_hz : float
        Ends of the band; the same frequency twice for a point of a trace [Hz].
    band, place, state : str
        As written; empty if the table does not say.
    kind : Kind or None
        None if the table does not say.
    amount : Amount
        The number in its unit, or a bound.
    unit : str
        Of a level: dBm, dBuV, or one of power density or field strength.
    factor_db, loss_db : float or None
        Antenna factor [dB/m] and loss [dB] in the same row.
    """

    line: int
    low_hz: float
    high_hz: float
    band: str
    place: str
    state: str
    kind: Kind | None
    amount: Amount
    unit: str
    factor_db: float | None = None
    loss_db: float | None = None


@dataclass(frozen=True)
class NamedBand:
    """A band and what it is called [Hz]."""

    name: str
    low_hz: float
    high_hz: float


def read_spectrum(path: Path, mapping: ColumnMapping, *, confirmed: bool) -> tuple[SpectrumValue, ...]:
    """Every level of a table, as a confirmed mapping says.

    Parameters
    ----------
    path : Path
        The file that the mapping was made from.
    mapping : ColumnMapping
        Guessed with the scheme `SPECTRUM`, without open questions.
    confirmed : bool
        True once the user has seen the mapping and agreed.

    Raises
    ------
    TooEarlyError, InputError
        As `confirmed_table`.
    RejectedRows
        With every faulty row.
    """
    table = confirmed_table(path, mapping, confirmed=confirmed)
    found: list[SpectrumValue] = []
    faults: list[RowFault] = []
    for line, row in zip(table.lines, table.rows, strict=True):
        if line > mapping.header_line and not is_empty(row):
            try:
                found += _values(line, row, mapping)
            except CellFault as fault:
                faults.append(RowFault(line, "", "; ".join(shown(cell) for cell in row)[:200], str(fault)))
    if faults:
        raise RejectedRows(faults, where=path.name, mend="Correct these rows.")
    if not found:
        raise FormatError("it holds no levels.", where=path.name, mend="Give one with rows of values.")
    return tuple(found)


def _values(line: int, row: Sequence[Cell], mapping: ColumnMapping) -> Iterator[SpectrumValue]:
    low, high = _ends(row, mapping)
    words = {column: _text(row, mapping, column) for column in (SpectrumColumn.BAND, SpectrumColumn.PLACE,
                                                                SpectrumColumn.STATE, SpectrumColumn.KIND,
                                                                SpectrumColumn.UNIT)}  # fmt: skip
    for mapped in mapping.columns:
        if mapped.column not in LEVELS:
            continue
        found = amount(_cell(row, mapped), mapping.decimal, mapping.grouped)
        if found is None:
            continue
        if found.number is None:
            raise CellFault("a bound without its number; write it as '< 0.1' or '> 2000'")
        unit = mapped.unit or _unit(words[SpectrumColumn.UNIT])
        kind = _KIND_OF.get(SpectrumColumn(mapped.column)) or _kind(words[SpectrumColumn.KIND])
        factor, loss = (_optional(row, mapping, column) for column in (SpectrumColumn.FACTOR, SpectrumColumn.LOSS))
        yield SpectrumValue(
            line, low, high, words[SpectrumColumn.BAND], words[SpectrumColumn.PLACE], words[SpectrumColumn.STATE],
            kind, found, unit, factor, loss,
        )  # fmt: skip


def _ends(row: Sequence[Cell], mapping: ColumnMapping) -> tuple[float, float]:
    if mapping.first(SpectrumColumn.LOW) is not None:
        low, high = (_hertz(row, mapping, end) for end in (SpectrumColumn.LOW, SpectrumColumn.HIGH))
        if not low < high:
            raise CellFault("the band ends where it begins, or before")
        return low, high
    at = _hertz(row, mapping, SpectrumColumn.FREQUENCY)
    return at, at


def _hertz(row: Sequence[Cell], mapping: ColumnMapping, column: SpectrumColumn) -> float:
    mapped = mapping.first(column)
    found = None if mapped is None else _optional(row, mapping, column)
    if mapped is None or found is None:
        raise CellFault("it names no frequency")
    hertz = found * FREQUENCY_UNITS[mapped.unit]
    if not 1e3 <= hertz <= _MOST_HZ:
        raise CellFault(f"{hertz:g} Hz is no frequency from 1 kHz to 3 THz")
    return hertz


def _optional(row: Sequence[Cell], mapping: ColumnMapping, column: SpectrumColumn) -> float | None:
    mapped = mapping.first(column)
    cell = "" if mapped is None else _cell(row, mapped)
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return float(cell)
    return number(str(cell), mapping.decimal, mapping.grouped) if str(cell).strip() else None


def _text(row: Sequence[Cell], mapping: ColumnMapping, column: SpectrumColumn) -> str:
    mapped = mapping.first(column)
    return "" if mapped is None else shown(_cell(row, mapped))


def _cell(row: Sequence[Cell], mapped: MappedColumn) -> Cell:
    return row[mapped.index] if mapped.index < len(row) else ""


def _unit(text: str) -> str:
    unit = unit_or_nothing(text, SPECTRUM.more_units)
    if not unit or unit in FREQUENCY_UNITS:
        raise CellFault(f"{text!r} is no unit of a level")
    return unit


def _kind(text: str) -> Kind | None:
    if not text:
        return None
    if plain(text) not in KINDS:
        raise CellFault(f"{text!r} is neither peak, highest held nor average")
    return KINDS[plain(text)]


def read_factors(path: Path) -> FactorCurve:
    """Antenna factor [dB/m], gain [dBi] or cable loss [dB] over frequency.

    Parameters
    ----------
    path : Path
        CSV or XLSX with a column of frequencies, one of the factor, and one of its standard uncertainty if known; or
        the two-port of a cable as a network analyser writes it (Touchstone, ``.s2p``).

    Raises
    ------
    InputError
        If a column is missing or open, or frequencies do not rise.
    RejectedRows
        With every faulty row.
    """
    if path.suffix.lower() == TOUCHSTONE:
        return _loss_of_two_port(path)
    mapping = guess_columns(path, ANTENNA_OR_CABLE)
    value = next((mapping.first(column) for column in FACTORS if mapping.first(column) is not None), None)
    rows = list(_plain_rows(path, mapping))
    if value is None or not rows:
        raise FormatError("it holds no factors.", where=path.name, mend="Give frequency and factor in each row.")
    column = SpectrumColumn(value.column)
    read = [
        (_hertz(row, mapping, SpectrumColumn.FREQUENCY), _needed(row, mapping, column),
         _optional(row, mapping, SpectrumColumn.STD))
        for _, row in rows
    ]  # fmt: skip
    if any(after[0] <= before[0] for before, after in pairwise(read)):
        raise InputError("its frequencies do not rise.", where=path.name, mend="Sort its rows, one for each frequency.")
    stds = tuple(std for _, _, std in read if std is not None)
    frequencies, values = tuple(f for f, _, _ in read), tuple(v for _, v, _ in read)
    return FactorCurve(frequencies, values, stds if len(stds) == len(read) else None, value.unit == "dBi")


def _loss_of_two_port(path: Path) -> FactorCurve:
    """Loss from port 1 to port 2, -20 log10 |S21| [dB]; its uncertainty is not in the file."""
    if not path.is_file():
        raise InputError("there is no such file.", where=path.name, mend="Check the path.")
    try:
        # the reader of this one form; the library's general one would also open pickled objects, which run code
        frequency_hz, ports = two_ports.Touchstone(str(path)).get_sparameter_arrays()
        through = np.abs(ports[:, 1, 0])
    except (ValueError, IndexError, KeyError, TypeError, AttributeError, OSError, ZeroDivisionError) as fault:
        raise FormatError(
            f"it is no readable two-port ({' '.join(str(fault).split())[:120]}).",
            where=path.name,
            mend="Export it as Touchstone with two ports (.s2p).",
        ) from None
    if (
        not len(through)
        or not (through > 0.0).all()
        or not np.isfinite(through).all()
        or (np.diff(frequency_hz) <= 0.0).any()
    ):
        raise FormatError("it lets nothing through, or its frequencies do not rise.", where=path.name, mend=_MEASURE)
    loss_db = -20.0 * np.log10(through)
    return FactorCurve(tuple(map(float, frequency_hz)), tuple(map(float, loss_db)), None)


def _needed(row: Sequence[Cell], mapping: ColumnMapping, column: SpectrumColumn) -> float:
    found = _optional(row, mapping, column)
    if found is None:
        raise CellFault("it names no factor")
    return found


def read_bands(path: Path) -> tuple[NamedBand, ...]:
    """Bands of a table with a name and both ends in each row, rising in frequency.

    Parameters
    ----------
    path : Path
        CSV or XLSX.

    Raises
    ------
    InputError
        If a column is missing or open, or bands overlap.
    RejectedRows
        With every faulty row.
    """
    mapping = guess_columns(path, BANDS)
    found = []
    for _, row in _plain_rows(path, mapping):
        low, high = _ends(row, mapping)
        name = _text(row, mapping, SpectrumColumn.BAND)
        found.append(NamedBand(name or f"{low / 1e6:g}-{high / 1e6:g} MHz", low, high))
    if not found:
        raise FormatError("it holds no bands.", where=path.name, mend="Give a name and both ends in each row.")
    found.sort(key=lambda band: band.low_hz)
    refuse_overlap(found, path.name)
    return tuple(found)


def refuse_overlap(bands: Sequence[NamedBand], where: str) -> None:
    """Refuse bands that overlap: what lies in both would count twice.

    Parameters
    ----------
    bands : sequence of NamedBand
        Rising in frequency.
    where : str
        Name of the file, for the message.

    Raises
    ------
    InputError
        Naming two that do.
    """
    for one, following in pairwise(bands):
        if following.low_hz < one.high_hz:
            raise InputError(
                f"the bands {one.name!r} and {following.name!r} overlap.",
                where=where,
                mend="Let each band begin where the one before ends, or later.",
            )


def _plain_rows(path: Path, mapping: ColumnMapping) -> Iterator[tuple[int, Sequence[Cell]]]:
    """Rows of a table that is read without a look, because its headings leave nothing open; faults are told by row."""
    table = confirmed_table(path, mapping, confirmed=True)
    faults = []
    for line, row in zip(table.lines, table.rows, strict=True):
        if line <= mapping.header_line or is_empty(row):
            continue
        try:
            _check_row(row, mapping)
        except CellFault as fault:
            faults.append(RowFault(line, "", "; ".join(shown(cell) for cell in row)[:200], str(fault)))
            continue
        yield line, row
    if faults:
        raise RejectedRows(faults, where=path.name, mend="Correct these rows.")


def _check_row(row: Sequence[Cell], mapping: ColumnMapping) -> None:
    if mapping.first(SpectrumColumn.LOW) is not None or mapping.scheme is BANDS:
        _ends(row, mapping)
        return
    _hertz(row, mapping, SpectrumColumn.FREQUENCY)
    for column in FACTORS:
        if mapping.first(column) is not None:
            _needed(row, mapping, column)
