"""One reading or bearing to put right or to withdraw, with the reason."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from roomfield.errors import RoomfieldError
from roomfield.show.trade_units import MICROWATT_M2
from roomfield.survey import Bearing, Reading
from roomfield.web.contexts import EntryPage
from roomfield.web.dependencies import Entries, Form, Opened, OpenSurvey, number_in
from roomfield.web.levelsheet import KIND_NAMES
from roomfield.web.rendering import render
from roomfield.web.tablesheet import Refusal
from roomfield.workbench.record import corrections

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/readings/entry/{entry_id}")


@router.get("")
def show(request: Request, opened: Opened, entry_id: str) -> Response:
    """What was noted, ready to be put right."""
    return _page(request, opened, entry_id)


@router.post("")
def put_right(request: Request, opened: Opened, entry_id: str, form: Form) -> Response:
    """Correct it, or withdraw it; a refusal leaves what was typed in the form."""
    records, survey_id, reason = opened.records, opened.survey.id, form.text("reason")
    try:
        standing = corrections.observation_of(opened.survey, entry_id)
        if form.text("do") == "withdraw":
            corrections.withdraw_with_reason(records, survey_id, entry_id, reason)
        else:
            corrections.correct(records, survey_id, entry_id, _wanted(standing, form), reason)
    except RoomfieldError as fault:
        return _page(request, opened, entry_id, Refusal.of(fault), form)
    return RedirectResponse(f"/surveys/{survey_id}/readings?visit={standing.visit_id}", status_code=303)


def _page(
    request: Request, opened: OpenSurvey, entry_id: str, refusal: Refusal | None = None, form: Entries | None = None
) -> Response:
    survey = opened.survey
    standing = corrections.observation_of(survey, entry_id)
    typed = _as_noted(standing) | ({name: values[0] for name, values in form.texts.items()} if form else {})
    history = tuple(one for one in survey.amendments if one.target_id == entry_id)
    page = EntryPage(
        opened.head,
        standing,
        isinstance(standing, Bearing),
        typed,
        survey.places,
        survey.visit(standing.visit_id).radio_states,
        tuple(KIND_NAMES.items()),
        history,
        refusal,
    )
    return render(request, page, status=422 if refusal else 200)


def _as_noted(standing: Reading | Bearing) -> dict[str, str]:
    if isinstance(standing, Bearing):
        angles = {"strongest_deg": standing.strongest_deg, "null_deg": standing.null_deg, "std_deg": standing.std_deg}
        shown = {name: "" if value is None else f"{value:g}" for name, value in angles.items()}
    else:
        value = "" if standing.censoring != "none" else f"{MICROWATT_M2.shown(standing.value_w_m2):.6g}"
        shown = {"value": value, "kind": standing.kind, "place_id": standing.place_id}
    return {**shown, "state_id": standing.radio_state_id, "note": standing.note, "reason": ""}


def _wanted(standing: Reading | Bearing, form: Entries) -> dict[str, Any]:
    shared = {"radio_state_id": form.text("state_id"), "note": form.text("note")[:500]}
    if isinstance(standing, Bearing):
        angles = {
            name: number_in(form.text(name), name) if form.text(name) else None
            for name in ("strongest_deg", "null_deg")
        }
        return {**shared, **angles, "std_deg": form.number("std_deg", standing.std_deg)}
    return {**shared, **_value(standing, form), "kind": form.text("kind"), "place_id": form.text("place_id")}


def _value(standing: Reading, form: Entries) -> dict[str, Any]:
    if not form.text("value") or form.text("value") == _as_noted(standing)["value"]:
        return {}
    return {"value_w_m2": MICROWATT_M2.si(number_in(form.text("value"), "value")), "censoring": "none"}
