"""Levels over frequency of a second instrument: confirm how they are read, see the bands and budgets, take them in."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from roomfield.errors import RoomfieldError
from roomfield.web.bandsheet import (
    BAND_MEANING_WORDS,
    BandAnswers,
    BandOutcome,
    band_outcome,
    tables_beside,
)
from roomfield.web.contexts import BandOfferPage
from roomfield.web.dependencies import Entries, Form, Opened, OpenSurvey
from roomfield.web.rendering import language_of, render
from roomfield.web.tablesheet import KIND_WORDS, Refusal, choices_of, unit_words
from roomfield.workbench.record.spectrum_intake import Instrument
from roomfield.workbench.record.spectrum_offer import (
    BESIDE,
    UNITS,
    TableBeside,
    kept_beside,
    offered_spectrum,
    taken_spectrum,
    tried_spectrum,
)
from roomfield.workbench.record.table_intake import TableOffer

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/readings/bands")


@router.get("/{sha256}")
def show_bands(request: Request, opened: Opened, sha256: str, name: str) -> Response:
    """How it would be read."""
    given = BandAnswers.at_first(opened.survey)
    offer = offered_spectrum(opened.records, sha256, name)
    return _looked_at(request, opened, offer, given, Entries({}, {}))


@router.post("/{sha256}")
def settle_bands(request: Request, opened: Opened, sha256: str, form: Form) -> Response:
    """Look again with the answers given, or take it in."""
    given, name = BandAnswers.of(form, opened.survey), form.text("name")
    guess = offered_spectrum(opened.records, sha256, name)
    beside = tables_beside(form)
    try:
        beside = _with_brought(opened, form, beside)
        corrections = given.corrections(guess.mapping, form)
        offer = offered_spectrum(opened.records, sha256, name, corrections) if corrections else guess
    except RoomfieldError as fault:
        return _looked_at(request, opened, guess, given, form, beside, fault)
    if form.text("do") != "take" or offer.mapping.questions():
        return _looked_at(request, opened, offer, given, form, beside)
    try:
        used = given.used(form)
        plan = taken_spectrum(opened.records, opened.survey.id, offer, used, beside, given.circumstances)
    except RoomfieldError as fault:
        return _looked_at(request, opened, offer, given, form, beside, fault)
    return RedirectResponse(f"/surveys/{opened.survey.id}/readings?new={len(plan.bands)}", status_code=303)


def _with_brought(opened: OpenSurvey, form: Entries, before: Mapping[str, TableBeside]) -> dict[str, TableBeside]:
    """The tables of the instrument, with those that come with this form."""
    brought = {name: form.files[name] for name in BESIDE if name in form.files and form.files[name].filename}
    kept = {name: kept_beside(opened.records, one.file.read(), one.filename or "") for name, one in brought.items()}
    return {**before, **kept}


def _looked_at(
    request: Request,
    opened: OpenSurvey,
    offer: TableOffer,
    given: BandAnswers,
    form: Entries,
    beside: Mapping[str, TableBeside] | None = None,
    fault: RoomfieldError | None = None,
) -> Response:
    survey = opened.survey
    tables = dict(beside or tables_beside(form))
    outcome: BandOutcome | None = None
    if fault is None and not offer.mapping.questions():
        try:
            used = given.used(form) if form.texts else Instrument()
            plan = tried_spectrum(opened.records, survey, offer, used, tables, given.circumstances)
            outcome = band_outcome(plan, survey, language_of(request))
        except RoomfieldError as found:
            fault = found
    visit = next((one for one in survey.visits if one.id == given.visit_id), None)
    page = BandOfferPage(
        opened.head,
        offer,
        choices_of(offer.mapping),
        given,
        BAND_MEANING_WORDS,
        unit_words(UNITS),
        survey.visits,
        visit.radio_states if visit else (),
        survey.places,
        tuple((kind.value, words) for kind, words in KIND_WORDS.items()),
        tables,
        outcome,
        None if fault is None else _told(fault),
    )
    return render(request, page, status=422 if fault and form.texts else 200)


def _told(fault: RoomfieldError) -> Refusal:
    """Without what is typed at a terminal: the page has a field for it."""
    return Refusal(fault.what, fault.where, "" if "--" in fault.mend else fault.mend)
