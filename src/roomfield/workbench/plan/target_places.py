"""For which places a target is asked: by what they are used for, or one by one."""

from __future__ import annotations

from collections.abc import Sequence

from roomfield.errors import TooEarlyError, UnknownNameError
from roomfield.survey import AdoptedPlan, Place, Survey
from roomfield.workbench.assess.place_use import is_for_sleeping, is_long_stay
from roomfield.workbench.model.joint_model import placed

EVERYWHERE, SLEEPING, LONG_STAYS = "all", "sleeping", "long_stays"
USES = (EVERYWHERE, SLEEPING, LONG_STAYS)


def asked_places(survey: Survey, wanted: Sequence[str]) -> tuple[str, ...]:
    """Ids of the places for which a target is asked; empty for all.

    Parameters
    ----------
    survey : Survey
        The record.
    wanted : sequence of str
        Each is ``all``, ``sleeping``, ``long_stays`` (sleeping places among them), or the name or id of a place;
        what any of them names is asked for. Empty means all.

    Raises
    ------
    UnknownNameError
        If a word is none of these.
    TooEarlyError
        If no place on the plan is meant.
    """
    there = placed(survey)
    names = {name for place in there for name in (place.id, place.name)}
    for word in wanted:
        if word not in USES and word not in names:
            raise UnknownNameError("place", word, [*USES, *(place.id for place in there)])
    if not wanted or EVERYWHERE in wanted:
        return ()
    found = tuple(place.id for place in there if any(_is_meant(place, word) for word in wanted))
    if not found:
        raise TooEarlyError(
            "no place on the plan is used like that.",
            where=", ".join(wanted),
            mend="Enter what each place is used for.",
        )
    return () if len(found) == len(there) else found


def _is_meant(place: Place, word: str) -> bool:
    if word == SLEEPING:
        return is_for_sleeping(place)
    if word == LONG_STAYS:
        return is_long_stay(place)
    return word in (place.id, place.name)


def asked_of(survey: Survey, plan: AdoptedPlan | None) -> tuple[str, ...]:
    """Places for which the agreed target was asked that are still on the plan; empty for all.

    Parameters
    ----------
    survey : Survey
        The record.
    plan : AdoptedPlan or None
        What was agreed; None if nothing was.
    """
    return () if plan is None else still_there(survey, plan.place_ids)


def still_there(survey: Survey, place_ids: Sequence[str]) -> tuple[str, ...]:
    """Those of some places that are on the plan.

    Parameters
    ----------
    survey : Survey
        The record.
    place_ids : sequence of str
        Ids of places.
    """
    there = {place.id for place in placed(survey)}
    return tuple(name for name in place_ids if name in there)


def names_of(survey: Survey, place_ids: Sequence[str]) -> tuple[str, ...]:
    """Names of some places, in the order of the survey.

    Parameters
    ----------
    survey : Survey
        The record.
    place_ids : sequence of str
        Ids of places.
    """
    return tuple(place.name for place in survey.places if place.id in place_ids)
