"""Which visit is meant: one function for each rule, and one sentence where there is none."""

from __future__ import annotations

import logging

from roomfield.errors import InputError, TooEarlyError
from roomfield.survey import Survey, Visit
from roomfield.workbench.record.editing import moment_in

_log = logging.getLogger("roomfield.workbench")


def visit_asked_or_first(survey: Survey, visit_id: str | None = None) -> Visit:
    """The visit whose readings are used: the first one if none is named, because a later one may follow changes.

    Raises
    ------
    TooEarlyError
        If the survey has no visit.
    UnknownNameError
        If there is no such visit.
    """
    if not survey.visits:
        raise TooEarlyError("the survey has no visit yet.", where=survey.title, mend="Begin a visit first.")
    chosen = survey.visit(visit_id) if visit_id else survey.visits[0]
    _log.debug("visit %r: %s of %d", chosen.id, "as asked" if visit_id else "the first", len(survey.visits))
    return chosen


def visit_asked_or_first_if_any(survey: Survey, visit_id: str | None = None) -> Visit | None:
    """As `visit_asked_or_first`, for what also works before there is a visit; None then.

    Raises
    ------
    UnknownNameError
        If one was named and there is no such visit.
    """
    return visit_asked_or_first(survey, visit_id) if visit_id or survey.visits else None


def visit_asked_or_only(survey: Survey, visit_id: str) -> Visit:
    """The visit that something is written to: the only one if none is named; with several, one must be named.

    Raises
    ------
    InputError
        If none was named and there is none, or more than one.
    """
    if visit_id:
        return survey.visit(visit_id)
    if len(survey.visits) != 1:
        listed = ", ".join(f"{v.id} ({v.started_at[:10]})" for v in survey.visits)
        what = f"the survey has {len(survey.visits)} visits." if survey.visits else "the survey has no visit yet."
        raise InputError(what, where=survey.title, mend=f"Name one with --visit: {listed}." if listed else "Enter one.")
    _log.debug("visit %r: the only one", survey.visits[0].id)
    return survey.visits[0]


def visit_asked_or_before(survey: Survey, visit_id: str, second_id: str) -> Visit:
    """The visit that a later one is held against: the last one before it if none is named.

    The same for commands, pages, ledger and report; of visits that began in one second the one entered later is the
    later one. Of the first visit that is the visit itself, which cannot be compared.

    Raises
    ------
    UnknownNameError
        If there is no such visit.
    """
    second = survey.visit(second_id)
    if visit_id:
        return survey.visit(visit_id)
    in_order = sorted(survey.visits, key=lambda one: moment_in(one.started_at))
    at = in_order.index(second)
    chosen = in_order[at - 1] if at else second
    _log.debug("visit %r: the last before %r", chosen.id, second_id)
    return chosen


def visit_asked_or_latest(survey: Survey, visit_id: str) -> Visit | None:
    """The visit that is under way: the latest if none of that name is there; None if there is none at all."""
    return next((one for one in survey.visits if one.id == visit_id), survey.latest_visit)


def visit_asked_or_latest_read(survey: Survey, visit_id: str) -> Visit | None:
    """The visit to look at: the one asked for, else the latest that holds a reading, else the latest."""
    if any(one.id == visit_id for one in survey.visits):
        return visit_asked_or_latest(survey, visit_id)
    read = {reading.visit_id for reading in survey.current_readings()}
    chosen = next((v for v in reversed(survey.visits) if v.id in read), survey.latest_visit)
    _log.debug("visit %r: the latest with a reading, else the latest", chosen.id if chosen else "")
    return chosen
