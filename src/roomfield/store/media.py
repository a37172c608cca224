"""Files kept by the hash of their content: the same file twice is one file, a changed file is another."""

from __future__ import annotations

import hashlib
import mimetypes
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from roomfield.errors import InputError, IntegrityError, StoreError
from roomfield.regular_files import refuse_irregular
from roomfield.store.engine import Address
from roomfield.survey.observation import MediaItem

_HASH = re.compile(r"[0-9a-f]{64}")
_SERIES = re.compile(r"[0-9a-f]{16,63}")
_CHUNK = 1 << 20
_INCOMING = ".incoming-"
_IN_WORK_S = 3600.0


class MediaFolder:
    """A folder of files, each named by its SHA-256.

    Parameters
    ----------
    folder : Path or None
        None refuses every use with a message that says what to set; see `DatabaseMedia` for servers.
    """

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder

    @classmethod
    def beside(cls, address: Address, folder: str | Path | None) -> MediaFolder:
        """The folder asked for, or named by ROOMFIELD_MEDIA, or else ``media`` beside the database file."""
        named = folder if folder is not None else os.environ.get("ROOMFIELD_MEDIA")
        if named:
            return cls(Path(named).expanduser().resolve())
        return cls(address.beside / "media" if address.beside is not None else None)

    @property
    def is_named(self) -> bool:
        """Whether there is a folder at all."""
        return self._folder is not None

    @property
    def folder(self) -> Path:
        """Where the files lie.

        Raises
        ------
        StoreError
            If the database lies on a server and no folder was named.
        """
        if self._folder is None:
            raise StoreError(
                "there is no folder for media.",
                mend="Name one in ROOMFIELD_MEDIA, or when the store is opened (media_folder).",
            )
        return self._folder

    def put(self, content: bytes | Path, *, file_name: str = "", media_type: str = "", caption: str = "") -> MediaItem:
        """Keep a file; once this returns, it is on the disk under its hash.

        Parameters
        ----------
        content : bytes or Path
            The bytes, or a file to copy.
        file_name : str
            What the user called it; kept as a label only and never used as a path.
        media_type : str
            Guessed from the name if empty.

        Raises
        ------
        InputError
            If the file to copy cannot be read.
        StoreError
            If it cannot be written.
        """
        name = _label(file_name or (content.name if isinstance(content, Path) else ""))
        with _opened(content) as source:
            try:
                self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
                sha256, size = self._store(source)
            except OSError as fault:
                raise StoreError(
                    f"the file cannot be kept ({fault.strerror}).",
                    where=str(self.folder),
                    mend="Check folder and disk.",
                ) from None
        guessed = mimetypes.guess_type(name)[0] or "application/octet-stream"
        return MediaItem(sha256, name, media_type or guessed, size, caption)

    def path(self, sha256: str) -> Path:
        """The file with this hash.

        Raises
        ------
        InputError
            If this is no SHA-256.
        StoreError
            If there is no such file.
        """
        path = self._place(sha256)
        if not path.is_file():
            raise StoreError(
                f"the file {sha256[:12]} is missing.", where=str(path), mend="Restore it, or import it again."
            )
        return path

    def read(self, sha256: str) -> bytes:
        """The content with this hash, checked against it.

        Raises
        ------
        IntegrityError
            If the file on the disk has changed.
        """
        path = self.path(sha256)
        content = path.read_bytes()
        if hashlib.sha256(content).hexdigest() != sha256:
            raise IntegrityError("the file has changed since it was stored.", where=str(path), mend="Restore it.")
        return content

    def remove(self, sha256: str) -> None:
        """Take a file away for good, and the series that was made from it; nothing happens if it is gone already."""
        place = self._place(sha256) if _HASH.fullmatch(sha256) else None
        if place is not None:
            place.unlink(missing_ok=True)
        elif _SERIES.fullmatch(sha256):
            shutil.rmtree(self.folder.parent / "series" / sha256, ignore_errors=True)

    def hashes(self) -> Iterator[str]:
        """Content hashes of all files that are kept."""
        if self._folder is not None and self._folder.is_dir():
            yield from sorted(path.name for path in self._folder.glob("??/*") if _HASH.fullmatch(path.name))

    def sweep(self) -> None:
        """Take away what a killed process left half-written; what is younger than an hour may still be in work."""
        if self._folder is None:
            return
        for path in self._folder.glob(f"{_INCOMING}*"):
            try:
                if self.is_old(path):
                    path.unlink()
            except OSError:
                continue  # somebody else's, or gone: it costs only room

    @staticmethod
    def is_old(path: Path) -> bool:
        """Whether a file is older than any work that may still go on with it."""
        return time.time() - path.stat().st_mtime > _IN_WORK_S

    def _place(self, sha256: str) -> Path:
        if not _HASH.fullmatch(sha256):
            raise InputError(f"{sha256[:80]!r} is no SHA-256.", mend="Give 64 hexadecimal digits.")
        return self.folder / sha256[:2] / sha256

    def _store(self, source: IO[bytes]) -> tuple[str, int]:
        return self._store_pieces(iter(lambda: source.read(_CHUNK), b""))

    def _store_pieces(self, pieces: Iterable[bytes]) -> tuple[str, int]:
        """Keep a file that comes in pieces; its hash and size."""
        digest, size = hashlib.sha256(), 0
        handle, name = tempfile.mkstemp(prefix=_INCOMING, dir=self.folder)
        try:
            with os.fdopen(handle, "wb") as target:
                for chunk in pieces:
                    digest.update(chunk)
                    size += len(chunk)
                    target.write(chunk)
                target.flush()
                os.fsync(target.fileno())
            path = self._place(digest.hexdigest())
            path.parent.mkdir(exist_ok=True, mode=0o700)
            os.replace(name, path)
            sync_folder(path.parent)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        return digest.hexdigest(), size


def sync_folder(folder: Path) -> None:
    """Have the name of a new file on the disk as well (POSIX; elsewhere folders cannot be synced)."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def _opened(content: bytes | Path) -> Iterator[IO[bytes]]:
    if isinstance(content, bytes):
        with tempfile.SpooledTemporaryFile(max_size=1 << 28) as memory:
            memory.write(content)
            memory.seek(0)
            yield memory
        return
    refuse_irregular(content)
    try:
        source = content.open("rb")
    except OSError as fault:
        raise InputError(f"it cannot be read ({fault.strerror}).", where=content.name, mend="Check the file.") from None
    with source:
        yield source


def _label(name: str) -> str:
    last = re.split(r"[/\\]", name)[-1]
    return "".join(c for c in last if c.isprintable())[:200]
