"""Least and greatest level of ever longer bins, so that a timeline at any zoom is read, not computed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from roomfield.extras import library
from roomfield.logs.clock import MICRO
from roomfield.logs.sufficient_statistics import Tier

pa = library("pyarrow", "logs")
pq = library("pyarrow.parquet", "logs")

_READINGS_PER_BIN = 64
_STEP = 4
_TOP_BINS = 3000
_ROWS_PER_GROUP = 1 << 14
_COLUMNS = ("index", "low", "high", "power", "count")


def base_width_us(nominal_interval_s: float) -> int:
    """Width of the finest bins [µs]: a power of two seconds that holds 64 readings or more.

    Parameters
    ----------
    nominal_interval_s : float
        Usual time between readings [s].
    """
    wanted = max(_READINGS_PER_BIN * nominal_interval_s, 1.0)
    width = 1
    while width < wanted:
        width *= 2
    return width * MICRO


def build(finest: Tier, target: Path) -> None:
    """Write the pyramid that stands on a finest tier, each tier in row groups of its own.

    Parameters
    ----------
    finest : Tier
        The finest bins.
    target : Path
        File to write.
    """
    tiers = [finest]
    while tiers[-1].index.size > _TOP_BINS:
        tiers.append(_coarser(tiers[-1]))
    tables = [
        pa.table(
            {
                "width_us": np.full(tier.index.size, tier.width_us),
                **{name: getattr(tier, name) for name in _COLUMNS},
            }
        )
        for tier in tiers
    ]
    with pq.ParquetWriter(target, tables[0].schema, compression="zstd") as writer:
        for table in tables:
            writer.write_table(table, row_group_size=_ROWS_PER_GROUP)


def _coarser(tier: Tier) -> Tier:
    place = tier.index // _STEP
    starts = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
    return Tier(
        tier.width_us * _STEP,
        place[starts],
        np.minimum.reduceat(tier.low, starts),
        np.maximum.reduceat(tier.high, starts),
        np.add.reduceat(tier.power, starts),
        np.add.reduceat(tier.count, starts),
    )


@dataclass(frozen=True)
class _Group:
    """Where a row group lies in the pyramid."""

    width_us: int
    first: int
    last: int


def widths_us(path: Path) -> list[int]:
    """Widths of the tiers of a pyramid [µs], finest first."""
    return sorted({group.width_us for group in _contents(path, path.stat().st_mtime_ns)[1]})


def read_tier(path: Path, width_us: int, first_us: int, last_us: int) -> Tier:
    """The bins of one tier that may meet a span; only their row groups are read.

    Parameters
    ----------
    path : Path
        The pyramid's file.
    width_us : int
        One of `widths_us`.
    first_us, last_us : int
        Span [µs].
    """
    footer, groups = _contents(path, path.stat().st_mtime_ns)
    first, last = first_us // width_us, last_us // width_us
    wanted = [i for i, g in enumerate(groups) if g.width_us == width_us and g.last >= first and g.first <= last]
    with pq.ParquetFile(path, metadata=footer) as file:
        table = file.read_row_groups(wanted, columns=list(_COLUMNS), use_threads=False)
    columns: dict[str, Any] = {name: table.column(name).to_numpy() for name in _COLUMNS}
    rows = slice(*np.searchsorted(columns["index"], (first, last + 1)))
    return Tier(width_us, **{name: values[rows] for name, values in columns.items()})


@lru_cache(maxsize=16)
def _contents(path: Path, _changed_ns: int) -> tuple[Any, tuple[_Group, ...]]:
    """Footer of a pyramid, and its row groups; kept for the last few series asked for."""
    footer = pq.read_metadata(path)
    groups = []
    for i in range(footer.num_row_groups):
        width, index = (footer.row_group(i).column(k).statistics for k in (0, 1))
        groups.append(_Group(int(width.min), int(index.min), int(index.max)))
    return footer, tuple(groups)
