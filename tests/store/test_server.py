"""A PostgreSQL server: its encodings, a restart, and accounts that cannot rewrite."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from roomfield.errors import InputError, StoreError, UnknownNameError
from roomfield.quantities.kind import Kind
from roomfield.store.repository import open_store
from roomfield.survey import Reading, Survey

pytestmark = pytest.mark.postgres


def engine_of(url: str, **more: object):
    return create_engine(url.replace("postgresql://", "postgresql+psycopg://"), **more)


@pytest.mark.parametrize("encoding", ["SQL_ASCII", "LATIN1"])
def test_a_database_that_cannot_hold_every_letter_is_refused_in_words(postgres_url: str, encoding: str):
    name = f"roomfield_{encoding.lower()}_{uuid4().hex[:8]}"
    with engine_of(postgres_url, isolation_level="AUTOCOMMIT").connect() as server:
        server.execute(
            text(f"CREATE DATABASE {name} ENCODING '{encoding}' TEMPLATE template0 LC_COLLATE 'C' LC_CTYPE 'C'")
        )
        try:
            with pytest.raises(StoreError, match=f"encoding {encoding}.*createdb --encoding=UTF8"):
                open_store(postgres_url.rsplit("/", 1)[0] + f"/{name}")
        finally:
            server.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))


def test_after_a_restart_of_the_server_the_next_request_is_answered(postgres_url: str, survey: Survey):
    with open_store(postgres_url) as store:
        store.create(survey)
        with engine_of(postgres_url, isolation_level="AUTOCOMMIT").connect() as other:
            ended = other.execute(
                text("SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity "
                     "WHERE datname = current_database() AND pid <> pg_backend_pid()")
            ).scalar_one()  # fmt: skip
        assert ended >= 1
        assert store.load(survey.id).survey.title == survey.title
        assert store.append(survey.id, [entry("after")]) == 1


def entry(name: str) -> Reading:
    return Reading(name, "v1", "m1", "st1", Kind.PEAK, 2e-5, "bed1")


@pytest.fixture
def accounts(postgres_url: str) -> Iterator[dict[str, str]]:
    """URLs of two accounts besides the owner, by right."""
    names = {right: f"roomfield_{right}_{uuid4().hex[:8]}" for right in ("assess", "read")}
    with engine_of(postgres_url, isolation_level="AUTOCOMMIT").connect() as server:
        for name in names.values():
            server.execute(text(f"CREATE ROLE {name} LOGIN"))
        open_store(postgres_url).close()
        with open_store(postgres_url) as owner:
            for right, name in names.items():
                owner.grant(name, right)
        host = postgres_url.split("@", 1)[1]
        yield {right: f"postgresql://{name}@{host}" for right, name in names.items()}
        for name in names.values():
            server.execute(text(f"DROP OWNED BY {name}"))
            server.execute(text(f"DROP ROLE {name}"))


def test_the_daily_account_works_and_cannot_rewrite(postgres_url: str, survey: Survey, accounts: dict[str, str]):
    with open_store(accounts["assess"]) as store:
        store.create(survey)
        store.append(survey.id, [entry("n1")])
        store.amend(survey.id, "n1", "note", "left", reason="slip", by="A")
        store.update(survey.id, 1, title="Renamed")
        assert store.chain_faults(survey.id) == ()
        with pytest.raises(StoreError, match="permission denied"):
            store.delete(survey.id, "Renamed")
    rewriting = (
        "UPDATE reading SET value_w_m2 = 1",
        "DELETE FROM reading",
        "TRUNCATE reading",
        "INSERT INTO erasure VALUES ('x')",
        "UPDATE chain_link SET by = 'B'",
        "DELETE FROM part_version",
        "ALTER TABLE reading DISABLE TRIGGER ALL",
        "DROP TRIGGER reading_not_changed ON reading",
        "DROP FUNCTION roomfield_refuse() CASCADE",
    )
    engine = engine_of(accounts["assess"])
    for statement in rewriting:
        with engine.connect() as connection, pytest.raises(DBAPIError, match=r"permission denied|must be owner"):
            connection.execute(text(statement))
    engine.dispose()
    with open_store(postgres_url) as owner:
        owner.delete(survey.id, "Renamed")


def test_a_reader_reads_and_nothing_else(postgres_url: str, survey: Survey, accounts: dict[str, str]):
    with open_store(postgres_url) as owner:
        owner.create(survey)
    with open_store(accounts["read"]) as store:
        assert store.load(survey.id).survey == survey
        for refused in (
            lambda: store.append(survey.id, [entry("n1")]),
            lambda: store.update(survey.id, 1, title="Renamed"),
            lambda: store.delete(survey.id, survey.title),
        ):
            with pytest.raises(StoreError, match=r"may only read.*owns the database"):
                refused()


def test_what_cannot_be_granted_is_refused(postgres_url: str, tmp_path):
    with open_store(postgres_url) as owner:
        with pytest.raises(InputError, match="no name of an account"):
            owner.grant("a; DROP TABLE reading", "read")
        with pytest.raises(UnknownNameError):
            owner.grant("somebody", "everything")
        with pytest.raises(StoreError, match="does not exist"):
            owner.grant("nobody_of_this_name", "read")
    with open_store(tmp_path / "a.sqlite") as file, pytest.raises(InputError, match="knows no accounts"):
        file.grant("somebody", "read")
