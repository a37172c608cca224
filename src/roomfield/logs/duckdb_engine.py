"""DuckDB, set up so that it stays within its memory, keeps file order and never reaches for the network."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any

from roomfield.extras import library
from roomfield.logs.reading import quoted

duckdb = library("duckdb", "logs")
pa = library("pyarrow", "logs")

MEMORY_LIMIT_MB = 900
BATCH_ROWS = 1 << 18

_SETTINGS: dict[str, Any] = {
    "memory_limit": f"{MEMORY_LIMIT_MB}MB",
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
}


@contextmanager
def connection(scratch: Path) -> Iterator[Any]:
    """A database of its own that may spill to a folder, for taking in one file; ask `session` for sessions.

    Parameters
    ----------
    scratch : Path
        Folder to spill into.
    """
    database = duckdb.connect(":memory:", config={**_SETTINGS, "temp_directory": str(scratch)})
    try:
        yield database
    finally:
        database.close()


@contextmanager
def session(database: Any) -> Iterator[Any]:
    """A session in UTC; any number may be open side by side."""
    cursor = database.cursor()
    try:
        cursor.execute("SET TimeZone = 'UTC'")
        yield cursor
    finally:
        cursor.close()


@lru_cache(maxsize=1)
def _shared() -> Any:
    """One database for all reading in this process: opening one takes longer than most queries."""
    return duckdb.connect(":memory:", config={**_SETTINGS, "temp_directory": ""})


def reader() -> AbstractContextManager[Any]:
    """A session for reading stored series."""
    return session(_shared())


def parquet(path: Path, row_numbers: bool = False) -> str:
    """Table expression over a Parquet file."""
    extra = ", file_row_number = true" if row_numbers else ""
    return f"read_parquet({quoted(str(path))}{extra})"


def batches(database: Any, query: str, rows: int = BATCH_ROWS) -> Iterator[Any]:
    """The result of a query in record batches, in order."""
    found = database.sql(query)
    read = getattr(found, "to_arrow_reader", None) or found.fetch_arrow_reader  # its name in DuckDB 1
    yield from read(rows)
