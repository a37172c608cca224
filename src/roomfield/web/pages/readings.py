"""Tables of readings: bring one, confirm how it is read, see what it would give, take it in or back."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response

from roomfield.errors import InputError, RejectedRows, RoomfieldError
from roomfield.survey import Survey
from roomfield.web.contexts import ReadingsPage, TableOfferPage
from roomfield.web.dependencies import Desk, Entries, Form, Opened, OpenSurvey
from roomfield.web.formats import Show
from roomfield.web.ledgersheet import NotedValue, RowSheet, bearing_rows, noted, rows_of, withdrawn_rows
from roomfield.web.rendering import language_of, render
from roomfield.web.tablesheet import (
    MEANING_WORDS,
    ColumnChoice,
    Refusal,
    TableAnswers,
    choices_of,
    outcome_of,
    unit_words,
)
from roomfield.workbench.publish import report_request
from roomfield.workbench.record import table_intake
from roomfield.workbench.record.camera_clock import camera_notes
from roomfield.workbench.record.photos import photos_of
from roomfield.workbench.record.readings_ledger import ledger_of
from roomfield.workbench.record.spectrum_offer import is_over_frequency, offered_spectrum
from roomfield.workbench.record.table_intake import TableOffer

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/readings")


@dataclass(frozen=True)
class ReadingsSheet:
    """A table on the desk: how it is read, and what the user has answered."""

    offer: TableOffer
    given: TableAnswers
    columns: tuple[ColumnChoice, ...]


@router.get("")
def show(request: Request, opened: Opened, new: int = 0) -> Response:
    """The ledger of a visit, tables taken in, and bringing one."""
    survey, words, visit_id = opened.survey, Show(language_of(request)), opened.head.visit_id
    rows: tuple[RowSheet, ...] = ()
    loose: tuple[NotedValue, ...] = ()
    if visit_id:
        ledger = ledger_of(survey, visit_id)
        rows = rows_of(ledger, words)
        loose = tuple(noted(one, words) for one in ledger.loose)
    page = ReadingsPage(
        opened.head,
        rows,
        loose,
        bearing_rows(survey, visit_id, words),
        withdrawn_rows(survey, visit_id, words),
        photos_of(survey),
        camera_notes(opened.records, photos_of(survey)),
        table_intake.taken_tables(survey),
        new,
    )
    return render(request, page)


@router.get("/sheet.pdf")
def sheet(request: Request, opened: Opened, visit: str = "") -> Response:
    """The field sheet of a visit."""
    content = report_request.field_sheet(opened.survey, visit, language_of(request))
    name = f"{report_request.file_stem(opened.survey, visit)}-sheet-{language_of(request)}.pdf"
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type="application/pdf", headers=headers)


@router.post("/offer")
async def offer(records: Desk, survey_id: str, form: Form) -> Response:
    """Look at a table that was brought."""
    upload = form.file("table")
    made = await run_in_threadpool(table_intake.offered, records, await upload.read(), upload.filename or "")
    over = await run_in_threadpool(offered_spectrum, records, made.sha256, made.file_name)
    door = "bands" if is_over_frequency(over.mapping) else "offer"
    return JSONResponse({"next": f"/surveys/{survey_id}/readings/{door}/{made.sha256}?name={made.file_name}"})


@router.get("/offer/{sha256}")
def show_offer(request: Request, opened: Opened, sha256: str, name: str) -> Response:
    """How it would be read."""
    return _looked_at(request, opened, _sheet(opened, sha256, name, TableAnswers.at_first(opened.survey)))


@router.post("/offer/{sha256}")
def settle(request: Request, opened: Opened, sha256: str, form: Form) -> Response:
    """Look again with the answers given, or take it in."""
    given = TableAnswers.of(form, opened.survey)
    try:
        made = _sheet(opened, sha256, form.text("name"), given, form)
        if form.text("do") != "take":
            return _looked_at(request, opened, made)
        plan = table_intake.taken(opened.records, opened.survey.id, made.offer, given.circumstances)
    except RejectedRows:
        return _looked_at(request, opened, made)
    except InputError as fault:
        made = _sheet(opened, sha256, form.text("name"), given)
        return _looked_at(request, opened, made, Refusal.of(fault))
    return RedirectResponse(f"/surveys/{opened.survey.id}/readings?new={len(plan.readings)}", status_code=303)


@router.post("/back")
def take_back(opened: Opened, form: Form) -> Response:
    """Withdraw what one table brought."""
    table_intake.taken_back(opened.records, opened.survey.id, form.text("sha256"))
    return RedirectResponse(f"/surveys/{opened.survey.id}/readings", status_code=303)


def _sheet(
    opened: OpenSurvey, sha256: str, name: str, given: TableAnswers, form: Entries | None = None
) -> ReadingsSheet:
    guess = table_intake.offered_again(opened.records, sha256, name)
    corrections = given.corrections(guess.mapping, form)
    made = table_intake.offered_again(opened.records, sha256, name, corrections) if corrections else guess
    return ReadingsSheet(made, given, choices_of(made.mapping))


def _looked_at(request: Request, opened: OpenSurvey, sheet: ReadingsSheet, refusal: Refusal | None = None) -> Response:
    survey: Survey = opened.survey
    mapping = sheet.offer.mapping
    outcome = None
    if refusal is None and not mapping.questions():
        try:
            plan = table_intake.tried(opened.records, survey, sheet.offer, sheet.given.circumstances)
            outcome = outcome_of(plan, survey, language_of(request))
        except RoomfieldError as fault:
            refusal = Refusal.of(fault)
    visit = next((one for one in survey.visits if one.id == sheet.given.visit_id), None)
    page = TableOfferPage(
        opened.head,
        sheet.offer,
        sheet.columns,
        sheet.given,
        MEANING_WORDS,
        unit_words(),
        survey.visits,
        visit.radio_states if visit else (),
        survey.meters,
        outcome,
        refusal,
    )
    return render(request, page, status=422 if refusal else 200)
