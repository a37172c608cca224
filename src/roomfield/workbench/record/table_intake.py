"""Tables of readings through the door: brought, looked at, tried out, taken in, taken back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePath

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.exchange.readings_table import ImportPlan
from roomfield.quantities.convert import DENSITY_UNITS
from roomfield.survey import Survey
from roomfield.table_files.column_mapping import ColumnMapping
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.named_copy import named_copy
from roomfield.workbench.record.readings_intake import Circumstances, Corrections, guessed, previewed, take_in
from roomfield.workbench.record.survey_list import Records, opened, withdraw

ENDINGS = frozenset({".csv", ".tsv", ".txt", ".xlsx", ".s2p"})
UNITS = tuple(DENSITY_UNITS)
TAKEN_BACK = "table taken back"


@dataclass(frozen=True)
class TableOffer:
    """A table that was brought but is not taken in yet, and how it would be read.

    Parameters
    ----------
    sha256 : str
        Hash of the file, to be handed back with the confirmation.
    mapping : ColumnMapping
        What was guessed, with the corrections so far.
    """

    sha256: str
    file_name: str
    mapping: ColumnMapping


@dataclass(frozen=True)
class TakenTable:
    """A table that readings of the survey came from.

    Parameters
    ----------
    readings : int
        How many of them stand.
    """

    sha256: str
    file_name: str
    readings: int


def offered(records: Records, content: bytes, file_name: str) -> TableOffer:
    """Look at a table without taking anything in.

    Parameters
    ----------
    content : bytes
        The file.
    file_name : str
        What the user calls it; a label only.

    Raises
    ------
    FormatError
        If it is no table that is read.
    """
    refuse_other_endings(file_name)
    if not content:
        raise InputError("the file is empty.", where=file_name, mend="Choose another file.")
    item = records.media.put(content, file_name=file_name)
    return offered_again(records, item.sha256, item.file_name)


def offered_again(records: Records, sha256: str, file_name: str, corrections: Corrections | None = None) -> TableOffer:
    """The same table once more, by its hash, with what the user knows better.

    Parameters
    ----------
    corrections : Corrections, optional
        Columns, date order and decimal sign as the user says.
    """
    with named_table(records, sha256, file_name) as path:
        return TableOffer(sha256, file_name, guessed(path, corrections))


def tried(records: Records, survey: Survey, offer: TableOffer, circumstances: Circumstances) -> ImportPlan:
    """What taking the table in would add and what it would reject; nothing is stored.

    Parameters
    ----------
    circumstances : Circumstances
        What the table does not say.

    Raises
    ------
    InputError
        If a question is open, or visit, meter or radio state must be named first.
    """
    with named_table(records, offer.sha256, offer.file_name) as path:
        return previewed(survey, path, offer.mapping, circumstances)


def taken(records: Records, survey_id: str, offer: TableOffer, circumstances: Circumstances) -> ImportPlan:
    """Take the table in as confirmed: all of it, or nothing.

    Raises
    ------
    RejectedRows
        With every faulty row, unless the rest was accepted.
    """
    with named_table(records, offer.sha256, offer.file_name) as path:
        job = Job(opened(records, survey_id).survey, records)
        return take_in(job, path, offer.mapping, circumstances, confirmed=True)


def taken_tables(survey: Survey) -> tuple[TakenTable, ...]:
    """The tables that standing readings of the survey came from, first taken in first."""
    counts: Counter[tuple[str, str]] = Counter(
        (one.origin.file_sha256, one.origin.file_name) for one in survey.current_readings() if one.origin.file_sha256
    )
    return tuple(TakenTable(sha256, name, count) for (sha256, name), count in counts.items())


def taken_back(records: Records, survey_id: str, sha256: str) -> int:
    """Withdraw every reading of one table; they stay in the record with the reason.

    Returns
    -------
    int
        How many were withdrawn.

    Raises
    ------
    UnknownNameError
        If no standing reading came from this table.
    """
    survey = opened(records, survey_id).survey
    going = [one.id for one in survey.current_readings() if one.origin.file_sha256 == sha256]
    if not going:
        raise UnknownNameError("table", sha256[:12], [one.file_name for one in taken_tables(survey)])
    for reading_id in going:
        withdraw(records, survey_id, reading_id, TAKEN_BACK, survey.assignment.assessor)
    return len(going)


def refuse_other_endings(file_name: str) -> None:
    """Refuse a file whose name is not that of a table.

    Raises
    ------
    FormatError
        If it ends otherwise than `ENDINGS`.
    """
    if PurePath(file_name).suffix.lower() not in ENDINGS:
        raise FormatError(
            f"{PurePath(file_name).name!r} is not read as a table of readings.",
            where=file_name,
            mend="Bring CSV, TSV or XLSX.",
        )


@contextmanager
def named_table(records: Records, sha256: str, file_name: str) -> Iterator[Path]:
    """The file under the name that the user gave it, cleaned, for the messages and the origin of each reading."""
    refuse_other_endings(file_name)
    with named_copy(records.media.path(sha256), file_name, "table") as path:
        yield path
