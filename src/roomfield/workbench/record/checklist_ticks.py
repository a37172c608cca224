"""Checklists of a survey: what was seen to before the job and on arrival at each visit."""

from __future__ import annotations

from dataclasses import dataclass, replace

from roomfield.errors import UnknownNameError
from roomfield.references.checklists import ChecklistRow, checklist_rows
from roomfield.survey import Survey, Tick
from roomfield.workbench.record.editing import now
from roomfield.workbench.record.survey_list import Records, revise

PREPARE = "prepare"


@dataclass(frozen=True)
class ChecklistLine:
    """One row with whether it was seen to.

    Parameters
    ----------
    at : str
        When it was ticked, ISO 8601; empty if it was not.
    """

    row: ChecklistRow
    at: str


def checklist_of(survey: Survey, visit_id: str) -> tuple[ChecklistLine, ...]:
    """Every row as it stands for a visit; what is prepared once holds for all of them.

    Parameters
    ----------
    visit_id : str
        The visit; empty before the first.
    """
    ticked = {(tick.row, tick.visit_id): tick.at for tick in survey.ticks}
    return tuple(ChecklistLine(row, ticked.get((row.id, _visit_of(row, visit_id)), "")) for row in checklist_rows())


def set_tick(records: Records, survey_id: str, row_id: str, visit_id: str, *, done: bool) -> None:
    """Tick a row, or take the tick away; the same tick sent twice changes nothing.

    Raises
    ------
    UnknownNameError
        If there is no such row.
    """
    row = next((one for one in checklist_rows() if one.id == row_id), None)
    if row is None:
        raise UnknownNameError("row of the checklist", row_id, [one.id for one in checklist_rows()])
    key = (row.id, _visit_of(row, visit_id))

    def change(survey: Survey) -> Survey:
        there = any((tick.row, tick.visit_id) == key for tick in survey.ticks)
        if done == there:
            return survey
        kept = tuple(tick for tick in survey.ticks if (tick.row, tick.visit_id) != key)
        return replace(survey, ticks=(*kept, Tick(*key, at=now())) if done else kept)

    revise(records, survey_id, change)


def _visit_of(row: ChecklistRow, visit_id: str) -> str:
    return "" if row.stretch == PREPARE else visit_id
