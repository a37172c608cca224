"""Row groups of a stored series: which hold a span, and their columns as arrays."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from roomfield.extras import library
from roomfield.logs.clock import MICRO
from roomfield.logs.log_series import LogSeries

pq = library("pyarrow.parquet", "logs")

GROUPS_WORTH_A_PART = 24
_MOST_PARTS = 8

Result = TypeVar("Result")


@dataclass(frozen=True)
class RowGroups:
    """First and last stamp [µs], and greatest value, of each row group; shape (n,) each."""

    first: NDArray[np.int64]
    last: NDArray[np.int64]
    high: NDArray[np.float64]

    def within(self, first_us: int, last_us: int) -> list[int]:
        """Row groups that may hold readings of a span, ends included."""
        inside = (self.last >= first_us) & (self.first <= last_us)
        return [int(i) for i in np.flatnonzero(inside)]

    def next_after(self, group: int, series: LogSeries) -> int:
        """Stamp of the reading after a row group [µs]; after the last, one nominal interval on."""
        if group + 1 < self.first.size:
            return int(self.first[group + 1])
        return int(self.last[group]) + round(series.nominal_interval_s * MICRO)


def row_groups(series: LogSeries) -> RowGroups:
    """Ends of the row groups of a series, from the file's own statistics."""
    return _row_groups(series.path, series.path.stat().st_mtime_ns)


@lru_cache(maxsize=16)
def _footer(path: Path, _changed_ns: int) -> Any:
    return pq.read_metadata(path)


@lru_cache(maxsize=16)
def _row_groups(path: Path, changed_ns: int) -> RowGroups:
    footer = _footer(path, changed_ns)
    parts = [footer.row_group(i) for i in range(footer.num_row_groups)]
    stamps, values = ([part.column(k).statistics for part in parts] for k in (0, 1))
    return RowGroups(
        np.asarray([s.min for s in stamps], dtype=np.int64),
        np.asarray([s.max for s in stamps], dtype=np.int64),
        np.asarray([v.max for v in values], dtype=float),
    )


def spans(groups: list[int]) -> list[list[int]]:
    """Row groups in runs of equal length, cut by their number alone, so that sums are the same on any machine."""
    count = max(1, min(_MOST_PARTS, len(groups) // GROUPS_WORTH_A_PART))
    edges = [round(i * len(groups) / count) for i in range(count + 1)]
    return [groups[a:b] for a, b in pairwise(edges)]


def side_by_side(parts: list[list[int]], work: Callable[[list[int]], Result]) -> list[Result]:
    """What some work makes of each part, in order; parts are worked on side by side on all cores.

    Parameters
    ----------
    parts : list of list of int
        Row groups of each part, from `spans`.
    work : callable
        Takes the row groups of a part; must leave the lock of the interpreter for most of its time.
    """
    if len(parts) == 1:
        return [work(parts[0])]
    with ThreadPoolExecutor(min(len(parts), os.cpu_count() or 1)) as pool:
        return list(pool.map(work, parts))


def opened(series: LogSeries) -> Any:
    """The file of a series, to be closed by the caller; its footer is parsed once for the last few series."""
    return pq.ParquetFile(series.path, metadata=_footer(series.path, series.path.stat().st_mtime_ns))


def read(file: Any, groups: list[int], names: list[str]) -> list[NDArray[Any]]:
    """Columns of neighbouring row groups."""
    table = file.read_row_groups(groups, columns=names, use_threads=False)
    return [column.to_numpy() for column in table.columns]
