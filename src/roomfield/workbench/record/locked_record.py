"""A record at rest under a passphrase: every file of its folder sealed while nobody works with it.

The age format (age-encryption.org/v1): files for a key pair of this record's own (X25519, ChaCha20-Poly1305), the
private key under the passphrase (scrypt). While a record is unlocked everything lies there in the clear.
"""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roomfield.errors import InputError, IntegrityError, StoreError, TooEarlyError
from roomfield.exchange.sealed_package import ENDING, seal, unseal
from roomfield.extras import library
from roomfield.scratch import scratch_folder

KEY_NAME = f"roomfield.key{ENDING}"
_MAGIC = b"SQLite format 3\0"
_PARTIAL = ".partial-"

_pyrage = library("pyrage", "sealed")


@dataclass(frozen=True)
class LockedFiles:
    """What was locked or unlocked.

    Parameters
    ----------
    folder : str
        Of the record.
    files : int
        How many files.
    size_bytes : int
        Their size in the clear.
    """

    folder: str
    files: int
    size_bytes: int


def lock(record: str, passphrase: str) -> LockedFiles:
    """Seal everything in the folder of a record: databases, their backups, and all files.

    What is left to see are names (the hash of each file's content), sizes and times. Series of logs are taken away;
    they are made again from the logs. A lock that was cut short is finished by calling it again, or undone by `unlock`.

    Parameters
    ----------
    record : str
        SQLite file or folder.
    passphrase : str
        At least twelve characters. Nobody can open the record without it, the makers of this program neither.

    Raises
    ------
    InputError
        If the passphrase is too short, there is no record, or its files lie elsewhere.
    StoreError
        If another program has the record open, or the files cannot be written.
    MissingExtraError
        If the library is not installed.
    """
    folder = _folder(record)
    if os.environ.get("ROOMFIELD_MEDIA"):
        raise InputError(
            "the files of this record lie in another folder.", where="ROOMFIELD_MEDIA",
            mend="Move them into 'media' beside the record, or keep that folder on an encrypted disk.",
        )  # fmt: skip
    databases = tuple(_databases(folder))
    if not databases:
        raise InputError("there is no record here that is not locked.", where=str(folder), mend="Check the path.")
    for database in databases:
        _refuse_in_use(database)
    if next(folder.glob("**/nights/*/*"), None) is not None:
        raise TooEarlyError(
            "nights of sound wait to be kept.",
            where=str(folder),
            mend="Keep them or throw them away on the page Night.",
        )
    identity = _identity(folder, passphrase, new=True)
    found, size = 0, 0
    try:
        for path in (*_files(folder), *databases):
            size += path.stat().st_size
            _seal_one(path, identity)
            found += 1
        for series in folder.glob("**/series"):
            shutil.rmtree(series, ignore_errors=True)
    except OSError as fault:
        raise _cannot_write(folder, fault) from None
    return LockedFiles(str(folder), found, size)


def unlock(record: str, passphrase: str) -> LockedFiles:
    """Bring everything in the folder of a record back into the clear.

    Raises
    ------
    InputError
        If nothing is locked there.
    IntegrityError
        If the passphrase is another, or files were changed; all others are then open.
    StoreError
        If the files cannot be written.
    """
    folder = _folder(record)
    if not (folder / KEY_NAME).is_file():
        raise InputError("there is no locked record here.", where=str(folder), mend="Check the path.")
    identity = _identity(folder, passphrase, new=False)
    found, size, damaged = 0, 0, []
    sealed = sorted(folder.glob(f"**/*{ENDING}"), key=lambda path: (path.suffixes[:1] == [".sqlite"], str(path)))
    try:
        for path in (one for one in sealed if one.name != KEY_NAME and _is_ours(one)):
            clear = _unseal_one(path, identity)
            if clear is None:
                damaged.append(str(path.relative_to(folder)))
                continue
            size += clear.stat().st_size
            found += 1
        if not damaged:
            (folder / KEY_NAME).unlink()
    except OSError as fault:
        raise _cannot_write(folder, fault) from None
    if damaged:
        raise IntegrityError(
            f"{len(damaged)} files do not open because they were changed: {', '.join(damaged[:5])}.",
            where=str(folder),
            mend="All others are open; restore these from a backup.",
        )
    return LockedFiles(str(folder), found, size)


def _folder(record: str) -> Path:
    if "://" in record:
        raise InputError(
            "a database on a server is not locked here.", where=record, mend="Keep the server on an encrypted disk."
        )
    path = Path(record).expanduser()
    return path if path.is_dir() else path.parent


def _databases(folder: Path) -> Iterator[Path]:
    """Databases in the folder and among its backups, the record itself last."""
    for path in sorted((*folder.glob("*/*.sqlite"), *folder.glob("*.sqlite")), key=lambda p: (-len(p.parts), str(p))):
        with path.open("rb") as file:
            if file.read(len(_MAGIC)) == _MAGIC:
                yield path


def _files(folder: Path) -> Iterator[Path]:
    for media in (folder / "media", *folder.glob("*/media")):
        yield from sorted(path for path in media.glob("??/*") if path.is_file() and path.suffix != ENDING)


def _is_ours(path: Path) -> bool:
    return path.name.endswith(f".sqlite{ENDING}") or path.parent.parent.name == "media"


def _refuse_in_use(database: Path) -> None:
    """Refuse a database that somebody else has open: its log is then still there after we have closed it."""
    try:
        with closing(sqlite3.connect(database, timeout=1.0)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    except sqlite3.Error as fault:
        raise StoreError(f"the database refused: {fault}.", where=str(database), mend="Restore a backup.") from None
    if database.with_name(f"{database.name}-wal").exists():
        raise StoreError(
            "another program has the record open.", where=str(database), mend="Close it, then lock the record again."
        )


def _identity(folder: Path, passphrase: str, *, new: bool) -> Any:
    """The key pair of a record, made and put under the passphrase if there is none yet."""
    key = folder / KEY_NAME
    with scratch_folder() as work:
        clear = work / "key"
        if new and not key.exists():
            clear.write_text(str(_pyrage.x25519.Identity.generate()), encoding="ascii")
            try:
                seal(clear, key, passphrase)
            except OSError as fault:
                raise _cannot_write(folder, fault) from None
        unseal(key, clear, passphrase)
        return _pyrage.x25519.Identity.from_str(clear.read_text(encoding="ascii"))


def _seal_one(path: Path, identity: Any) -> None:
    """Put one file under the key; the clear one goes only once the sealed one has been read back."""
    sealed, partial = path.with_name(path.name + ENDING), path.with_name(_PARTIAL + path.name)
    _private(partial)
    _pyrage.encrypt_file(str(path), str(partial), [identity.to_public()])
    if _digest_sealed(partial, identity) != _digest(path):
        partial.unlink()
        raise IntegrityError("it cannot be read back.", where=str(path), mend="Check the disk; nothing was taken away.")
    _settle(partial, sealed)
    path.unlink()


def _unseal_one(path: Path, identity: Any) -> Path | None:
    """Bring one file back; None if it was changed, which leaves it as it is."""
    clear, partial = path.with_name(path.name.removesuffix(ENDING)), path.with_name(_PARTIAL + path.name)
    _private(partial)
    try:
        _pyrage.decrypt_file(str(path), str(partial), [identity])
    except (_pyrage.DecryptError, OSError) as fault:
        partial.unlink(missing_ok=True)
        if getattr(fault, "errno", None):  # of the disk, and not of what stands on it
            raise
        return None
    _settle(partial, clear)
    path.unlink()
    return clear


def _private(path: Path) -> None:
    os.close(os.open(path, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600))


def _settle(partial: Path, target: Path) -> None:
    with partial.open("rb+") as file:
        os.fsync(file.fileno())
    os.replace(partial, target)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


class _Hashing(io.RawIOBase):
    """Takes bytes and keeps their hash alone."""

    def __init__(self) -> None:
        self.digest = hashlib.sha256()

    def writable(self) -> bool:
        return True

    def write(self, content: Any) -> int:
        self.digest.update(content)
        return len(content)


def _digest_sealed(path: Path, identity: Any) -> str:
    taken = _Hashing()
    with path.open("rb") as file:
        _pyrage.decrypt_io(file, taken, [identity])
    return taken.digest.hexdigest()


def _cannot_write(folder: Path, fault: OSError) -> StoreError:
    return StoreError(
        f"a file cannot be written ({fault.strerror or fault}); what was done so far stands.",
        where=str(folder),
        mend="Make room, then lock or unlock again: both go on where they were cut short.",
    )
