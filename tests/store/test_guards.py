"""Observations are guarded in the database itself, against every program that opens it."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from roomfield.store.repository import open_store
from roomfield.store.schema import APPEND_ONLY
from roomfield.survey import Survey

REFUSAL = re.compile("observations are only added, never changed or removed")
TABLES = [table.name for table in APPEND_ONLY]


@pytest.fixture
def database(tmp_path: Path, survey: Survey) -> sqlite3.Connection:
    path = tmp_path / "guarded.sqlite"
    with open_store(path) as store:
        store.create(survey)
    return sqlite3.connect(path)


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {t} SET id = 'other'",
        "UPDATE {t} SET seq = seq + 100",
        "DELETE FROM {t}",
        "REPLACE INTO {t} SELECT * FROM {t}",
        "INSERT OR REPLACE INTO {t} SELECT * FROM {t} LIMIT 1",
    ],
)
def test_sqlite_refuses(database: sqlite3.Connection, table: str, statement: str):
    before = database.execute(f"SELECT * FROM {table}").fetchall()
    assert before
    with pytest.raises(sqlite3.IntegrityError, match=REFUSAL):
        database.execute(statement.format(t=table))
    assert database.execute(f"SELECT * FROM {table}").fetchall() == before


def test_sqlite_refuses_to_take_over_a_row_by_its_number(database: sqlite3.Connection):
    columns = [row[1] for row in database.execute("PRAGMA table_info(reading)")]
    chosen = ", ".join("'fresh'" if name == "id" else name for name in columns)
    with pytest.raises(sqlite3.IntegrityError, match=REFUSAL):
        database.execute(f"REPLACE INTO reading SELECT {chosen} FROM reading LIMIT 1")


@pytest.mark.postgres
@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("statement", ["UPDATE {t} SET id = 'other'", "DELETE FROM {t}", "TRUNCATE {t}"])
def test_postgresql_refuses(postgres_url: str, survey: Survey, table: str, statement: str):
    with open_store(postgres_url) as store:
        store.create(survey)
        engine = create_engine(postgres_url.replace("postgresql:", "postgresql+psycopg:"))
        with engine.connect() as connection, pytest.raises(DBAPIError, match=REFUSAL):
            connection.execute(text(statement.format(t=table)))
        engine.dispose()
        assert store.load(survey.id).survey == survey


@pytest.mark.parametrize("table", TABLES)
def test_new_rows_are_still_taken(database: sqlite3.Connection, table: str):
    columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
    chosen = ", ".join({"id": "id || '-new'", "seq": "NULL"}.get(name, name) for name in columns)
    count = database.execute(f"INSERT INTO {table} SELECT {chosen} FROM {table}").rowcount
    assert count >= 1
