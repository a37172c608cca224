"""DuckDB, set up so that it stays within its memory, keeps file order and never reaches for the network."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from roomfield.logs.reading import quoted

MEMORY_LIMIT_MB = 900
BATCH_ROWS = 1 << 19


@contextmanager
def connection(scratch: Path | None = None, threads: int = 0) -> Iterator[Any]:
    """A private in-memory database.

    Parameters
    ----------
    scratch : Path or None
        Folder to spill into; None forbids spilling.
    threads : int
        Threads to use; 0 for all cores.
    """
    settings: dict[str, Any] = {
        "memory_limit": f"{MEMORY_LIMIT_MB}MB",
        "autoinstall_known_extensions": False,
        "autoload_known_extensions": False,
        "temp_directory": str(scratch) if scratch else "",
    }
    if threads:
        settings["threads"] = threads
    database = duckdb.connect(":memory:", config=settings)
    try:
        database.execute("SET TimeZone = 'UTC'")
        yield database
    finally:
        database.close()


def parquet(path: Path, row_numbers: bool = False) -> str:
    """Table expression over a Parquet file."""
    extra = ", file_row_number = true" if row_numbers else ""
    return f"read_parquet({quoted(str(path))}{extra})"


def batches(database: Any, query: str, rows: int = BATCH_ROWS) -> Iterator[pa.RecordBatch]:
    """The result of a query in record batches, in order."""
    yield from database.sql(query).to_arrow_reader(rows)
