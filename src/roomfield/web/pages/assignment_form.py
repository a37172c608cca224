"""Who asked what: assignment, meters, visits."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from roomfield.show.trade_units import DECIBEL, MEGAHERTZ, MICROWATT_M2, SECOND, TradeUnit
from roomfield.survey import Meter, VisitPurpose
from roomfield.web.contexts import AssignmentPage
from roomfield.web.dependencies import Entries, Form, Opened, OpenSurvey
from roomfield.web.rendering import render
from roomfield.workbench.record import editing, form_choices, setting_up, survey_list

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/assignment")
_TEXTS = (
    "client",
    "address",
    "assessor",
    "organisation",
    "question",
    "jurisdiction",
    "guideline",
    "language",
)


@router.get("")
def show(request: Request, opened: Opened) -> Response:
    """The assignment with its meters and visits."""
    survey = opened.survey
    counts = {visit.id: len(survey.current_readings(visit.id)) for visit in survey.visits}
    page = AssignmentPage(
        opened.head,
        survey.assignment,
        survey.note,
        survey.meters,
        survey.visits,
        form_choices.legal_limits(),
        form_choices.guidelines(),
        counts,
    )
    return render(request, page)


@router.post("")
def keep(request: Request, opened: Opened, form: Form) -> Response:
    """Keep the assignment; a page that keeps it while it is typed is told the new revision."""
    texts = {name: form.text(name)[: editing.LONGEST_TEXT] for name in _TEXTS if name in form.texts}
    before = opened.survey.assignment
    assignment = replace(before, aim_w_m2=_aim(form, before.aim_w_m2), **texts)
    title = form.text("title", opened.survey.title)
    note = form.text("note", opened.survey.note)
    revision = survey_list.revise(
        opened.records,
        opened.survey.id,
        lambda survey: editing.with_assignment(survey, title, assignment, note),
        form.revision(),
    )
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"revision": revision})
    return _back(opened)


@router.post("/meter")
def keep_meter(opened: Opened, form: Form) -> Response:
    """Keep a meter's figures."""
    known = {meter.id: meter for meter in opened.survey.meters}
    meter = _meter(known.get(form.text("meter_id")) or Meter(editing.new_id("meter"), ""), form)
    survey_list.revise(
        opened.records, opened.survey.id, lambda survey: editing.with_meter(survey, meter), form.revision()
    )
    return _back(opened)


@router.post("/visit")
def begin_visit(opened: Opened, form: Form) -> Response:
    """Begin one more visit and go to its walk."""
    purpose = VisitPurpose.FOLLOW_UP if form.text("purpose") == "follow_up" else VisitPurpose.FIRST
    survey_list.revise(
        opened.records,
        opened.survey.id,
        lambda survey: editing.with_visit(survey, purpose, form.text("conditions")),
        form.revision(),
    )
    begun = survey_list.opened(opened.records, opened.survey.id).survey.visits[-1]
    return RedirectResponse(f"/surveys/{opened.survey.id}/walk?visit={begun.id}", status_code=303)


def _aim(form: Entries, before_w_m2: float | None) -> float | None:
    """The client's aim [W/m²]; the guideline's usual one if the field was left empty."""
    if "aim_uw_m2" not in form.texts:
        return before_w_m2
    if not form.text("aim_uw_m2").strip():
        return None
    return setting_up.checked_aim(MICROWATT_M2.si(form.number("aim_uw_m2", 0.0)))


def _meter(before: Meter, form: Entries) -> Meter:
    return replace(
        before,
        name=form.text("name", before.name) or before.id,
        serial=form.text("serial", before.serial),
        band_low_hz=_figure(form, "band_low_mhz", MEGAHERTZ, before.band_low_hz),
        band_high_hz=_figure(form, "band_high_mhz", MEGAHERTZ, before.band_high_hz),
        tolerance_db=_figure(form, "tolerance_db", DECIBEL, before.tolerance_db),
        repeatability_db=_figure(form, "repeatability_db", DECIBEL, before.repeatability_db),
        floor_w_m2=_figure(form, "floor_uw_m2", MICROWATT_M2, before.floor_w_m2),
        overload_w_m2=_figure(form, "overload_uw_m2", MICROWATT_M2, before.overload_w_m2),
        averaging_s=_figure(form, "averaging_s", SECOND, before.averaging_s),
        calibrated_on=form.text("calibrated_on", before.calibrated_on),
        calibration_due=form.text("calibration_due", before.calibration_due),
        certificate=form.text("certificate", before.certificate),
    )


def _figure(form: Entries, name: str, unit: TradeUnit, before: float | None) -> float | None:
    """A figure of the meter in SI units; as before if the field is empty."""
    return unit.si(form.number(name, 0.0)) if form.text(name) else before


def _back(opened: OpenSurvey) -> Response:
    return RedirectResponse(f"/surveys/{opened.survey.id}/assignment", status_code=303)
