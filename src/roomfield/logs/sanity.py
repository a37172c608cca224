"""Stamps that stand far away from all others, and readings too few for the years they span."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from roomfield.errors import InputError
from roomfield.extras import library
from roomfield.logs.clock import moment_of
from roomfield.logs.writing import Rows

pq = library("pyarrow.parquet", "logs")

_SILENCE_US = 180 * 86_400 * 1_000_000
_FEW_SHARE, _FEW = 0.01, 10
_MOST_MINUTES, _MINUTES_A_READING = 10_000_000, 20
_MINUTE_US = 60 * 1_000_000


@dataclass(frozen=True)
class Outlying:
    """A few readings that half a year or more parts from all others.

    Parameters
    ----------
    first_us, last_us : int
        Ends of what the rest spans [µs].
    stamps_us : tuple of int
        Stamps of those outside it, rising, at most twenty of them.
    count : int
        How many there are.
    """

    first_us: int
    last_us: int
    stamps_us: tuple[int, ...]
    count: int


def outlying(series_file: Path) -> Outlying | None:
    """The few readings that lie far away from all others; None if there are none.

    Parameters
    ----------
    series_file : Path
        Stored readings in order.
    """
    stamps = pq.read_table(series_file, columns=["t_us"]).column("t_us").to_numpy()
    breaks = np.flatnonzero(np.diff(stamps) > _SILENCE_US) + 1
    if not breaks.size:
        return None
    starts, ends = np.append(0, breaks), np.append(breaks, stamps.size)
    largest = int(np.argmax(ends - starts))
    first, last = int(starts[largest]), int(ends[largest])
    away = np.append(stamps[:first], stamps[last:])
    if away.size > max(_FEW, _FEW_SHARE * stamps.size) or away.size * 2 > stamps.size:
        return None
    shown = tuple(int(stamp) for stamp in away[:20])
    return Outlying(int(stamps[first]), int(stamps[last - 1]), shown, int(away.size))


def between(series_file: Path, first_us: int, last_us: int) -> Iterator[Rows]:
    """Stored readings between two moments, in order.

    Parameters
    ----------
    first_us, last_us : int
        Both ends belong to it [µs].
    """
    with pq.ParquetFile(series_file) as file:
        for batch in file.iter_batches(columns=["t_us", "value", "flag"]):
            t, value, flag = (batch.column(i).to_numpy() for i in range(3))
            inside = (t >= first_us) & (t <= last_us)
            if inside.any():
                yield Rows(t[inside], value[inside], flag[inside])


def refuse_scattered(first_us: int, last_us: int, rows: int, where: str) -> None:
    """Refuse a few readings spread over so many years that a timeline of them would fill the memory.

    Raises
    ------
    InputError
        With the span and the number of readings.
    """
    minutes = (last_us - first_us) / _MINUTE_US
    if minutes > max(_MOST_MINUTES, _MINUTES_A_READING * rows):
        first, last = moment_of(first_us).date(), moment_of(last_us).date()
        raise InputError(
            f"its {rows} readings are spread from {first} to {last}.",
            where=where,
            mend="Check the dates; give each campaign as a file of its own.",
        )
