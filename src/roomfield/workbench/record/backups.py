"""Backups: the record of one moment with its files, in a folder that is a record itself; thinned out by age."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event, Thread

from roomfield.errors import RoomfieldError, StoreError
from roomfield.workbench.record.survey_list import Records

FOLDER_VARIABLE = "ROOMFIELD_BACKUPS"
_NAME = re.compile(r"roomfield-(auto-)?(\d{8}T\d{6}Z)\.sqlite")
_STAMP = "%Y%m%dT%H%M%SZ"
_EVERY = timedelta(hours=1)
_LOOK_EVERY_S = 300.0
_HOURLY_FOR, _DAILY_FOR = timedelta(days=1), timedelta(days=31)


@dataclass(frozen=True)
class Backup:
    """A backup that was made.

    Parameters
    ----------
    path : str
        Its database file, which opens like any record; its files lie in ``media`` beside it.
    files : int
        How many files belong to it.
    copied : int
        How many of them were not there from an earlier backup.
    """

    path: str
    files: int
    copied: int

    @property
    def name(self) -> str:
        """Name of its file."""
        return Path(self.path).name


def backup_folder(records: Records, folder: str = "") -> Path:
    """Where backups lie: the folder named, that of the environment variable, or ``backups`` beside the record.

    Raises
    ------
    StoreError
        If the record lies on a server.
    """
    if "://" in records.address:
        raise StoreError("a database on a server is not copied here.", where=records.address, mend="Use pg_dump.")
    named = folder or os.environ.get(FOLDER_VARIABLE, "")
    return Path(named).expanduser() if named else Path(records.address).parent / "backups"


def back_up(records: Records, folder: str = "", *, automatic: bool = False) -> Backup:
    """Copy the record and its files while others may go on writing.

    Parameters
    ----------
    folder : str
        Where to; see `backup_folder`.
    automatic : bool
        True for one that may be thinned out later.

    Raises
    ------
    StoreError
        If it cannot be written.
    """
    target = backup_folder(records, folder)
    stamp = datetime.now(UTC).strftime(_STAMP)
    database = target / f"roomfield-{'auto-' if automatic else ''}{stamp}.sqlite"
    try:
        target.mkdir(parents=True, exist_ok=True, mode=0o700)
        records.back_up(database)
        # The files after the database: each was kept before an entry named it, so all that it names are there.
        hashes = tuple(records.media.hashes())
        copied = sum(_copy(records.media.path(one), target / "media" / one[:2] / one) for one in hashes)
    except OSError as fault:
        with suppress(OSError):
            database.unlink()
        raise StoreError(
            f"the backup cannot be written ({fault.strerror}).",
            where=str(target),
            mend="Check the folder and the disk.",
        ) from None
    return Backup(str(database), len(hashes), copied)


def kept_as(records: Records, name: str) -> str:
    """Path of a backup by the name of its file; empty if there is none of this name."""
    path = backup_folder(records) / name
    return str(path) if _NAME.fullmatch(name) and path.is_file() else ""


def back_up_if_due(records: Records, folder: str = "", now: datetime | None = None) -> Backup | None:
    """An automatic backup if the record changed since the last one and that is an hour old; then the old are thinned.

    Parameters
    ----------
    now : datetime, optional
        The present moment; that of the clock if left out.
    """
    target, moment = backup_folder(records, folder), now or datetime.now(UTC)
    newest = max((at for at, _ in _kept(target)), default=None)
    changed = max((one.changed_at for one in records.surveys()), default="")
    if not changed or (newest is not None and newest.isoformat() > changed):
        return None
    # A clock that was set back must not stop backups for ever.
    if newest is not None and timedelta(0) <= moment - newest < _EVERY:
        return None
    made = back_up(records, folder, automatic=True)
    thin_out(target, moment)
    return made


def thin_out(folder: Path, now: datetime) -> tuple[Path, ...]:
    """Take away automatic backups that age has made superfluous.

    Kept are the last of every hour for a day, of every day for a month, and of every month for ever; those made by
    hand stay.

    Returns
    -------
    tuple of Path
        Those that were taken away.
    """
    seen: set[str] = set()
    gone = []
    for at, path in sorted(_kept(folder, only_automatic=True), reverse=True):
        age = now - at
        form = "%Y%m%d%H" if age < _HOURLY_FOR else "%Y%m%d" if age < _DAILY_FOR else "%Y%m"
        span = f"{form} {at.strftime(form)}"
        if span in seen:
            path.unlink(missing_ok=True)
            gone.append(path)
        seen.add(span)
    return tuple(gone)


class Keeper:
    """Makes backups by itself while a door is open.

    Parameters
    ----------
    records : Records
        The open record; one on a server is left to its own backups.
    say : callable
        Told in one sentence if a backup cannot be made.
    """

    def __init__(self, records: Records, say: Callable[[str], None]) -> None:
        self._records, self._say, self._over = records, say, Event()
        self._thread = Thread(target=self._run, name="roomfield-backups", daemon=True)

    def start(self) -> None:
        """Begin; the first look is at once."""
        if "://" not in self._records.address:
            self._thread.start()

    def stop(self) -> None:
        """End."""
        self._over.set()
        if self._thread.is_alive():
            self._thread.join(timeout=10.0)

    def _run(self) -> None:
        said = ""
        while True:
            try:
                back_up_if_due(self._records)
                said = ""
            except RoomfieldError as fault:
                if fault.sentence() != said:
                    self._say(fault.sentence())
                said = fault.sentence()
            if self._over.wait(_LOOK_EVERY_S):
                return


def _kept(folder: Path, *, only_automatic: bool = False) -> list[tuple[datetime, Path]]:
    found = ((_NAME.fullmatch(path.name), path) for path in folder.glob("roomfield-*.sqlite"))
    return [
        (datetime.strptime(name[2], _STAMP).replace(tzinfo=UTC), path)
        for name, path in found
        if name and (name[1] or not only_automatic)
    ]


def _copy(source: Path, target: Path) -> int:
    """Put a file there unless it is there already; 1 if it was copied."""
    if target.is_file() and target.stat().st_size == source.stat().st_size:
        return 0
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, name = tempfile.mkstemp(prefix=".incoming-", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file, source.open("rb") as content:
            shutil.copyfileobj(content, file, 1 << 20)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return 1
