"""Made-up logs, written as a meter or a logger would write them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from roomfield.logs import LogSeries, guess_mapping, ingest


@pytest.fixture
def stored(tmp_path: Path) -> Callable[..., LogSeries]:
    """Store stamps [s since 1970] and values as a series; `answers` go to the mapping."""
    count = 0

    def store(t_s: Any, values: Any, heading: str = "average W/m2", **answers: Any) -> LogSeries:
        nonlocal count
        count += 1
        stamps = np.round(np.asarray(t_s, dtype=float) * 1e6).astype(np.int64)
        table = pa.table(
            {"time": pa.array(stamps, pa.timestamp("us", "UTC")), heading: pa.array(np.asarray(values, dtype=float))}
        )
        path = tmp_path / f"log{count}.parquet"
        pq.write_table(table, path)
        return ingest(path, guess_mapping(path).confirm(**answers), tmp_path / "store")

    return store


@pytest.fixture
def written(tmp_path: Path) -> Callable[..., Path]:
    """Write text as a file."""

    def write(text: str, name: str = "log.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return write
