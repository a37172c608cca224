"""Surveys as a list and one at a time: find, open, begin, copy, delete, keep a change."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from roomfield.errors import ConflictError, InputError
from roomfield.store.repository import Store, StoredSurvey, open_store
from roomfield.survey import Amendment, MediaItem, Survey

Records = Store
"""The open record; a door holds it and hands it back, and never looks inside."""

MOST_TRIES = 5
"""How often a change that names no revision is tried again when somebody else wrote in between."""
_PARTS = ("title", "note", "assignment", "dwelling", "places", "emitters", "meters", "visits", "actions",
          "adopted_plan", "people", "photographs", "hot_spots", "ticks", "archived")  # fmt: skip


@dataclass(frozen=True)
class SurveyCard:
    """One survey as the list shows it.

    Parameters
    ----------
    line : str
        Client and address.
    changed_at : str
        Last change of any kind, ISO 8601.
    readings : int
        How many readings it holds.
    """

    id: str
    title: str
    line: str
    changed_at: str
    readings: int
    invented: bool
    archived: bool = False


def open_records(path: str) -> Records:
    """Open the record, making it if need be.

    Parameters
    ----------
    path : str
        SQLite file or database URL.

    Raises
    ------
    StoreError
        If it cannot be opened.
    """
    return open_store(path)


def list_surveys(records: Records, query: str = "") -> tuple[SurveyCard, ...]:
    """Surveys whose title, client, address or note holds every word, last changed first.

    Parameters
    ----------
    query : str
        Words; empty for all.
    """
    return tuple(
        SurveyCard(
            one.id,
            one.title,
            " · ".join(part for part in (one.client, one.address) if part),
            one.changed_at,
            one.readings,
            one.invented,
            bool(one.archived),
        )
        for one in records.surveys(query)
    )


def opened(records: Records, survey_id: str) -> StoredSurvey:
    """A survey with its revision.

    Raises
    ------
    UnknownNameError
        If there is none with this id.
    """
    return records.load(survey_id)


def keep_new(records: Records, survey: Survey) -> str:
    """Put a new survey into the record.

    Returns
    -------
    str
        Its id.
    """
    return records.create(survey).survey.id


def revise(records: Records, survey_id: str, change: Callable[[Survey], Survey], revision: int | None = None) -> int:
    """Change a survey, unless somebody else changed it meanwhile.

    Parameters
    ----------
    change : callable
        From the survey as it is to the survey as it shall be.
    revision : int, optional
        Revision the change was made on; None for the present one.

    Returns
    -------
    int
        The new revision.

    Raises
    ------
    ConflictError
        If the survey is at another revision.
    """
    for _ in range(MOST_TRIES if revision is None else 0):
        try:
            return _revised(records, survey_id, change, None)
        except ConflictError:
            continue  # somebody else wrote in between; the change is made on what stands now
    return _revised(records, survey_id, change, revision)


def _revised(records: Records, survey_id: str, change: Callable[[Survey], Survey], revision: int | None) -> int:
    stored = records.load(survey_id)
    expected = stored.revision if revision is None else revision
    after = change(stored.survey)
    parts: dict[str, Any] = {
        name: getattr(after, name) for name in _PARTS if getattr(after, name) != getattr(stored.survey, name)
    }
    return records.update(survey_id, expected, **parts)


def set_archived(records: Records, survey_id: str, *, archived: bool) -> None:
    """Put a survey away, or bring it back; nothing of it is changed or deleted."""
    revise(records, survey_id, lambda survey: replace(survey, archived=archived))


def copy_for_follow_up(records: Records, survey_id: str, title: str) -> str:
    """A copy with everything observed and one more visit.

    Returns
    -------
    str
        Id of the copy.
    """
    return records.duplicate(survey_id, for_follow_up=True, title=title).survey.id


def delete_survey(records: Records, survey_id: str, typed: str) -> None:
    """Remove a survey for good once its title was typed.

    Raises
    ------
    InputError
        If the typed title is another.
    """
    records.delete(survey_id, typed)
    if records.media.is_named:
        shutil.rmtree(nights_of(records, survey_id), ignore_errors=True)


def nights_of(records: Records, survey_id: str) -> Path:
    """Folder of a survey's nights of sound that are not kept yet, beside the record's files."""
    return records.media.folder.parent / "nights" / re.sub(r"[^\w-]", "_", survey_id)


def withdraw(records: Records, survey_id: str, observation_id: str, reason: str, by: str) -> Amendment:
    """Take an observation out of the findings; it stays in the record with the reason.

    Parameters
    ----------
    reason, by : str
        Why and who.
    """
    return records.amend(survey_id, observation_id, "withdrawn", True, reason=reason, by=by or "assessor")


def keep_file(records: Records, survey_id: str, content: bytes, file_name: str, media_type: str) -> MediaItem:
    """Keep a file with a survey, by the hash of its content.

    Raises
    ------
    InputError
        If it is empty.
    """
    if not content:
        raise InputError("the file is empty.", where=file_name, mend="Choose another file.")
    item = records.media.put(content, file_name=file_name, media_type=media_type)
    records.attach(survey_id, item)
    return item


def kept_file(records: Records, survey_id: str, sha256: str) -> tuple[MediaItem, bytes]:
    """A file of this survey with its description.

    Raises
    ------
    InputError
        If the survey has no such file.
    """
    item = next((one for one in records.load(survey_id).survey.media if one.sha256 == sha256), None)
    if item is None:
        raise InputError("this survey has no such file.", mend="Load the page again.")
    return item, records.media.read(sha256)
