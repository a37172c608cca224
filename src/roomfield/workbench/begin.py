"""Begin a survey and correct one, as a command gives it."""

from __future__ import annotations

import json

from roomfield.store.repository import open_store
from roomfield.survey import Amendment, Assignment, Survey
from roomfield.workbench.editing import started_survey
from roomfield.workbench.job import open_job


def begin_survey(
    record: str,
    title: str,
    *,
    starter: str = "blank",
    client: str = "",
    assessor: str = "",
    jurisdiction: str = "EU",
    guideline: str = "",
) -> Survey:
    """Put a new survey into a record, making the record if need be.

    Parameters
    ----------
    record : str
        SQLite file, folder or database URL.
    title : str
        What the survey is called.
    starter : str
        Dwelling to start from.

    Raises
    ------
    UnknownNameError
        If there is no such starter.
    """
    order = Assignment(client=client, assessor=assessor, jurisdiction=jurisdiction, guideline=guideline)
    return open_store(record).create(started_survey(title, order, starter)).survey


def amend_observation(
    record: str, survey_id: str, observation_id: str, field: str, value: str, reason: str, by: str
) -> Amendment:
    """Correct a field of an observation; a value that reads as JSON is taken as such.

    Parameters
    ----------
    value : str
        Such as ``0.0012``, ``average`` or ``[1.0, 2.0, 0.9]``.
    """
    job = open_job(record, survey_id)
    store = job.store or open_store(record)
    return store.amend(job.survey.id, observation_id, field, _read(value), reason=reason, by=by)


def _read(text: str) -> object:
    try:
        found: object = json.loads(text)
    except ValueError:
        return text
    return tuple(found) if isinstance(found, list) else found
