"""Last step in: readings in order, one a stamp, to the stored Parquet file, counted on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.extras import library
from roomfield.logs import series_kernels

pa = library("pyarrow", "logs")
pq = library("pyarrow.parquet", "logs")

ROWS_PER_GROUP = 1 << 17
_STEPS_SAMPLED = 20_000


@cache
def schema() -> Any:
    """Columns of a stored series: time, value, flag, time to the next."""
    return pa.schema([("t_us", pa.int64()), ("value", pa.float64()), ("flag", pa.int8()), ("dt_us", pa.int64())])


@dataclass
class Rows:
    """A run of readings: stamps [µs, UTC], values, flags."""

    t: NDArray[np.int64]
    value: NDArray[np.float64]
    flag: NDArray[np.int8]

    def __getitem__(self, part: slice | NDArray[Any]) -> Rows:
        return Rows(self.t[part], self.value[part], self.flag[part])

    @staticmethod
    def joined(parts: list[Rows]) -> Rows:
        """One run after another."""
        if len(parts) == 1:
            return parts[0]
        return Rows(*(np.concatenate([getattr(p, name) for p in parts]) for name in ("t", "value", "flag")))


@dataclass
class Tally:
    """What was counted on the way."""

    read: int = 0
    rows: int = 0
    identical: int = 0
    merged: int = 0
    out_of_order: int = 0
    missing: int = 0
    unreadable: int = 0
    below_floor: int = 0
    overload: int = 0
    undecided: int = 0
    unreal: int = 0
    paired: int = 0
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


def write(runs: Iterator[Rows], target: Path, tally: Tally) -> None:
    """Store runs of readings with strictly rising stamps; each reading with the time to the next.

    Parameters
    ----------
    runs : iterator of Rows
        None of them empty.
    target : Path
        File to write.
    tally : Tally
        Counts what is stored.
    """
    options = {"compression": "lz4", "data_page_version": "2.0", "column_encoding": {"t_us": "DELTA_BINARY_PACKED"}}
    with pq.ParquetWriter(target, schema(), use_dictionary=["value", "flag", "dt_us"], **options) as out:
        held: Rows | None = None
        for rows in _in_groups(runs):
            if held is not None:
                _put(out, held, int(rows.t[0]), tally)
            held = rows
        if held is not None:
            _put(out, held, None, tally)


def _in_groups(runs: Iterator[Rows]) -> Iterator[Rows]:
    """The same readings in runs of one row group each, the last shorter."""
    parts: list[Rows] = []
    size = 0
    for rows in runs:
        parts.append(rows)
        size += rows.t.size
        if size < ROWS_PER_GROUP:
            continue
        whole = Rows.joined(parts)
        cut = size - size % ROWS_PER_GROUP
        for begin in range(0, cut, ROWS_PER_GROUP):
            yield whole[begin : begin + ROWS_PER_GROUP]
        size -= cut
        parts = [whole[cut:]] if size else []
    if parts:
        yield Rows.joined(parts)


def _put(out: Any, rows: Rows, following: int | None, tally: Tally) -> None:
    step, whole, real = np.empty(rows.t.size, np.int64), np.empty(2, np.int64), np.empty(3)
    last = int(rows.t[-1])
    series_kernels.followed(rows.t, rows.value, rows.flag, last if following is None else following, step, whole, real)
    if not tally.rows:
        tally.first_us = int(rows.t[0])
    sample = step[:_STEPS_SAMPLED] if following is not None else step[:-1][:_STEPS_SAMPLED]
    if sample.size:
        tally.steps.append(sample.copy())
    if following is None:
        step[-1] = round(tally.nominal_interval_s * 1e6)
    tally.rows += rows.t.size
    tally.last_us = last
    tally.minimum, tally.maximum = min(tally.minimum, float(real[0])), max(tally.maximum, float(real[1]))
    tally.total += float(real[2])
    tally.below_floor += int(whole[0])
    tally.overload += int(whole[1])
    out.write_batch(pa.record_batch([rows.t, rows.value, rows.flag, step], schema=schema()))
