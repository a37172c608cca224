"""Writes schema-0001.sql: a database as the first schema held it.

Run once, when the schema was new:  python tests/data/releases/make_schema_0001.py
The file stays as it is; every later release must open it.
"""

from __future__ import annotations

import sqlite3
import tempfile
from pathlib import Path

from sqlalchemy import create_engine

from roomfield.store.migrate import upgrade_to

HERE = Path(__file__).parent
PARTS = {
    "title": '"An invented flat"',
    "note": '"made for this test"',
    "invented": "true",
    "assignment": '{"client":"I. Nvented","address":"Nowhere 1","assessor":"A. Sessor","organisation":"",'
    '"question":"","jurisdiction":"eu-1999-519","guideline":"","language":"de"}',
    "dwelling": '{"storeys":[{"id":"s0","name":"ground","floor_m":0.0,"ceiling_m":2.5,'
    '"outline":[[0.0,0.0],[4.0,0.0],[4.0,3.0],[0.0,3.0]]}],"rooms":[],"walls":[{"id":"w1","storey_id":"s0","start":[0.0,0.0],"end":[4.0,0.0],'
    '"base_m":0.0,"top_m":2.5,"layers":[{"material":"brick","thickness_m":0.24}],"exterior":true,"openings":['
    '{"id":"o1","kind":"window","start_m":1.0,"end_m":2.0,"sill_m":0.9,"head_m":2.1,"layers":[{"material":"glass",'
    '"thickness_m":0.008}]}],"shields":[]}],"slabs":[],"furniture":[],"plan_images":[],"north_deg":null}',
    "places": '[{"id":"bed","name":"bed","kind":"bed","room_id":"","storey_id":"s0","position":[1.0,1.0,0.6],'
    '"night_hours":8.0,"day_hours":0.0,"note":""}]',
    "emitters": "[]",
    "meters": '[{"id":"m1","name":"invented meter"}]',
    "visits": '[{"id":"v1","started_at":"2026-01-10T10:00:00+01:00","assessor":"A. Sessor",'
    '"radio_states":[{"id":"st1","name":"as found"}]}]',
    "media": "[]",
    "actions": "[]",
    "adopted_plan": "null",
}
ORIGIN = ("walk.csv", "a" * 64, 2)
WHO = ("first-survey", "v1", "m1", "st1")


def fill(database: sqlite3.Connection) -> None:
    survey = (
        "first-survey",
        "An invented flat",
        "2026-01-10",
        True,
        "made for this test",
        "I. Nvented",
        "Nowhere 1",
    )
    insert(database, "survey", (*survey, 3, 5, "2026-01-11T00:00:00+00:00"))
    for name, body in PARTS.items():
        insert(database, "survey_part", ("first-survey", name, body, 3 if name == "places" else 1))
    point, scan = (1.0, 1.0, 0.6), ("none", "best_axis", "hand_scan", 0.5, "2026-01-10T10:05:00+01:00", 0)
    insert(database, "reading", (1, WHO[0], "r1", *WHO[1:], "peak", 1.25e-5, "bed", *point, *scan, "", *ORIGIN))
    below = ("below_floor", *scan[1:])
    insert(
        database,
        "reading",
        (2, WHO[0], "r2", *WHO[1:], "average", 1e-8, "bed", None, None, None, *below, "", "", "", 0),
    )
    insert(
        database, "bearing",
        (1, WHO[0], "b1", *WHO[1:], 2.0, 1.5, 1.3, 5.0, 115.0, 12.0, 2.3e-3, None, "", "", "", "", 0),
    )  # fmt: skip
    heard = '[{"technology":"dect","probability":0.9,"evidence":""}]'
    insert(
        database, "recording",
        (1, WHO[0], "c1", *WHO[1:], "b" * 64, "bed", *point, 4.0, heard, '["17 per second"]', "0.1", "", ""),
    )  # fmt: skip
    insert(database, "log_record", (1, WHO[0], "l1", *WHO[1:], "average", "c" * 64, "", "bed", "", "", ""))
    slip = ("value_w_m2", "1.25e-05", "1.35e-05", "typing slip", "A. Sessor", "2026-01-11")
    insert(database, "amendment", (1, "first-survey", "x1", "r1", *slip))


def insert(database: sqlite3.Connection, table: str, row: tuple[object, ...]) -> None:
    database.execute(f"INSERT INTO {table} VALUES ({','.join('?' * len(row))})", row)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "first.sqlite"
        engine = create_engine(f"sqlite:///{path}")
        with engine.begin() as connection:
            upgrade_to(connection, "0001")
        engine.dispose()
        database = sqlite3.connect(path)
        fill(database)
        database.commit()
        (HERE / "schema-0001.sql").write_text("\n".join(database.iterdump()) + "\n", encoding="utf-8")
        database.close()


if __name__ == "__main__":
    main()
