"""Taking a survey package in: everything is checked before anything is handed on."""

from __future__ import annotations

import hashlib
import logging
import re
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import bagit

from roomfield.errors import FormatError, InputError, IntegrityError
from roomfield.exchange.package import CHAIN_FILE, MANIFEST, MEDIA_FOLDER, SURVEY_FILE, TAG_MANIFEST, media_of
from roomfield.exchange.survey_document import MOST_BYTES, read_document
from roomfield.regular_files import refuse_irregular
from roomfield.scratch import scratch_folder
from roomfield.survey.chain import Link
from roomfield.survey.json_codec import from_json
from roomfield.survey.survey_record import Survey

_TAG_FILES = frozenset({"bagit.txt", "bag-info.txt", MANIFEST, TAG_MANIFEST, CHAIN_FILE})
_TOP = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")
_MEDIUM = re.compile(re.escape(MEDIA_FOLDER) + r"[0-9a-f]{64}")
_LONGEST_TAG_FILE = 16 * 2**20
_BROKEN_ZIP = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError
)  # fmt: skip
_CHUNK = 1 << 20
_GIB = 2**30
_AGAIN = "Ask for the package again."


@dataclass(frozen=True)
class Limits:
    """How much a package may hold.

    Parameters
    ----------
    files : int
        Number of files.
    total_bytes : int
        Length of all files once unpacked [byte].
    """

    files: int = 20_000
    total_bytes: int = 8 * _GIB


@dataclass(frozen=True)
class OpenedPackage:
    """A package that has been checked and lies unpacked in a folder that goes when the caller is done.

    Parameters
    ----------
    media : mapping of str to Path
        Files by content hash.
    package_hash : str
        SHA-256 of its manifest.
    links : tuple of Link
        The chain of the survey; empty if the package carries none.
    """

    survey: Survey
    media: Mapping[str, Path]
    package_hash: str
    links: tuple[Link, ...] = ()


@contextmanager
def open_package(path: Path, *, limits: Limits | None = None) -> Iterator[OpenedPackage]:
    """Check a survey package wholly, and hand over what is in it.

    Parameters
    ----------
    path : Path
        The zip file.
    limits : Limits, optional
        How much it may hold.

    Raises
    ------
    FormatError
        If it is no survey package, holds other files than it may, or is too large.
    IntegrityError
        If a checksum does not match, or a file is missing or too many.
    """
    with scratch_folder() as folder:
        root = _extract(path, folder, limits or Limits())
        _verify(root, path.name)
        content = (root / SURVEY_FILE).read_bytes()
        survey = read_document(content, where=f"{path.name}: {SURVEY_FILE}")
        media = {file.name: file for file in sorted((root / MEDIA_FOLDER).glob("*"))}
        _refuse_wrong_media(survey, media, path.name)
        yield OpenedPackage(survey, media, _digest(root / MANIFEST), _links(root / CHAIN_FILE, path.name))


def _links(file: Path, where: str) -> tuple[Link, ...]:
    if not file.is_file():
        return ()
    links: tuple[Link, ...] = from_json(file.read_bytes(), tuple[Link, ...], where=f"{where}: {CHAIN_FILE}")
    return links


def _extract(path: Path, folder: Path, limits: Limits) -> Path:
    refuse_irregular(path)
    try:
        with zipfile.ZipFile(path) as bag:
            top = _checked_names(bag, path.name, limits)
            left = limits.total_bytes
            for entry in bag.infolist():
                if not entry.is_dir():
                    left -= _extract_one(bag, entry, folder / entry.filename, left, path.name)
    except OSError as fault:
        raise InputError(f"it cannot be read ({fault.strerror}).", where=path.name, mend="Check the path.") from None
    except _BROKEN_ZIP as fault:
        raise FormatError(f"it is no readable zip file ({fault}).", where=path.name, mend=_AGAIN) from None
    return folder / top


def _checked_names(bag: zipfile.ZipFile, where: str, limits: Limits) -> str:
    entries = bag.infolist()
    if len(entries) > limits.files:
        raise FormatError(
            f"it holds {len(entries)} files; at most {limits.files} are taken in.", where=where, mend=_AGAIN
        )
    claimed = sum(entry.file_size for entry in entries)
    if claimed > limits.total_bytes:
        raise _too_large(where, limits.total_bytes)
    tops, seen = set(), set()
    for entry in entries:
        top, _, inner = entry.filename.partition("/")
        tops.add(top)
        if not _allowed(entry, top, inner):
            raise FormatError(
                f"it holds {entry.filename[:80]!r}, which has no place in a survey package.",
                where=where,
                mend=_AGAIN,
            )
        if entry.filename in seen:
            raise FormatError(f"it holds {entry.filename[:80]!r} twice.", where=where, mend=_AGAIN)
        seen.add(entry.filename)
    if len(tops) != 1:
        raise FormatError("it must hold exactly one folder.", where=where, mend="Choose a survey package.")
    return tops.pop()


def _allowed(entry: zipfile.ZipInfo, top: str, inner: str) -> bool:
    if not _TOP.fullmatch(top) or stat.S_ISLNK(entry.external_attr >> 16) or entry.flag_bits & 1:
        return False
    if entry.is_dir():
        return inner in ("", "data/", MEDIA_FOLDER)
    return inner in _TAG_FILES or inner == SURVEY_FILE or bool(_MEDIUM.fullmatch(inner))


def _extract_one(bag: zipfile.ZipFile, entry: zipfile.ZipInfo, target: Path, left: int, where: str) -> int:
    """Unpack one file, counting what really comes out; the length in the directory may lie."""
    inner = entry.filename.partition("/")[2]
    most = {SURVEY_FILE: min(MOST_BYTES, left)}.get(inner, left if inner.startswith("data/") else _LONGEST_TAG_FILE)
    target.parent.mkdir(parents=True, exist_ok=True)
    written = 0
    with bag.open(entry) as source, target.open("wb") as file:
        while chunk := source.read(_CHUNK):
            written += len(chunk)
            if written > most:
                raise _too_large(where, most)
            file.write(chunk)
    return written


def _too_large(where: str, most: int) -> FormatError:
    return FormatError(f"unpacked it is larger than {most / _GIB:.3g} GiB.", where=where, mend="Send it in parts.")


def _verify(root: Path, where: str) -> None:
    for name in ("bagit.txt", MANIFEST, SURVEY_FILE):
        if not (root / name).is_file():
            raise FormatError(f"it has no {name}.", where=where, mend="Choose a survey package.")
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    try:
        bagit.Bag(str(root)).validate(processes=1)
    except bagit.BagError as fault:
        raise IntegrityError(f"it is damaged: {_first_reason(fault)}.", where=where, mend=_AGAIN) from None
    except (UnicodeError, ValueError) as fault:
        raise FormatError(f"its tag files cannot be read ({fault}).", where=where, mend=_AGAIN) from None


def _first_reason(fault: Exception) -> str:
    details = getattr(fault, "details", None)
    words = str(details[0] if details else fault)
    return " ".join(words.split())[:300].rstrip(".")


def _refuse_wrong_media(survey: Survey, media: Mapping[str, Path], where: str) -> None:
    listed = set(media_of(survey))
    if listed != set(media):
        odd = sorted(listed ^ set(media))[0]
        what = "lists a file that is not there" if odd in listed else "holds a file that the survey does not list"
        raise IntegrityError(f"it {what}: {odd[:12]}.", where=where, mend=_AGAIN)
    for name, path in media.items():
        if _digest(path) != name:
            raise IntegrityError(
                f"the file {name[:12]} does not have the content it is named after.", where=where, mend=_AGAIN
            )


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
