"""A night of sound kept with the survey: two logs of one table, average and peak, and what the sound says."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.logs.guess import guess_mapping
from roomfield.logs.intake import ingest, series_id_of
from roomfield.logs.log_series import NOTES_FILE, LogSeries, open_series
from roomfield.logs.mapping import Mapping as LogMapping
from roomfield.scratch import scratch_folder
from roomfield.show.shown_night import ShownNight
from roomfield.survey import LogRecord, MediaItem
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.long_series import LogPlace, keep_logs, series_folder
from roomfield.workbench.record.named_copy import named_copy
from roomfield.workbench.record.night_sound import (
    NIGHT_COLUMNS,
    NightRecording,
    column_of,
    ends_of,
    moment_with_offset,
    night_of,
    shown_night,
    shown_reading,
    write_night_log,
)

NIGHT_CAPTION = "what the sound of a night says"
_SOUND_SHARE = 0.95
_TABLE = "night.csv"
ProgressCall = Callable[[float], None]


@dataclass(frozen=True)
class KeptNight:
    """A night as it was kept.

    Parameters
    ----------
    shown : ShownNight
        What its sound says.
    logs : tuple of LogRecord
        The log of averages, then the log of peaks.
    """

    shown: ShownNight
    logs: tuple[LogRecord, ...]


def keep_night(
    job: Job,
    recording: NightRecording,
    began_at: str,
    where: LogPlace,
    on_progress: ProgressCall | None = None,
    *,
    name: str = "",
) -> KeptNight:
    """Work a recording of a night out and keep it with the survey.

    Parameters
    ----------
    job : Job
        A survey in a record.
    recording : NightRecording
    began_at : str
        Start of the recording, ISO 8601 with offset.
    where : LogPlace
        Place, visit, meter and radio state.
    on_progress : callable, optional
        Called with the share done, 0 to 1; what it raises stops the work, and nothing is kept.
    name : str
        What the user calls the recording; its own name if left out.

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording or a number cannot be used.
    TooEarlyError
        If no reading of the display covers the recording.
    """
    step, began_at = on_progress or (lambda _share: None), moment_with_offset(began_at).isoformat()
    readings = [shown_reading(text) for text in recording.shown]
    series = night_of(recording, lambda share: step(_SOUND_SHARE * share))
    with scratch_folder() as folder:
        table = write_night_log(series, began_at, folder / _TABLE)
        shown = shown_night(series, readings, began_at)
        about: dict[str, Any] = {"recording": name or recording.path.name, "display": list(recording.shown)}
        about["recording_sha256"] = _digest(recording.path)
        about |= {"coupling_hz": recording.coupling_hz, "channel": recording.channel}
        rest = 1.0 - _SOUND_SHARE
        return keep_table(job, table, shown, about, where, lambda share: step(_SOUND_SHARE + rest * share))


def keep_table(
    job: Job,
    table: Path,
    shown: ShownNight | None,
    about: dict[str, Any],
    where: LogPlace,
    on_progress: ProgressCall | None = None,
) -> KeptNight:
    """Keep a night whose table is written.

    Parameters
    ----------
    table : Path
        As `write_night_log` writes it.
    shown : ShownNight or None
        None if nothing was read off the display.
    about : dict
        What else is noted of it, such as the numbers that were read off the display.

    Raises
    ------
    TooEarlyError
        If its levels have no scale yet.
    """
    guessed = guess_mapping(table) if shown else None
    if guessed is None or shown is None or any(name not in guessed.layout.columns for name in NIGHT_COLUMNS.values()):
        raise TooEarlyError(
            "the night has no scale yet: nothing was read off the display.",
            where="night",
            mend="Note what the display shows while the night goes on.",
        )
    zone = _zone(shown)
    mappings = [_of_column(guessed, column, kind, zone) for kind, column in NIGHT_COLUMNS.items()]
    content = json.dumps({"night": shown.to_plain(), **about}, ensure_ascii=False).encode("utf-8")

    def beside(log: MediaItem) -> list[MediaItem]:
        if job.store is None:
            return []
        return [job.store.media.put(content, file_name="night.json", caption=f"{NIGHT_CAPTION}: {log.sha256}")]

    return KeptNight(shown, keep_logs(job, table, mappings, where, on_progress, beside))


def night_behind(job: Job, record: LogRecord) -> ShownNight | None:
    """What the sound of a night says, for a log that came from one; None for any other log."""
    wanted = f"{NIGHT_CAPTION}: {record.media_sha256}"
    notes = next((item for item in job.survey.media if item.caption == wanted), None)
    if notes is None:
        return None
    return ShownNight.from_plain(json.loads(job.media_path(notes.sha256).read_bytes())["night"])


@dataclass(frozen=True)
class NightCourse:
    """One level of a night against time, with the ends of its 90 % interval."""

    level: LogSeries
    low: LogSeries
    high: LogSeries


def night_course(job: Job, record: LogRecord, sender: str = "") -> NightCourse:
    """A level of a night as series, from the kept table.

    Parameters
    ----------
    record : LogRecord
        A log that came from a night of sound.
    sender : str
        Technology; empty for the whole, averages or peaks as the log has them.

    Raises
    ------
    InputError
        If the log came from no night of sound.
    UnknownNameError
        If no such technology was heard in it.
    """
    night = night_behind(job, record)
    if night is None:
        raise InputError("this log came from no night of sound.", where=f"log {record.id}", mend="Choose another log.")
    if sender and sender not in night.technologies:
        raise UnknownNameError("technology", sender, night.technologies)
    column = column_of(sender) if sender else NIGHT_COLUMNS[record.kind.value]
    kind = "average" if sender else record.kind.value
    columns, table, folder = (column, *ends_of(column)), job.media_path(record.media_sha256), series_folder(job)
    ids = _series_ids(table, columns, kind, _zone(night))
    if not all((folder / one / NOTES_FILE).is_file() for one in ids):
        with named_copy(table, _TABLE) as named:
            guessed = guess_mapping(named)
            for name in columns:
                ingest(named, _of_column(guessed, name, kind, _zone(night)), folder)
    return NightCourse(*(open_series(folder / one) for one in ids))


@lru_cache(maxsize=256)
def _series_ids(table: Path, columns: tuple[str, ...], kind: str, zone: str) -> tuple[str, ...]:
    """Ids of the series of some columns; a table lies under its hash, so that its path stands for its content."""
    with named_copy(table, _TABLE) as named:
        guessed = guess_mapping(named)
        return tuple(series_id_of(named, _of_column(guessed, name, kind, zone)) for name in columns)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _zone(night: ShownNight) -> str:
    """The clock of the night, as it stood when the recording began."""
    return moment_with_offset(night.began_at).isoformat()[-6:]


def _of_column(guessed: LogMapping, column: str, kind: str, zone: str) -> LogMapping:
    answers = {"value_column": column, "kind": kind, "unit": "uW/m2", "zone": zone}
    return replace(guessed, guesses=(), questions=()).confirm(**answers)
