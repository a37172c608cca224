"""What was ordered, by whom and against what it is held, as a command changes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from roomfield.errors import InputError, UnknownNameError
from roomfield.references.guidelines import guideline_set
from roomfield.show.words import LANGUAGES
from roomfield.survey import Assignment, Survey
from roomfield.workbench.record.chosen_limits import chosen_limits
from roomfield.workbench.record.editing import with_assignment
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.setting_up import revised

NONE = "none"


def checked_assignment(before: Assignment, given: Mapping[str, str]) -> Assignment:
    """An assignment with fields set; what is empty stays as it is.

    Parameters
    ----------
    given : mapping of str to str
        By the names of the fields of `Assignment`; ``none`` takes the guideline out.

    Raises
    ------
    UnknownNameError
        If there is no such jurisdiction, guideline or language.
    InputError
        If a text holds a control character.
    """
    wanted: dict[str, Any] = {name: value for name, value in given.items() if value}
    if wanted.get("guideline") == NONE:
        wanted["guideline"] = ""
    if odd := next((v for v in wanted.values() if not v.isprintable()), ""):
        raise InputError("a name holds a control character.", where=repr(odd[:40]), mend="Leave it out.")
    if wanted.get("jurisdiction"):
        chosen_limits(wanted["jurisdiction"])
    if wanted.get("guideline"):
        guideline_set(wanted["guideline"])
    if wanted.get("language", "en") not in LANGUAGES:
        raise UnknownNameError("language", wanted["language"], LANGUAGES)
    return replace(before, **wanted)


def change_assignment(job: Job, title: str, given: Mapping[str, str]) -> Job:
    """Set title and assignment of a survey in a record; errors as `checked_assignment`."""
    if not title and not any(given.values()):
        return job
    made = checked_assignment(job.survey.assignment, given)

    def change(survey: Survey) -> Survey:
        return with_assignment(survey, title or survey.title, made, survey.note)

    return revised(job, change)
