"""A copy of the database of one moment, made while it is in use."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from sqlalchemy import Engine

from roomfield.errors import StoreError


def back_up(engine: Engine, shown: str, target: Path) -> None:
    """Copy a SQLite database by its own backup interface; the copy appears under its name only when it is whole.

    Parameters
    ----------
    shown : str
        Address of the database, for messages.
    target : Path
        A new file, readable by its owner only.

    Raises
    ------
    StoreError
        If the file exists, cannot be written, or the database is on a server.
    """
    if engine.dialect.name != "sqlite":
        raise StoreError("a database on a server is not copied here.", where=shown, mend="Use pg_dump.")
    if target.exists():
        raise StoreError("there is already a file of this name.", where=str(target), mend="Choose another name.")
    partial = target.with_name(f".{target.name}.partial")
    source = engine.raw_connection()
    try:
        os.close(os.open(partial, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600))
        copy = sqlite3.connect(partial)
        try:
            source.driver_connection.backup(copy)  # type: ignore[union-attr]
            copy.execute("PRAGMA journal_mode = DELETE")  # one file that can be carried away as it is
        finally:
            copy.close()
        with partial.open("rb") as file:
            os.fsync(file.fileno())
        partial.replace(target)
    except (OSError, sqlite3.Error) as fault:
        raise StoreError(
            f"the copy cannot be written ({fault}).", where=str(target), mend="Check the folder and the disk."
        ) from None
    finally:
        source.close()
        for left in (partial, *(partial.with_name(partial.name + end) for end in ("-wal", "-shm", "-journal"))):
            left.unlink(missing_ok=True)
