"""Changes to a survey's record that a person makes at the desk: whole surveys, assignment, meters, visits."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from roomfield.errors import InputError
from roomfield.survey import Assignment, Meter, RadioState, StateActivity, Survey, Visit, VisitPurpose
from roomfield.survey.values import refuse_impossible
from roomfield.workbench.record.own_homes import home_or_none
from roomfield.workbench.record.plan_templates import starter

AS_FOUND = RadioState("as-found", "As found")
LONGEST_TEXT = 4000


def new_id(noun: str) -> str:
    """An id nobody else has given, for example ``reading-9f2c41d07a``.

    Parameters
    ----------
    noun : str
        What it is the id of.
    """
    return f"{noun}-{secrets.token_hex(5)}"


def now() -> str:
    """The present moment with the offset of this computer's clock, ISO 8601."""
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def _unchanged(name: str) -> str:
    return name


def started_survey(
    title: str, assignment: Assignment, starter_key: str = "blank", word: Callable[[str], str] = _unchanged
) -> Survey:
    """A new survey with a plan to start from, a meter as rated, and a first visit as found.

    Parameters
    ----------
    title : str
        What the survey is called in the list.
    assignment : Assignment
        Client, question and references.
    starter_key : str
        Dwelling to start from.
    word : callable, optional
        Puts an English name of a room, place, storey, meter or radio state into the assessor's language.
    """
    sheet = (home_or_none(starter_key) or starter(starter_key)).sheet
    dwelling = replace(
        sheet.dwelling,
        storeys=_worded(sheet.dwelling.storeys, word),
        rooms=_worded(sheet.dwelling.rooms, word),
    )
    visit = Visit("visit-1", now(), assignment.assessor, radio_states=_worded((AS_FOUND,), word))
    return Survey(
        id=new_id("survey"),
        title=_checked_title(title),
        created_at=now(),
        assignment=assignment,
        dwelling=dwelling,
        places=_worded(sheet.places, word),
        meters=(Meter("meter-1", word("Broadband meter")),),
        visits=(visit,),
    )


def _worded(items: tuple[Any, ...], word: Callable[[str], str]) -> tuple[Any, ...]:
    return tuple(replace(item, name=word(item.name)) for item in items)


def with_assignment(survey: Survey, title: str, assignment: Assignment, note: str) -> Survey:
    """The survey under a new title and assignment.

    Raises
    ------
    InputError
        If the title is empty.
    """
    return replace(survey, title=_checked_title(title), assignment=assignment, note=note[:LONGEST_TEXT])


def with_meter(survey: Survey, meter: Meter) -> Survey:
    """The survey with this meter added, or put in the place of the one with the same id.

    Raises
    ------
    InputError
        If the meter's figures cannot be.
    """
    refuse_impossible(meter, "meter")
    return replace(survey, meters=_put(survey.meters, meter))


def with_visit(
    survey: Survey, purpose: VisitPurpose, conditions: str = "", started_at: str = "", ended_at: str = ""
) -> Survey:
    """The survey with one more visit, in the radio states of the visit before.

    Parameters
    ----------
    purpose : VisitPurpose
        Why the assessor came.
    conditions : str
        Whatever may matter later.
    started_at, ended_at : str
        ISO 8601 with the time of day; the start is now if left out.

    Raises
    ------
    InputError
        If a moment is none, or the visit ends before it starts.
    """
    states = survey.latest_visit.radio_states if survey.latest_visit else (AS_FOUND,)
    visit = Visit(
        id=new_id("visit"),
        started_at=started_at or now(),
        ended_at=ended_at,
        assessor=survey.assignment.assessor,
        purpose=purpose,
        radio_states=states,
        conditions=conditions[:LONGEST_TEXT],
        done_action_ids=survey.adopted_plan.action_ids
        if survey.adopted_plan and purpose is VisitPurpose.FOLLOW_UP
        else (),
    )
    refuse_impossible(visit, "visit")
    if ended_at and moment_in(ended_at) < moment_in(visit.started_at):
        raise InputError(
            f"it ends at {ended_at} and starts at {visit.started_at}.", where="visit", mend="Correct one of them."
        )
    return replace(survey, visits=(*survey.visits, visit))


def moment_in(text: str) -> datetime:
    """A moment as ISO 8601 writes it; where no offset stands, the clock of this computer's zone is meant."""
    return datetime.fromisoformat(text).astimezone()


def with_radio_state(
    survey: Survey,
    visit_id: str,
    name: str,
    off_groups: tuple[str, ...],
    activities: tuple[StateActivity, ...] = (),
    state_id: str = "",
) -> Survey:
    """The survey with one more radio state at a visit; the same switches twice give the state that is there.

    Parameters
    ----------
    off_groups : tuple of str
        Switches that are off.
    activities : tuple of StateActivity
        What others do, as far as it is seen to.
    state_id : str
        Made by the device; the same state sent twice is kept once. One is made here if empty.

    Raises
    ------
    InputError
        If a switch is not there, or the name is empty.
    UnknownNameError
        If there is no such visit.
    """
    visit = survey.visit(visit_id)
    groups = {emitter.group for emitter in survey.emitters}
    unknown = [group for group in off_groups if group not in groups]
    if unknown:
        raise InputError(f"there is no switch {unknown[0]!r}.", where="radio state")
    if not name.strip():
        raise InputError("a radio state needs a name.", where="radio state", mend="For example: router off.")
    if state_id and any(state.id == state_id for state in visit.radio_states):
        return survey
    if len(state_id) > 60:
        raise InputError("a radio state needs an id of 1 to 60 letters.", where="radio state")
    same = {(frozenset(s.off_groups), frozenset(s.activities), s.name) for s in visit.radio_states}
    if not state_id and (frozenset(off_groups), frozenset(activities), name.strip()) in same:
        return survey
    off_and_busy = next((a.name for a in activities if a.name in off_groups), "")
    if off_and_busy:
        raise InputError(f"{off_and_busy!r} is off and yet does something.", where="radio state", mend="Choose one.")
    state = RadioState(
        state_id or new_id("state"), name.strip()[:120], tuple(sorted(off_groups)), activities=activities
    )
    changed = replace(visit, radio_states=(*visit.radio_states, state))
    return replace(survey, visits=_put(survey.visits, changed))


def _put(items: tuple[Any, ...], item: Any) -> tuple[Any, ...]:
    if any(other.id == item.id for other in items):
        return tuple(item if other.id == item.id else other for other in items)
    return (*items, item)


def _checked_title(title: str) -> str:
    clean = " ".join(title.split())
    if not clean:
        raise InputError("a survey needs a title.", where="title", mend="For example the street and the month.")
    return clean[:200]
