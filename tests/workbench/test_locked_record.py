"""A record at rest under a passphrase: nothing in the clear, nothing lost, also when it is cut short."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.errors import InputError, IntegrityError, StoreError
from roomfield.store.repository import open_store
from roomfield.workbench.record import backups, locked_record
from roomfield.workbench.record.job import existing_record
from roomfield.workbench.record.locked_record import KEY_NAME, lock, unlock
from roomfield.workbench.record.proof import check_record
from roomfield.workbench.record.survey_list import keep_file, keep_new

WORDS = "four words without sense"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A record with a photo and a backup, closed."""
    with open_store(tmp_path) as store:
        bare = replace(demo_survey(), title="Bedroom of Family Muster", media=(), recordings=(), logs=())
        keep_file(store, keep_new(store, bare), b"a photo of the bedroom", "bed.png", "image/png")
        backups.back_up(store)
        (tmp_path / "series" / "x").mkdir(parents=True)
        (tmp_path / "series" / "x" / "levels").write_bytes(b"levels of Family Muster")
    return tmp_path


def in_the_clear(folder: Path) -> list[str]:
    words = (b"Family Muster", b"a photo of the bedroom", b"SQLite format 3")
    files = [path for path in folder.rglob("*") if path.is_file()]
    return [path.name for path in files if any(word in path.read_bytes() for word in words)]


def test_nothing_is_in_the_clear_and_everything_comes_back(folder: Path):
    assert len(in_the_clear(folder)) == 5
    locked = lock(str(folder), WORDS)
    assert in_the_clear(folder) == [] and not (folder / "series").exists()
    opened = unlock(str(folder), WORDS)
    assert (opened.files, opened.size_bytes) == (locked.files, locked.size_bytes) == (4, locked.size_bytes)
    assert not list(folder.rglob("*.age")) and not list(folder.rglob(".partial*"))
    with open_store(folder) as store:
        assert store.surveys()[0].title == "Bedroom of Family Muster"
        assert check_record(store).misfits == ()


def test_a_locked_record_is_not_begun_afresh(folder: Path):
    lock(str(folder), WORDS)
    for opening in (open_store, lambda path: existing_record(str(path))):
        with pytest.raises(StoreError, match=r"is locked.*roomfield unlock"):
            opening(folder)
    assert not (folder / "roomfield.sqlite").exists()


def test_another_passphrase_a_short_one_and_none_are_refused(folder: Path):
    with pytest.raises(InputError, match="at least 12"):
        lock(str(folder), "short")
    assert not (folder / KEY_NAME).exists()
    with pytest.raises(InputError, match="no locked record"):
        unlock(str(folder), WORDS)
    lock(str(folder), WORDS)
    with pytest.raises(IntegrityError, match="the passphrase is another"):
        unlock(str(folder), WORDS + "!")
    with pytest.raises(InputError, match="not locked"):
        lock(str(folder), WORDS)
    with pytest.raises(InputError, match="on a server"):
        lock("postgresql://a@b/c", WORDS)


def test_files_that_lie_elsewhere_are_not_passed_over(folder: Path, monkeypatch):
    monkeypatch.setenv("ROOMFIELD_MEDIA", str(folder / "elsewhere"))
    with pytest.raises(InputError, match="lie in another folder"):
        lock(str(folder), WORDS)
    assert len(in_the_clear(folder)) == 5


def test_a_record_in_use_is_not_locked(folder: Path):
    with open_store(folder) as store:
        store.surveys()
        with pytest.raises(StoreError, match="another program has the record open"):
            lock(str(folder), WORDS)
        assert store.surveys()


@pytest.mark.parametrize("after", [1, 2, 3])
def test_a_lock_cut_short_goes_on_or_back(folder: Path, monkeypatch, after: int):
    plain, done = locked_record._seal_one, []

    def cut(path: Path, identity: object) -> None:
        if len(done) == after:
            raise OSError(28, "No space left on device")
        done.append(path)
        plain(path, identity)

    monkeypatch.setattr(locked_record, "_seal_one", cut)
    with pytest.raises(StoreError, match=r"No space left.*go on"):
        lock(str(folder), WORDS)
    monkeypatch.undo()
    if after == 2:
        lock(str(folder), WORDS)
        assert in_the_clear(folder) == []
    unlock(str(folder), WORDS)
    with open_store(folder) as store:
        assert check_record(store).misfits == ()


def test_a_changed_file_is_told(folder: Path):
    lock(str(folder), WORDS)
    sealed = next((folder / "media").rglob("*.age"))
    content = bytearray(sealed.read_bytes())
    content[-1] ^= 1
    sealed.write_bytes(content)
    with pytest.raises(IntegrityError, match=r"1 files do not open.*All others are open"):
        unlock(str(folder), WORDS)
    with open_store(folder) as store:
        assert store.surveys()[0].title == "Bedroom of Family Muster"
        assert "is missing" in str(check_record(store).misfits)
