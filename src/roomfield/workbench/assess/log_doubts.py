"""A log and a spot reading at one place that cannot both be right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from roomfield.instrument import to_level
from roomfield.logs.log_series import LogSeries
from roomfield.quantities import Kind, UncertainLevel
from roomfield.quantities.kind import RISING
from roomfield.survey import LogRecord, Orientation, Reading, Scan, Survey
from roomfield.workbench.assess.doubts import Doubt, DoubtKind, shown_higher
from roomfield.workbench.assess.place_levels import LevelTable, MeasuredLevel


@dataclass(frozen=True)
class LoggedLevels:
    """The ends of a log at a place, as levels.

    Parameters
    ----------
    lowest, highest : UncertainLevel
        Of the log's kind; the meter stood fixed.
    """

    record: LogRecord
    lowest: UncertainLevel
    highest: UncertainLevel


def logged_levels(survey: Survey, record: LogRecord, series: LogSeries) -> LoggedLevels | None:
    """The ends of a log as levels; None for a log of another quantity, kind or without a place.

    Parameters
    ----------
    series : LogSeries
        Of the record.
    """
    usable = series.unit.name == "W/m2" and series.kind in set(Kind) and record.place_id and series.minimum > 0.0
    if not usable:
        return None
    shown = Reading(
        record.id, record.visit_id, record.meter_id, record.radio_state_id, Kind(series.kind), series.maximum,
        record.place_id, orientation=Orientation.UNKNOWN, scan=Scan.FIXED, taken_at=record.started_at,
    )  # fmt: skip
    meter = survey.meter(record.meter_id)
    lowest, highest = (to_level(replace(shown, value_w_m2=v), meter).level for v in (series.minimum, series.maximum))
    return LoggedLevels(record, lowest, highest)


def log_doubts(table: LevelTable, logged: tuple[LoggedLevels, ...]) -> tuple[Doubt, ...]:
    """Readings that a log at the same place, in the same radio state, excludes.

    Parameters
    ----------
    table : LevelTable
        Levels of the visit.
    logged : tuple of LoggedLevels
        Its logs.

    Notes
    -----
    No average is above the highest value of a log of averages, peaks or held maxima, and no held maximum below the
    lowest (common practice, no source), as far as the log lasted: a reading of another hour may exceed it, so what is
    told is a doubt, with the question what changed.
    """
    return tuple(doubt for one in logged for doubt in _doubts(table, one))


def _doubts(table: LevelTable, logged: LoggedLevels) -> Iterator[Doubt]:
    record, rank = logged.record, RISING.index(logged.highest.kind)
    for item in (*table.levels, *table.other_times):
        if (item.place_id, item.state_id) != (record.place_id, record.radio_state_id):
            continue
        own = RISING.index(item.kind)
        # A reading of a lower kind may not be above the log, one of a higher kind not below it.
        if own <= rank and _excludes(item, logged.highest, above=True):
            yield _doubt(item, logged.highest)
        elif own >= rank and _excludes(item, logged.lowest, above=False):
            yield _doubt(item, logged.lowest)


def _excludes(item: MeasuredLevel, end: UncertainLevel, *, above: bool) -> bool:
    level, end = item.combined.level, replace(end, kind=item.kind)
    return shown_higher(level, end) if above else shown_higher(end, level)


def _doubt(item: MeasuredLevel, end: UncertainLevel) -> Doubt:
    return Doubt(
        DoubtKind.LOG_DISAGREES, item.place_id, item.state_id, item.kind, end.kind,
        item.combined.level.median_w_m2, end.median_w_m2,
    )  # fmt: skip
