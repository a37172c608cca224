"""Writes schema-0002.sql: a database as the second schema held it, when a held maximum was called ``max_hold``.

Run once, with the release of that schema:  python tests/data/releases/make_schema_0002.py
The file stays as it is; every later release must open it.
"""

from __future__ import annotations

import sqlite3
import tempfile
from pathlib import Path

from make_schema_0001 import HERE, PARTS, WHO, fill, insert
from sqlalchemy import create_engine

from roomfield.store.migrate import upgrade_to

PARTS["adopted_plan"] = (
    '{"action_ids":[],"target_w_m2":0.001,"target_kind":"max_hold","confidence":0.9,"adopted_at":"2026-01-12T10:00:00+01:00"}'
)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "second.sqlite"
        engine = create_engine(f"sqlite:///{path}")
        with engine.begin() as connection:
            upgrade_to(connection, "0002")
        engine.dispose()
        database = sqlite3.connect(path)
        fill(database)
        insert(database, "survey_change", ("first-survey", 3, "2026-01-11T00:00:00+00:00", "places"))
        held = (
            3,
            WHO[0],
            "r3",
            *WHO[1:],
            "max_hold",
            2.5e-5,
            "bed",
            None,
            None,
            None,
            "none",
            "best_axis",
            "hand_scan",
        )
        insert(database, "reading", (*held, 0.5, "", 0, "", "", "", 0))
        database.commit()
        (HERE / "schema-0002.sql").write_text("\n".join(database.iterdump()) + "\n", encoding="utf-8")
        database.close()


if __name__ == "__main__":
    main()
