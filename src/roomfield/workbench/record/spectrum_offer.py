"""Levels over frequency through the door: a table that was brought, and those of antenna, cable, bands beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from roomfield.errors import InputError
from roomfield.quantities.convert import DENSITY_UNITS
from roomfield.survey import Survey
from roomfield.table_files.column_mapping import ColumnMapping
from roomfield.table_files.spectrum_scheme import FREQUENCY_UNITS, INPUT_UNITS, LEVELS, SpectrumColumn
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.readings_intake import Corrections
from roomfield.workbench.record.spectrum_intake import (
    Instrument,
    SpectrumCircumstances,
    SpectrumPlan,
    guessed_spectrum,
    planned_spectrum,
    take_spectrum,
)
from roomfield.workbench.record.survey_list import Records, opened
from roomfield.workbench.record.table_intake import TableOffer, named_table, refuse_other_endings

UNITS = (*INPUT_UNITS, *DENSITY_UNITS, *FREQUENCY_UNITS)
"""Units that a column of such a table may have."""
BESIDE = ("antenna", "cable", "bands")
"""Tables that may be brought beside it."""


@dataclass(frozen=True)
class TableBeside:
    """A table of antenna, cable or bands that was brought.

    Parameters
    ----------
    sha256 : str
        Hash of the file; empty if there is none.
    file_name : str
        What the user calls it.
    """

    sha256: str = ""
    file_name: str = ""


def kept_beside(records: Records, content: bytes, file_name: str) -> TableBeside:
    """Keep a table that belongs to the instrument.

    Parameters
    ----------
    content : bytes
        The file.
    file_name : str
        What the user calls it; a label only.

    Raises
    ------
    FormatError, InputError
        If it is no table, or empty.
    """
    refuse_other_endings(file_name)
    if not content:
        raise InputError("the file is empty.", where=file_name, mend="Choose another file.")
    item = records.media.put(content, file_name=file_name)
    return TableBeside(item.sha256, item.file_name)


def offered_spectrum(
    records: Records, sha256: str, file_name: str, corrections: Corrections | None = None
) -> TableOffer:
    """A table that was brought, read as levels over frequency.

    Parameters
    ----------
    sha256, file_name : str
        As `roomfield.workbench.record.table_intake.offered` gave them.
    corrections : Corrections, optional
        Columns and decimal sign as the user says.
    """
    with named_table(records, sha256, file_name) as path:
        return TableOffer(sha256, file_name, guessed_spectrum(path, corrections))


def is_over_frequency(mapping: ColumnMapping) -> bool:
    """Whether a table holds levels over frequency: a column in hertz beside one of levels.

    Parameters
    ----------
    mapping : ColumnMapping
        From `offered_spectrum`.
    """
    ends = (SpectrumColumn.FREQUENCY, SpectrumColumn.LOW)
    in_hertz = any(one.column in ends and one.unit in FREQUENCY_UNITS for one in mapping.columns)
    return in_hertz and any(one.column in LEVELS for one in mapping.columns)


def tried_spectrum(
    records: Records,
    survey: Survey,
    offer: TableOffer,
    instrument: Instrument,
    beside: Mapping[str, TableBeside],
    given: SpectrumCircumstances,
) -> SpectrumPlan:
    """What taking it in would add; nothing is stored.

    Parameters
    ----------
    instrument : Instrument
        Without its tables.
    beside : mapping of str to TableBeside
        Its tables, by `BESIDE`.
    given : SpectrumCircumstances
        What the table does not say.

    Raises
    ------
    InputError
        If something is missing.
    RejectedRows
        With every faulty row.
    """
    with _on_disk(records, offer, instrument, beside) as (path, whole):
        return planned_spectrum(survey, path, offer.mapping, whole, given, confirmed=True)


def taken_spectrum(
    records: Records,
    survey_id: str,
    offer: TableOffer,
    instrument: Instrument,
    beside: Mapping[str, TableBeside],
    given: SpectrumCircumstances,
) -> SpectrumPlan:
    """Take it in as confirmed, all of it or nothing; parameters and errors as `tried_spectrum`."""
    with _on_disk(records, offer, instrument, beside) as (path, whole):
        job = Job(opened(records, survey_id).survey, records)
        return take_spectrum(job, path, offer.mapping, whole, given, confirmed=True)


@contextmanager
def _on_disk(
    records: Records, offer: TableOffer, instrument: Instrument, beside: Mapping[str, TableBeside]
) -> Iterator[tuple[Path, Instrument]]:
    with ExitStack() as stack:
        path = stack.enter_context(named_table(records, offer.sha256, offer.file_name))
        tables = {
            name: stack.enter_context(named_table(records, one.sha256, one.file_name))
            for name, one in beside.items()
            if one.sha256
        }
        yield path, replace(instrument, **tables)  # type: ignore[arg-type]
