"""Long logs as the report shows them."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.errors import TooEarlyError
from roomfield.logs.profile import Profile
from roomfield.logs.timeline_envelope import Envelope
from roomfield.quantities.kind import Kind
from roomfield.show.chapters import DayProfile, LogEntry, Timeline
from roomfield.show.log_figures import (
    Figures,
    burst_figures,
    day_part_figures,
    duration_figures,
    statistic_figures,
    step_figures,
)
from roomfield.show.phrase import Text, Told
from roomfield.survey import LogRecord
from roomfield.workbench.assess.assessment import Assessment, assess
from roomfield.workbench.assess.log_doubts import log_doubts, logged_levels
from roomfield.workbench.publish.contents.unsettled import doubt_text
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.kept_night import night_behind
from roomfield.workbench.record.long_series import LogView, kept_series, view_of

MOST_POINTS = 400


def log_entries(job: Job, assessment: Assessment) -> tuple[LogEntry, ...]:
    """Every log of the visit that is a log of power density.

    A log of highest values is held against the aim, where the guideline is for its place; one of averages against the
    legal limit.

    Parameters
    ----------
    assessment : Assessment
        Of the visit; logs of other visits belong to their reports.
    """
    visit_id = assessment.table.visit.id
    places = {p.id: p.name for p in job.survey.places}
    entries = []
    for record in (r for r in job.survey.current_logs() if r.visit_id == visit_id):
        series = kept_series(job, record)
        if series.unit.name == "W/m2":
            bound = _bound(assessment, record, _kind(record, series.kind))
            night = night_behind(job, record)
            said = night.sentences() if night else ()
            entries.append(_entry(record, places.get(record.place_id, ""), view_of(series, bound), bound, said))
    return tuple(entries)


@dataclass(frozen=True)
class LogBound:
    """What a log is held against without being asked: the aim for highest values, the limit for averages.

    Parameters
    ----------
    role : str
        ``aim`` or ``limit``.
    value_w_m2 : float
        Power density [W/m²].
    """

    role: str
    value_w_m2: float


def held_against(job: Job, log_id: str) -> LogBound | None:
    """The bound that fits the kind of a log, see `log_entries`; None without one, or for another quantity.

    Parameters
    ----------
    job : Job
        A survey in a record.
    log_id : str
        Id of a kept log.
    """
    record = next((r for r in job.survey.current_logs() if r.id == log_id), None)
    series = kept_series(job, record) if record else None
    if record is None or series is None or series.unit.name != "W/m2":
        return None
    kind = _kind(record, series.kind)
    try:
        value = _bound(assess(job.survey, record.visit_id), record, kind)
    except TooEarlyError:
        return None
    return None if value is None else LogBound("aim" if kind.instantaneous else "limit", value)


def _bound(assessment: Assessment, record: LogRecord, kind: Kind) -> float | None:
    """What a log of a kind is held against [W/m²]; None for nothing."""
    if not kind.instantaneous:
        return assessment.limit.value_w_m2 if assessment.limit.spot_testable else None
    here = [f for f in assessment.precaution if f.place_id == record.place_id]
    return here[0].bound_w_m2 if here else None


def _kind(record: LogRecord, named: str) -> Kind:
    return Kind(named) if named in set(Kind) else record.kind


def log_doubt_texts(job: Job, assessment: Assessment) -> tuple[Text, ...]:
    """Readings of the visit that its logs exclude, in words."""
    records = [r for r in job.survey.current_logs() if r.visit_id == assessment.table.visit.id and r.place_id]
    found = (logged_levels(job.survey, record, kept_series(job, record)) for record in records)
    logged = tuple(one for one in found if one is not None)
    return tuple(doubt_text(assessment, item) for item in log_doubts(assessment.table, logged))


def _entry(
    record: LogRecord, place: str, view: LogView, bound_w_m2: float | None, said: tuple[Text, ...] = ()
) -> LogEntry:
    kind = _kind(record, view.series.kind)
    return LogEntry(
        record.id,
        place,
        kind,
        view.statistics.start.isoformat(),
        view.statistics.end.isoformat(),
        log_figures(view),
        _timeline(view.envelope, bound_w_m2),
        _day(view.day),
        (*said, *(Told(remark) for remark in view.statistics.remarks)),
    )


def log_figures(view: LogView) -> Figures:
    """Every figure of a log, as the report lists them.

    Parameters
    ----------
    view : LogView
        Everything a log says.
    """
    steps = step_figures(view.changes) if view.day is not None else ()
    parts = day_part_figures(view.parts, view.series.unit.name)
    needed, quick = duration_figures(view.duration), burst_figures(view.bursts)
    return (*statistic_figures(view.statistics), *parts, *needed, *steps, *quick)


def _timeline(envelope: Envelope, bound_w_m2: float | None) -> Timeline:
    drawn = envelope.coarser(MOST_POINTS)
    return Timeline(
        drawn.start.isoformat(),
        tuple(i * drawn.bin_s for i in range(len(drawn.low))),
        tuple(map(float, drawn.low)),
        tuple(map(float, drawn.mean)),
        tuple(map(float, drawn.high)),
        bound_w_m2,
    )


def _day(profile: Profile | None) -> DayProfile | None:
    if profile is None:
        return None
    bins = [b for b in profile.bins if b.mean.low is not None and b.mean.high is not None]
    if not bins:
        return None
    return DayProfile(
        tuple((b.start_minute + profile.bin_minutes / 2.0) / 60.0 for b in bins),
        tuple(b.mean.value for b in bins),
        tuple(b.mean.low or 0.0 for b in bins),
        tuple(b.mean.high or 0.0 for b in bins),
    )
