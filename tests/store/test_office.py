"""Several people on one server: a survey belongs to one, another reviews, files are in the database."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from roomfield.errors import InputError, IntegrityError, RightsError, StoreError, TooEarlyError
from roomfield.quantities.kind import Kind
from roomfield.store.database_media import PIECE
from roomfield.store.repository import open_store
from roomfield.survey import Reading, Survey
from roomfield.workbench.record.proof import check_record
from roomfield.workbench.record.releasing import report_standing, sign_off

pytestmark = pytest.mark.postgres


def engine_of(url: str, **more: object):
    return create_engine(url.replace("postgresql://", "postgresql+psycopg://"), **more)


def entry(name: str) -> Reading:
    return Reading(name, "v1", "m1", "st1", Kind.PEAK, 2e-5, "bed1")


@pytest.fixture
def office(postgres_url: str, tmp_path, monkeypatch) -> Iterator[dict[str, str]]:
    """URLs of two assessors, a reviewer and a reader."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("ROOMFIELD_MEDIA", raising=False)
    rights = {"ann": "assess", "ben": "assess", "rita": "review", "rob": "read"}
    names = {who: f"{who}_{uuid4().hex[:8]}" for who in rights}
    with engine_of(postgres_url, isolation_level="AUTOCOMMIT").connect() as server:
        for name in names.values():
            server.execute(text(f"CREATE ROLE {name} LOGIN"))
        with open_store(postgres_url) as keeper:
            for who, right in rights.items():
                keeper.grant(names[who], right)
        host = postgres_url.split("@", 1)[1]
        yield {who: f"postgresql://{name}@{host}" for who, name in names.items()}
        for name in names.values():
            server.execute(text(f"DROP OWNED BY {name}"))
            server.execute(text(f"DROP ROLE {name}"))


def name_in(url: str) -> str:
    return url.split("//")[1].split("@")[0]


@pytest.fixture
def begun(office: dict[str, str], survey: Survey) -> Survey:
    """A survey that belongs to Ann."""
    bare = replace(
        survey, media=(), recordings=(), logs=(), dwelling=replace(survey.dwelling, plan_images=()), sign_offs=()
    )
    with open_store(office["ann"]) as ann:
        ann.create(bare)
    return bare


def test_only_the_owner_writes_and_the_words_say_whose_it_is(office, begun):
    with open_store(office["ben"]) as ben:
        assert ben.load(begun.id).survey == begun
        for refused in (
            lambda: ben.append(begun.id, [entry("n1")]),
            lambda: ben.update(begun.id, 1, title="Mine"),
            lambda: ben.amend(begun.id, "r1", "note", "x", reason="r", by="B"),
            lambda: ben.hand_over(begun.id, name_in(office["ben"])),
        ):
            with pytest.raises(RightsError, match=f"belongs to {name_in(office['ann'])}.*hand-over"):
                refused()


def test_the_database_itself_refuses_what_goes_past_the_program(office, begun):
    statements = (
        f"INSERT INTO survey_owner VALUES ('{begun.id}', 2, '{name_in(office['ben'])}', '{name_in(office['ben'])}', '')",
        f"INSERT INTO survey_part VALUES ('{begun.id}', 'x', '1', 1)",
        f"INSERT INTO survey_change VALUES ('{begun.id}', 9, '', '')",
        f"INSERT INTO amendment (survey_id, id, target_id, field, old, new, reason, by, at) "
        f"VALUES ('{begun.id}', 'a', 'r1', 'note', '', '', '', '', '')",
    )
    with closing(engine_of(office["ben"]).connect()) as connection:
        for statement in statements:
            with pytest.raises(DBAPIError, match="row-level security"):
                connection.execute(text(statement))
            connection.rollback()
        changed = connection.execute(text(f"UPDATE survey SET title = 'Mine' WHERE id = '{begun.id}'")).rowcount
        gone = connection.execute(text(f"DELETE FROM survey_part WHERE survey_id = '{begun.id}'")).rowcount
        assert (changed, gone) == (0, 0)


def test_nobody_writes_a_link_under_another_account(office, begun):
    forged = (
        "INSERT INTO chain_link (survey_id, number, at, by, device, what, content, previous, sha256, signer, signature, "
        f"account) VALUES ('{begun.id}', 9, '', 'B', '', '', '', '', '', '', '', '{name_in(office['ben'])}')"
    )
    with closing(engine_of(office["ann"]).connect()) as connection:
        with pytest.raises(DBAPIError, match="row-level security"):
            connection.execute(text(forged))
        connection.rollback()
        for statement in (
            "UPDATE media_chunk SET body = ''",
            "DELETE FROM media_file",
            "UPDATE account_right SET granted = ''",
        ):
            with pytest.raises(DBAPIError, match="permission denied"):
                connection.execute(text(statement))
            connection.rollback()


def test_every_link_carries_the_account(office, begun):
    with open_store(office["ann"]) as ann:
        ann.append(begun.id, [entry("n1")])
        assert {link.account for link in ann.history(begun.id)} == {name_in(office["ann"])}
        assert ann.chain_faults(begun.id) == ()


def test_a_survey_is_handed_over_and_the_new_owner_alone_writes(office, begun):
    with open_store(office["ann"]) as ann, open_store(office["ben"]) as ben:
        with pytest.raises(InputError, match="is no assessor"):
            ann.hand_over(begun.id, name_in(office["rob"]))
        ann.hand_over(begun.id, name_in(office["ben"]))
        assert [one.owner for one in ben.owners(begun.id)] == [name_in(office["ann"]), name_in(office["ben"])]
        assert ben.append(begun.id, [entry("n1")]) == 1
        with pytest.raises(RightsError):
            ann.append(begun.id, [entry("n2")])
        assert ben.history(begun.id)[-2].what == f"handed over to {name_in(office['ben'])}"


def test_two_workbenches_see_each_other_at_once(office, begun):
    with open_store(office["ann"]) as ann, open_store(office["rob"]) as rob:
        before = rob.load(begun.id)
        ann.append(begun.id, [entry("n1")])
        ann.update(begun.id, 1, title="Renamed")
        after = rob.load(begun.id)
        assert (before.survey.title, after.survey.title) == (begun.title, "Renamed")
        assert len(after.survey.readings) == len(before.survey.readings) + 1


def test_files_are_in_the_database_and_copies_are_checked(office, begun, tmp_path, monkeypatch):
    content = bytes(range(256)) * (PIECE // 256 * 2) + b"end"
    with open_store(office["ann"]) as ann:
        item = ann.media.put(content, file_name="sound.wav")
        assert ann.media.put(content).sha256 == item.sha256
        ann.attach(begun.id, item)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "other computer"))
    with open_store(office["rob"]) as rob:
        assert rob.media.read(item.sha256) == content
        assert item.sha256 in set(rob.media.hashes())
        rob.media.path(item.sha256).write_bytes(b"damaged")
        with pytest.raises(IntegrityError):
            rob.media.read(item.sha256)
        with pytest.raises(StoreError, match="is missing"):
            rob.media.path("0" * 64)
    with open_store(office["rob"]) as reader, pytest.raises(StoreError, match="permission denied"):
        reader.media.put(b"new")


def test_copies_of_what_was_deleted_go_when_the_record_is_next_opened(office, postgres_url):
    with open_store(office["ann"]) as ann:
        gone, kept = (ann.media.put(content) for content in (b"a photo to be deleted", b"a photo to be kept"))
        copies = [ann.media.path(one.sha256) for one in (gone, kept)]
    with open_store(postgres_url) as keeper:
        keeper.media.remove(gone.sha256)
    for path in copies:
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"copy on another computer")
        os.utime(path, (0, 0))
    with open_store(office["ann"]):
        assert [path.exists() for path in copies] == [False, True]


def test_a_report_is_released_by_a_reviewer_and_by_nobody_else(office, begun):
    with open_store(office["ann"]) as ann, open_store(office["ben"]) as ben, open_store(office["rita"]) as rita:
        with pytest.raises(TooEarlyError, match="not yet draft"):
            sign_off(rita, begun.id, "reviewed")
        sign_off(ann, begun.id, "draft", note="please")
        with pytest.raises(RightsError, match="drew up the report"):
            sign_off(ann, begun.id, "reviewed")
        with pytest.raises(RightsError, match="is no reviewer"):
            sign_off(ben, begun.id, "reviewed")
        with pytest.raises(TooEarlyError, match="not yet reviewed"):
            sign_off(rita, begun.id, "released")
        sign_off(rita, begun.id, "reviewed")
        sign_off(rita, begun.id, "released")
        with pytest.raises(RightsError, match="belongs to"):
            rita.append(begun.id, [entry("n1")])
        found = report_standing(ann.load(begun.id).survey, "v1")
        assert found.stage == "released"
        assert [one.account for one in found.steps] == [name_in(office[w]) for w in ("ann", "rita", "rita")]
        ann.append(begun.id, [entry("n1")])
        assert report_standing(ann.load(begun.id).survey, "v1").stage == "changed"
        with pytest.raises(TooEarlyError, match="was changed"):
            sign_off(rita, begun.id, "released")
        assert check_record(ann, begun.id).misfits == ()


def test_a_reviewer_cannot_touch_anything_else_past_the_program(office, begun):
    with closing(engine_of(office["rita"]).connect()) as connection:
        for statement, words in (
            (f"INSERT INTO survey_part VALUES ('{begun.id}', 'title2', '1', 1)", "row-level security"),
            ("UPDATE survey SET title = 'x'", "permission denied"),
            ("INSERT INTO reading (survey_id, id) VALUES ('x', 'y')", "permission denied"),
        ):
            with pytest.raises(DBAPIError, match=words):
                connection.execute(text(statement))
            connection.rollback()
        gone = connection.execute(text("DELETE FROM survey_part WHERE name = 'title'")).rowcount
        assert gone == 0
