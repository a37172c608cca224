"""A night on a sound cable: how to set it up, a recording of one, or one that is followed as it goes on."""

from __future__ import annotations

from fastapi import APIRouter, Request, WebSocket, WebSocketDisconnect
from fastapi.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response

from roomfield.errors import InputError, RoomfieldError
from roomfield.web.contexts import NightPage
from roomfield.web.dependencies import Entries, Form, Opened, body_of, number_in
from roomfield.web.long_work import LongWorks, ProgressCall, WorkResult
from roomfield.web.page_texts import preferred, told
from roomfield.web.pages.work_pages import work_view
from roomfield.web.rendering import render
from roomfield.workbench.record import form_choices
from roomfield.workbench.record.kept_night import KeptNight
from roomfield.workbench.record.long_series import LogPlace
from roomfield.workbench.record.night_desk import NightDesk, NightNumbers, reading_words
from roomfield.workbench.record.night_sound import checked_law, seconds_in

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/night")
STAGES = (
    (0.0, "Hearing who sends ..."),
    (0.28, "Going through the night second by second ..."),
    (0.94, "Keeping it ..."),
)
LIVE_STAGES = ((0.0, "Keeping it ..."),)
PIECE_BYTES = 4 << 20
NUMBERS = ("peak", "held", "average")


@router.get("")
def show(request: Request, opened: Opened) -> Response:
    """How a night is set up, what is under way, and the forms."""
    survey, desk = opened.survey, _desk(request)
    start = {
        "survey_id": survey.id,
        "piece_bytes": PIECE_BYTES,
        "technologies": {one.key: one.name for one in form_choices.technologies()},
    }
    return render(request, NightPage(opened.head, start, survey.places, survey.visits, desk.waiting(survey.id)))


@router.post("/sound")
def begin_sound(request: Request, survey_id: str, form: Form) -> Response:
    """Make room for a recording that comes piece by piece."""
    size = int(number_in(form.text("size"), "size"))
    return JSONResponse({"night": _desk(request).begin_recording(survey_id, form.text("name"), size), "have": 0})


@router.post("/sound/{night_id}")
async def add_sound(request: Request, survey_id: str, night_id: str, at: int) -> Response:
    """The next piece; answers how much is there."""
    piece = await body_of(request, PIECE_BYTES)
    return JSONResponse({"have": await run_in_threadpool(_desk(request).add_piece, survey_id, night_id, at, piece)})


@router.post("/keep")
def keep_recording(request: Request, survey_id: str, form: Form) -> Response:
    """Work a recording out that was brought; answers a work that says how far it is and can be stopped."""
    desk, where, night_id = _desk(request), _where(form), form.text("night_id")
    numbers = NightNumbers(
        form.text("began"),
        _readings(form),
        form.number("coupling", 20.0),
        checked_law(form.text("law")),
        int(form.number("channel", 0.0)),
    )

    def call(progress: ProgressCall) -> WorkResult:
        return _lead_to(survey_id, desk.keep_recording(survey_id, night_id, numbers, where, progress))

    works: LongWorks = request.app.state.works
    return JSONResponse(work_view(request, works.begin(STAGES, call)), status_code=202)


@router.post("/live")
def begin_live(request: Request, survey_id: str, form: Form) -> Response:
    """Begin to follow a night."""
    rate, coupling = form.number("rate", 48_000.0), form.number("coupling", 20.0)
    return JSONResponse({"night": _desk(request).begin_live(survey_id, rate, coupling, checked_law(form.text("law")))})


@router.websocket("/live/{night_id}")
async def live(socket: WebSocket, night_id: str) -> None:
    """Samples in, answers out; a page that was cut off learns how much is here and goes on from there."""
    await socket.accept()
    desk: NightDesk = socket.app.state.nights
    language = preferred(socket.cookies.get("language", ""), socket.headers.get("accept-language", ""))
    try:
        await socket.send_json({"have": desk.samples_of(night_id)})
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            answer = await run_in_threadpool(desk.hear, night_id, message.get("bytes") or b"\0")
            await socket.send_json(answer | {"refused": [told(language, one) for one in answer["refused"]]})
    except WebSocketDisconnect:
        return
    except RoomfieldError as error:
        fault = {"what": told(language, error.what), "mend": told(language, error.mend), "where": ""}
        await socket.send_json({"fault": fault})
        await socket.close()


@router.post("/live/{night_id}/shown")
def note_shown(request: Request, survey_id: str, night_id: str, form: Form) -> Response:
    """Note what the display shows at this moment."""
    text = reading_words([(name, _number(form.text(name), name)) for name in NUMBERS])
    if not text:
        raise _no_number()
    _desk(request).note(survey_id, night_id, text)
    return JSONResponse({})


@router.post("/live/{night_id}/end")
def end_live(request: Request, survey_id: str, night_id: str) -> Response:
    """End a night that goes on."""
    _desk(request).end_live(survey_id, night_id)
    return JSONResponse({"next": f"/surveys/{survey_id}/night#waiting"})


@router.post("/live/{night_id}/keep")
def keep_live(request: Request, survey_id: str, night_id: str, form: Form) -> Response:
    """Keep a night that was followed."""
    desk, where = _desk(request), _where(form)

    def call(progress: ProgressCall) -> WorkResult:
        return _lead_to(survey_id, desk.keep_live(survey_id, night_id, where, progress))

    works: LongWorks = request.app.state.works
    return JSONResponse(work_view(request, works.begin(LIVE_STAGES, call)), status_code=202)


@router.post("/{night_id}/throw-away")
def throw_away(request: Request, survey_id: str, night_id: str) -> Response:
    """Throw a night away that was not kept."""
    _desk(request).throw_away(survey_id, night_id)
    return RedirectResponse(f"/surveys/{survey_id}/night", status_code=303)


def _desk(request: Request) -> NightDesk:
    desk: NightDesk = request.app.state.nights
    return desk


def _where(form: Entries) -> LogPlace:
    visit_id, state_id = form.visit_and_state()
    return LogPlace(form.text("place_id"), visit_id, "", state_id)


def _lead_to(survey_id: str, kept: KeptNight) -> WorkResult:
    return WorkResult(f"/surveys/{survey_id}/logs/{kept.logs[0].id}")


def _readings(form: Entries) -> tuple[str, ...]:
    """Readings of evening and morning, row by row; rows without a number are left out.

    Raises
    ------
    InputError
        If a number cannot be read, a row has no moment, or no row has a number.
    """
    rows = zip(*(form.texts.get(name, ()) for name in ("at", *NUMBERS)), strict=True)
    reset_s = seconds_in(form.text("reset", "0"))
    found = []
    for at, *typed in rows:
        numbers = [(name, _number(text, name)) for name, text in zip(NUMBERS, typed, strict=True)]
        if all(value is None for _, value in numbers):
            continue
        if not at.strip():
            raise InputError(
                "numbers of the display stand without their moment.",
                where="at",
                mend="Type what the recorder's counter showed then, such as 0:30 or 8:00:00.",
            )
        found.append(reading_words(numbers, seconds_in(at), reset_s))
    if not found:
        raise _no_number()
    return tuple(found)


def _number(text: str, where: str) -> float | None:
    return number_in(text, where) if text.strip() else None


def _no_number() -> InputError:
    return InputError(
        "nothing was read off the display.", where="display", mend="Type peak, highest held or average at least once."
    )
