"""Visits and the radio states in which readings were taken."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.survey.emitter import Activity


class VisitPurpose(StrEnum):
    """Why the assessor came."""

    FIRST = "first"
    FOLLOW_UP = "follow_up"


@dataclass(frozen=True)
class StateActivity:
    """What one emitter, or all on one switch, did in a radio state.

    Parameters
    ----------
    name : str
        Id of an emitter, or a switch group.
    """

    name: str
    activity: Activity


@dataclass(frozen=True)
class RadioState:
    """What transmitters did while readings were taken; what is not named was as found.

    Parameters
    ----------
    off_groups : tuple of str
        Switch groups that were off, and so silent.
    activities : tuple of StateActivity
        What others did, as far as it was seen to.
    """

    id: str
    name: str
    off_groups: tuple[str, ...] = ()
    note: str = ""
    activities: tuple[StateActivity, ...] = ()

    def activity_of(self, emitter_id: str, group: str = "") -> Activity | None:
        """What an emitter did: silent if its switch was off, else as noted; None if nothing was noted.

        Parameters
        ----------
        emitter_id : str
            Its id; what is noted of it comes before what is noted of its switch.
        group : str
            Its switch group.
        """
        if group in self.off_groups or emitter_id in self.off_groups:
            return Activity.SILENT
        noted = {one.name: one.activity for one in self.activities}
        return noted.get(emitter_id, noted.get(group))


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
