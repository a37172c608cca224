"""Begin a survey and correct one, as a command gives it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from roomfield.errors import InputError
from roomfield.quantities.convert import density_from_unit
from roomfield.store.repository import open_store
from roomfield.survey import Amendment, Assignment, Survey
from roomfield.survey.values import refuse_impossible
from roomfield.workbench.record.assignment import checked_assignment
from roomfield.workbench.record.editing import started_survey
from roomfield.workbench.record.job import open_job
from roomfield.workbench.record.setting_up import is_moment
from roomfield.workbench.record.usual import usual_of, with_usual_meters

OTHER_FILES = (".json", ".zip", ".csv", ".xlsx", ".pdf", ".html")


def begin_survey(
    record: str,
    title: str,
    given: Mapping[str, str],
    *,
    starter: str = "blank",
    started_at: str = "",
) -> Survey:
    """Put a new survey into a record, making the record if need be; the meters are those of the last survey in it.

    Parameters
    ----------
    record : str
        SQLite file, folder or database URL.
    title : str
        What the survey is called.
    given : mapping of str to str
        Fields of the assignment: client, address, jurisdiction, guideline and so on.
    starter : str
        Dwelling to start from.
    started_at : str
        When the first visit began, ISO 8601; now if empty.

    Raises
    ------
    UnknownNameError
        If there is no such starter, jurisdiction or guideline.
    InputError
        If the record's name is that of another kind of file.
    """
    _check_record_name(record)
    if not title.isprintable():
        raise InputError("a name holds a control character.", where=repr(title[:40]), mend="Leave it out.")
    order = checked_assignment(Assignment(), given)
    made = started_survey(title, order, starter)  # refused before a record is made for it
    if started_at:
        first = replace(made.visits[0], started_at=started_at)
        refuse_impossible(first, "visit")
        made = replace(made, visits=(first,))
    store = open_store(record)
    return store.create(with_usual_meters(made, usual_of(store))).survey


def amend_observation(
    record: str, survey_id: str, observation_id: str, field: str, value: str, reason: str, by: str
) -> Amendment:
    """Correct a field of an observation; a value that reads as JSON is taken as such.

    Parameters
    ----------
    field : str
        Name of the field; ``value`` for the level of a reading.
    value : str
        Such as ``average`` or ``[1.0, 2.0, 0.9]``; a level is in µW/m² unless a unit follows it, as in ``1.3 mW/m²``.
    """
    field = _FIELD_WORDS.get(field, field)
    job = open_job(record, survey_id)
    if job.store is None:
        raise InputError("a survey document cannot be amended.", where=record, mend="Amend the record it came from.")
    read = _level_w_m2(field, value) if field.endswith("_w_m2") else _read(value)
    _check_sense(field, value, read)
    return job.store.amend(job.survey.id, observation_id, field, read, reason=reason, by=by)


def _check_record_name(record: str) -> None:
    """Refuse a record that could not be opened again, for its name says that it is something else."""
    if not record.strip():
        raise InputError("the record has no name.", mend="Name a file with --record.")
    if "://" not in record and Path(record).suffix.lower() in OTHER_FILES:
        raise InputError(
            f"a record cannot be a {Path(record).suffix} file.",
            where=record,
            mend="Choose a name that ends in .sqlite.",
        )


def _read(text: str) -> object:
    try:
        found: object = json.loads(text)
    except ValueError:
        return text
    return tuple(found) if isinstance(found, list) else found


_FIELD_WORDS = {"value": "value_w_m2", "level": "value_w_m2", "place": "place_id", "state": "radio_state_id"}
_LEVEL = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*(\S.*)?")


def _level_w_m2(field: str, text: str) -> object:
    """A level as typed [W/m²]; µW/m² unless a unit is named."""
    found = _LEVEL.fullmatch(text)
    if found is None:
        raise InputError(
            f"{text[:40]!r} is no level.", where=field, mend="Write it as 1300 (µW/m²), or with a unit as 1.3 mW/m²."
        )
    number = float(found[1].replace(",", "."))
    return float(density_from_unit(number, found[2] or "uW/m2"))


def _check_sense(field: str, value: str, read: object) -> None:
    """Refuse what fits the field's type and still cannot be."""
    if field.endswith("_w_m2") and isinstance(read, (int, float)) and read < 0:
        raise InputError("a power density cannot be negative.", where=field, mend="Give it in µW/m², 0 or more.")
    if field.endswith("_at") and value and not is_moment(value):
        raise InputError(f"{value!r} is no date and time.", where=field, mend="Write it as 2026-03-14T09:10:00+01:00.")
