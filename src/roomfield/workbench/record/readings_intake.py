"""Readings from a file: columns are guessed and shown; nothing is stored before they are confirmed."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from roomfield.errors import InputError
from roomfield.exchange.drafts import ReadingContext
from roomfield.exchange.readings_table import ImportPlan, import_readings
from roomfield.survey import MediaItem, Survey
from roomfield.survey.reading_columns import ReadingColumn
from roomfield.table_files.column_guess import guess_columns
from roomfield.table_files.column_mapping import ColumnMapping, ColumnScheme
from roomfield.table_files.reading_scheme import READINGS
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.visit_choice import visit_asked_or_only

_log = logging.getLogger("roomfield.workbench")

_WITH_ROWS = "Give one with rows of values."
MOST_KEPT_BYTES = 8 << 20
"""A longer table is kept by its hash only."""
AS_RECEIVED = "Table as received"
_SETTING = re.compile(r"(?P<header>.+)=(?P<column>[a-z_]+)(?:\[(?P<unit>.*)\])?", re.DOTALL)


@dataclass(frozen=True)
class Corrections:
    """What the user knows better than the guess.

    Parameters
    ----------
    columns : sequence of str
        Such as ``Level 1=peak[uW/m2]`` or ``Remark=unused``.
    dates : str
        Order of a date: ymd, dmy or mdy; empty to keep the guess.
    decimal : str
        Decimal sign; empty to keep the guess.
    grouped : bool
        True if the other sign groups thousands.
    sheet : str
        Sheet of a workbook; the first one if empty.
    """

    columns: Sequence[str] = ()
    dates: str = ""
    decimal: str = ""
    grouped: bool = False
    sheet: str = ""


@dataclass(frozen=True)
class Circumstances:
    """What the table does not say; see `ReadingContext`. An empty id means the only one there is.

    Parameters
    ----------
    make_places : bool
        True to make a place for every name that is not known yet.
    accept_rest : bool
        True to take the good rows although others are rejected.
    again : bool
        True to take a file in that was taken in before.
    """

    visit_id: str = ""
    meter_id: str = ""
    state_id: str = ""
    utc_offset: str = ""
    make_places: bool = False
    accept_rest: bool = False
    again: bool = False


def guessed(path: str | Path, corrections: Corrections | None = None, scheme: ColumnScheme = READINGS) -> ColumnMapping:
    """How a table is most likely to be read, with the user's corrections.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX.
    corrections : Corrections, optional
        What the user knows better than the guess.
    scheme : ColumnScheme
        What the columns of such a table may mean: those of readings, or of bearings.

    Raises
    ------
    InputError
        If the file cannot be read, or a correction is not understood.
    """
    given = corrections or Corrections()
    mapping = guess_columns(Path(path), scheme, sheet=given.sheet)
    for setting in given.columns:
        found = _SETTING.fullmatch(setting)
        if found is None:
            raise InputError(
                f"the correction {setting!r} is not understood.",
                mend="Write it as 'header=meaning[unit]', such as 'Level 1=peak[uW/m2]' or 'Remark=unused'.",
            )
        unit = "" if found["column"] == scheme.unused else found["unit"]
        mapping = mapping.with_column(found["header"], found["column"], unit)
    if given.dates:
        mapping = mapping.with_dates(given.dates)
    if given.decimal:
        mapping = mapping.with_decimal(given.decimal, grouped=given.grouped)
    return mapping


def context_for(survey: Survey, given: Circumstances, mapping: ColumnMapping | None = None) -> ReadingContext:
    """Visit, meter and radio state for what a table does not say.

    A radio state or meter is taken without being named only if there is no other.

    Parameters
    ----------
    mapping : ColumnMapping, optional
        How the table is read; whatever it names itself need not be given.

    Raises
    ------
    InputError
        If the survey has no visit or no meter yet, or one of several must be named.
    """
    return context_where(survey, given, _says(mapping, ReadingColumn.METER), _says(mapping, ReadingColumn.STATE))


def context_where(survey: Survey, given: Circumstances, says_meter: bool, says_state: bool) -> ReadingContext:
    """Like `context_for`, for a table of which it is known whether it names meter and radio state."""
    visit = visit_asked_or_only(survey, given.visit_id)
    if not survey.meters:
        raise InputError("the survey has no meter yet.", where=survey.title, mend="Enter the meter first.")
    states = {state.id: state.name for state in visit.radio_states}
    meters = {meter.id: meter.name for meter in survey.meters}
    return ReadingContext(
        survey,
        visit.id,
        given.meter_id or _only("meter", meters, says_meter),
        given.state_id or _only("radio state", states, says_state),
        utc_offset=given.utc_offset,
        make_places=given.make_places,
    )


def _says(mapping: ColumnMapping | None, column: ReadingColumn) -> bool:
    return mapping is not None and mapping.first(column) is not None


def _only(noun: str, names: Mapping[str, str], said: bool) -> str:
    """The id of the only meter or radio state; empty if each row of a table says which is meant.

    Raises
    ------
    InputError
        If there are several, or none, and the table does not say.
    """
    if len(names) == 1:
        return next(iter(names))
    if said:
        return ""
    listed = ", ".join(f"{own_id} ({name})" for own_id, name in names.items())
    raise InputError(
        f"the table does not say which {noun} its rows belong to.",
        mend=f"Name the {noun}: {listed}." if listed else f"Enter a {noun} first.",
    )


def previewed(survey: Survey, path: str | Path, mapping: ColumnMapping, circumstances: Circumstances) -> ImportPlan:
    """What an import would add and what it would reject; nothing is stored.

    Parameters
    ----------
    path : str or Path
        The file that the mapping was made from.
    mapping : ColumnMapping
        From `guessed`, without open questions.

    Raises
    ------
    InputError
        If a question is open, or visit, meter or radio state must be named first.
    """
    _refuse_empty(mapping)
    context = context_for(survey, circumstances, mapping)
    return import_readings(Path(path), mapping, context, confirmed=True, accept_rest=True)


def take_in(
    job: Job,
    path: str | Path,
    mapping: ColumnMapping,
    circumstances: Circumstances,
    *,
    confirmed: bool,
    on_progress: Callable[[float], None] | None = None,
) -> ImportPlan:
    """Import readings into the record: all of them, or none.

    Parameters
    ----------
    job : Job
        A survey in a record.
    path : str or Path
        The file that the mapping was made from.
    mapping : ColumnMapping
        From `guessed`.
    circumstances : Circumstances
        What the table does not say.
    confirmed : bool
        True once the user has seen the mapping and agreed.

    Raises
    ------
    RejectedRows
        With every faulty row; then nothing was stored.
    """
    if job.store is None:
        raise InputError("a survey document cannot take readings in.", mend="Unpack or make a record first.")
    _refuse_empty(mapping)
    step = on_progress or (lambda _share: None)
    plan = import_readings(
        Path(path),
        mapping,
        context_for(job.survey, circumstances, mapping),
        confirmed=confirmed,
        accept_rest=circumstances.accept_rest,
        progress=lambda done, whole: step(0.8 * done / max(whole, 1)),
    )
    _check_worth_storing(job.survey, plan, path, again=circumstances.again)
    files = kept_as_received(job, path)
    added = job.store.append(job.survey.id, plan.readings, new_places=plan.new_places, files=files)
    step(1.0)
    known = len(plan.readings) - added
    _log.info(
        "taken in from %s: %d readings, %d known before, %d places made, %d rows left out, %d empty; visit %r",
        mapping.file_name, added, known, len(plan.new_places), len(plan.faults), len(plan.empty_lines),
        plan.readings[0].visit_id,
    )  # fmt: skip
    if known:
        remark = f"{known} of them were in the record already and were not added again."
        plan = replace(plan, remarks=(*plan.remarks, remark))
    return plan


def kept_as_received(job: Job, path: str | Path) -> tuple[MediaItem, ...]:
    """Keep a table that was taken in with the survey's files, so that every line can be looked up; not a very long one.

    Parameters
    ----------
    job : Job
        A survey in a record.
    path : str or Path
        The file; its hash stands with every observation that came from it.

    Returns
    -------
    tuple of MediaItem
        To be listed together with the observations; none if the table is too long.
    """
    file = Path(path)
    if job.store is None or file.stat().st_size > MOST_KEPT_BYTES:
        return ()
    return (job.store.media.put(file, file_name=file.name, caption=AS_RECEIVED),)


def _refuse_empty(mapping: ColumnMapping) -> None:
    if not mapping.rows:
        raise InputError("the table holds no reading.", where=mapping.file_name, mend=_WITH_ROWS)


def _check_worth_storing(survey: Survey, plan: ImportPlan, path: str | Path, *, again: bool) -> None:
    if not plan.readings:
        raise InputError("the table holds no reading.", where=Path(path).name, mend=_WITH_ROWS)
    known = {r.origin.file_sha256 for r in survey.readings} - {""}
    if not again and any(r.origin.file_sha256 in known for r in plan.readings):
        raise InputError(
            "this very file was taken in before; twice the same readings would look like repeated scans.",
            where=Path(path).name,
            mend="If it is meant, take it in again on purpose (--again).",
        )
