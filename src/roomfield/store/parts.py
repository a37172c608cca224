"""Parts of a survey that are kept as JSON documents, each with the revision that wrote it last."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from roomfield.errors import InputError, UnknownNameError
from roomfield.store import schema
from roomfield.survey.action import Action, AdoptedPlan
from roomfield.survey.dwelling import Dwelling
from roomfield.survey.emitter import Emitter
from roomfield.survey.equipment import Meter
from roomfield.survey.json_codec import from_json, to_json
from roomfield.survey.observation import MediaItem
from roomfield.survey.person import Person
from roomfield.survey.place import Place
from roomfield.survey.sign_off import SignOff
from roomfield.survey.site_notes import HotSpot, Photograph, Tick
from roomfield.survey.survey_record import Assignment, Survey
from roomfield.survey.visit import Visit

PART_KINDS: Mapping[str, Any] = {
    "title": str,
    "note": str,
    "invented": bool,
    "assignment": Assignment,
    "dwelling": Dwelling,
    "places": tuple[Place, ...],
    "emitters": tuple[Emitter, ...],
    "meters": tuple[Meter, ...],
    "visits": tuple[Visit, ...],
    "media": tuple[MediaItem, ...],
    "actions": tuple[Action, ...],
    "adopted_plan": AdoptedPlan,
    "people": tuple[Person, ...],
    "photographs": tuple[Photograph, ...],
    "hot_spots": tuple[HotSpot, ...],
    "ticks": tuple[Tick, ...],
    "archived": bool,
    "sign_offs": tuple[SignOff, ...],
}
_MAY_BE_MISSING = frozenset({"adopted_plan"})


def parts_of(survey: Survey) -> dict[str, Any]:
    """The parts of a survey by name."""
    return {name: getattr(survey, name) for name in PART_KINDS}


def encode(name: str, value: object) -> str:
    """A part as JSON.

    Raises
    ------
    UnknownNameError
        If there is no such part.
    InputError
        If its value is not what it should be.
    """
    if name not in PART_KINDS:
        raise UnknownNameError("part of a survey", name, PART_KINDS)
    if value is None:
        if name in _MAY_BE_MISSING:
            return "null"
        raise InputError("there is nothing in this part.", where=name, mend="Give an empty tuple for none.")
    return to_json(value, PART_KINDS[name], where=name)


def read_parts(connection: Connection, survey_id: str, names: Iterable[str] | None = None) -> dict[str, Any]:
    """Parts of a stored survey by name; all of them if no names are given."""
    table = schema.survey_part
    query = select(table.c.name, table.c.body).where(table.c.survey_id == survey_id)
    if names is not None:
        query = query.where(table.c.name.in_(list(names)))
    return {
        name: None if body == "null" else from_json(body, PART_KINDS[name], where=f"stored {name}")
        for name, body in connection.execute(query)
    }


def write_parts(connection: Connection, survey_id: str, bodies: Mapping[str, str], revision: int) -> None:
    """Replace parts by new ones, given as JSON."""
    table = schema.survey_part
    connection.execute(delete(table).where(table.c.survey_id == survey_id, table.c.name.in_(list(bodies))))
    rows = [{"survey_id": survey_id, "name": name, "body": body, "revision": revision} for name, body in bodies.items()]
    connection.execute(insert(table), rows)


def changed_since(connection: Connection, survey_id: str, revision: int) -> tuple[str, ...]:
    """Names of the parts written after a revision."""
    table = schema.survey_part
    query = select(table.c.name).where(table.c.survey_id == survey_id, table.c.revision > revision)
    return tuple(sorted(connection.execute(query).scalars()))
