"""What the walk page's script is given, as plain values."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

from roomfield.survey import Emitter, Survey
from roomfield.workbench.record import field_entry, plan_document
from roomfield.workbench.record.editing import now
from roomfield.workbench.record.field_entry import EntryResult, Worth
from roomfield.workbench.record.hot_spots import walk_order
from roomfield.workbench.record.readings_ledger import ledger_of


def start_of(survey: Survey, revision: int, visit_id: str) -> dict[str, Any]:
    """Plan, choices and readings so far.

    Parameters
    ----------
    survey : Survey
        The survey that is open.
    revision : int
        Its revision.
    visit_id : str
        The visit being walked.
    """
    visit = survey.visit(visit_id)
    meters = {meter.id: meter for meter in survey.meters}
    worths = [field_entry.worth_of(r, meters[r.meter_id]) for r in survey.current_readings(visit.id)]
    return {
        "survey_id": survey.id,
        "revision": revision,
        "as_of": now(),
        "plan": json.loads(plan_document.write_plan(plan_document.plan_of(survey))),
        "visit": {"id": visit.id, "started_at": visit.started_at},
        "states": [{"id": s.id, "name": s.name, "off_groups": s.off_groups} for s in visit.radio_states],
        "switches": switches_of(survey),
        "meters": [{"id": m.id, "name": m.name, "pickup_axes": m.figures.pickup_axes} for m in survey.meters],
        "readings": [worth_view(worth) for worth in worths],
        "earlier": _earlier(survey, visit.id),
        "spots": [asdict(spot) for spot in survey.hot_spots if spot.visit_id == visit.id],
        "order": [asdict(stop) for stop in walk_order(survey, visit.id)],
        "bearings": [
            {"id": b.id, "position": b.position, "strongest_deg": b.strongest_deg, "null_deg": b.null_deg}
            for b in survey.current_bearings()
            if b.visit_id == visit.id
        ],
    }


def stamp_of(revision: int, additions: int) -> str:
    """A mark that changes with everything that is changed in a survey or added to it."""
    return f"{revision}-{additions}"


def _earlier(survey: Survey, visit_id: str) -> list[dict[str, Any]]:
    """Values of the visit before, cell by cell, to stand behind the fields of a follow-up."""
    cells = (cell for row in ledger_of(survey, visit_id).rows for cell in row.cells)
    return [
        {
            "place_id": cell.place.id,
            "state_id": cell.state.id,
            "kind": one.kind,
            "censoring": one.censoring,
            "value_w_m2": one.value_w_m2,
        }
        for cell in cells
        for one in cell.earlier
    ]


def switches_of(survey: Survey) -> list[dict[str, Any]]:
    """What can be switched off or made to transmit during a visit, by its switch; masts outside are left alone."""
    groups: dict[str, list[Emitter]] = {}
    for emitter in survey.emitters:
        if emitter.switchable or not emitter.outdoor:
            groups.setdefault(emitter.group, []).append(emitter)
    return [
        {
            "group": group,
            "names": ", ".join(one.name for one in some),
            "switchable": any(one.switchable for one in some),
        }
        for group, some in groups.items()
    ]


def worth_view(worth: Worth) -> dict[str, Any]:
    """A reading with its interval; an open end is null."""
    reading = worth.reading
    return {
        "id": reading.id,
        "place_id": reading.place_id,
        "position": reading.position,
        "kind": reading.kind,
        "state_id": reading.radio_state_id,
        "censoring": reading.censoring,
        "orientation": reading.orientation,
        "value_w_m2": reading.value_w_m2,
        "low_w_m2": worth.low_w_m2,
        "high_w_m2": worth.high_w_m2 if math.isfinite(worth.high_w_m2) else None,
        "taken_at": reading.taken_at,
        "flags": worth.flags,
    }


def taken_view(taken: EntryResult) -> dict[str, Any]:
    """What came of an entry."""
    return {
        "readings": [worth_view(worth) for worth in taken.worth],
        "remarks": [{"reading_id": r.reading_id, "words": r.words, "values": r.values} for r in taken.remarks],
    }
