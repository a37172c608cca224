"""Least and greatest level of ever longer bins, so that a timeline at any zoom is read, not computed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from roomfield.logs import engine
from roomfield.logs.clock import MICRO
from roomfield.logs.scale import Scale

_READINGS_PER_BIN = 64
_STEP = 4
_TOP_BINS = 3000
_ROWS_PER_GROUP = 1 << 16

POWER_SQL = {Scale.POWER: "value", Scale.AMPLITUDE: "value * value", Scale.DECIBEL: "pow(10, value / 10)"}
"""Something proportional to power, in SQL."""


@dataclass(frozen=True)
class Tier:
    """One level of the pyramid: bins of equal width that hold readings.

    Parameters
    ----------
    width_us : int
        Width of a bin [µs].
    index : ndarray of int, shape (n,)
        Start of each bin in widths since 1970.
    low, high : ndarray, shape (n,)
        Least and greatest value.
    power : ndarray, shape (n,)
        Sum over the readings of what is proportional to power.
    count : ndarray of int, shape (n,)
        Readings in the bin.
    """

    width_us: int
    index: NDArray[np.int64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    power: NDArray[np.float64]
    count: NDArray[np.int64]


def _base_width_us(nominal_interval_s: float) -> int:
    wanted = max(_READINGS_PER_BIN * nominal_interval_s, 1.0)
    width = 1
    while width < wanted:
        width *= 2
    return width * MICRO


def build(series_file: Path, target: Path, nominal_interval_s: float, scale: Scale, database: Any) -> None:
    """Write the pyramid of a stored series.

    Parameters
    ----------
    series_file, target : Path
        Parquet file of readings, and file to write.
    nominal_interval_s : float
        Usual time between readings [s].
    scale : Scale
        Scale of the values.
    database : DuckDB connection
        Of this ingest.
    """
    width = _base_width_us(nominal_interval_s)
    columns = "min(low) AS low, max(high) AS high, sum(power) AS power, sum(count)::BIGINT AS count"
    first = (
        f"SELECT t_us // {width} AS index, min(value) AS low, max(value) AS high, sum({POWER_SQL[scale]}) AS power, "
        f"count(*) AS count FROM {engine.parquet(series_file)} GROUP BY ALL"
    )
    with engine.session(database) as session:
        session.execute(f"CREATE TABLE tier0 AS SELECT * FROM ({first}) ORDER BY index")
        level, widths = 0, [width]
        while session.execute(f"SELECT count(*) FROM tier{level}").fetchall()[0][0] > _TOP_BINS:
            session.execute(
                f"CREATE TABLE tier{level + 1} AS SELECT index // {_STEP} AS index, {columns} "
                f"FROM tier{level} GROUP BY ALL ORDER BY 1"
            )
            level, width = level + 1, width * _STEP
            widths.append(width)
        tables = [
            session.sql(f"SELECT {w}::BIGINT AS width_us, * FROM tier{i} ORDER BY index").to_arrow_table()
            for i, w in enumerate(widths)
        ]
    with pq.ParquetWriter(target, tables[0].schema, compression="zstd") as writer:
        for table in tables:
            writer.write_table(table, row_group_size=_ROWS_PER_GROUP)


@lru_cache(maxsize=8)
def read_tiers(path: Path) -> tuple[Tier, ...]:
    """All levels of a pyramid, finest first; kept for the last few series asked for.

    Parameters
    ----------
    path : Path
        The pyramid's file.
    """
    table = pq.read_table(path)
    data: dict[str, Any] = {name: _column(table, name) for name in table.schema.names}
    tiers = []
    for width in np.unique(data["width_us"]):
        rows = data["width_us"] == width
        parts = {name: data[name][rows] for name in ("index", "low", "high", "power", "count")}
        tiers.append(Tier(int(width), **parts))
    return tuple(tiers)


def _column(table: pa.Table, name: str) -> NDArray[Any]:
    return np.asarray(table.column(name).to_numpy())
