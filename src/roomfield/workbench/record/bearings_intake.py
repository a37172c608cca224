"""Bearings from a file: columns are guessed and shown; nothing is stored before they are confirmed."""

from __future__ import annotations

from pathlib import Path

from roomfield.errors import InputError
from roomfield.exchange.bearings import BEARINGS, BearingColumn, BearingPlan, import_bearings
from roomfield.table_files.column_mapping import ColumnMapping
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.readings_intake import (
    Circumstances,
    Corrections,
    context_where,
    guessed,
    kept_as_received,
)

_WITH_ROWS = "Give one with rows of bearings."


def guessed_bearings(path: str | Path, corrections: Corrections | None = None) -> ColumnMapping:
    """How a table of bearings is most likely to be read, with the user's corrections.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX.
    corrections : Corrections, optional
        Columns such as ``Angle 2=null`` or ``Remark=unused``, decimal sign, sheet.

    Raises
    ------
    InputError
        If the file cannot be read, or a correction is not understood.
    """
    return guessed(path, corrections, BEARINGS)


def take_bearings(
    job: Job, path: str | Path, mapping: ColumnMapping, given: Circumstances, *, confirmed: bool
) -> BearingPlan:
    """Import bearings into the record: all of them, or none.

    Parameters
    ----------
    job : Job
        A survey in a record.
    mapping : ColumnMapping
        From `guessed_bearings` of the same file.
    given : Circumstances
        What the table does not say.
    confirmed : bool
        True once the user has seen the mapping and agreed.

    Raises
    ------
    RejectedRows
        With every faulty row; then nothing was stored.
    InputError
        If there is nothing to take in, or the file was taken in before.
    """
    if job.store is None:
        raise InputError("a survey document cannot take bearings in.", mend="Unpack or make a record first.")
    says_meter, says_state = (mapping.first(c) is not None for c in (BearingColumn.METER, BearingColumn.STATE))
    context = context_where(job.survey, given, says_meter, says_state)
    plan = import_bearings(Path(path), mapping, context, confirmed=confirmed, accept_rest=given.accept_rest)
    if not plan.bearings:
        raise InputError("the table holds no bearing.", where=Path(path).name, mend=_WITH_ROWS)
    if any(b.origin.file_sha256 == mapping.sha256 for b in job.survey.bearings):
        raise InputError(
            "this very file was taken in before; it would count every bearing twice.",
            where=Path(path).name,
            mend="Withdraw those bearings first, and save the table under new content.",
        )
    job.store.append(job.survey.id, plan.bearings, files=kept_as_received(job, path))
    return plan
