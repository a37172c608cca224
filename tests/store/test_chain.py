"""The chain: every way of changing a record behind the program's back is found, and told by link."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from roomfield.quantities.kind import Kind
from roomfield.store.identity import Identity, acting_as
from roomfield.store.repository import Store, open_store
from roomfield.survey import MediaItem, Place, Reading, Survey
from roomfield.survey.chain import BEGINNING, Link, rows_digest


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "chained.sqlite"


@pytest.fixture
def kept(path: Path, survey: Survey) -> Iterator[Store]:
    with open_store(path) as store, acting_as(Identity("A. Sessor", "laptop")):
        store.create(survey)
        store.append(survey.id, [new("n1"), new("n2")], new_places=[Place("hall", "Hall")])
        store.amend(survey.id, "n1", "value_w_m2", 3e-6, reason="slip", by="A. Sessor")
        store.update(survey.id, 2, title="Flat by the lake")
        store.append(survey.id, [new("n3")])
        yield store


def new(name: str) -> Reading:
    return Reading(name, "v1", "m1", "st1", Kind.PEAK, 2e-6, "bed1")


def test_every_entry_and_change_is_a_link_with_author_time_and_the_hash_before(kept: Store, survey: Survey):
    links = kept.history(survey.id)
    assert [link.what for link in links] == [
        "created",
        "added: 2 reading, 1 place",
        "amended: value_w_m2 of n1",
        "changed: title",
        "added: 1 reading",
    ]
    assert [link.number for link in links] == [1, 2, 3, 4, 5]
    assert {(link.by, link.device) for link in links} == {("A. Sessor", "laptop")}
    assert [link.previous for link in links] == [BEGINNING, *(link.sha256 for link in links[:-1])]
    assert kept.load(survey.id).head == links[-1].sha256
    assert kept.chain_faults(survey.id) == ()


@pytest.mark.published("FIPS 180-4: SHA-256, here by the standard library over the fields as written in docs/store.md")
def test_the_hash_of_a_link_can_be_made_by_hand(kept: Store, survey: Survey):
    link = kept.history(survey.id)[1]
    fields = [link.survey_id, link.number, link.at, link.by, link.device, link.what, link.content, link.previous]
    text = json.dumps(fields, ensure_ascii=False, separators=(",", ":"))
    assert hashlib.sha256(text.encode()).hexdigest() == link.sha256


ERASE = "INSERT INTO erasure VALUES ('{id}');"
UNGUARD = "DROP TRIGGER {t}_not_changed; DROP TRIGGER {t}_not_removed; DROP TRIGGER {t}_not_replaced;"
READING = "CREATE TEMP TABLE r AS SELECT * FROM reading WHERE id = 'n2';"
TAMPERED = {
    "a value changed by way of the erasure list": (
        READING + ERASE + "DELETE FROM reading WHERE id = 'n2'; DELETE FROM erasure; UPDATE r SET value_w_m2 = 1e-9;"
        "INSERT INTO reading SELECT * FROM r;",
        "rows of reading that it added are missing or were changed",
    ),
    "a reading taken away": (ERASE + "DELETE FROM reading WHERE id = 'n2'; DELETE FROM erasure;", "rows of reading"),
    "a reading put in": (
        READING + "UPDATE r SET seq = NULL, id = 'n9'; INSERT INTO reading SELECT * FROM r;",
        "1 rows of reading were added past the chain",
    ),
    "an amendment taken away": (
        ERASE + "DELETE FROM amendment WHERE target_id = 'n1'; DELETE FROM erasure;",
        "amendment",
    ),
    "a meter changed": (
        "UPDATE survey_part SET body = replace(body, '4.5', '0.5') WHERE name = 'meters';",
        "the part meters was changed past the chain",
    ),
    "the author of a link changed": (
        UNGUARD.format(t="chain_link") + "UPDATE chain_link SET by = 'B' WHERE number = 2;",
        "what it says was changed after it was written",
    ),
    "a link taken away": (ERASE + "DELETE FROM chain_link WHERE number = 3; DELETE FROM erasure;", "a link is missing"),
    "the last link taken away with what it added": (
        ERASE + "DELETE FROM chain_link WHERE number = 5; DELETE FROM erasure;",
        "added past the chain",
    ),
}


@pytest.mark.parametrize("name", TAMPERED)
def test_what_was_changed_behind_its_back_is_found(kept: Store, survey: Survey, path: Path, name: str):
    script, words = TAMPERED[name]
    with closing(sqlite3.connect(path)) as database:
        database.executescript(script.format(id=survey.id))
    found = [fault.what for fault in kept.chain_faults(survey.id)]
    assert any(words in one for one in found), found


@pytest.mark.parametrize("table", ["chain_link", "part_version", "deletion"])
def test_the_chain_itself_is_guarded(kept: Store, survey: Survey, path: Path, table: str):
    kept.create(replace(survey, id="gone", title="Gone"))
    kept.delete("gone", "Gone")
    with closing(sqlite3.connect(path)) as database:
        for statement in (
            f"UPDATE {table} SET survey_id = 'x'",
            f"DELETE FROM {table}",
            f"REPLACE INTO {table} SELECT * FROM {table}",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="only added to"):
                database.execute(statement)


def test_old_bodies_of_a_part_stay(kept: Store, survey: Survey, path: Path):
    with closing(sqlite3.connect(path)) as database:
        titles = database.execute(
            "SELECT number, body FROM part_version WHERE name = 'title' ORDER BY number"
        ).fetchall()
    assert titles == [(1, '"Flat by the river"'), (4, '"Flat by the lake"')]


def test_a_later_column_does_not_disturb_a_digest_nor_does_the_sign_of_zero():
    row = {"id": "a", "value": 0.0}
    assert rows_digest([row], ["id", "value"]) == rows_digest([row | {"later": 1, "value": -0.0}], ["id", "value"])
    assert rows_digest([row], ["id", "value"]) != rows_digest([row | {"value": 1e-300}], ["id", "value"])


def test_a_survey_that_was_replaced_is_not_served_from_memory(path: Path, survey: Survey):
    with open_store(path) as server, open_store(path) as other:
        server.create(survey)
        assert server.load(survey.id).survey.note == survey.note
        other.delete(survey.id, survey.title)
        other.create(replace(survey, note="another flat altogether"))
        assert server.load(survey.id).survey.note == "another flat altogether"


def test_deleting_takes_the_files_along_that_nobody_else_uses_and_leaves_a_line(tmp_path: Path, survey: Survey):
    with open_store(tmp_path / "a.sqlite") as store:
        own, shared = store.media.put(b"her bedroom"), store.media.put(b"both")
        items = [MediaItem(one.sha256, "x.png", "image/png", one.size_bytes) for one in (own, shared)]
        store.create(replace(survey, media=tuple(items)))
        store.create(replace(survey, id="other", media=(items[1],)))
        series = tmp_path / "series" / SERIES
        series.mkdir(parents=True)
        store.append(survey.id, [replace(survey.logs[0], id="l9", series_sha256=SERIES)])
        store.delete(survey.id, survey.title)
        assert list(store.media.hashes()) == [shared.sha256]
        assert not series.exists()
    content = b"".join(path.read_bytes() for path in tmp_path.glob("a.sqlite*"))
    assert b"keys at the neighbour" in content, "the other survey holds the same note"
    with open_store(tmp_path / "a.sqlite") as store:
        store.delete("other", survey.title)
    content = b"".join(path.read_bytes() for path in tmp_path.glob("a.sqlite*"))
    assert b"keys at the neighbour" not in content
    assert b"River Way" not in content
    with closing(sqlite3.connect(tmp_path / "a.sqlite")) as database:
        assert [row[0] for row in database.execute("SELECT survey_id FROM deletion ORDER BY at")] == [
            survey.id,
            "other",
        ]


SERIES = "a1b2c3d4" * 4


def test_a_link_is_a_plain_value():
    link = Link("s", 1, "2026-01-01", "A", "laptop", "created", "{}", BEGINNING).sealed()
    assert link.sealed() == link
    assert replace(link, by="B").sealed() != link
