"""Long logs: from a file to a series, its statistics, and its place in the record."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from roomfield.errors import InputError
from roomfield.logs.changes import ChangePoint, change_points
from roomfield.logs.duration import RequiredDuration, required_duration
from roomfield.logs.guess import guess_mapping
from roomfield.logs.held import HeldStretch, held_stretches
from roomfield.logs.intake import ingest, series_id_of
from roomfield.logs.log_series import NOTES_FILE, LogSeries, open_series
from roomfield.logs.mapping import Mapping as LogMapping
from roomfield.logs.periods import PeriodComparison, compare
from roomfield.logs.profile import LoggedDayPart, Profile, day_parts, day_profile, week_profile
from roomfield.logs.pulses import Bursts, bursts
from roomfield.logs.stations import StationsReport, analyse_stations
from roomfield.logs.summary import LogStatistics, plain, statistics
from roomfield.logs.timeline_envelope import Envelope, timeline
from roomfield.quantities.kind import Kind
from roomfield.survey import LogRecord, MediaItem
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.named_copy import named_copy
from roomfield.workbench.record.visit_choice import visit_asked_or_first

_SERIES_ID = re.compile(r"[0-9a-f]{32}")
"""Named after content and mapping, so that a folder of this name holds the very series."""
MAPPING_CAPTION = "column mapping of a log"
FAST_LOG_S = 0.5
"""Logs with values no further apart show single bursts [s]."""
_TIMELINE_BINS = 600
_DAYS_FOR_A_WEEK = 14.0

ProgressCall = Callable[[float], None]


@dataclass(frozen=True)
class LogView:
    """What a log says.

    Parameters
    ----------
    statistics : LogStatistics
        Of the whole log.
    day : Profile or None
        By time of day; None for a log shorter than a day.
    changes : tuple of Change
        Steps of the level.
    duration : RequiredDuration
        How long a log must be.
    bursts : Bursts or None
        Only for fast logs that have a background.
    week : Profile or None
        By weekday and time of day; None for less than two weeks.
    comparison : PeriodComparison or None
        What came after a moment against what came before it, if a moment was named.
    held : tuple of HeldStretch
        Of a log of held maxima: from reset to reset, with when the maximum rose; empty for other logs.
    parts : tuple of LoggedDayPart
        Night, day and evening apart; empty for held maxima.
    """

    series: LogSeries
    statistics: LogStatistics
    envelope: Envelope
    day: Profile | None
    changes: tuple[ChangePoint, ...]
    duration: RequiredDuration
    bursts: Bursts | None
    week: Profile | None = None
    comparison: PeriodComparison | None = None
    held: tuple[HeldStretch, ...] = ()
    parts: tuple[LoggedDayPart, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "series": self.series.to_dict(),
            "statistics": self.statistics.to_dict(),
            "day_profile": self.day.to_dict() if self.day else None,
            "changes": [c.to_dict() for c in self.changes],
            "required_duration": self.duration.to_dict(),
            "bursts": self.bursts.to_dict() if self.bursts else None,
            "week_profile": self.week.to_dict() if self.week else None,
            "comparison": self.comparison.to_dict() if self.comparison else None,
            "held_stretches": [one.to_dict() for one in self.held],
            "day_parts": plain(self.parts),
        }


def guessed_log(path: str | Path) -> LogMapping:
    """How the rows of a log are most likely to be read, to be shown and confirmed.

    Parameters
    ----------
    path : str or Path
        CSV, TSV, Parquet or XLSX.
    """
    return guess_mapping(path)


def series_from(
    path: str | Path, mapping: LogMapping, folder: str | Path, on_progress: ProgressCall | None = None
) -> LogSeries:
    """A log as a series; the same file and mapping are recognised.

    Parameters
    ----------
    path : str or Path
        The log as received.
    mapping : Mapping
        Confirmed.
    folder : str or Path
        Where series are kept.
    """
    step = on_progress or (lambda _share: None)
    return ingest(path, mapping, folder, progress=lambda share, _words: step(share))


def view_of(series: LogSeries, bound_w_m2: float | None = None, split: datetime | str | None = None) -> LogView:
    """Everything a log says.

    Parameters
    ----------
    series : LogSeries
        From `series_from` or `kept_series`.
    bound_w_m2 : float, optional
        The client's bound [W/m²], or in the unit of a series that kept its own.
    split : datetime or str, optional
        Compare what came from this moment on with what came before it.

    Raises
    ------
    InputError
        If no reading lies on one side of the split.
    """
    held = series.kind == "highest_held"
    days = 0.0 if held else (series.end - series.start).total_seconds() / 86_400.0
    day_long = days >= 1.0
    return LogView(
        series,
        statistics(series, bound=bound_w_m2),
        timeline(series, bins=_TIMELINE_BINS),
        day_profile(series) if day_long else None,
        change_points(series) if day_long else (),
        required_duration(series),
        _bursts(series) if series.nominal_interval_s <= FAST_LOG_S and not held else None,
        week_profile(series) if days >= _DAYS_FOR_A_WEEK else None,
        None if split is None else compare(series.between(None, split), series.between(split, None)),
        held_stretches(series) if held else (),
        () if held else day_parts(series),
    )


def _bursts(series: LogSeries) -> Bursts | None:
    """Bursts, unless more than half of the log is zero, so that there is no background."""
    try:
        return bursts(series)
    except InputError:
        return None


def window_of(series: LogSeries, start: datetime | None, end: datetime | None, bins: int) -> Envelope:
    """The timeline between two moments; None for the ends of the series."""
    return timeline(series, start, end, bins)


def compared(first: LogSeries, second: LogSeries) -> PeriodComparison:
    """How the second period differs from the first [dB], with an interval."""
    return compare(first, second)


@dataclass(frozen=True)
class LogPlace:
    """Where a log belongs in the record; empty ids mean the survey's first."""

    place_id: str = ""
    visit_id: str = ""
    meter_id: str = ""
    state_id: str = ""


def keep_log(
    job: Job, path: str | Path, mapping: LogMapping, where: LogPlace, on_progress: ProgressCall | None = None
) -> LogRecord:
    """Keep a log with the survey: the file as received, its mapping, and the series made from it.

    Parameters
    ----------
    job : Job
        A survey in a record.
    path : str or Path
        The log as received.
    mapping : Mapping
        Confirmed.
    where : LogPlace
        Place, visit, meter and radio state.

    Returns
    -------
    LogRecord
        The one that was kept before if the same log was kept for the same place and state.

    Raises
    ------
    InputError
        If the survey lies in no record, or has no visit or meter yet.
    """
    return keep_logs(job, path, (mapping,), where, on_progress)[0]


def keep_logs(
    job: Job,
    path: str | Path,
    mappings: Sequence[LogMapping],
    where: LogPlace,
    on_progress: ProgressCall | None = None,
    beside: Callable[[MediaItem], Sequence[MediaItem]] = lambda _log: (),
) -> tuple[LogRecord, ...]:
    """Keep several columns of one file, each as a log of its own; all of them or none.

    Parameters
    ----------
    job : Job
        A survey in a record.
    path : str or Path
        The log as received.
    mappings : sequence of Mapping
        Confirmed; one for each log.
    where : LogPlace
        Place, visit, meter and radio state.
    beside : callable
        Is given the file as kept, and answers what else of the record's files belongs to it.

    Returns
    -------
    tuple of LogRecord
        In the order of the mappings; those that were kept before as they are.

    Raises
    ------
    InputError
        If the survey lies in no record, or has no visit or meter yet.
    """
    if job.store is None or not job.survey.visits or not job.survey.meters:
        raise InputError("the survey has no record, visit or meter yet.", mend="Enter these before the log.")
    folder, step = series_folder(job), on_progress or (lambda _share: None)
    made = [series_from(path, one, folder, _part(step, n, len(mappings))) for n, one in enumerate(mappings)]
    visit = visit_asked_or_first(job.survey, where.visit_id)
    log = job.store.media.put(Path(path), file_name=Path(path).name)
    known = job.again().survey.current_logs()
    kept, fresh, notes = [], [], []
    for mapping, series in zip(mappings, made, strict=True):
        record = LogRecord(
            new_id("log"),
            visit.id,
            where.meter_id or job.survey.meters[0].id,
            where.state_id or visit.radio_states[0].id,
            Kind(series.kind) if series.kind in set(Kind) else Kind.AVERAGE,
            log.sha256,
            series.id,
            where.place_id,
            series.start.isoformat(),
            series.end.isoformat(),
        )
        before = next((one for one in known if replace(one, id=record.id) == record), None)
        kept.append(before or record)
        if before is None:
            fresh.append(record)
            content = json.dumps(mapping.to_dict(), ensure_ascii=False).encode("utf-8")
            caption = f"{MAPPING_CAPTION}: {log.sha256}"
            notes.append(job.store.media.put(content, file_name="column-mapping.json", caption=caption))
    if fresh:
        job.store.append(job.survey.id, fresh, files=[log, *notes, *beside(log)])
    return tuple(kept)


def _part(step: ProgressCall, number: int, parts: int) -> ProgressCall:
    """Progress of one of several equal parts."""
    return lambda share: step((number + share) / parts)


def series_folder(job: Job) -> Path:
    """Folder in which the series of a record are kept, beside its media."""
    if job.store is None:
        raise InputError("a survey document holds no logs.", mend="Open the record.")
    return job.store.media.folder.parent / "series"


def kept_series(job: Job, record: LogRecord) -> LogSeries:
    """The series of a log of the record; made again from the file as received if it is gone.

    Raises
    ------
    InputError
        If the mapping that it was read with is not among the survey's files.
    """
    known = series_folder(job) / record.series_sha256
    if _SERIES_ID.fullmatch(record.series_sha256) and (known / NOTES_FILE).is_file():
        return open_series(known)
    items = {item.sha256: item for item in job.survey.media}
    wanted = f"{MAPPING_CAPTION}: {record.media_sha256}"
    notes = [item for item in job.survey.media if item.caption == wanted]
    if not notes or record.media_sha256 not in items:
        raise InputError("its column mapping is missing.", where=f"log {record.id}", mend="Take the log in again.")
    mappings = [LogMapping.from_dict(json.loads(job.media_path(one.sha256).read_bytes())) for one in notes]
    with named_copy(job.media_path(record.media_sha256), items[record.media_sha256].file_name, "log") as named:
        own = (one for one in mappings if series_id_of(named, one) == record.series_sha256)
        return ingest(named, next(own, mappings[0]), series_folder(job))


def stations(
    source: str, target: str, settings: Mapping[str, Any], on_progress: ProgressCall | None = None
) -> StationsReport:
    """The same analysis over every log of a folder or object store.

    Parameters
    ----------
    source : str
        Folder, or URL that fsspec opens.
    target : str
        Folder for the results; a second call goes on where the first stopped.
    settings : mapping
        Keyword arguments of `analyse_stations`.
    """
    step = on_progress or (lambda _share: None)
    return analyse_stations(source, target, progress=lambda done, whole: step(done / max(whole, 1)), **settings)
