"""Enter a place where somebody stays, or correct one that is there, as a command gives it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from roomfield.errors import UnknownNameError
from roomfield.exchange.names import plain
from roomfield.exchange.places import use_told_by
from roomfield.survey import Place, PlaceKind, Survey
from roomfield.survey.values import refuse_impossible
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.plan_document import PlanSheet, with_plan
from roomfield.workbench.record.setting_up import revised
from roomfield.workbench.record.thing_fields import FIELDS, field_value
from roomfield.workbench.record.things import change_thing, thing_named, things


def put_place(job: Job, name: str, wanted: Mapping[str, str]) -> Place:
    """Enter a place, or change the one of this name or id.

    Parameters
    ----------
    name : str
        What it is called in the report.
    wanted : mapping of str to str
        Fields as `thing_fields.FIELDS` names them; what is empty stays as it is.

    Raises
    ------
    UnknownNameError, InputError
        If a value cannot be.
    """
    given = [f"{field}={value}" for field, value in wanted.items() if value]
    known = things(job.survey, "place")
    if any(one.id == name or plain(one.name) == plain(name) for one in known):
        if not given:
            found: Place = thing_named(job.survey, "place", name).item
            return found
        changed: Place = change_thing(job, "place", name, given).item
        return changed
    kind = wanted.get("kind") or use_told_by(name).value
    if kind not in set(PlaceKind):
        raise UnknownNameError("kind of place", kind, [one.value for one in PlaceKind])
    place = Place(new_id("place"), "", PlaceKind(kind))
    for setting in (f"name={name}", *given):
        place = replace(place, **field_value(job.survey, place, FIELDS["place"], setting))
    refuse_impossible(place, "place")

    def change(survey: Survey) -> Survey:
        return with_plan(survey, PlanSheet(survey.dwelling, (*survey.places, place), survey.emitters))

    revised(job, change)
    return place
