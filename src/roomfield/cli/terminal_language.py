"""Which language the terminal speaks: what was asked for, else the survey's own, else the computer's, else English."""

from __future__ import annotations

import os
from contextlib import suppress
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING

from roomfield.errors import RoomfieldError, UnknownNameError

if TYPE_CHECKING:
    from roomfield.workbench.record.job import Job

VARIABLE = "ROOMFIELD_LANGUAGE"
"""Variable of the environment that names the language of the terminal."""
_LOCALE = ("LC_ALL", "LC_MESSAGES", "LANG")
_asked: ContextVar[str] = ContextVar("asked", default="")
_of_survey: ContextVar[str] = ContextVar("of_survey", default="")


def begin(asked: str) -> None:
    """Begin a command.

    Parameters
    ----------
    asked : str
        Language that the command was asked to speak; empty if none.

    Raises
    ------
    UnknownNameError
        If there is no such language.
    """
    from roomfield.show.words import LANGUAGES

    _of_survey.set("")
    _asked.set("")
    if asked and _base(asked) not in LANGUAGES:
        raise UnknownNameError("language", asked, LANGUAGES)
    _asked.set(_base(asked))


def speak_as(language: str, *, asked: bool = False) -> None:
    """Speak a survey's language, unless another was asked for.

    Parameters
    ----------
    language : str
        Language of the survey, or of an option of the command.
    asked : bool
        Whether it was asked for, and so goes before all others.
    """
    if language:
        (_asked if asked else _of_survey).set(_base(language))


def spoken(language: str) -> str:
    """The language of a command's own sentences, in JSON as well; keys of JSON are the same in every language.

    Parameters
    ----------
    language : str
        As the command's option names it; empty for the terminal's.
    """
    speak_as(language, asked=True)
    return language or terminal_language()


def terminal_language() -> str:
    """Language of the terminal, one that has a catalogue."""
    wanted = [_asked.get(), os.environ.get(VARIABLE, ""), _of_survey.get()]
    wanted.append(next((value for name in _LOCALE if (value := os.environ.get(name, ""))), ""))
    named = [base for language in wanted if (base := _base(language))]
    if not named or set(named) == {"en"}:
        return "en"
    from roomfield.show.words import LANGUAGES

    return next((base for base in named if base in LANGUAGES), "en")


def opened_job(record: str, survey: str) -> Job:
    """A survey of a record, in whose language the terminal speaks from now on.

    Parameters
    ----------
    record, survey : str
        As `roomfield.workbench.record.job.open_job` takes them.
    """
    from roomfield.workbench.record.job import open_job

    job = open_job(record, survey)
    speak_as(job.survey.assignment.language)
    return job


def speak_of(record: str, survey: str) -> None:
    """Speak the language of a survey that a command does not open yet; where there is none, as before.

    Parameters
    ----------
    record, survey : str
        As `opened_job` takes them.
    """
    with suppress(RoomfieldError, OSError):
        if Path(record).exists():
            opened_job(record, survey)


def _base(language: str) -> str:
    return language.replace("_", "-").split("-")[0].split(".")[0].lower()
