"""Bearings from a file: columns are guessed and shown; nothing is stored before they are confirmed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from roomfield.errors import InputError
from roomfield.exchange.bearings import BearingColumn, BearingMapping, BearingPlan, guess_bearings, import_bearings
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.readings_intake import Circumstances, context_where, kept_as_received

_SETTING = re.compile(r"(?P<header>.+)=(?P<column>[a-z_]+)", re.DOTALL)
_WITH_ROWS = "Give one with rows of bearings."


def guessed_bearings(path: str | Path, corrections: Sequence[str] = ()) -> BearingMapping:
    """How a table of bearings is most likely to be read, with the user's corrections.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX.
    corrections : sequence of str
        Such as ``Angle 2=null`` or ``Remark=unused``.

    Raises
    ------
    InputError
        If the file cannot be read, or a correction is not understood.
    """
    mapping = guess_bearings(Path(path))
    for setting in corrections:
        found = _SETTING.fullmatch(setting)
        if found is None:
            raise InputError(
                f"the correction {setting!r} is not understood.",
                mend="Write it as 'header=meaning', such as 'Angle 2=null' or 'Remark=unused'.",
            )
        mapping = mapping.with_column(found["header"], found["column"])
    return mapping


def take_bearings(
    job: Job, path: str | Path, mapping: BearingMapping, given: Circumstances, *, confirmed: bool
) -> BearingPlan:
    """Import bearings into the record: all of them, or none.

    Parameters
    ----------
    job : Job
        A survey in a record.
    mapping : BearingMapping
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
    says_meter, says_state = (mapping.index(c) is not None for c in (BearingColumn.METER, BearingColumn.STATE))
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
