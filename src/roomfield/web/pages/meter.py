"""One meter: what is stated and what stands in for it, certificate, zones of the band, checks at a source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from roomfield.show.trade_units import DECIBEL, MEGAHERTZ, METRE, MICROWATT_M2, SECOND
from roomfield.survey import BandZone, CalibrationPoint, ReferenceCheck, Survey
from roomfield.web.contexts import MeterPage
from roomfield.web.dependencies import Entries, Form, Opened, OpenSurvey
from roomfield.web.rendering import render
from roomfield.workbench.record import meters, survey_list
from roomfield.workbench.record.editing import now

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/assignment/meter/{meter_id}")
WIDE, HIGH = 600.0, 120.0
FIGURES = {
    "band_low_hz": ("Band from", MEGAHERTZ),
    "band_high_hz": ("Band to", MEGAHERTZ),
    "tolerance_db": ("Stated tolerance, plus or minus", DECIBEL),
    "repeatability_db": ("Repeatability", DECIBEL),
    "floor_w_m2": ("Floor", MICROWATT_M2),
    "overload_w_m2": ("Overload", MICROWATT_M2),
    "averaging_s": ("Averaging window", SECOND),
    "body_distance_m": ("Distance from the body", METRE),
}
"""Figures that the page shows: name, unit of the trade."""


@dataclass(frozen=True)
class FigureRow:
    """One figure in the unit of the trade; ``value`` is None where nothing can stand in for it."""

    label: str
    value: float | None
    unit: str
    stated: bool


@router.get("")
def show(request: Request, opened: Opened, meter_id: str) -> Response:
    """How the meter stands today."""
    standing = meters.meter_standing(opened.survey, meter_id)
    found = {figure.name: figure for figure in standing.figures}
    rows = tuple(
        FigureRow(label, unit.shown(found[name].value), unit.name, found[name].stated)
        for name, (label, unit) in FIGURES.items()
    )
    return render(request, MeterPage(opened.head, standing, rows))


@router.post("/certificate")
def add_row(opened: Opened, meter_id: str, form: Form) -> Response:
    """Enter one row of the certificate."""
    row = CalibrationPoint(
        MEGAHERTZ.si(form.number("frequency_mhz", 0.0)), form.number("correction_db", 0.0), form.number("std_db", 0.0)
    )
    return _keep(opened, meter_id, form, partial(meters.with_certificate_row, meter_id=meter_id, row=row))


@router.post("/zone")
def add_zone(opened: Opened, meter_id: str, form: Form) -> Response:
    """Enter a zone of the band with a tolerance of its own."""
    zone = BandZone(
        MEGAHERTZ.si(form.number("low_mhz", 0.0)),
        MEGAHERTZ.si(form.number("high_mhz", 0.0)),
        form.number("tolerance_db", 0.0),
    )
    return _keep(opened, meter_id, form, partial(meters.with_zone, meter_id=meter_id, zone=zone))


@router.post("/check")
def add_check(opened: Opened, meter_id: str, form: Form) -> Response:
    """Enter a check at a reference source, taken now."""
    check = ReferenceCheck(now(), form.text("source"), form.number("deviation_db", 0.0), form.text("note")[:200])
    return _keep(opened, meter_id, form, partial(meters.with_check, meter_id=meter_id, check=check))


def _keep(opened: OpenSurvey, meter_id: str, form: Entries, change: Callable[[Survey], Survey]) -> Response:
    survey_list.revise(opened.records, opened.survey.id, change, form.revision())
    return RedirectResponse(f"/surveys/{opened.survey.id}/assignment/meter/{meter_id}", status_code=303)
