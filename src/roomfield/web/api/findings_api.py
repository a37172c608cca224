"""Findings as plain values: levels against law and guideline, contributions, changes between visits, files."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any, Literal

from fastapi import APIRouter, Response

from roomfield.web.dependencies import Opened
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.model.model_fit import fit_at
from roomfield.workbench.model.source_contributions import causes
from roomfield.workbench.prove import before_after
from roomfield.workbench.publish import report_request
from roomfield.workbench.publish.plain_values import assessment_plain
from roomfield.workbench.publish.report_request import ReportOrder
from roomfield.workbench.record import packages
from roomfield.workbench.record.visit_choice import visit_asked_or_first

router = APIRouter(prefix="/api/v1/surveys/{survey_id}", tags=["findings"])


@router.get("/assessment")
def read_assessment(opened: Opened, visit: str = "", all_states: bool = False) -> dict[str, Any]:
    """Levels at places against law and guideline, and what each switch took away; densities in W/m²."""
    found: dict[str, Any] = _finite(assessment_plain(assess(opened.survey, visit or None), all_states=all_states))
    return found


@router.get("/contributions")
def read_contributions(
    opened: Opened, visit: str = "", kind: Literal["peak", "highest_held", "average"] = "peak"
) -> list[dict[str, Any]]:
    """Who contributes what at every place, from all readings together."""
    visit_id = visit_asked_or_first(opened.survey, visit).id
    return [
        {
            "place_id": one.place_id,
            "place": one.place,
            "kind": one.kind.value,
            "contradicted": one.contradicted,
            "switches": [_finite(asdict(share)) for share in one.shares],
        }
        for one in causes(opened.survey, visit_id, kind)
    ]


@router.get("/fit")
def read_fit(opened: Opened, visit: str = "") -> dict[str, Any]:
    """How well the model fits what was read: misfit by site, gain errors against the tolerance, outlying readings."""
    found = fit_at(opened.survey, visit or None)
    plain: dict[str, Any] = _finite(asdict(found))
    return {"doubtful": found.doubtful, **plain}


@router.get("/changes")
def read_changes(opened: Opened, first: str, second: str) -> list[dict[str, Any]]:
    """Levels of two visits as ratios, in which the meter's own error cancels."""
    return [_finite(asdict(one)) for one in before_after.changes(opened.survey, first, second)]


@router.get("/report", response_class=Response)
def read_report(opened: Opened, visit: str = "", language: str = "", form: str = "pdf") -> Response:
    """The report as PDF, HTML, XLSX, CSV or JSON."""
    made = report_request.report_file(opened.records, opened.survey.id, ReportOrder(visit, language, form))
    return Response(made.content, media_type=made.media_type)


@router.get("/package", response_class=Response)
def read_package(opened: Opened) -> Response:
    """The survey with its files as a checked package."""
    made = packages.packed(opened.records, opened.survey.id)
    return Response(made.content, media_type="application/zip", headers={"x-roomfield-sha256": made.sha256})


def _finite(value: Any) -> Any:
    """The same values, with open ends as null, which JSON can hold."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(one) for one in value]
    return value
