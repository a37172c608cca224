"""Taking in a log: whole or not at all, once."""

from __future__ import annotations

import hashlib
import json
import logging
import os
import shutil
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from uuid import uuid4

import numpy as np

from roomfield.errors import RejectedRows, RowFault, StoreError
from roomfield.logs import digest, duckdb_engine, pyramid, sanity
from roomfield.logs.clock import moment_of
from roomfield.logs.guess import guess_mapping
from roomfield.logs.log_series import NOTES_FILE, PYRAMID_FILE, SERIES_FILE, IngestReport, LogSeries, open_series
from roomfield.logs.mapping import Mapping
from roomfield.logs.plain_text import NotPlainError, PlainText
from roomfield.logs.refine import store_plain, store_staged
from roomfield.logs.staging import stage
from roomfield.logs.writing import Tally, write

_log = logging.getLogger("roomfield.logs")

_INCOMING = ".incoming-"
_IN_WORK_S = 12 * 3600.0

Progress = Callable[[float, str], None]
"""Called with the share done (0 to 1) and what is being done."""


def content_sha256(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def series_id_of(path: str | Path, mapping: Mapping) -> str:
    """Id of the series that a file gives when it is read with a mapping.

    Parameters
    ----------
    path : str or Path
        The log as received.
    mapping : Mapping
        Confirmed.
    """
    return _series_id(content_sha256(Path(path)), mapping)


def _series_id(sha256: str, mapping: Mapping) -> str:
    return hashlib.sha256(f"{sha256} {mapping.fingerprint()}".encode()).hexdigest()[:32]


def ingest(
    path: str | Path,
    mapping: Mapping | None,
    store_dir: str | Path,
    *,
    progress: Progress | None = None,
) -> LogSeries:
    """Store a log as Parquet, with what is known of it, its timeline pyramid and its report.

    Parameters
    ----------
    path : str or Path
        The log as received.
    mapping : Mapping or None
        Confirmed mapping; None takes the guess, if it leaves nothing open.
    store_dir : str or Path
        Folder in which stored logs lie, each in a folder of its own.
    progress : callable or None
        Told how far it is.

    Returns
    -------
    LogSeries
        The stored series; ``already_known`` if this content was stored before with the same mapping.

    Raises
    ------
    TooEarlyError
        If the mapping is ambiguous and not confirmed.
    RejectedRows, FormatError, InputError
        If the file cannot be taken in; nothing is left behind.
    StoreError
        If the folder cannot be written.
    """
    source, store = Path(path), Path(store_dir)
    tell = progress or (lambda share, words: None)
    chosen = mapping if mapping is not None else guess_mapping(source)
    chosen.require_confirmed(source.name)
    chosen.check()
    tell(0.0, "checking whether this log is known")
    sha256 = content_sha256(source)
    series_id = _series_id(sha256, chosen)
    folder = store / series_id
    if (folder / NOTES_FILE).is_file():
        _log.debug("%s is known as series %s", source.name, series_id)
        return replace(open_series(folder), already_known=True)
    _sweep(store)
    scratch = store / f"{_INCOMING}{uuid4().hex}"
    try:
        scratch.mkdir(parents=True)
    except OSError as fault:
        raise StoreError("it cannot be written to.", where=str(store), mend="Choose another folder.") from fault
    try:
        _fill(scratch, source, chosen, (series_id, sha256), tell)
        _move(scratch, folder)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    tell(1.0, "stored")
    made = open_series(folder)
    _log.info("%s kept as series %s, read as: %s", source.name, series_id, chosen.describe())
    _log.debug("of %s: %s", source.name, made.report)
    return made


def _sweep(store: Path) -> None:
    """Take away what a killed process left half-done; what something was written to today may still be in work."""
    for left in store.glob(f"{_INCOMING}*"):
        newest = max((path.stat().st_mtime for path in (left, *left.rglob("*")) if path.exists()), default=0.0)
        if time.time() - newest > _IN_WORK_S:
            shutil.rmtree(left, ignore_errors=True)


def _move(scratch: Path, folder: Path) -> None:
    try:
        os.replace(scratch, folder)
    except OSError as fault:
        if not (folder / NOTES_FILE).is_file():
            raise StoreError("it cannot be written to.", where=str(folder), mend="Choose another folder.") from fault


def _fill(scratch: Path, source: Path, mapping: Mapping, ids: tuple[str, str], tell: Progress) -> None:
    tell(0.05, "reading the rows")
    tally = _stored_as_plain(source, mapping, scratch) or _stored_by_cell(source, mapping, scratch, tell)
    tally, left_out = _without_outlying(scratch / SERIES_FILE, source.name, mapping, tally)
    sanity.refuse_scattered(tally.first_us, tally.last_us, tally.rows, source.name)
    tell(0.8, "condensing the readings")
    series = LogSeries(
        directory=scratch,
        id=ids[0],
        source_name=source.name,
        source_sha256=ids[1],
        unit=mapping.stored_unit(),
        kind=mapping.kind,
        zone=mapping.zone or "UTC",
        start_us=tally.first_us,
        end_us=tally.last_us,
        rows=tally.rows,
        nominal_interval_s=tally.nominal_interval_s,
        minimum=tally.minimum,
        maximum=tally.maximum,
        mean_shift=tally.total / tally.rows,
        report=_report(mapping, tally, left_out),
        mapping=mapping.to_dict(),
    )
    sha256, finest = digest.draw_up(series, pyramid.base_width_us(tally.nominal_interval_s))
    tell(0.95, "drawing up the timeline")
    pyramid.build(finest, scratch / PYRAMID_FILE)
    notes = {**series.to_dict(), "digest_sha256": sha256}
    (scratch / NOTES_FILE).write_text(json.dumps(notes, indent=1, ensure_ascii=False), encoding="utf-8")


def _stored_as_plain(source: Path, mapping: Mapping, scratch: Path) -> Tally | None:
    """Store a file that is plain to the letter; None if it is not."""
    text = PlainText.of(source, mapping)
    if text is None:
        return None
    try:
        return store_plain(text, mapping, scratch / SERIES_FILE, source.name)
    except NotPlainError:
        (scratch / SERIES_FILE).unlink(missing_ok=True)
        return None


def _stored_by_cell(source: Path, mapping: Mapping, scratch: Path, tell: Progress) -> Tally:
    """Store any file, every cell of which is judged by itself."""
    work = scratch / "work"
    work.mkdir()
    with duckdb_engine.connection(work) as database:
        staged = stage(source, mapping, work, database)
        tell(0.55, "ordering and checking the readings")
        tally = store_staged(staged, mapping, scratch / SERIES_FILE, work, database)
    shutil.rmtree(work)
    return tally


def _without_outlying(file: Path, where: str, mapping: Mapping, tally: Tally) -> tuple[Tally, int]:
    """The stored readings without those far away from all others, and how many these were."""
    found = sanity.outlying(file) if mapping.outlying != "keep" else None
    if found is None:
        return tally, 0
    if not mapping.outlying:
        rest = f"{moment_of(found.first_us):%Y-%m-%d} to {moment_of(found.last_us):%Y-%m-%d}"
        faults = [
            RowFault(0, mapping.time_columns[0], f"{moment_of(t):%Y-%m-%d %H:%M}", f"all others lie from {rest}")
            for t in found.stamps_us
        ]
        mend = 'Correct their times, or confirm with outlying="leave out" or outlying="keep".'
        raise RejectedRows(faults, where=where, mend=mend)
    kept = replace(tally, rows=0, total=0.0, steps=[], below_floor=0, overload=0, minimum=np.inf, maximum=-np.inf)
    whole = file.rename(file.with_name("whole.parquet"))
    write(sanity.between(whole, found.first_us, found.last_us), file, kept)
    whole.unlink()
    return kept, found.count


def _report(mapping: Mapping, tally: Tally, left_out: int) -> IngestReport:
    report = IngestReport(
        rows_read=tally.read,
        rows_stored=tally.rows,
        identical_repeats=tally.identical,
        merged_repeats=tally.merged,
        out_of_order=tally.out_of_order,
        missing=tally.missing,
        unreadable=tally.unreadable,
        below_floor=tally.below_floor,
        overload=tally.overload,
        doubled_hour_undecided=tally.undecided,
        hour_that_never_was=tally.unreal,
        doubled_hour_paired=tally.paired,
        spread=mapping.spread_repeats,
    )
    away = (f"{left_out} readings lie half a year or more away from all others and were left out.",) if left_out else ()
    return replace(report, remarks=(*_remarks(report, mapping), *away))


def _remarks(report: IngestReport, mapping: Mapping) -> tuple[str, ...]:
    merged = "highest kept" if mapping.kind in ("peak", "highest_held") else "averaged as power"
    said = (
        (report.unreadable, "{} rows could not be read and were left out."),
        (report.missing, "{} rows hold no level; their time counts as not observed."),
        (report.out_of_order, "{} rows stand before the row above them in time; the readings were sorted."),
        (report.identical_repeats, "{} readings repeat a time and a level already there; one was kept."),
        (report.merged_repeats, f"{{}} readings share a time with a different level; {merged}."),
        (
            report.below_floor,
            "{} readings lie at or below the meter's floor; they are kept as bounds, not as levels.",
        ),
        (report.overload, "{} readings are overloads; the true level was at least as high."),
        (
            report.hour_that_never_was,
            "{} stamps lie in the hour that daylight saving skips: the clock seems not to follow it; "
            "consider a fixed offset as zone.",
        ),
        (
            report.doubled_hour_undecided,
            "{} stamps lie in the hour that daylight saving doubles and were read as its first pass.",
        ),
        (
            report.doubled_hour_paired,
            "{} stamps of the hour that daylight saving doubles stand twice side by side; the first of each was read "
            "as its first pass.",
        ),
    )
    return tuple(text.format(count) for count, text in said if count)
