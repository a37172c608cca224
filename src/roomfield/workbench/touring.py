"""The invented home for looking around: put into the record once, spoiled at will."""

from __future__ import annotations

from dataclasses import replace

from roomfield.demo.survey import demo_survey
from roomfield.workbench.editing import new_id, now
from roomfield.workbench.surveys import Records, list_surveys


def begin(records: Records, *, afresh: bool = False) -> str:
    """The id of the invented survey; it is made if it is not there.

    Parameters
    ----------
    records : Records
        The open record.
    afresh : bool
        True to make another one even if one is there.
    """
    if not afresh:
        there = [card.id for card in list_surveys(records) if card.invented]
        if there:
            return there[0]
    survey = demo_survey()
    if any(card.id == survey.id for card in list_surveys(records)):
        survey = replace(survey, id=new_id("survey"), created_at=now())
    return records.create(survey).survey.id
