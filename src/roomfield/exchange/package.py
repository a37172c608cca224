"""The survey package: a BagIt bag (RFC 8493) in a zip file, with the survey document and its media.

<name>/bagit.txt
<name>/bag-info.txt
<name>/manifest-sha256.txt
<name>/tagmanifest-sha256.txt
<name>/chain.json               who wrote what and when; a tag file, so it does not change the package hash
<name>/data/survey.json
<name>/data/media/<sha256>
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path

from roomfield.errors import IntegrityError
from roomfield.exchange.survey_document import SCHEMA_ID, write_document
from roomfield.survey.chain import Link
from roomfield.survey.survey_record import Survey

SURVEY_FILE = "data/survey.json"
MEDIA_FOLDER = "data/media/"
MANIFEST = "manifest-sha256.txt"
TAG_MANIFEST = "tagmanifest-sha256.txt"
CHAIN_FILE = "chain.json"
_LONG_AGO = (1980, 1, 1, 0, 0, 0)
_PLAIN_FILE = 0o100644 << 16
_CHUNK = 1 << 20


def package_hash(survey: Survey) -> str:
    """SHA-256 of the package's ``manifest-sha256.txt``, as 64 hexadecimal digits.

    It depends on the survey document and on every medium, and on nothing else: not on the date, not on how
    the zip file was compressed. Anybody can check it with ``sha256sum``.

    Raises
    ------
    InputError
        If a field has a wrong type or a number is not finite.
    """
    return hashlib.sha256(_manifest(survey, write_document(survey))).hexdigest()


def media_of(survey: Survey) -> tuple[str, ...]:
    """Content hashes of the files that belong to a survey, each once, sorted."""
    return tuple(sorted({item.sha256 for item in survey.media}))


def write_package(survey: Survey, media_path: Callable[[str], Path], target: Path, links: Sequence[Link] = ()) -> str:
    """Write a survey with its media; the same survey always gives the same bytes.

    Parameters
    ----------
    media_path : callable
        Gives the path of the file with a content hash.
    target : Path
        The zip file; written under another name first, so that a failure leaves nothing half-written, and
        readable by its owner only.
    links : sequence of Link
        The chain of the survey; left out if it has none.

    Returns
    -------
    str
        The package hash.

    Raises
    ------
    IntegrityError
        If a medium has changed since it was stored.
    """
    document = write_document(survey)
    manifest = _manifest(survey, document)
    paths = {sha256: media_path(sha256) for sha256 in media_of(survey)}
    tags = {
        "bag-info.txt": _bag_info(survey, [len(document), *(path.stat().st_size for path in paths.values())]),
        "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        MANIFEST: manifest,
    }
    if links:
        tags[CHAIN_FILE] = json.dumps([asdict(link) for link in links], ensure_ascii=False).encode("utf-8")
    tags[TAG_MANIFEST] = "".join(f"{_sha256(tags[name])}  {name}\n" for name in sorted(tags)).encode("ascii")
    top = folder_name(survey)
    partial = target.with_name(f".{target.name}.partial")
    try:
        os.close(os.open(partial, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600))
        with zipfile.ZipFile(partial, "w", compresslevel=6) as bag:
            for name in sorted(tags):
                bag.writestr(_entry(f"{top}/{name}"), tags[name])
            bag.writestr(_entry(f"{top}/{SURVEY_FILE}"), document)
            for sha256, path in paths.items():
                _add_medium(bag, f"{top}/{MEDIA_FOLDER}{sha256}", sha256, path)
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)
    return hashlib.sha256(manifest).hexdigest()


def folder_name(survey: Survey) -> str:
    """Name of the folder in the package; made of letters, digits and hyphens only."""
    return "survey-" + (re.sub(r"[^a-z0-9]+", "-", survey.id.lower()).strip("-")[:60] or "unnamed")


def _manifest(survey: Survey, document: bytes) -> bytes:
    lines = [f"{sha256}  {MEDIA_FOLDER}{sha256}\n" for sha256 in media_of(survey)]
    return "".join([*lines, f"{_sha256(document)}  {SURVEY_FILE}\n"]).encode("ascii")


def _bag_info(survey: Survey, sizes: list[int]) -> bytes:
    fields = {
        "Bag-Software-Agent": "roomfield",
        "Bagging-Date": survey.created_at[:10],
        "External-Description": _one_line(survey.title),
        "External-Identifier": _one_line(survey.id),
        "Payload-Oxum": f"{sum(sizes)}.{len(sizes)}",
        "Survey-Document": SCHEMA_ID,
    }
    return "".join(f"{name}: {value}\n" for name, value in fields.items() if value).encode("utf-8")


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _LONG_AGO)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = _PLAIN_FILE
    entry.create_system = 3
    return entry


def _add_medium(bag: zipfile.ZipFile, name: str, sha256: str, path: Path) -> None:
    digest = hashlib.sha256()
    entry = _entry(name)
    entry.file_size = path.stat().st_size
    with path.open("rb") as source, bag.open(entry, "w") as target:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            target.write(chunk)
    if digest.hexdigest() != sha256:
        raise IntegrityError(
            f"the file {sha256[:12]} has changed since it was stored.", where=str(path), mend="Restore it."
        )


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
