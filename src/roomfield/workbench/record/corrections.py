"""Corrections at the desk: an observation is put right or withdrawn, with the reason; what was noted first stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from roomfield.errors import InputError, StoreError
from roomfield.survey import Amendment, Bearing, Reading, Survey
from roomfield.workbench.record.survey_list import Records, opened, withdraw

NOBODY = "assessor"
"""Stands for the assessor as long as the assignment does not name one."""


def observation_of(survey: Survey, observation_id: str) -> Reading | Bearing:
    """The standing reading or bearing with this id.

    Raises
    ------
    StoreError
        If there is none, or it was withdrawn.
    """
    standing: tuple[Reading | Bearing, ...] = (*survey.current_readings(), *survey.current_bearings())
    for one in standing:
        if one.id == observation_id:
            return one
    raise StoreError("this entry no longer stands.", where="ledger", mend="Load the page again.")


def correct(
    records: Records, survey_id: str, observation_id: str, wanted: Mapping[str, Any], reason: str
) -> tuple[Amendment, ...]:
    """Put fields of a reading or bearing right; fields that say the same already are passed over.

    Parameters
    ----------
    wanted : mapping of str to object
        New values by the name of their field, in SI units.
    reason : str
        Why.

    Raises
    ------
    InputError
        If the reason is missing, nothing differs, or a value cannot be.
    UnknownNameError
        If the place or the radio state is not there.
    """
    survey = opened(records, survey_id).survey
    standing = observation_of(survey, observation_id)
    changed = {name: value for name, value in wanted.items() if getattr(standing, name) != value}
    _check(survey, standing, changed, reason)
    by = survey.assignment.assessor or NOBODY
    return tuple(
        records.amend(survey_id, observation_id, name, value, reason=reason.strip(), by=by)
        for name, value in changed.items()
    )


def withdraw_with_reason(records: Records, survey_id: str, observation_id: str, reason: str) -> Amendment:
    """Take a reading or bearing out of the findings; it stays in the record with the reason.

    Raises
    ------
    InputError
        If the reason is missing.
    """
    survey = opened(records, survey_id).survey
    observation_of(survey, observation_id)
    _check_reason(reason)
    return withdraw(records, survey_id, observation_id, reason.strip(), survey.assignment.assessor or NOBODY)


def _check(survey: Survey, standing: Reading | Bearing, changed: dict[str, Any], reason: str) -> None:
    if not changed:
        raise InputError("nothing differs from what stands there.", where="ledger", mend="Change a field first.")
    _check_reason(reason)
    if changed.get("place_id"):
        survey.place(changed["place_id"])
    if "radio_state_id" in changed:
        survey.radio_state(standing.visit_id, changed["radio_state_id"])


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise InputError("a correction needs its reason.", where="ledger", mend="For example: typing error.")
