"""Readings: enter, list, undo; radio states."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from fastapi import APIRouter
from fastapi.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from roomfield.errors import UnknownNameError
from roomfield.survey import Bearing, HotSpot, PhotoSubject, Reading, StateActivity
from roomfield.web.dependencies import Desk, Form, Opened
from roomfield.web.walksheet import stamp_of, start_of, taken_view
from roomfield.workbench.record import editing, field_entry, survey_list
from roomfield.workbench.record.bearing_entry import BearingEntry, enter_bearing
from roomfield.workbench.record.field_entry import Entry
from roomfield.workbench.record.hot_spots import SpotMark, mark_spot, take_spot_away
from roomfield.workbench.record.photos import PhotoNote, choose_photo, keep_photo

router = APIRouter(prefix="/api/v1/surveys/{survey_id}", tags=["walk"])


@dataclass(frozen=True)
class UndoRequest:
    """Readings to withdraw."""

    reading_ids: tuple[str, ...]


@dataclass(frozen=True)
class SpotsAway:
    """A hot spot to take away."""

    spot_id: str


@dataclass(frozen=True)
class NewRadioState:
    """A radio state of a visit: which switches are off, and what others do as far as it was seen to.

    With an id made by the device, the same state sent twice is kept once.
    """

    visit_id: str
    name: str
    off_groups: tuple[str, ...] = ()
    activities: tuple[StateActivity, ...] = ()
    state_id: str = ""


@router.get("/walk")
def read_walk(opened: Opened, since: str = "") -> Response:
    """What the walk begins with, as it stands now; nothing (204) if all is as it was at the mark ``since``."""
    stamp = stamp_of(opened.revision, opened.additions)
    if since == stamp:
        return Response(status_code=204)
    visit_id = opened.asked_visit or next((visit.id for visit in reversed(opened.survey.visits)), "")
    return JSONResponse({**start_of(opened.survey, opened.revision, visit_id), "stamp": stamp})


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
    """Keep a photo (form field ``file``, JPEG without camera data) with its ``caption``; answers its id and hash.

    Further fields: ``id`` made by the device, ``subject`` (display, place, room, house_front, other), ``place_id``,
    ``visit_id``, ``radio_state_id``, ``entry_id``, ``taken_at``, and ``keeps_camera_data`` (yes) if the file shall keep
    what the camera put into it.
    """
    content = await form.file("file").read()
    subject = form.text("subject", "other")
    if subject not in set(PhotoSubject):
        raise UnknownNameError("subject of a photo", subject, list(PhotoSubject))
    said = {
        name: form.text(name)
        for name in ("caption", "id", "place_id", "visit_id", "radio_state_id", "entry_id", "taken_at")
    }
    note = PhotoNote(**said, subject=PhotoSubject(subject), keeps_camera_data=form.text("keeps_camera_data") == "yes")
    kept = await run_in_threadpool(keep_photo, records, survey_id, content, note)
    return {"id": kept.id, "sha256": kept.sha256, "caption": kept.caption}


@router.post("/photos/{photo_id}")
async def change_photo(records: Desk, survey_id: str, photo_id: str, form: Form) -> dict[str, Any]:
    """Choose whether a photo stands in the report (``in_report``: yes or no), with a smaller copy (``small``, JPEG)."""
    small = await form.files["small"].read() if "small" in form.files else b""
    wanted = partial(choose_photo, in_report=form.text("in_report") == "yes", caption=form.text("caption"), small=small)
    chosen = await run_in_threadpool(wanted, records, survey_id, photo_id)
    return {"id": chosen.id, "in_report": chosen.in_report, "caption": chosen.caption}


@router.post("/hot-spots", status_code=201)
def mark_hot_spot(records: Desk, survey_id: str, mark: SpotMark) -> HotSpot:
    """Mark a spot that sounded loud on the orienting walk; the same spot sent twice is kept once."""
    return mark_spot(records, survey_id, mark)


@router.post("/hot-spots/away")
def take_hot_spot_away(records: Desk, survey_id: str, request: SpotsAway) -> dict[str, str]:
    """Take a spot away; nothing happens if it is gone."""
    take_spot_away(records, survey_id, request.spot_id)
    return {"away": request.spot_id}


@router.post("/radio-states", status_code=201)
def add_radio_state(records: Desk, survey_id: str, state: NewRadioState) -> dict[str, Any]:
    """Add a radio state to a visit; answers all states of the visit."""
    change = partial(
        editing.with_radio_state,
        visit_id=state.visit_id,
        name=state.name,
        off_groups=state.off_groups,
        activities=state.activities,
        state_id=state.state_id,
    )
    survey_list.revise(records, survey_id, change)
    visit = survey_list.opened(records, survey_id).survey.visit(state.visit_id)
    return {"states": [{"id": s.id, "name": s.name, "off_groups": s.off_groups} for s in visit.radio_states]}
