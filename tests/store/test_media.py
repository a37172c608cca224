"""Files by content hash."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from roomfield.errors import InputError, IntegrityError, StoreError
from roomfield.store.media import MediaFolder
from roomfield.store.repository import open_store


@pytest.fixture
def media(tmp_path: Path) -> MediaFolder:
    return MediaFolder(tmp_path / "media")


@pytest.mark.published("NIST, FIPS 180-4 example SHA-256 of the one-block message 'abc'; digits from memory")
def test_the_name_is_the_sha_256_of_the_content(media: MediaFolder):
    item = media.put(b"abc", file_name="a.txt")
    assert item.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert (item.media_type, item.size_bytes, item.file_name) == ("text/plain", 3, "a.txt")
    assert media.path(item.sha256).read_bytes() == b"abc"


def test_the_same_content_is_kept_once(media: MediaFolder):
    first = media.put(b"wave", file_name="bed.wav")
    second = media.put(b"wave", file_name="desk.wav", caption="desk")
    assert first.sha256 == second.sha256
    assert second.file_name == "desk.wav"
    assert len([p for p in media.folder.rglob("*") if p.is_file()]) == 1


def test_a_file_is_copied_not_moved(media: MediaFolder, tmp_path: Path):
    source = tmp_path / "plan.png"
    source.write_bytes(bytes(range(256)) * 9000)
    item = media.put(source)
    assert source.is_file()
    assert item.sha256 == hashlib.sha256(source.read_bytes()).hexdigest()
    assert item.media_type == "image/png"
    assert media.read(item.sha256) == source.read_bytes()


def test_a_changed_file_is_noticed(media: MediaFolder):
    item = media.put(b"original")
    media.path(item.sha256).write_bytes(b"tampered")
    with pytest.raises(IntegrityError, match="has changed"):
        media.read(item.sha256)


@pytest.mark.parametrize("name", ["../../etc/passwd", "A" * 64, "ab" * 31, "", "0" * 63 + "/", "0" * 64 + "\n"])
def test_nothing_but_a_hash_reaches_the_disk(media: MediaFolder, name: str):
    with pytest.raises(InputError, match="no SHA-256"):
        media.path(name)


@pytest.mark.parametrize(
    ("given", "kept"),
    [("../../x.png", "x.png"), ("C:\\photos\\bed.jpg", "bed.jpg"), ("a\x00b\n.wav", "ab.wav"), ("", "")],
)
def test_a_file_name_is_only_a_label(media: MediaFolder, given: str, kept: str):
    assert media.put(b"x", file_name=given).file_name == kept


def test_a_missing_file_is_named(media: MediaFolder):
    with pytest.raises(StoreError, match="ffffffffffff is missing"):
        media.path("f" * 64)


def test_an_unreadable_source_leaves_nothing(media: MediaFolder, tmp_path: Path):
    with pytest.raises(InputError, match="cannot be read"):
        media.put(tmp_path / "gone.wav")
    assert list(media.folder.rglob("*")) == []


def test_a_disk_that_fails_half_way_leaves_nothing(media: MediaFolder, monkeypatch: pytest.MonkeyPatch):
    def fail(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("roomfield.store.media.os.fsync", fail)
    with pytest.raises(StoreError, match="No space left"):
        media.put(b"x" * 5000)
    assert [path for path in media.folder.rglob("*") if path.is_file()] == []


def test_beside_the_database_unless_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("ROOMFIELD_MEDIA", raising=False)
    with open_store(tmp_path / "a.sqlite") as store:
        assert store.media.folder == tmp_path / "media"
    with open_store(tmp_path / "a.sqlite", media_folder=tmp_path / "elsewhere") as store:
        assert store.media.folder == tmp_path / "elsewhere"
    monkeypatch.setenv("ROOMFIELD_MEDIA", str(tmp_path / "named"))
    with open_store(tmp_path / "a.sqlite") as store:
        assert store.media.folder == tmp_path / "named"
