"""Long logs: bring one, confirm how it is read, look through it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response

from roomfield.errors import InputError, TooEarlyError
from roomfield.scratch import scratch_folder
from roomfield.show.page_drawings import bar_y
from roomfield.show.trade_units import HOUR, MICROWATT_M2, MINUTE
from roomfield.web.abovesheet import above_of, parts_of
from roomfield.web.contexts import LogFactsPart, LogOfferPage, LogPage, LogsPage
from roomfield.web.dependencies import Desk, Form, Opened, OpenSurvey, number_in, saved_upload
from roomfield.web.formats import Show
from roomfield.web.logsheet import bursts_of, steps_of, week_of
from roomfield.web.long_work import LongWorks, ProgressCall, WorkResult
from roomfield.web.pages.work_pages import work_view
from roomfield.web.rendering import language_of, render
from roomfield.web.tablesheet import Refusal
from roomfield.workbench.publish.contents.long_logs import held_against
from roomfield.workbench.record import log_intake
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.log_answers import USUAL_ZONES, zone_as_meant
from roomfield.workbench.record.long_series import LogPlace

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/logs")
DENSITY = "W/m2"
STAGES = ((0.0, "Reading the log ..."), (0.98, "Keeping it ..."))
ANSWERS = ("value_column", "unit", "zone", "kind", "decimal", "start")


@dataclass(frozen=True)
class LogRow:
    """A kept log as the list shows it."""

    id: str
    place: str
    kind: str
    started_at: str
    ended_at: str


@dataclass(frozen=True)
class HourBar:
    """One part of the day with its interval, on a drawing 24 wide."""

    hour: float
    low_y: float
    mid_y: float
    high_y: float
    words: str


@router.get("")
def show(request: Request, opened: Opened) -> Response:
    """Kept logs, and bringing one."""
    places = {place.id: place.name for place in opened.survey.places}
    rows = tuple(
        LogRow(one.id, places.get(one.place_id, ""), one.kind, one.started_at, one.ended_at)
        for one in opened.survey.current_logs()
    )
    return render(request, LogsPage(opened.head, rows))


@router.post("/offer")
async def offer(records: Desk, survey_id: str, form: Form) -> Response:
    """Look at a log that was brought."""
    upload = form.file("log")
    with scratch_folder() as folder:
        path = await saved_upload(upload, folder)
        made = await run_in_threadpool(log_intake.offered, records, path, upload.filename or "")
    return JSONResponse({"next": f"/surveys/{survey_id}/logs/offer/{made.sha256}?name={made.file_name}"})


@router.get("/offer/{sha256}")
def show_offer(request: Request, opened: Opened, sha256: str, name: str) -> Response:
    """How it would be read."""
    return _offered(request, opened, (sha256, name), {})


@router.post("/offer/{sha256}/keep")
def keep_in_work(request: Request, opened: Opened, sha256: str, form: Form) -> Response:
    """Begin to keep it as confirmed; answers a work that says how far it is and can be stopped."""
    answers = {name: form.text(name) for name in ANSWERS if form.text(name)}
    visit_id, state_id = form.visit_and_state()
    where, file = LogPlace(form.text("place_id"), visit_id, "", state_id), (sha256, form.text("name"))
    answers["zone"] = zone_as_meant(form.text("zone"))
    records, survey_id = opened.records, opened.survey.id

    def call(progress: ProgressCall) -> WorkResult:
        kept = log_intake.keep_offered(records, survey_id, file, answers, where, progress)
        return WorkResult(f"/surveys/{survey_id}/logs/{kept.id}")

    works: LongWorks = request.app.state.works
    return JSONResponse(work_view(request, works.begin(STAGES, call)), status_code=202)


@router.post("/offer/{sha256}")
def confirm(request: Request, opened: Opened, sha256: str, form: Form) -> Response:
    """Keep it as confirmed; a refusal leaves what was answered in the form."""
    answers = {name: form.text(name) for name in ANSWERS if form.text(name)}
    visit_id, state_id = form.visit_and_state()
    where, file = LogPlace(form.text("place_id"), visit_id, "", state_id), (sha256, form.text("name"))
    given = {**answers, "place_id": form.text("place_id"), "when": form.text("when")}
    try:
        answers["zone"] = zone_as_meant(form.text("zone"))
        kept = log_intake.keep_offered(opened.records, opened.survey.id, file, answers, where)
    except TooEarlyError as fault:
        open_still = Refusal(fault.what, "", "Answer the open question and send it again.")
        return _offered(request, opened, file, given, open_still)
    except InputError as fault:
        return _offered(request, opened, file, given, Refusal.of(fault))
    return RedirectResponse(f"/surveys/{opened.survey.id}/logs/{kept.id}", status_code=303)


def _offered(
    request: Request, opened: OpenSurvey, file: tuple[str, str], given: dict[str, str], refusal: Refusal | None = None
) -> Response:
    made = log_intake.offered_again(opened.records, *file)
    survey, mapping = opened.survey, made.mapping
    guessed = {name: getattr(mapping, name) for name in ("value_column", "unit", "zone", "kind", "decimal")}
    typed = {"place_id": "", "when": "", **guessed, **given}
    page = LogOfferPage(opened.head, made, survey.places, survey.visits, typed, USUAL_ZONES, refusal)
    return render(request, page, status=422 if refusal else 200)


@router.get("/{log_id}")
def show_one(request: Request, opened: Opened, log_id: str, bound: str = "") -> Response:
    """One log with its timeline, held against a bound if one is given."""
    head = log_intake.log_head(opened.records, opened.survey.id, log_id, language_of(request))
    record = next(one for one in opened.survey.current_logs() if one.id == log_id)
    places = {place.id: place.name for place in opened.survey.places}
    limit = _bound(bound, head.unit)
    start = {"survey_id": opened.survey.id, "log_id": log_id, "bound": limit, "of_night": head.of_night}
    unit = "µW/m²" if head.unit == DENSITY else head.unit
    place = places.get(record.place_id, "")
    return render(request, LogPage(opened.head, start, place, bound, unit, head.kind, head.senders))


@router.get("/{log_id}/facts")
def facts(request: Request, opened: Opened, log_id: str, bound: float | None = None) -> Response:
    """Statistics, day profile and, with a bound in the unit of the series, what exceeds it."""
    language = language_of(request)
    fitting = held_against(Job(opened.survey, opened.records), log_id) if bound is None else None
    asked = fitting.value_w_m2 if fitting else bound
    found = log_intake.log_facts(opened.records, opened.survey.id, log_id, asked, language)
    told = found.plain
    show, numbers = Show(language), told["statistics"]
    density = numbers["unit"] == DENSITY
    needed = told["required_duration"]["hours"]
    zone = told["series"]["zone"]
    figure = partial(_figure, show=show, density=density, unit=numbers["unit"])
    page = LogFactsPart(
        numbers,
        found.figures,
        parts_of(told["day_parts"], show, figure, zone),
        tuple(_day(told["day_profile"], show, density)),
        _day_top(told["day_profile"], show, density),
        told["day_profile"]["zone"] if told["day_profile"] else "",
        needed,
        zone,
        above_of(numbers["above"], show, figure, zone),
        fitting.role if fitting else "",
        steps_of(told, show, figure),
        week_of(told["week_profile"], show, figure),
        bursts_of(told["bursts"], show, figure),
        found.night,
    )
    return render(request, page)


@router.get("/{log_id}/lines")
def lines(opened: Opened, log_id: str) -> Response:
    """The aim or the limit that fits the log's kind, to be drawn across the timeline."""
    found = held_against(Job(opened.survey, opened.records), log_id)
    return JSONResponse([asdict(found)] if found else [])


@router.get("/{log_id}/window")
def window(
    opened: Opened,
    log_id: str,
    start: datetime | None = None,
    end: datetime | None = None,
    bins: int = 1000,
    sender: str | None = None,
) -> Response:
    """The timeline between two moments; for a night of sound also of one sender, with the ends of its interval."""
    return JSONResponse(log_intake.log_window(opened.records, opened.survey.id, log_id, (start, end), bins, sender))


def _bound(text: str, unit: str) -> float | None:
    """The client's bound in the unit of the series; None if none was given.

    Raises
    ------
    InputError
        If it is no number, or no level.
    """
    if not text.strip():
        return None
    value = number_in(text, "bound")
    if unit != DENSITY:
        return value
    if not value > 0.0:
        raise InputError("a bound must be above zero.", where="bound", mend="Give it in µW/m², for example 10.")
    return MICROWATT_M2.si(value)


def _figure(value: float, show: Show, density: bool, unit: str) -> str:
    return show.density(value) if density else f"{show.number(value, 3)} {unit}"


def _day(profile: dict[str, Any] | None, show: Show, density: bool) -> list[HourBar]:
    if profile is None or not profile["bins"]:
        return []
    bins, top = _observed(profile)
    return [
        HourBar(
            HOUR.shown(MINUTE.si(one["start_minute"])),
            bar_y(one["mean"]["low"] or one["mean"]["value"], top),
            bar_y(one["mean"]["value"], top),
            bar_y(one["mean"]["high"] or one["mean"]["value"], top),
            _figure(one["mean"]["value"], show, density, profile["unit"]),
        )
        for one in bins
    ]


def _observed(profile: dict[str, Any]) -> tuple[list[dict[str, Any]], float]:
    """The parts of the day that were observed, and the highest end of their intervals."""
    bins = [one for one in profile["bins"] if one["mean"]["value"] is not None]
    return bins, max(((one["mean"]["high"] or one["mean"]["value"]) for one in bins), default=1.0) or 1.0


def _day_top(profile: dict[str, Any] | None, show: Show, density: bool) -> str:
    return _figure(_observed(profile)[1], show, density, profile["unit"]) if profile else ""
