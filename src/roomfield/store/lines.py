"""What the store hands out besides surveys: lines of its lists, and a survey with its revision."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.survey.survey_record import Survey


@dataclass(frozen=True)
class SurveySummary:
    """One line of the list of surveys.

    Parameters
    ----------
    readings : int
        How many readings it holds.
    revision : int
        Counts the changes of its parts.
    changed_at : str
        Last change of any kind, ISO 8601.
    archived : bool
        True if it is shown only when asked for.
    """

    id: str
    title: str
    client: str
    address: str
    created_at: str
    changed_at: str
    invented: bool
    readings: int
    revision: int
    archived: bool = False


@dataclass(frozen=True)
class StoredSurvey:
    """A survey as it was when it was loaded.

    Parameters
    ----------
    revision : int
        To be handed back with a change of its parts.
    additions : int
        Counts the observations, amendments and media added; they do not change ``revision``.
    head : str
        Hash of the last link of its chain.
    """

    survey: Survey
    revision: int
    additions: int
    head: str = ""


@dataclass(frozen=True)
class Change:
    """One line of the list of changes: when, and which parts."""

    revision: int
    at: str
    what: str
