"""Long logs through the door: brought, looked at, confirmed, kept, and shown piece by piece."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePath
from typing import Any

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.logs.log_series import LogSeries
from roomfield.logs.mapping import Mapping
from roomfield.show.log_figures import statistic_figures
from roomfield.show.shown_night import night_sender
from roomfield.show.words import load_words
from roomfield.survey import LogRecord
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.kept_night import night_behind, night_course
from roomfield.workbench.record.long_series import (
    LogPlace,
    ProgressCall,
    guessed_log,
    keep_log,
    kept_series,
    view_of,
    window_of,
)
from roomfield.workbench.record.named_copy import named_copy
from roomfield.workbench.record.night_sound import plain_night
from roomfield.workbench.record.survey_list import Records, opened

ENDINGS = frozenset({".csv", ".tsv", ".txt", ".parquet", ".xlsx"})
MOST_BINS = 4000


@dataclass(frozen=True)
class LogOffer:
    """A log that was brought but is not kept yet, and how it would be read.

    Parameters
    ----------
    sha256 : str
        Hash of the file, to be handed back with the confirmation.
    mapping : Mapping
        What was guessed, and what only the user can say.
    """

    sha256: str
    file_name: str
    mapping: Mapping


def offered(records: Records, content: bytes | Path, file_name: str) -> LogOffer:
    """Look at a log without keeping it with the survey.

    Parameters
    ----------
    content : bytes or Path
        The file, or where it lies.
    file_name : str
        What the user calls it; its ending says the form.

    Raises
    ------
    FormatError
        If it is no log that is read.
    """
    if PurePath(file_name).suffix.lower() not in ENDINGS:
        raise FormatError(
            f"{PurePath(file_name).name!r} is not read as a log.",
            where=file_name,
            mend="Bring CSV, TSV, XLSX or Parquet.",
        )
    if not (content.stat().st_size if isinstance(content, Path) else content):
        raise InputError("the file is empty.", where=file_name, mend="Choose another file.")
    item = records.media.put(content, file_name=file_name)
    return offered_again(records, item.sha256, item.file_name)


def offered_again(records: Records, sha256: str, file_name: str) -> LogOffer:
    """The same log once more, by its hash."""
    with _named(records, sha256, file_name) as path:
        return LogOffer(sha256, file_name, guessed_log(path))


def keep_offered(
    records: Records,
    survey_id: str,
    offer: tuple[str, str],
    answers: dict[str, Any],
    where: LogPlace,
    on_progress: ProgressCall | None = None,
) -> LogRecord:
    """Keep a log that was offered, once its mapping is confirmed.

    Parameters
    ----------
    offer : (str, str)
        Hash and name of the file.
    answers : dict
        Corrections and answers by name of the mapping's field.
    where : LogPlace
        Place, visit, meter and radio state.
    on_progress : callable, optional
        Called with the share done, 0 to 1; what it raises stops the work, and nothing is kept.

    Raises
    ------
    TooEarlyError
        If a question is still open.
    RejectedRows
        If rows cannot be read.
    """
    with _named(records, *offer) as path:
        mapping = guessed_log(path).confirm(
            **{name: value for name, value in answers.items() if value not in ("", None)}
        )
        return keep_log(Job(opened(records, survey_id).survey, records), path, mapping, where, on_progress)


@dataclass(frozen=True)
class LogFacts:
    """Everything a kept log says.

    Parameters
    ----------
    plain : dict
        As plain values.
    figures : tuple of (str, str)
        Name and value of each figure, in the reader's language.
    night : tuple of str
        What the sound of a night says, in the reader's language; empty for a log that came from none.
    """

    plain: dict[str, Any]
    figures: tuple[tuple[str, str], ...]
    night: tuple[str, ...] = ()


def log_facts(
    records: Records, survey_id: str, log_id: str, bound_w_m2: float | None = None, language: str = "en"
) -> LogFacts:
    """Everything a kept log says.

    Parameters
    ----------
    records : Records
        The open record.
    survey_id, log_id : str
        Which log.
    bound_w_m2 : float, optional
        The client's bound [W/m²], or in the unit of a series that kept its own.
    language : str
        Language of the figures.

    Raises
    ------
    UnknownNameError
        If there is no such log.
    """
    job, record = _kept(records, survey_id, log_id)
    view, night = view_of(kept_series(job, record), bound_w_m2), night_behind(job, record)
    words = load_words(language)
    rows = statistic_figures(view.statistics)
    figures = tuple((words.text(name), words.text(value)) for name, value in rows)
    told = tuple(words.text(one) for one in night.sentences()) if night else ()
    return LogFacts(view.to_dict() | {"night": plain_night(night, told) if night else None}, figures, told)


@dataclass(frozen=True)
class LogHead:
    """What a page must know of a log before it asks for figures.

    Parameters
    ----------
    unit : str
        Unit of the series; ``W/m2`` for power density.
    kind : str
        What one value is: average, peak, highest_held or unknown.
    zone : str
        Time zone of the log's own clock.
    senders : tuple of (str, str)
        Technologies heard, if the log came from a night of sound: key, and title in the reader's language.
    of_night : bool
        Whether it did.
    """

    unit: str
    kind: str
    zone: str
    senders: tuple[tuple[str, str], ...] = ()
    of_night: bool = False


def log_head(records: Records, survey_id: str, log_id: str, language: str = "en") -> LogHead:
    """Unit, kind and time zone of a kept log, and who was heard if it came from a night of sound.

    Parameters
    ----------
    language : str
        Language of the titles.

    Raises
    ------
    UnknownNameError
        If there is no such log.
    """
    job, record = _kept(records, survey_id, log_id)
    series = kept_series(job, record)
    night, words = night_behind(job, record), load_words(language)
    senders = tuple((name, words.text(night_sender(name))) for name in night.technologies) if night else ()
    return LogHead(series.unit.name, series.kind, series.zone, senders, night is not None)


def log_window(
    records: Records,
    survey_id: str,
    log_id: str,
    span: tuple[datetime | None, datetime | None],
    bins: int,
    sender: str | None = None,
) -> dict[str, Any]:
    """The timeline between two moments, as plain values.

    Parameters
    ----------
    span : (datetime or None, datetime or None)
        From and to; None for the ends of the log.
    bins : int
        How many parts, at most 4000 and one for each reading.
    sender : str, optional
        For a night of sound: one technology, or empty for the whole; the ends of the mean's interval come along.
    """
    job, record = _kept(records, survey_id, log_id)
    course = None if sender is None else night_course(job, record, sender)
    series = kept_series(job, record) if course is None else course.level
    parts = _parts(series, span, bins)
    told = {**window_of(series, *span, parts).to_dict(), "zone": series.zone}
    told |= {"first": series.start.isoformat(), "last": series.end.isoformat()}
    if course is not None:
        ends = {"surely_low": course.low, "surely_high": course.high}
        told |= {name: window_of(end, *span, parts).to_dict()["mean"] for name, end in ends.items()}
    return told


def _parts(series: LogSeries, span: tuple[datetime | None, datetime | None], bins: int) -> int:
    """How many parts are drawn: no more than readings were due, for parts between two readings would look like gaps."""
    first, last = span[0] or series.start, span[1] or series.end
    due = int((last - first).total_seconds() / max(series.nominal_interval_s, 1e-6))
    return max(2, min(bins, due, MOST_BINS))


def _kept(records: Records, survey_id: str, log_id: str) -> tuple[Job, LogRecord]:
    survey = opened(records, survey_id).survey
    found = {record.id: record for record in survey.current_logs()}
    if log_id not in found:
        raise UnknownNameError("log", log_id, found)
    return Job(survey, records), found[log_id]


@contextmanager
def _named(records: Records, sha256: str, file_name: str) -> Iterator[Path]:
    """The file under a name with the right ending, which the readers go by."""
    ending = PurePath(file_name).suffix.lower()
    if ending not in ENDINGS:
        raise FormatError(f"{file_name!r} is not read as a log.", mend="Bring CSV, TSV, XLSX or Parquet.")
    with named_copy(records.media.path(sha256), file_name, "log") as path:
        yield path
