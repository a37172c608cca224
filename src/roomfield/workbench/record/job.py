"""One survey opened for work, wherever it lies: record, survey document or survey package."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from roomfield.errors import InputError
from roomfield.exchange.package import package_hash, write_package
from roomfield.exchange.sealed_package import ENDING, seal, unseal
from roomfield.exchange.survey_document import read_document_file
from roomfield.exchange.unpack import OpenedPackage, open_package
from roomfield.scratch import scratch_folder
from roomfield.store.making import refuse_if_locked
from roomfield.store.repository import Store, open_store
from roomfield.survey import Survey

RECORD_NAME = "roomfield.sqlite"
"""Name of the record in a folder."""


@dataclass(frozen=True, repr=False)
class Job:
    """A survey and where it came from.

    Parameters
    ----------
    survey : Survey
        As it was when it was opened.
    store : Store or None
        The record it lies in; None if it was read from a document or package.
    """

    survey: Survey
    store: Store | None = None

    def __repr__(self) -> str:
        survey = self.survey
        parts = (
            (len(survey.places), "places"), (len(survey.emitters), "transmitters"), (len(survey.visits), "visits"),
            (len(survey.readings), "readings"), (len(survey.recordings), "recordings"), (len(survey.logs), "logs"),
        )  # fmt: skip
        held = ", ".join(f"{count} {name}" for count, name in parts)
        return f"<Job {survey.id}: {survey.title[:60]}; {held}; {'in memory' if self.store is None else 'in a record'}>"

    @property
    def content_sha256(self) -> str:
        """SHA-256 of the package's manifest: of the survey and its files, however they are packed."""
        return package_hash(self.survey)

    def package_sha256(self) -> str:
        """SHA-256 of the survey package, the file that is handed over; empty if its files are not at hand."""
        if self.store is None and self.survey.media:
            return ""
        with scratch_folder() as folder:
            return self.write_package(folder / "package.zip")

    def write_sealed(self, target: str | Path, passphrase: str) -> str:
        """Write the survey package under a passphrase and return the hash of the package inside.

        Parameters
        ----------
        target : str or Path
            The file; ends in ``.age``.
        passphrase : str
            At least twelve characters.
        """
        with scratch_folder() as folder:
            package = folder / "package.zip"
            digest = self.write_package(package)
            seal(package, Path(target), passphrase)
        return digest

    def media_path(self, sha256: str) -> Path:
        """Path of one of the survey's files.

        Parameters
        ----------
        sha256 : str
            Hash of the file as it was received, 64 hex digits.

        Raises
        ------
        InputError
            If the survey was read from a document, which holds no files.
        """
        if self.store is None:
            raise InputError(
                "a survey document holds no recordings or logs.",
                where=self.survey.title,
                mend="Open the record or take in the survey package.",
            )
        return self.store.media.path(sha256)

    def again(self) -> Job:
        """The same survey as it is in the record now."""
        if self.store is None:
            return self
        return Job(self.store.load(self.survey.id).survey, self.store)

    def write_package(self, target: str | Path) -> str:
        """Write the survey package and return the SHA-256 of the file, as ``sha256sum`` gives it.

        Parameters
        ----------
        target : str or Path
            The zip file.

        Raises
        ------
        InputError
            If it cannot lie there.
        """
        path = Path(target)
        if not _is(path.parent.is_dir) or _is(path.is_dir):
            raise InputError(
                "the package cannot be written here.", where=str(target), mend="Name a file in a folder that exists."
            )
        links = self.store.history(self.survey.id) if self.store is not None else ()
        write_package(self.survey, self.media_path, path, links)
        return file_sha256(path)


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, as 64 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def open_job(source: str | Path, survey_id: str = "") -> Job:
    """Open a survey.

    Parameters
    ----------
    source : str or Path
        A record (SQLite file, folder or database URL) or a survey document (``.json``).
    survey_id : str
        Which survey of the record; may be left out if there is only one.

    Raises
    ------
    InputError
        If the record holds none or several and none was named.
    RoomfieldError
        If the source cannot be read.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> made = rf.begin(f"{folder}/a.sqlite", "Flat")
    >>> rf.open(f"{folder}/a.sqlite").survey.title
    'Flat'
    """
    text = str(source)
    if text.endswith(".json"):
        return Job(read_document_file(Path(source)))
    if text.endswith(".zip"):
        raise InputError(
            "a survey package is taken into a record before it is worked on.",
            where=text,
            mend=f"Use 'roomfield unpack {text}'.",
        )
    store = existing_record(text)
    return Job(store.load(survey_id or _only_one(store)).survey, store)


def existing_record(source: str) -> Store:
    """Open a record that is there already; reading never makes one.

    Parameters
    ----------
    source : str
        SQLite file, folder or database URL.

    Raises
    ------
    InputError
        If there is none.
    StoreError
        If it cannot be opened.
    """
    if "://" not in source:
        path = Path(source).expanduser()
        file = path / RECORD_NAME if _is(path.is_dir) else path
        refuse_if_locked(file)
        if not source.strip() or not _is(file.is_file) or file.stat().st_size == 0:
            raise InputError(
                "there is no record here.",
                where=source,
                mend="Make one with 'roomfield new', or name another with --record.",
            )
    return open_store(source)


def _is(question: Callable[[], bool]) -> bool:
    """The answer to a question on a path; no for a path that no file can have."""
    try:
        return question()
    except (OSError, ValueError):
        return False


def _only_one(store: Store) -> str:
    found = store.surveys()
    if len(found) == 1:
        return found[0].id
    listed = ", ".join(s.id for s in found[:12])
    what = "the record holds no survey." if not found else f"the record holds {len(found)} surveys."
    mend = "Begin one with 'roomfield new'." if not found else f"Name one with --survey: {listed}."
    raise InputError(what, where=store.address, mend=mend)


def is_sealed(path: str) -> bool:
    """Whether a name says that a package lies under a passphrase."""
    return path.endswith(ENDING)


def unpack_into(record: str, path: str | Path, passphrase: str = "") -> Survey:
    """Check a survey package wholly, then keep it in a record, which is made if need be.

    Parameters
    ----------
    record : str
        SQLite file, folder or database URL.
    path : str or Path
        The zip file, or one that lies under a passphrase.
    passphrase : str
        For the latter.

    Raises
    ------
    FormatError, IntegrityError
        If anything in the package does not match its checksum; then no record is made either.
    """
    if is_sealed(str(path)):
        with scratch_folder() as folder:
            unseal(Path(path), folder / "package.zip", passphrase)
            return unpack_into(record, folder / "package.zip")
    with open_package(Path(path)) as package, open_store(record) as store:
        return take_in_opened(store, package)


def take_in_opened(store: Store, package: OpenedPackage, survey_id: str = "") -> Survey:
    """Keep the survey and the files of a package that was checked.

    Parameters
    ----------
    survey_id : str
        Id to keep it under; its own if empty.
    """
    for item in package.survey.media:
        store.media.put(package.media[item.sha256], file_name=item.file_name, media_type=item.media_type)
    survey = replace(package.survey, id=survey_id) if survey_id else package.survey
    chain = f", chain {package.links[-1].sha256}" if package.links else ""
    return store.create(survey, f"taken in: package {package.package_hash}{chain}").survey
