"""What a new survey takes over from the last one: the assessor, the references, the meters with their certificates."""

from __future__ import annotations

from dataclasses import dataclass, replace

from roomfield.survey import Assignment, Meter, Survey
from roomfield.workbench.record.survey_list import Records, opened


@dataclass(frozen=True)
class Usual:
    """What stays the same from job to job.

    Parameters
    ----------
    assignment : Assignment
        Assessor, organisation, limits, guideline and language; no client.
    meters : tuple of Meter
        As last entered; empty before the first survey.
    """

    assignment: Assignment
    meters: tuple[Meter, ...]


def usual_of(records: Records) -> Usual:
    """What the survey changed last says about the assessor; the invented home says nothing."""
    last = next((one for one in records.surveys() if not one.invented), None)
    if last is None:
        return Usual(Assignment(), ())
    survey = opened(records, last.id).survey
    return Usual(replace(survey.assignment, client="", address="", question=""), survey.meters)


def with_usual_meters(survey: Survey, usual: Usual) -> Survey:
    """A new survey with the meters of the last one, if there were any."""
    return replace(survey, meters=usual.meters) if usual.meters else survey
