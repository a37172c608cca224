"""Second step in: staged rows to readings in UTC, in order, one a stamp, in the unit that is stored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from roomfield.errors import FormatError, InputError
from roomfield.logs import engine, reading
from roomfield.logs.clock import WallClock, zone_from_name
from roomfield.logs.mapping import Mapping
from roomfield.logs.scale import Quantity, Scale, Unit, find_unit
from roomfield.logs.staging import Staged, rows_of
from roomfield.quantities.convert import density_from_unit

_ROWS_PER_GROUP = 1 << 17
_STEPS_SAMPLED = 20_000
_SCHEMA = pa.schema([("t_us", pa.int64()), ("value", pa.float64()), ("flag", pa.int8()), ("dt_us", pa.int64())])


@dataclass
class Rows:
    """A run of readings: stamps [µs, UTC], values, flags."""

    t: NDArray[np.int64]
    value: NDArray[np.float64]
    flag: NDArray[np.int8]

    def __getitem__(self, part: slice | NDArray[Any]) -> Rows:
        return Rows(self.t[part], self.value[part], self.flag[part])

    @staticmethod
    def joined(first: Rows | None, second: Rows) -> Rows:
        """One run after another."""
        if first is None or not first.t.size:
            return second
        return Rows(
            np.concatenate((first.t, second.t)),
            np.concatenate((first.value, second.value)),
            np.concatenate((first.flag, second.flag)),
        )


@dataclass
class Tally:
    """What was counted on the way."""

    rows: int = 0
    identical: int = 0
    merged: int = 0
    out_of_order: int = 0
    missing: int = 0
    below_floor: int = 0
    overload: int = 0
    undecided: int = 0
    unreal: int = 0
    first_us: int = 0
    last_us: int = 0
    minimum: float = np.inf
    maximum: float = -np.inf
    total: float = 0.0
    steps: list[NDArray[np.int64]] = field(default_factory=list)

    @property
    def nominal_interval_s(self) -> float:
        """Median of the time between readings [s], from spread samples; 1 s for a single reading."""
        return float(np.median(np.concatenate(self.steps)) / 1e6) if self.steps else 1.0


class Refinery:
    """Turns staged rows into the stored series.

    Parameters
    ----------
    staged : Staged
        The staged rows.
    mapping : Mapping
        The confirmed mapping.
    scratch : Path
        Folder to write to.
    where : str
        Name of the file, for messages.
    database : DuckDB connection
        Of this ingest.
    """

    def __init__(self, staged: Staged, mapping: Mapping, scratch: Path, where: str, database: Any) -> None:
        self.staged, self.mapping, self.scratch, self.where = staged, mapping, scratch, where
        self.database = database
        self.unit: Unit = mapping.stored_unit()
        self.tally = Tally()

    def run(self, target: Path) -> Tally:
        """Write the series to `target` and say what was counted."""
        self.tally.out_of_order = self._steps_back()
        source = self._sorted() if self.tally.out_of_order else None
        batches = self._from_sorted(source) if source else self._converted()
        options = {"compression": "lz4", "data_page_version": "2.0"}
        encodings = {"t_us": "DELTA_BINARY_PACKED"}
        dictionary = ["value", "flag", "dt_us"]
        with pq.ParquetWriter(target, _SCHEMA, use_dictionary=dictionary, column_encoding=encodings, **options) as out:
            held: Rows | None = None
            for rows in self._once_per_stamp(batches):
                if held is not None:
                    self._put(out, held, int(rows.t[0]))
                held = rows
            if held is not None:
                self._put(out, held, None)
        if not self.tally.rows:
            raise FormatError("no row holds a level.", where=self.where, mend="Correct the mapping's value_column.")
        return self.tally

    def _raw(self, columns: str) -> Iterator[pa.RecordBatch]:
        good = f"t_us IS NOT NULL AND code < {reading.UNREADABLE}"
        table = rows_of(self.staged.path, self.mapping, self.staged.clean)
        query = f"SELECT {columns} FROM {table}" + ("" if self.staged.clean else f" WHERE {good}")
        with engine.session(self.database) as database:
            yield from engine.batches(database, query)

    def _clock(self) -> WallClock | None:
        if not self.mapping.zone:
            return None
        return WallClock(zone_from_name(self.mapping.zone), self.staged.first_us, self.staged.last_us)

    def _steps_back(self) -> int:
        """How many stamps lie before the one above them."""
        clock, last, found = self._clock(), None, 0
        for batch in self._raw("t_us"):
            t = np.asarray(batch.column(0))
            t = clock.convert(t) if clock else t
            found += int(np.count_nonzero(np.diff(t) < 0)) + int(last is not None and t.size > 0 and t[0] < last)
            last = int(t[-1]) if t.size else last
        return found

    def _converted(self) -> Iterator[Rows]:
        """Readings in the order of the file, in UTC and in the stored unit."""
        clock = self._clock()
        per_row = self.mapping.units_in_values or bool(self.mapping.unit_column)
        for batch in self._raw("t_us, number, code" + (", unit" if per_row else "")):
            t, number, code = (batch.column(i).to_numpy(zero_copy_only=False) for i in range(3))
            t = clock.convert(t) if clock else t
            units = batch.column(3).dictionary_encode() if per_row else None
            present = code != reading.MISSING
            self.tally.missing += int(t.size - np.count_nonzero(present))
            value = self._in_stored_unit(number, units)
            yield self._marked(t, value, code.astype(np.int8))[present]
        if clock:
            self.tally.undecided, self.tally.unreal = clock.undecided, clock.unreal

    def _in_stored_unit(self, number: NDArray[np.float64], units: Any) -> NDArray[np.float64]:
        if units is None:
            return self._convert(number, self.mapping.file_unit())
        value = np.full(number.size, np.nan)
        index = units.indices.to_numpy(zero_copy_only=False)
        for i, text in enumerate(units.dictionary.to_pylist()):
            rows = index == i
            found = find_unit(text or self.mapping.unit)
            if found is None and np.isfinite(number[rows]).any():
                raise InputError(
                    f"{text!r} is not a unit of a log.",
                    where=self.where,
                    mend="Correct the unit in the file.",
                )
            if found is not None:
                value[rows] = self._convert(number[rows], found)
        return value

    def _convert(self, number: NDArray[np.float64], unit: Unit) -> NDArray[np.float64]:
        if unit == self.unit:
            return number
        if Quantity.RELATIVE_LEVEL in (unit.quantity, self.unit.quantity) or self.unit.name != "W/m2":
            raise InputError(
                f"readings in {unit.name} and in {self.unit.name} cannot stand in one series.",
                where=self.where,
                mend="Split the file by unit.",
            )
        return np.asarray(density_from_unit(number, unit.name), dtype=float)

    def _limit(self, given: float | None) -> float:
        if given is None:
            return np.nan
        unit = find_unit(self.mapping.unit) or self.unit
        return float(self._convert(np.asarray([given], dtype=float), unit)[0])

    def _marked(self, t: NDArray[np.int64], value: NDArray[np.float64], code: NDArray[np.int8]) -> Rows:
        """Mark what lies at or beyond the meter's range; give bare marks the level of that end."""
        floor, top = self._limit(self.mapping.floor), self._limit(self.mapping.overload)
        flag = np.where(code == reading.MISSING, reading.FINE, code).astype(np.int8)
        bare = ~np.isfinite(value)
        for mark, level, words in (
            (reading.BELOW_FLOOR, floor, "floor"),
            (reading.OVERLOAD, top, "overload"),
        ):
            unknown = bare & (flag == mark)
            if unknown.any():
                if np.isnan(level):
                    raise InputError(
                        f"{int(unknown.sum())} readings are marked as {words}, but that level is not given.",
                        where=self.where,
                        mend=f"Confirm the mapping with {words}=... in the unit of the file.",
                    )
                value = np.where(unknown, level, value)
        with np.errstate(invalid="ignore"):
            if self.unit.scale is not Scale.DECIBEL:
                self._refuse_negative(value)
                flag = np.where((value == 0) & (flag == reading.FINE), reading.BELOW_FLOOR, flag)
            flag = np.where((value <= floor) & (flag == reading.FINE), reading.BELOW_FLOOR, flag)
            flag = np.where((value >= top) & (flag == reading.FINE), reading.OVERLOAD, flag)
        return Rows(t, value, flag.astype(np.int8))

    def _refuse_negative(self, value: NDArray[np.float64]) -> None:
        if np.any(value < 0):
            raise InputError(
                f"{int(np.count_nonzero(value < 0))} levels are below zero, which no {self.unit.quantity.value} is.",
                where=self.where,
                mend="Correct the value_column or the unit of the mapping (dB values?).",
            )

    def _sorted(self) -> Path:
        """Readings sorted by stamp; equal stamps keep the order of the file."""
        unsorted, target = self.scratch / "converted.parquet", self.scratch / "sorted.parquet"
        with pq.ParquetWriter(unsorted, _SCHEMA.remove(3), compression="lz4") as out:
            for rows in self._converted():
                out.write_batch(pa.record_batch([rows.t, rows.value, rows.flag], schema=_SCHEMA.remove(3)))
        query = (
            f"SELECT t_us, value, flag FROM {engine.parquet(unsorted, row_numbers=True)} ORDER BY t_us, file_row_number"
        )
        with engine.session(self.database) as database:
            database.execute(f"COPY ({query}) TO {reading.quoted(str(target))} (FORMAT parquet, COMPRESSION lz4_raw)")
        unsorted.unlink()
        return target

    def _from_sorted(self, path: Path) -> Iterator[Rows]:
        with engine.session(self.database) as database:
            for batch in engine.batches(database, f"SELECT t_us, value, flag FROM {engine.parquet(path)}"):
                yield Rows(*(batch.column(i).to_numpy(zero_copy_only=False) for i in range(3)))

    def _once_per_stamp(self, batches: Iterator[Rows]) -> Iterator[Rows]:
        """Runs of readings with strictly rising stamps; the last stamp of a run waits for the next run."""
        held: Rows | None = None
        for batch in batches:
            rows = Rows.joined(held, batch)
            if not rows.t.size:
                continue
            cut = int(np.searchsorted(rows.t, rows.t[-1], side="left"))
            if cut:
                yield self._one_each(rows[:cut], int(rows.t[-1]))
            held = rows[cut:]
        if held is not None and held.t.size:
            yield self._one_each(held, None)

    def _one_each(self, rows: Rows, following: int | None) -> Rows:
        firsts = np.flatnonzero(np.diff(rows.t, prepend=rows.t[0] - 1))
        if firsts.size == rows.t.size:
            return rows
        counts = np.diff(firsts, append=rows.t.size)
        if self.mapping.spread_repeats:
            return self._spread(rows, firsts, counts, following)
        low = np.minimum.reduceat(rows.value, firsts)
        high = np.maximum.reduceat(rows.value, firsts)
        same = low == high
        self.tally.identical += int((counts[same] - 1).sum())
        self.tally.merged += int((counts[~same] - 1).sum())
        if self.mapping.kind in ("peak", "max_hold"):
            value = high
        else:
            power = np.add.reduceat(self.unit.power(rows.value), firsts) / counts
            value = np.where(same, low, self.unit.level(power))
        return Rows(rows.t[firsts], value, np.maximum.reduceat(rows.flag, firsts))

    def _spread(self, rows: Rows, firsts: NDArray[np.intp], counts: NDArray[np.intp], following: int | None) -> Rows:
        stamps = rows.t[firsts]
        usual = int(np.median(np.diff(stamps))) if stamps.size > 1 else 1_000_000
        steps = np.append(np.diff(stamps), following - stamps[-1] if following is not None else usual)
        steps = np.minimum(steps, usual)
        place = np.arange(rows.t.size) - np.repeat(firsts, counts)
        return Rows(rows.t + place * np.repeat(steps, counts) // np.repeat(counts, counts), rows.value, rows.flag)

    def _put(self, out: Any, rows: Rows, following: int | None) -> None:
        """Write a run; each reading is stored with the time to the next."""
        tally = self.tally
        step = np.diff(rows.t, append=rows.t[-1] if following is None else following)
        if not tally.rows:
            tally.first_us = int(rows.t[0])
        sample = step[:_STEPS_SAMPLED] if following is not None else step[:-1][:_STEPS_SAMPLED]
        if sample.size:
            tally.steps.append(sample)
        if following is None:
            step[-1] = round(tally.nominal_interval_s * 1e6)
        tally.rows += rows.t.size
        tally.last_us = int(rows.t[-1])
        tally.minimum = min(tally.minimum, float(rows.value.min()))
        tally.maximum = max(tally.maximum, float(rows.value.max()))
        tally.total += float(rows.value.sum())
        tally.below_floor += int(np.count_nonzero(rows.flag == reading.BELOW_FLOOR))
        tally.overload += int(np.count_nonzero(rows.flag == reading.OVERLOAD))
        batch = pa.record_batch([rows.t, rows.value, rows.flag, step], schema=_SCHEMA)
        out.write_batch(batch, row_group_size=_ROWS_PER_GROUP)
