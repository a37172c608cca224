"""Writes schema-0005.sql: a database as the fifth schema held it, the last one without scans that were listened to.

Run once, when the schema was new:  python tests/data/releases/make_schema_0005.py
The file stays as it is; every later release must open it.
"""

from __future__ import annotations

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from sqlalchemy import create_engine

from roomfield.store.migrate import upgrade_to

HERE = Path(__file__).parent


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fifth.sqlite"
        with closing(sqlite3.connect(path)) as database:
            database.executescript((HERE / "schema-0004.sql").read_text(encoding="utf-8"))
        engine = create_engine(f"sqlite:///{path}")
        with engine.begin() as connection:
            upgrade_to(connection, "0005")
        engine.dispose()
        with closing(sqlite3.connect(path)) as database:
            (HERE / "schema-0005.sql").write_text("\n".join(database.iterdump()) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
