"""Listening: live sound over a socket, uploaded recordings, and what was heard in them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

from fastapi import APIRouter, Request, WebSocket, WebSocketDisconnect
from fastapi.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from roomfield.errors import FormatError, RoomfieldError
from roomfield.scratch import scratch_folder
from roomfield.show.page_drawings import curve_path
from roomfield.survey import Survey
from roomfield.web.contexts import ListenPage, RecordingPage
from roomfield.web.dependencies import Desk, Form, Opened, saved_upload
from roomfield.web.rendering import language_of, render
from roomfield.workbench.record import form_choices, recordings
from roomfield.workbench.record.recording_analysis import HeardWhere
from roomfield.workbench.record.recordings import LiveEar

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/listen")
CLAIMED = 0.5
MOST_PERIODS = 40


@dataclass(frozen=True)
class HeardLine:
    """One technology that was heard, under its name for people."""

    name: str
    probability: float
    evidence: str


@dataclass(frozen=True)
class KeptRecording:
    """A recording as the list shows it."""

    id: str
    place: str
    state: str
    duration_s: float
    sha256: str
    heard: tuple[HeardLine, ...]


@dataclass(frozen=True)
class ProfileDrawing:
    """The mean course of one period as a line."""

    name: str
    period_s: float
    path: str


@router.get("")
def show(request: Request, opened: Opened) -> Response:
    """Live listening and kept recordings."""
    survey = opened.survey
    start = {
        "survey_id": survey.id,
        "places": [{"id": p.id, "name": p.name} for p in survey.places],
        "technologies": {one.key: one.name for one in form_choices.technologies()},
    }
    return render(request, ListenPage(opened.head, start, survey.visits, _kept(survey)))


@router.post("")
async def keep(records: Desk, survey_id: str, form: Form) -> Response:
    """Analyse a recording and keep it."""
    upload = form.file("sound")
    visit_id, state_id = form.visit_and_state()
    where = HeardWhere(form.text("place_id"), visit_id, "", state_id)
    with scratch_folder() as folder:
        ending = "".join(c for c in PurePath(upload.filename or "").suffix.lower() if c.isalnum())[:8]
        path = await saved_upload(upload, folder, f"recording.{ending}")
        kept = await run_in_threadpool(recordings.keep_sound, records, survey_id, path, where)
    return JSONResponse({"next": f"/surveys/{survey_id}/listen#{kept.id}"})


@router.get("/{recording_id}")
def show_one(request: Request, opened: Opened, recording_id: str) -> Response:
    """Everything that was heard in one recording."""
    heard = recordings.heard_in(opened.records, opened.survey.id, recording_id, language_of(request))
    technologies = tuple(one for one in heard["technologies"] if one["probability"] >= 0.02)
    profiles = tuple(ProfileDrawing(p["name"], p["period_s"], curve_path(p["levels"])) for p in heard["profiles"])
    rates = tuple(heard["periodicities"][:MOST_PERIODS])
    claimed = tuple(one for one in technologies if one["probability"] >= CLAIMED)
    warnings, unlisted = tuple(heard["warnings"]), bool(heard["answer"]["rates_hz"])
    page = RecordingPage(
        opened.head, claimed, heard["verdict"], technologies, profiles, rates, warnings, unlisted, heard["figure"]
    )
    return render(request, page)


@router.websocket("/live")
async def live(socket: WebSocket, rate: float) -> None:
    """Samples in, answers out, until the page hangs up."""
    await socket.accept()
    try:
        ear = await run_in_threadpool(LiveEar, rate)
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            chunk = message.get("bytes")
            if chunk is None:
                raise FormatError("a chunk of sound is broken.", where="stream", mend="Start listening again.")
            await socket.send_json(await run_in_threadpool(ear.hear, chunk))
    except WebSocketDisconnect:
        return
    except RoomfieldError as error:
        await socket.send_json({"fault": {"what": error.what, "where": error.where, "mend": error.mend}})
        await socket.close()


def _kept(survey: Survey) -> tuple[KeptRecording, ...]:
    names = {one.key: one.name for one in form_choices.technologies()}
    places = {place.id: place.name for place in survey.places}
    states = {(v.id, s.id): s.name for v in survey.visits for s in v.radio_states}
    return tuple(
        KeptRecording(
            one.id,
            places.get(one.place_id, ""),
            states.get((one.visit_id, one.radio_state_id), ""),
            one.duration_s,
            one.media_sha256,
            tuple(HeardLine(names.get(h.technology, h.technology), h.probability, h.evidence) for h in one.heard[:6]),
        )
        for one in reversed(survey.current_recordings())
    )
