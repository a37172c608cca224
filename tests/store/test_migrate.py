"""Databases of earlier releases are brought up to date; those of later ones and of others are refused."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

import roomfield.store.migrations
from roomfield.errors import InputError, StoreError
from roomfield.quantities.kind import Kind
from roomfield.store.migrate import is_up_to_date, newest_schema
from roomfield.store.repository import open_store
from roomfield.store.schema import metadata
from roomfield.survey import Censoring, ListenedScan, OpeningKind

RELEASES = Path(__file__).parents[1] / "data" / "releases"


@pytest.fixture
def first(tmp_path: Path) -> Path:
    """A database of the first schema, as its release left it."""
    path = tmp_path / "first.sqlite"
    with sqlite3.connect(path) as database:
        database.executescript((RELEASES / "schema-0001.sql").read_text(encoding="utf-8"))
    database.close()
    return path


def schema_in(path: Path) -> str:
    with sqlite3.connect(path) as database:
        return str(database.execute("SELECT version_num FROM alembic_version").fetchone()[0])


def test_every_released_schema_has_its_database():
    steps = ScriptDirectory(str(Path(roomfield.store.migrations.__file__).parent)).walk_revisions()
    released = {step.revision for step in steps} - {newest_schema()}
    assert {path.stem.removeprefix("schema-") for path in RELEASES.glob("schema-*.sql")} >= released


def test_first_schema_is_brought_up_to_date(first: Path):
    assert schema_in(first) == "0001"
    with open_store(first) as store:
        stored = store.load("first-survey")
        survey = stored.survey
        assert (stored.revision, stored.additions) == (3, 5)
        assert [c.what for c in store.changes("first-survey")] == ["before changes were listed"]
    assert schema_in(first) == newest_schema()
    assert survey.title == "An invented flat"
    assert survey.assignment.language == "de"
    assert survey.dwelling.walls[0].openings[0].kind is OpeningKind.WINDOW
    assert [r.value_w_m2 for r in survey.readings] == [1.25e-5, 1e-8]
    assert survey.readings[1].censoring is Censoring.BELOW
    assert survey.current_readings()[0].value_w_m2 == 1.35e-5
    assert survey.bearings[0].null_w_m2 is None
    assert survey.recordings[0].heard[0].technology == "dect"
    assert survey.faults() == ()


def test_a_held_maximum_of_the_second_schema_is_read_as_the_highest_held(tmp_path: Path):
    path = tmp_path / "second.sqlite"
    with sqlite3.connect(path) as database:
        database.executescript((RELEASES / "schema-0002.sql").read_text(encoding="utf-8"))
    database.close()
    with open_store(path) as store:
        survey = store.load("first-survey").survey
    held = survey.readings[-1]
    assert (held.kind, held.value_w_m2) == (Kind.HIGHEST_HELD, 2.5e-5)
    assert (held.watched_s, held.height_m, held.body_distance_m, held.accessory_id) == (None, None, None, "")
    assert survey.adopted_plan is not None and Kind(survey.adopted_plan.target_kind) is Kind.HIGHEST_HELD
    assert survey.meters[0].not_stated and survey.meters[0].figures.tolerance_db > 6.0
    with sqlite3.connect(path) as database:  # what was observed is not rewritten
        assert database.execute("SELECT kind FROM reading WHERE id = 'r3'").fetchone() == ("max_hold",)


@pytest.mark.parametrize("schema", ["0001", "0002", "0003"])
def test_a_database_of_every_schema_begins_a_chain_that_holds(tmp_path: Path, schema: str):
    path = tmp_path / "old.sqlite"
    with sqlite3.connect(path) as database:
        database.executescript((RELEASES / f"schema-{schema}.sql").read_text(encoding="utf-8"))
        row = database.execute("SELECT * FROM reading WHERE id = 'r1'").fetchone()
        marks = ", ".join("?" * len(row))
        database.executemany(
            f"INSERT INTO reading VALUES ({marks})", [(100 + i, row[1], f"many{i}", *row[3:]) for i in range(3000)]
        )
    database.close()
    with open_store(path) as store:
        assert [link.what for link in store.history("first-survey")] == ["everything from before the chain was kept"]
        assert len(store.load("first-survey").survey.readings) >= 3002
        store.append("first-survey", [replace(store.load("first-survey").survey.readings[0], id="fresh")])
        assert store.chain_faults("first-survey") == ()


def test_a_chain_of_the_fourth_schema_goes_on_without_accounts(tmp_path: Path):
    path = tmp_path / "fourth.sqlite"
    with sqlite3.connect(path) as database:
        database.executescript((RELEASES / "schema-0004.sql").read_text(encoding="utf-8"))
    database.close()
    with open_store(path) as store:
        survey = store.load("first-survey").survey
        assert survey.sign_offs == () and store.accounts() == {} and store.owners(survey.id) == ()
        store.append(survey.id, [replace(survey.readings[0], id="fresh")])
        assert [link.account for link in store.history(survey.id)] == ["", ""]
        assert store.chain_faults(survey.id) == ()
        with pytest.raises(InputError, match="knows no accounts"):
            store.hand_over(survey.id, "ann")


def test_an_upgraded_database_takes_new_entries(first: Path):
    with open_store(first) as store:
        survey = store.load("first-survey").survey
        assert store.update("first-survey", 3, title="Renamed") == 4
        assert store.append("first-survey", survey.readings) == 0
        store.amend("first-survey", "r1", "note", "x", reason="slip", by="A")
        store.delete("first-survey", "Renamed")
        assert store.surveys() == ()


def test_an_upgrade_that_fails_leaves_the_database_as_it_was(first: Path):
    with sqlite3.connect(first) as database:
        database.execute("CREATE TABLE survey_change (in_the_way INTEGER)")
    with pytest.raises(StoreError, match="survey_change"):
        open_store(first)
    assert schema_in(first) == "0001"


def test_tables_made_by_the_steps_are_those_the_code_uses(url: str):
    with open_store(url):
        pass
    engine = create_engine(url if "://" in url else f"sqlite:///{url}".replace("postgresql:", "postgresql+psycopg:"))
    if url.startswith("postgresql"):
        engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"))
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        assert set(inspect(connection).get_table_names()) == set(metadata.tables) | {"alembic_version"}
        assert is_up_to_date(connection)
    engine.dispose()


def test_a_newer_schema_is_refused(tmp_path: Path):
    path = tmp_path / "newer.sqlite"
    open_store(path).close()
    with sqlite3.connect(path) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(StoreError, match=r"schema 9999, and this release knows schemas up to .* newer release"):
        open_store(path)
    assert schema_in(path) == "9999"


def test_a_database_of_somebody_else_is_refused_untouched(tmp_path: Path):
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(StoreError, match="tables that roomfield did not make"):
        open_store(path)
    with sqlite3.connect(path) as database:
        names = {row[0] for row in database.execute("SELECT name FROM sqlite_master")}
    assert names == {"recipes"}


def test_a_file_that_is_no_database_is_refused_untouched(tmp_path: Path):
    path = tmp_path / "letter.sqlite"
    path.write_bytes(b"Dear client, " * 400)
    with pytest.raises(StoreError, match="not a database"):
        open_store(path)
    assert path.read_bytes() == b"Dear client, " * 400


@pytest.mark.postgres
def test_opening_again_changes_nothing_on_the_server(postgres_url: str):
    open_store(postgres_url).close()
    open_store(postgres_url).close()
    engine = create_engine(postgres_url.replace("postgresql:", "postgresql+psycopg:"))
    with engine.connect() as connection:
        assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == newest_schema()
    engine.dispose()


def test_readings_of_the_fifth_schema_were_not_listened_to_and_new_ones_may_be(tmp_path: Path):
    path = tmp_path / "fifth.sqlite"
    with sqlite3.connect(path) as database:
        database.executescript((RELEASES / "schema-0005.sql").read_text(encoding="utf-8"))
    database.close()
    scan = ListenedScan(42.0, 31, 0.1, 0.8, 1.9, 0.7)
    with open_store(path) as store:
        survey = store.load("first-survey").survey
        assert {reading.listened for reading in survey.readings} == {None}
        store.append(survey.id, [replace(survey.readings[0], id="fresh", listened=scan)])
        assert store.load(survey.id).survey.readings[-1].listened == scan
