"""Why measuring stopped, or what to measure next, for the report."""

from __future__ import annotations

from roomfield.errors import InputError, TooEarlyError
from roomfield.show.phrase import Phrase, phrase
from roomfield.survey import Survey
from roomfield.workbench.model.joint_model import placed
from roomfield.workbench.plan.next_measurement import Deciding, asked_question, measure_next_for

MOST_PATHS = 150
"""Places times transmitters up to which a report asks; 72 take 0.7 s of processor time."""


def measuring_advice(survey: Survey, visit_id: str, language: str) -> Phrase | None:
    """What to measure next for what is open (the plan, else whether the aim is met at the beds), or that enough was.

    Returns
    -------
    Phrase or None
        None without an aim of the client's or a bed on the plan, and in a home so large that the report would wait.
    """
    if not survey.assignment.aim_w_m2 or len(placed(survey)) * len(survey.emitters) > MOST_PATHS:
        return None
    try:
        question = asked_question(survey, Deciding.OPEN, None)
        advice = measure_next_for(survey, visit_id, question, language)
    except (TooEarlyError, InputError):
        return None
    return phrase(f"steps.measuring_{question.deciding.value}", advice=advice.sentence)
