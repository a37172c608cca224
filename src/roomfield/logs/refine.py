"""Second step in: rows as read to readings in UTC, in order, one a stamp, in the unit that is stored."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError
from roomfield.extras import library
from roomfield.logs import duckdb_engine, reading
from roomfield.logs.bounds import FIRST_US, LARGEST_NUMBER, LAST_US
from roomfield.logs.clock import EPOCH_FORMS, WallClock, zone_from_name
from roomfield.logs.mapping import Mapping
from roomfield.logs.marking import Marking
from roomfield.logs.plain_text import NotPlainError, PlainText
from roomfield.logs.staging import Staged, rows_of
from roomfield.logs.writing import Rows, Tally, schema, write

pa = library("pyarrow", "logs")
pq = library("pyarrow.parquet", "logs")


def store_plain(text: PlainText, mapping: Mapping, target: Path, where: str) -> Tally:
    """Store a plain text and say what was counted.

    Parameters
    ----------
    text : PlainText
        The file.
    mapping : Mapping
        The confirmed mapping.
    target : Path
        File to write.
    where : str
        Name of the file, for messages.

    Raises
    ------
    NotPlainError
        If a row does not fit, or stands before the row above it; `target` is then of no use.
    """
    first_us, last_us = text.ends()
    if min(first_us, last_us) < FIRST_US or max(first_us, last_us) > LAST_US:
        raise NotPlainError
    clock = _clock(mapping, first_us, last_us)
    marking, tally = Marking(mapping, where), Tally()

    def readings() -> Iterator[Rows]:
        last: int | None = None
        for t, number in text.blocks():
            tally.read += t.size
            if t.size and (t.min() < FIRST_US or t.max() > LAST_US or np.abs(number).max() > LARGEST_NUMBER):
                raise NotPlainError
            stamps = clock.convert(t) if clock else t
            if _steps_back(stamps, last):
                raise NotPlainError
            last = int(stamps[-1])
            value = marking.in_stored_unit(number)
            yield Rows(stamps, value, marking.plain(value))

    return _stored(readings(), clock, (marking, tally), target)


def store_staged(staged: Staged, mapping: Mapping, target: Path, scratch: Path, database: Any) -> Tally:
    """Store staged rows, sorted if need be, and say what was counted.

    Parameters
    ----------
    staged : Staged
        The staged rows.
    mapping : Mapping
        The confirmed mapping.
    target : Path
        File to write.
    scratch : Path
        Folder to sort in.
    database : DuckDB connection
        Of this ingest.
    """
    marking, tally = Marking(mapping, staged.where), Tally(read=staged.rows, unreadable=staged.unreadable)
    source = _StagedRows(staged, marking, tally, scratch, database)
    tally.out_of_order = source.steps_back()
    clock = _clock(mapping, staged.first_us, staged.last_us)
    readings = source.in_order(clock) if tally.out_of_order else source.readings(clock)
    return _stored(readings, clock, (marking, tally), target)


def _clock(mapping: Mapping, first_us: int, last_us: int) -> WallClock | None:
    tells_itself = mapping.time_form == "iso_zoned" or mapping.time_form in EPOCH_FORMS
    if not mapping.zone or tells_itself:
        return None
    return WallClock(zone_from_name(mapping.zone), first_us, last_us)


def _steps_back(t: NDArray[np.int64], last: int | None) -> int:
    """How many stamps lie before the one above them."""
    return int(np.count_nonzero(t[1:] < t[:-1])) + int(last is not None and t.size > 0 and int(t[0]) < last)


def _stored(readings: Iterator[Rows], clock: WallClock | None, how: tuple[Marking, Tally], target: Path) -> Tally:
    marking, tally = how
    write(_once_per_stamp(readings, marking, tally), target, tally)
    if not tally.rows:
        raise FormatError("no row holds a level.", where=marking.where, mend="Correct the mapping's value_column.")
    if clock:
        tally.undecided, tally.unreal, tally.paired = clock.undecided, clock.unreal, clock.paired
    return tally


class _StagedRows:
    """Staged rows as readings."""

    def __init__(self, staged: Staged, marking: Marking, tally: Tally, scratch: Path, database: Any) -> None:
        self.staged, self.marking, self.tally = staged, marking, tally
        self.scratch, self.database = scratch, database

    def _raw(self, columns: str) -> Iterator[Any]:
        good = f"t_us IS NOT NULL AND code < {reading.UNREADABLE}"
        table = rows_of(self.staged.path, self.marking.mapping, self.staged.clean)
        query = f"SELECT {columns} FROM {table}" + ("" if self.staged.clean else f" WHERE {good}")
        with duckdb_engine.session(self.database) as database:
            yield from duckdb_engine.batches(database, query)

    def steps_back(self) -> int:
        """How many stamps lie before the one above them."""
        clock = _clock(self.marking.mapping, self.staged.first_us, self.staged.last_us)
        last, found = None, 0
        for batch in self._raw("t_us"):
            t = np.asarray(batch.column(0))
            t = clock.convert(t) if clock else t
            found += _steps_back(t, last)
            last = int(t[-1]) if t.size else last
        return found

    def readings(self, clock: WallClock | None) -> Iterator[Rows]:
        """Readings in the order of the file, in UTC and in the stored unit."""
        mapping = self.marking.mapping
        per_row = mapping.units_in_values or bool(mapping.unit_column)
        for batch in self._raw("t_us, number, code" + (", unit" if per_row else "")):
            t, number, code = (batch.column(i).to_numpy(zero_copy_only=False) for i in range(3))
            t = clock.convert(t) if clock else t
            units = batch.column(3).dictionary_encode() if per_row else None
            present = code != reading.MISSING
            self.tally.missing += int(t.size - np.count_nonzero(present))
            value, flag = self.marking.marked(self.marking.in_stored_unit(number, units), code.astype(np.int8))
            yield Rows(t, value, flag)[present]

    def in_order(self, clock: WallClock | None) -> Iterator[Rows]:
        """Readings sorted by stamp; equal stamps keep the order of the file."""
        unsorted, target = self.scratch / "converted.parquet", self.scratch / "sorted.parquet"
        with pq.ParquetWriter(unsorted, schema().remove(3), compression="lz4") as out:
            for rows in self.readings(clock):
                out.write_batch(pa.record_batch([rows.t, rows.value, rows.flag], schema=schema().remove(3)))
        rows_of = duckdb_engine.parquet(unsorted, row_numbers=True)
        query = f"SELECT t_us, value, flag FROM {rows_of} ORDER BY t_us, file_row_number"
        with duckdb_engine.session(self.database) as database:
            database.execute(f"COPY ({query}) TO {reading.quoted(str(target))} (FORMAT parquet, COMPRESSION lz4_raw)")
            unsorted.unlink()
            for batch in duckdb_engine.batches(
                database, f"SELECT t_us, value, flag FROM {duckdb_engine.parquet(target)}"
            ):
                yield Rows(*(batch.column(i).to_numpy(zero_copy_only=False) for i in range(3)))


def _once_per_stamp(batches: Iterator[Rows], marking: Marking, tally: Tally) -> Iterator[Rows]:
    """Runs of readings with strictly rising stamps; the last stamp of a batch waits for the next batch."""
    held: Rows | None = None
    for batch in batches:
        if not batch.t.size:
            continue
        rows = batch
        if held is not None and not marking.mapping.spread_repeats and batch.t[0] > held.t[-1]:
            yield _one_each(held, int(batch.t[0]), marking, tally)
        elif held is not None:
            rows = Rows.joined([held, batch])
        cut = int(np.searchsorted(rows.t, rows.t[-1], side="left"))
        if cut:
            yield _one_each(rows[:cut], int(rows.t[-1]), marking, tally)
        held = rows[cut:]
    if held is not None:
        yield _one_each(held, None, marking, tally)


def _one_each(rows: Rows, following: int | None, marking: Marking, tally: Tally) -> Rows:
    fresh = rows.t[1:] != rows.t[:-1]
    if fresh.all():
        return rows
    firsts = np.flatnonzero(np.append(True, fresh))
    counts = np.diff(firsts, append=rows.t.size)
    if marking.mapping.spread_repeats:
        return _spread(rows, firsts, counts, following)
    low = np.minimum.reduceat(rows.value, firsts)
    high = np.maximum.reduceat(rows.value, firsts)
    same = low == high
    tally.identical += int((counts[same] - 1).sum())
    tally.merged += int((counts[~same] - 1).sum())
    if marking.mapping.kind in ("peak", "highest_held"):
        value = high
    else:
        power = np.add.reduceat(marking.unit.power(rows.value), firsts) / counts
        value = np.where(same, low, marking.unit.level(power))
    return Rows(rows.t[firsts], value, np.maximum.reduceat(rows.flag, firsts))


def _spread(rows: Rows, firsts: NDArray[np.intp], counts: NDArray[np.intp], following: int | None) -> Rows:
    stamps = rows.t[firsts]
    usual = int(np.median(np.diff(stamps))) if stamps.size > 1 else 1_000_000
    steps = np.append(np.diff(stamps), following - stamps[-1] if following is not None else usual)
    steps = np.minimum(steps, usual)
    place = np.arange(rows.t.size) - np.repeat(firsts, counts)
    return Rows(rows.t + place * np.repeat(steps, counts) // np.repeat(counts, counts), rows.value, rows.flag)
