"""Readings: enter, list, undo; radio states."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from fastapi import APIRouter
from fastapi.concurrency import run_in_threadpool

from roomfield.survey import Bearing, Reading, StateActivity
from roomfield.web.dependencies import Desk, Form, Opened
from roomfield.web.walksheet import taken_view
from roomfield.workbench.record import editing, field_entry, survey_list
from roomfield.workbench.record.bearing_entry import BearingEntry, enter_bearing
from roomfield.workbench.record.field_entry import Entry
from roomfield.workbench.record.photos import keep_photo

router = APIRouter(prefix="/api/v1/surveys/{survey_id}", tags=["walk"])


@dataclass(frozen=True)
class UndoRequest:
    """Readings to withdraw."""

    reading_ids: tuple[str, ...]


@dataclass(frozen=True)
class NewRadioState:
    """A radio state of a visit: which switches are off, and what others do as far as it was seen to."""

    visit_id: str
    name: str
    off_groups: tuple[str, ...] = ()
    activities: tuple[StateActivity, ...] = ()


@router.get("/readings")
def list_readings(opened: Opened) -> list[Reading]:
    """Readings with amendments applied, withdrawn ones left out."""
    return list(opened.survey.current_readings())


@router.post("/readings", status_code=201)
def enter_readings(records: Desk, survey_id: str, entry: Entry) -> dict[str, Any]:
    """Enter one or several values taken at one point; the same entry sent twice is kept once."""
    return taken_view(field_entry.enter(records, survey_id, entry))


@router.post("/readings/undo")
def undo_readings(records: Desk, survey_id: str, request: UndoRequest) -> dict[str, int]:
    """Withdraw readings just entered; they stay in the record with the reason."""
    return {"withdrawn": field_entry.undo(records, survey_id, request.reading_ids)}


@router.post("/bearings", status_code=201)
def add_bearing(records: Desk, survey_id: str, entry: BearingEntry) -> Bearing:
    """Enter the axis of strongest or weakest pickup at a point; the same entry sent twice is kept once."""
    return enter_bearing(records, survey_id, entry)


@router.post("/photos", status_code=201)
async def add_photo(records: Desk, survey_id: str, form: Form) -> dict[str, str]:
    """Keep a photo (form field ``file``, JPEG without camera data) with its ``caption``; answers its hash."""
    content = await form.file("file").read()
    kept = await run_in_threadpool(keep_photo, records, survey_id, content, form.text("caption"))
    return {"sha256": kept.sha256, "caption": kept.caption}


@router.post("/radio-states", status_code=201)
def add_radio_state(records: Desk, survey_id: str, state: NewRadioState) -> dict[str, Any]:
    """Add a radio state to a visit; answers all states of the visit."""
    change = partial(
        editing.with_radio_state,
        visit_id=state.visit_id,
        name=state.name,
        off_groups=state.off_groups,
        activities=state.activities,
    )
    survey_list.revise(records, survey_id, change)
    visit = survey_list.opened(records, survey_id).survey.visit(state.visit_id)
    return {"states": [{"id": s.id, "name": s.name, "off_groups": s.off_groups} for s in visit.radio_states]}
