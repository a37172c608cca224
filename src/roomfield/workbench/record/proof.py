"""Whether a record, a package or a report is as it was written: chain, files, series, values."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from roomfield.errors import InputError, RoomfieldError
from roomfield.exchange.unpack import OpenedPackage, open_package
from roomfield.store.parts import encode, parts_of
from roomfield.store.rows import ROW_KINDS
from roomfield.store.signing import is_signed
from roomfield.survey import Survey
from roomfield.survey.chain import ChainFault, Link, chain_faults, content_faults
from roomfield.survey.soundness import soundness_faults
from roomfield.workbench.record.job import file_sha256
from roomfield.workbench.record.printed_hashes import report_text
from roomfield.workbench.record.releasing import sign_off_faults
from roomfield.workbench.record.survey_list import Records


@dataclass(frozen=True)
class Misfit:
    """Something that is not as it was written.

    Parameters
    ----------
    survey : str
        Title of the survey; empty for the record as a whole.
    where : str
        Link, file or field.
    what : str
        In words.
    """

    survey: str
    where: str
    what: str


@dataclass(frozen=True)
class Checked:
    """What a check found.

    Parameters
    ----------
    heads : tuple of (str, str)
        Title of each survey and the hash of the last link of its chain.
    links, files : int
        How many links were walked and how many files were read.
    misfits : tuple of Misfit
        Empty if everything fits.
    remarks : tuple of str
        What is worth knowing and is no misfit.
    """

    heads: tuple[tuple[str, str], ...]
    links: int
    files: int
    misfits: tuple[Misfit, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class ChainHead:
    """The end of a survey's chain, to be printed in a report.

    Parameters
    ----------
    sha256 : str
        Hash of the last link; empty for a survey without a chain.
    number : int
        How many links there are.
    at, by : str
        When the last one was written, and by whom.
    """

    sha256: str
    number: int
    at: str
    by: str


def chain_head(records: Records, survey_id: str) -> ChainHead:
    """The end of the chain of a survey as it is now.

    Raises
    ------
    UnknownNameError
        If there is no such survey.
    """
    links = records.history(survey_id)
    last = links[-1] if links else Link(survey_id, 0, "", "", "", "", "", "")
    return ChainHead(last.sha256, last.number, last.at, last.by)


def check_record(records: Records, survey_id: str = "") -> Checked:
    """Walk the chain of every survey of a record and read every file of it.

    Parameters
    ----------
    survey_id : str
        Only this survey; all if empty.
    """
    ids = [survey_id] if survey_id else [one.id for one in records.surveys()]
    misfits: list[Misfit] = []
    heads, links, named = [], 0, set()
    for one in ids:
        survey = records.load(one).survey
        chain = records.history(one)
        links += len(chain)
        heads.append((survey.title, chain[-1].sha256 if chain else ""))
        misfits += [Misfit(survey.title, _link(f.number), f"{f.what}.") for f in records.chain_faults(one)]
        misfits += _badly_signed(survey.title, chain)
        misfits += [Misfit(survey.title, "report", what) for what in sign_off_faults(survey, chain)]
        misfits += [Misfit(survey.title, fault.where, fault.what) for fault in soundness_faults(survey)]
        files = _files_of(survey)
        named |= files
        misfits += _file_misfits(records, survey.title, files)
    remarks = () if survey_id else _unused(records, named)
    return Checked(tuple(heads), links, len(named), tuple(misfits), remarks)


def check_package(path: str | Path) -> Checked:
    """Check a survey package: every checksum, every value, and its chain if it carries one.

    Raises
    ------
    FormatError, IntegrityError
        If it is no package, or a checksum does not match.
    """
    with open_package(Path(path)) as package:
        survey, links = package.survey, package.links
        misfits = (
            *(Misfit(survey.title, _link(f.number), f"{f.what}.") for f in _package_faults(package)),
            *_badly_signed(survey.title, links),
            *(Misfit(survey.title, "report", what) for what in sign_off_faults(survey, links)),
        )
        remarks = () if links else ("The package carries no chain: it says nothing of who wrote what and when.",)
        head = links[-1].sha256 if links else ""
        return Checked(((survey.title, head),), len(links), len(package.media), misfits, remarks)


def check_report(report: str | Path, records: Records | None = None, package: str | Path = "") -> tuple[str, ...]:
    """Hold the hashes that a report prints against a record or a package.

    Parameters
    ----------
    report : str or Path
        PDF, XLSX, HTML, JSON or text.
    records : Records, optional
        The record.
    package : str or Path
        The package; instead of a record.

    Returns
    -------
    tuple of str
        A sentence for each hash that was recognised.

    Raises
    ------
    InputError
        If not one hash of the report is known; then the report is of another survey or of another state of it.
    """
    text = report_text(Path(report))
    known = dict(_known_of_package(package) if package else _known_of_record(records))
    said = tuple(f"{one[:12]}: {words}" for one, words in known.items() if one in text)
    if not said:
        raise InputError(
            "it prints no hash that belongs to a survey here.",
            where=Path(report).name,
            mend="It was made from another survey, or what it was made from was changed past the chain.",
        )
    return said


def _package_faults(package: OpenedPackage) -> Iterator[ChainFault]:
    if not package.links:
        return
    rows = {kind.table.name: [kind.to_row(item) for item in getattr(package.survey, kind.field)] for kind in ROW_KINDS}
    bodies = {name: encode(name, value) for name, value in parts_of(package.survey).items()}
    yield from chain_faults(package.links)
    yield from content_faults(package.links, rows, bodies)


def _known_of_record(records: Records | None) -> Iterator[tuple[str, str]]:
    for one in records.surveys() if records is not None else ():
        for link in records.history(one.id) if records is not None else ():
            yield link.sha256, _told(one.title, link)


def _known_of_package(package: str | Path) -> Iterator[tuple[str, str]]:
    with open_package(Path(package)) as opened:
        yield file_sha256(Path(package)), f"{opened.survey.title}: this very package"
        yield opened.package_hash, f"{opened.survey.title}: the content of this package"
        for link in opened.links:
            yield link.sha256, _told(opened.survey.title, link)


def _told(title: str, link: Link) -> str:
    return f"{title}, link {link.number} of {link.at[:19]} by {link.by or 'unknown'} ({link.what})"


def _badly_signed(title: str, links: tuple[Link, ...]) -> list[Misfit]:
    """Links whose signature is not that of their signer; those without one are no misfit."""
    signed = [link for link in links if link.signature]
    return [
        Misfit(title, _link(link.number), "its signature is not that of its signer.")
        for link in signed
        if not is_signed(link.sha256, link.signer, link.signature)
    ]


def _link(number: int) -> str:
    return f"link {number}" if number else "chain"


def _files_of(survey: Survey) -> set[str]:
    recorded = {item.media_sha256 for item in survey.recordings} | {item.media_sha256 for item in survey.logs}
    return {item.sha256 for item in survey.media} | (recorded - {""})


def _file_misfits(records: Records, title: str, files: set[str]) -> Iterator[Misfit]:
    for sha256 in sorted(files):
        try:
            with records.media.path(sha256).open("rb") as file:
                if hashlib.file_digest(file, "sha256").hexdigest() != sha256:
                    yield Misfit(title, f"file {sha256[:12]}", "it has changed since it was stored.")
        except (RoomfieldError, OSError) as fault:
            yield Misfit(title, f"file {sha256[:12]}", getattr(fault, "what", str(fault)))


def _unused(records: Records, named: set[str]) -> tuple[str, ...]:
    unused = [sha256 for sha256 in records.media.hashes() if sha256 not in named]
    return (f"{len(unused)} files belong to no survey.",) if unused else ()
