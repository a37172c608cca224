"""Surveys: list, begin, read, delete."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Response

from roomfield.survey import Assignment, Survey
from roomfield.survey.json_codec import to_json
from roomfield.web.dependencies import Desk, Opened
from roomfield.workbench.record import editing, survey_list
from roomfield.workbench.record.survey_list import SurveyCard

router = APIRouter(prefix="/api/v1/surveys", tags=["surveys"])


@dataclass(frozen=True)
class NewSurvey:
    """What a new survey begins with.

    Parameters
    ----------
    title : str
        Title in the list.
    starter : str
        Dwelling to start from, for example ``blank`` or ``terraced-house``.
    """

    title: str
    client: str = ""
    address: str = ""
    starter: str = "blank"


@router.get("")
def list_surveys(records: Desk, query: str = "") -> list[SurveyCard]:
    """Surveys whose title, client, address or note holds every word of the query."""
    return list(survey_list.list_surveys(records, query[:200]))


@router.post("", status_code=201)
def begin_survey(records: Desk, new: NewSurvey) -> dict[str, str]:
    """Begin a survey; answers its id."""
    assignment = Assignment(client=new.client, address=new.address)
    return {"id": survey_list.keep_new(records, editing.started_survey(new.title, assignment, new.starter))}


@router.get("/{survey_id}")
def read_survey(opened: Opened) -> dict[str, Any]:
    """The whole record with its revision."""
    return {"revision": opened.revision, "survey": json.loads(to_json(opened.survey, Survey))}


@router.delete("/{survey_id}", status_code=204, response_class=Response)
def delete_survey(opened: Opened, typed_title: str) -> Response:
    """Delete a survey for good; its title is the confirmation."""
    survey_list.delete_survey(opened.records, opened.survey.id, typed_title)
    return Response(status_code=204)
