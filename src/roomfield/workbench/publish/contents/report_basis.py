"""What the report rests on: instrument, budget, references, positions, cautions, record."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace

from roomfield.exposure.decision import Bound
from roomfield.instrument import IndividualsChart as Chart
from roomfield.instrument import meter_chart
from roomfield.quantities import ErrorContribution, ErrorShape, Kind
from roomfield.quantities.censoring import Censoring
from roomfield.references.catalogue import evidence, mainstream_positions
from roomfield.references.cautions import cautions
from roomfield.references.guidelines import CATEGORIES, GuidelineSet
from roomfield.references.limit_sets import LimitSet, LimitValue
from roomfield.references.source import Authority, Source
from roomfield.show.evidence import (
    AmendmentEntry,
    Budget,
    BudgetLine,
    CalibrationEntry,
    Caution,
    CheckEntry,
    ChecklistEntry,
    ControlChart,
    MeterEntry,
    Position,
    Proof,
    ReadingEntry,
    ReferenceEntry,
    ReferenceStanding,
    VisitEntry,
)
from roomfield.show.findings import Shown, ShownAim
from roomfield.show.phrase import Phrase, Text, Told, phrase
from roomfield.survey import Meter, Survey
from roomfield.workbench.assess.assessment import Assessment, highest_kinds
from roomfield.workbench.publish.contents.place_findings import AIM, PULSES
from roomfield.workbench.record.checklist_ticks import checklist_of

_MARK = re.compile(r"\bE\d{2}\b")
_PART = {
    "meter_tolerance": "tolerance",
    "meter_calibration": "calibration",
    "repeatability": "repeatability",
    "pickup_axis": "pickup",
    "body": "body",
    "display": "resolution",
    "meter_drift": "drift",
    "overdue_calibration": "drift",
    "floor_noise": "floor_noise",
}
FOR_THE_ASSESSOR = ("site plan", "procedure", "interview, report")
ASSESSOR_GROUPS = ("privacy", "children")
ASSESSOR_TOPICS = frozenset({
    "Far field only", "Pulses", "Several dB tolerance", "Zero reading", "No safety verdict", "Calibration",
    "Conflict of interest", "Own phone and radios", "No work on mains",
})  # fmt: skip
"""Cautions on how to measure and to write: they go to the assessor, not to the client."""
_STANDING = {
    Authority.LAW: ReferenceStanding.LAW,
    Authority.OFFICIAL_RECOMMENDATION: ReferenceStanding.RECOMMENDATION,
    Authority.EXPERT_GUIDELINE: ReferenceStanding.EXPERT,
    Authority.VOLUNTARY_STANDARD: ReferenceStanding.VOLUNTARY,
    Authority.VOLUNTARY_DISPUTED: ReferenceStanding.DISPUTED,
    Authority.POLITICAL_RESOLUTION: ReferenceStanding.DISPUTED,
    Authority.HISTORICAL: ReferenceStanding.VOLUNTARY,
    Authority.STATED_BY_USER: ReferenceStanding.VOLUNTARY,
}


def visit_entries(survey: Survey) -> tuple[VisitEntry, ...]:
    """All visits."""
    return tuple(
        VisitEntry(
            v.id,
            v.started_at,
            v.assessor,
            phrase(f"purpose.{v.purpose.value}"),
            v.ended_at,
            v.conditions,
            v.note,
        )
        for v in survey.visits
    )


def meter_entries(survey: Survey, on_date: str) -> tuple[MeterEntry, ...]:
    """Every meter that was used.

    Parameters
    ----------
    on_date : str
        Date of the visit, ISO 8601, to judge whether a calibration was overdue.
    """
    used = {r.meter_id for r in survey.readings}
    return tuple(_meter(m, on_date) for m in survey.meters if m.id in used)


def _meter(meter: Meter, on_date: str) -> MeterEntry:
    used = meter.figures
    overdue = bool(meter.calibration_due) and on_date[:10] > meter.calibration_due[:10]
    return MeterEntry(
        meter.id,
        meter.name,
        meter.serial,
        used.band_low_hz,
        used.band_high_hz,
        used.tolerance_db,
        phrase("distribution.rectangular"),
        used.repeatability_db,
        used.floor_w_m2,
        meter.overload_w_m2,
        used.response_s,
        used.averaging_s,
        used.body_distance_m,
        used.pickup_axes,
        meter.calibrated_on,
        meter.calibration_due,
        overdue,
        meter.certificate,
        tuple(CalibrationEntry(p.frequency_hz, p.correction_db, p.std_db) for p in meter.calibration),
        _chart(meter, meter_chart(meter)),
        meter.note,
        meter.not_stated,
        tuple(_meter_remarks(meter, on_date)),
        meter.receives_hz,
    )


def _meter_remarks(meter: Meter, on_date: str) -> Iterator[Text]:
    for zone in meter.zones:
        yield phrase("instrument.zone", low=zone.low_hz, high=zone.high_hz, tolerance=zone.tolerance_db)
    for thing in meter.accessories:
        first = thing.response[0] if thing.response else None
        if first is not None:
            yield phrase("instrument.accessory", name=thing.name, change=first.change_db, at=first.frequency_hz)
    before = [test for test in meter.self_tests if test.at[:10] <= on_date[:10]]
    if before:
        outcome = {True: "passed", False: "failed", None: "battery_only"}[before[-1].passed]
        yield phrase(f"instrument.self_test_{outcome}", date=before[-1].at[:10], battery=before[-1].battery or "–")


def _chart(meter: Meter, chart: Chart | None) -> ControlChart | None:
    if chart is None:
        return None
    ordered = sorted(meter.checks, key=lambda c: c.at)
    flagged = {*chart.outside, *chart.runs}
    entries = tuple(CheckEntry(c.at, c.deviation_db, c.source, i in flagged, c.note) for i, c in enumerate(ordered))
    reach = (chart.upper_db - chart.lower_db) / 2.0
    return ControlChart(entries, chart.centre_db, reach * 2.0 / 3.0, reach)


def typical_budgets(assessment: Assessment) -> tuple[Budget, ...]:
    """Budget of the first number of the kind that answers, and of the first average, which the law asks for."""
    first: dict[bool, Budget] = {}
    averages = [i for i in assessment.table.levels if i.kind is Kind.AVERAGE]
    for item in (*highest_kinds(assessment.table), *averages):
        level, averaged = item.combined.level, item.kind is Kind.AVERAGE
        if averaged in first or level.censoring is not Censoring.NONE:
            continue
        tail = (1.0 - assessment.terms.coverage) / 2.0
        low, high = level.errors().quantile(tail), level.errors().quantile(1.0 - tail)
        parts = sorted(level.contributions, key=lambda c: -c.effective_std_db)
        lines = tuple(replace(_line(part), kind=item.kind) for part in parts)
        first[averaged] = Budget(lines, level.std_db, float(low), float(high), phrase("budget.method"))
    return tuple(first[key] for key in sorted(first))


def _line(part: ErrorContribution) -> BudgetLine:
    shape = "rectangular" if part.shape is ErrorShape.RECTANGULAR else "normal"
    common = bool(part.shared_key) and not part.shared_key.startswith("scan/")
    return BudgetLine(
        phrase(f"part.{_PART.get(part.name, part.name)}"),
        part.effective_std_db,
        common,
        phrase(f"distribution.{shape}"),
        phrase(f"part_source.{_PART.get(part.name, part.name)}"),
    )


def reference_entries(assessment: Assessment) -> tuple[ReferenceEntry, ...]:
    """The legal limits, limits of the user's own and the guideline, with their standing."""
    law = _limits_entry(assessment.limits, assessment.limit)
    told = assessment.pulse if assessment.pulses else None
    pulses = [_pulses(law, told, assessment.limits.pulse_how)] if told else []
    own = [_limits_entry(one.limits, one.limit) for one in assessment.beside]
    if assessment.guideline is not None:
        return (law, *pulses, *own, _guideline(assessment.guideline, on_axis=assessment.aim is None))
    return (law, *pulses, *own, *([_aim(assessment.aim)] if assessment.aim else []))


def _limits_entry(limits: LimitSet, limit: LimitValue) -> ReferenceEntry:
    """A set of limits by the value that was used."""
    return ReferenceEntry(
        limits.set_id,
        limits.title,
        limit.document,
        _STANDING[limits.standing],
        Kind.AVERAGE,
        limit.edition,
        limit.clause,
        how_known=how_known(limit.source),
        value_w_m2=limit.value_w_m2,
        averaging_s=limit.averaging_s,
        installations_only=limits.installations_only,
        note=" ".join(part for part in (limits.standing_note, limit.note, limit.spot_note) if part),
    )


def _aim(aim: ShownAim) -> ReferenceEntry:
    """The client's own aim where no guideline was chosen."""
    label, voluntary = phrase("aim.label"), ReferenceStanding.VOLUNTARY
    return ReferenceEntry(AIM, label, "", voluntary, Kind.PEAK, value_w_m2=aim.value_w_m2, on_axis=False)


def _pulses(law: ReferenceEntry, bound: Bound, how: str) -> ReferenceEntry:
    """The condition on pulses beside the limit of the average; it stays off the axis, far above all levels."""
    return replace(
        law,
        id=law.id + PULSES,
        label=phrase("reference.pulses", label=law.label),
        kind=Kind.PEAK,
        value_w_m2=bound.value_w_m2,
        averaging_s=None,
        how_known=how,
        note="",
        on_axis=False,
    )


def _guideline(chosen: GuidelineSet, *, on_axis: bool) -> ReferenceEntry:
    rows = chosen.levels_for(None if chosen.services == ("any",) else chosen.services[0])
    edges = tuple((r.name, r.lower_w_m2) for r in rows) if chosen.form == CATEGORIES else ()
    return ReferenceEntry(
        chosen.set_id,
        chosen.title,
        chosen.source.document,
        _STANDING[chosen.standing],
        Kind.PEAK,
        chosen.source.edition,
        chosen.source.clause,
        how_known=how_known(chosen.source),
        value_w_m2=rows[0].upper_w_m2,
        on_axis=on_axis,
        conditions=chosen.conditions,
        edges_w_m2=edges,
        note=" ".join(part for part in (chosen.standing_note, chosen.remark) if part),
    )


def how_known(source: Source) -> Phrase | str:
    """How a value is known, in words; memory says so."""
    return phrase("how.memory_detail", detail=source.how) if source.from_memory else source.how


def position_entries() -> tuple[Position, ...]:
    """What the mainstream bodies hold."""
    return tuple(
        Position(p.body, p.source.document, p.position, p.source.edition, p.source.how) for p in mainstream_positions()
    )


def proof_entries(references: tuple[ReferenceEntry, ...], positions: tuple[Position, ...]) -> tuple[Proof, ...]:
    """What the marks of the evidence register stand for, for those that the report names.

    Parameters
    ----------
    references, positions : tuple
        Entries whose notes and ways of being known name marks.
    """
    texts = [_plain(text) for r in references for text in (r.how_known, r.note)]
    said = " ".join([*texts, *(p.how_known for p in positions)])
    register = evidence()
    marks = sorted(mark for mark in set(_MARK.findall(said)) if mark in register)
    return tuple(Proof(mark, register[mark].what, register[mark].where, register[mark].confirms) for mark in marks)


def _plain(text: Text) -> str:
    if isinstance(text, Phrase):
        return " ".join(str(value) for _, value in text.values)
    return text if isinstance(text, str) else text.sentence


def caution_entries() -> tuple[Caution, ...]:
    """Cautions that a client needs; what only tells the assessor how to work is left out."""
    return tuple(
        Caution(c.topic, c.text, c.group)
        for c in cautions()
        if c.where not in FOR_THE_ASSESSOR and c.group not in ASSESSOR_GROUPS and c.topic not in ASSESSOR_TOPICS
    )


def amendment_entries(survey: Survey) -> tuple[AmendmentEntry, ...]:
    """Corrections of the record."""
    return tuple(AmendmentEntry(a.target_id, a.field, a.old, a.new, a.reason, a.by, a.at) for a in survey.amendments)


def reading_entries(survey: Survey, visit_id: str) -> tuple[ReadingEntry, ...]:
    """Every reading of a visit as observed, withdrawn ones included."""
    visit = survey.visit(visit_id)
    places = {p.id: p.name for p in survey.places}
    states = {s.id: s.name for s in visit.radio_states}
    touched = {a.target_id for a in survey.amendments}
    gone = {a.target_id for a in survey.amendments if a.field == "withdrawn" and json.loads(a.new) is True}
    return tuple(
        ReadingEntry(
            id=r.id,
            visit=visit_id,
            place=places.get(r.place_id, ""),
            state=states.get(r.radio_state_id, r.radio_state_id),
            kind=r.kind,
            shown=Shown(r.value_w_m2, r.censoring),
            orientation=r.orientation.value,
            scan=r.scan.value,
            taken_at=r.taken_at,
            replicate=r.replicate,
            note=r.note,
            origin=f"{r.origin.file_name}:{r.origin.line}" if r.origin.line else "",
            amended=r.id in touched,
            withdrawn=r.id in gone,
        )
        for r in survey.readings
        if r.visit_id == visit_id
    )


def checklist_entry(survey: Survey, visit_id: str) -> ChecklistEntry | None:
    """What was seen to by the checklists; None if they were not used.

    Parameters
    ----------
    visit_id : str
        The visit.
    """
    lines = checklist_of(survey, visit_id)
    done = [line for line in lines if line.at]
    if not done:
        return None
    return ChecklistEntry(len(done), len(lines), tuple(Told(line.row.words) for line in lines if not line.at))
