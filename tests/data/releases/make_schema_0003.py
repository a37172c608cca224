"""Writes schema-0003.sql: a database as the third schema held it, the last one without a chain.

Run once, when the schema was new:  python tests/data/releases/make_schema_0003.py
The file stays as it is; every later release must open it.
"""

from __future__ import annotations

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from make_schema_0001 import HERE, fill, insert
from sqlalchemy import create_engine

from roomfield.store.migrate import upgrade_to


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "third.sqlite"
        engine = create_engine(f"sqlite:///{path}")
        with engine.begin() as connection:
            upgrade_to(connection, "0002")
        with closing(sqlite3.connect(path)) as database:
            fill(database)
            insert(database, "survey_change", ("first-survey", 3, "2026-01-11T00:00:00+00:00", "places"))
            database.commit()
        with engine.begin() as connection:
            upgrade_to(connection, "0003")
        engine.dispose()
        with closing(sqlite3.connect(path)) as database:
            database.execute("CREATE TEMP TABLE r AS SELECT * FROM reading WHERE id = 'r1'")
            database.execute("UPDATE r SET seq = 3, id = 'r3', kind = 'highest_held', watched_s = 30.0, height_m = 1.1")
            database.execute("INSERT INTO reading SELECT * FROM r")
            database.execute("DROP TABLE r")
            database.commit()
            (HERE / "schema-0003.sql").write_text("\n".join(database.iterdump()) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
