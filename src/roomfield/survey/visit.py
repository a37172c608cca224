"""Visits and the radio states in which readings were taken."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class VisitPurpose(StrEnum):
    """Why the assessor came."""

    FIRST = "first"
    FOLLOW_UP = "follow_up"


@dataclass(frozen=True)
class RadioState:
    """Which switches were off; everything else was as found.

    Parameters
    ----------
    off_groups : tuple of str
        Switch groups that were off.
    """

    id: str
    name: str
    off_groups: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Visit:
    """One visit to the dwelling.

    Parameters
    ----------
    started_at, ended_at : str
        ISO 8601 with offset.
    conditions : str
        Weather, time of use, neighbours at home: whatever may matter later.
    done_action_ids : tuple of str
        For a follow-up: the actions carried out since the visit before.
    """

    id: str
    started_at: str
    assessor: str
    purpose: VisitPurpose = VisitPurpose.FIRST
    ended_at: str = ""
    radio_states: tuple[RadioState, ...] = ()
    conditions: str = ""
    done_action_ids: tuple[str, ...] = ()
    note: str = ""
