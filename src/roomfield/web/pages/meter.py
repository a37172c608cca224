"""One meter: what is stated and what stands in for it, certificate, zones of the band, checks at a source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from roomfield.survey import BandZone, CalibrationPoint, ReferenceCheck, Survey
from roomfield.web.contexts import MeterPage
from roomfield.web.dependencies import Entries, Form, Opened, OpenSurvey
from roomfield.web.rendering import render
from roomfield.workbench.record import meters, survey_list
from roomfield.workbench.record.editing import now

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/assignment/meter/{meter_id}")
MEGA = 1e6
WIDE, HIGH = 600.0, 120.0
FIGURES = {
    "band_low_hz": ("Band from", MEGA, "MHz"),
    "band_high_hz": ("Band to", MEGA, "MHz"),
    "tolerance_db": ("Stated tolerance, plus or minus", 1.0, "dB"),
    "repeatability_db": ("Repeatability", 1.0, "dB"),
    "floor_w_m2": ("Floor", 1e-6, "µW/m²"),
    "overload_w_m2": ("Overload", 1e-6, "µW/m²"),
    "averaging_s": ("Averaging window", 1.0, "s"),
    "body_distance_m": ("Distance from the body", 1.0, "m"),
}
"""Figures that the page shows: name, unit in SI, unit of the trade."""


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
        FigureRow(
            label, None if found[name].value is None else (found[name].value or 0.0) / si, unit, found[name].stated
        )
        for name, (label, si, unit) in FIGURES.items()
    )
    return render(request, MeterPage(opened.head, standing, rows))


@router.post("/certificate")
def add_row(opened: Opened, meter_id: str, form: Form) -> Response:
    """Enter one row of the certificate."""
    row = CalibrationPoint(
        form.number("frequency_mhz", 0.0) * MEGA, form.number("correction_db", 0.0), form.number("std_db", 0.0)
    )
    return _keep(opened, meter_id, form, partial(meters.with_certificate_row, meter_id=meter_id, row=row))


@router.post("/zone")
def add_zone(opened: Opened, meter_id: str, form: Form) -> Response:
    """Enter a zone of the band with a tolerance of its own."""
    zone = BandZone(
        form.number("low_mhz", 0.0) * MEGA, form.number("high_mhz", 0.0) * MEGA, form.number("tolerance_db", 0.0)
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
