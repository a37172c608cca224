"""Everything in the record by sort: listed, found by name or id, changed and taken out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from roomfield.errors import InputError, UnknownNameError
from roomfield.exchange.names import plain
from roomfield.survey import Dwelling, Emitter, Place, RadioState, Room, Survey, Visit
from roomfield.survey.values import refuse_impossible
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.plan_document import PlanSheet, with_plan
from roomfield.workbench.record.setting_up import revised
from roomfield.workbench.record.thing_fields import FIELDS, field_value


@dataclass(frozen=True)
class Thing:
    """One thing of the record.

    Parameters
    ----------
    sort : str
        Key of `SORTS`.
    name : str
        What people call it; its id if it has no name.
    item : object
        The record itself.
    visit_id : str
        The visit that a radio state belongs to; else empty.
    """

    sort: str
    id: str
    name: str
    item: Any
    visit_id: str = ""


def things(survey: Survey, sort: str, visit_id: str = "") -> tuple[Thing, ...]:
    """All things of a sort.

    Parameters
    ----------
    sort : str
        Singular or plural, such as ``place`` or ``places``.
    visit_id : str
        Only radio states and readings of this visit.

    Raises
    ------
    UnknownNameError
        If there is no such sort.
    """
    key = sort_named(sort)
    if key == "state":
        visits = [v for v in survey.visits if visit_id in ("", v.id)]
        return tuple(Thing(key, s.id, s.name, s, v.id) for v in visits for s in v.radio_states)
    if key == "reading":
        return tuple(Thing(key, r.id, r.id, r, r.visit_id) for r in survey.current_readings(visit_id or None))
    return tuple(Thing(key, item.id, getattr(item, "name", "") or item.id, item) for item in SORTS[key](survey))


SORTS: Mapping[str, Callable[[Survey], Sequence[Any]]] = {
    "place": lambda s: s.places,
    "room": lambda s: s.dwelling.rooms,
    "storey": lambda s: s.dwelling.storeys,
    "wall": lambda s: (*s.dwelling.walls, *s.dwelling.slabs),
    "transmitter": lambda s: s.emitters,
    "state": lambda s: [state for v in s.visits for state in v.radio_states],
    "visit": lambda s: s.visits,
    "reading": lambda s: s.readings,
    "meter": lambda s: s.meters,
    "person": lambda s: s.people,
    "action": lambda s: s.actions,
}
_PLURAL = {"people": "person"} | {f"{sort}s": sort for sort in SORTS}


def is_sort(text: str) -> bool:
    """Whether a word names a sort of things, in the singular or plural."""
    return text in SORTS or text in _PLURAL


def sort_named(text: str) -> str:
    """The key of a sort from its singular or plural.

    Raises
    ------
    UnknownNameError
        If there is none.
    """
    key = _PLURAL.get(text, text)
    if key not in SORTS:
        raise UnknownNameError("sort of things", text, SORTS)
    return key


def thing_named(survey: Survey, sort: str, name: str, visit_id: str = "") -> Thing:
    """The thing of this id or name.

    Raises
    ------
    UnknownNameError
        If there is none.
    InputError
        If there are several of this name.
    """
    known = things(survey, sort, visit_id)
    found = [one for one in known if one.id == name] or [one for one in known if plain(one.name) == plain(name)]
    if not found:
        raise UnknownNameError(sort_named(sort), name, [one.name for one in known])
    if len(found) > 1:
        listed = ", ".join(f"{one.id} ({one.visit_id})" if one.visit_id else one.id for one in found)
        mend = f"Name one by its id: {listed}."
        if len({one.id for one in found}) == 1:
            mend = f"Name the visit with --visit: {', '.join(one.visit_id for one in found)}."
        raise InputError(f"there are {len(found)} of the sort {sort_named(sort)} named {name!r}.", mend=mend)
    return found[0]


def id_named(survey: Survey, sort: str, name: str) -> str:
    """The id of the thing of this id or name; empty if no name is given. Errors as `thing_named`."""
    return thing_named(survey, sort, name).id if name else ""


def change_thing(job: Job, sort: str, name: str, settings: Sequence[str], visit_id: str = "") -> Thing:
    """Set fields of a thing.

    Parameters
    ----------
    settings : sequence of str
        Each as ``field=value``, in the units of the trade; see `thing_fields.FIELDS`.

    Raises
    ------
    UnknownNameError, InputError
        If there is no such thing or field, or a value cannot be.
    """
    key = sort_named(sort)
    if key not in FIELDS:
        raise InputError(f"a {key} is not changed here.", mend=_ELSEWHERE.get(key, "Change it in the workbench."))
    found = thing_named(job.survey, key, name, visit_id)
    if not settings:
        raise InputError("it is not said what to change.", mend=f"Give field=value with one of: {_fields(key)}.")
    item = found.item
    for setting in settings:
        item = replace(item, **field_value(job.survey, item, FIELDS[key], setting))
    refuse_impossible(item, key)
    _refuse_doubled(job.survey, found, item)
    made = revised(job, lambda survey: _PUT[key](survey, found, item))
    return thing_named(made.survey, key, item.id, found.visit_id if key == "state" else "")


def remove_thing(job: Job, sort: str, name: str, visit_id: str = "") -> Thing:
    """Take a thing out that no observation needs; gives what was taken out.

    Raises
    ------
    InputError
        If something else needs it; says what, and what to do.
    """
    key = sort_named(sort)
    if key not in FIELDS:
        raise InputError(f"a {key} is not taken out here.", mend=_ELSEWHERE.get(key, "Do it in the workbench."))
    found = thing_named(job.survey, key, name, visit_id)
    needed = _needed_by(job.survey, found)
    if needed:
        raise InputError(
            f"{found.name!r} is needed by {needed}.", mend="Take that out first, or withdraw the readings."
        )
    revised(job, lambda survey: _PUT[key](survey, found, None))
    return found


def _fields(sort: str) -> str:
    return ", ".join(FIELDS[sort])


_ELSEWHERE = {
    "reading": "A reading is amended or withdrawn with its reason: 'roomfield amend', 'roomfield withdraw'.",
    "meter": "Use 'roomfield meter'.",
    "person": "Use 'roomfield person'.",
    "action": "Use 'roomfield action', and --excludes for what cannot go with it.",
    "storey": "Bring the plan again with 'roomfield plan --replace'.",
    "wall": "Bring the plan again with 'roomfield plan --replace', or change it in the workbench.",
}


def _refuse_doubled(survey: Survey, before: Thing, after: Any) -> None:
    name = getattr(after, "name", "")
    others = (one for one in things(survey, before.sort, before.visit_id) if one.id != before.id)
    if name and name != before.name and any(plain(one.name) == plain(name) for one in others):
        raise InputError(f"there is a {before.sort} named {name!r} already.", mend="Give it another name.")


def _needed_by(survey: Survey, found: Thing) -> str:
    """What in the record refers to a thing, in words; empty if nothing does."""
    observed: tuple[Any, ...] = (*survey.readings, *survey.bearings, *survey.recordings, *survey.logs)
    uses: dict[str, Callable[[Any], bool]] = {
        "place": lambda o: getattr(o, "place_id", "") == found.id,
        "state": lambda o: (o.visit_id, o.radio_state_id) == (found.visit_id, found.id),
        "visit": lambda o: bool(o.visit_id == found.id),
    }
    count = sum(map(uses[found.sort], observed)) if found.sort in uses else 0
    if count:
        return "1 observation" if count == 1 else f"{count} observations"
    if found.sort == "place" and (
        who := next((p.name for p in survey.people for s in p.stays if s.place_id == found.id), "")
    ):
        return f"the day of {who}"
    needs = [a.name for a in survey.actions if found.id in (a.place_id, a.room_id, *a.emitter_ids)]
    if needs:
        return f"the action {needs[0]!r}"
    return _states_with(survey, found) if found.sort == "transmitter" else ""


def _states_with(survey: Survey, found: Thing) -> str:
    emitter: Emitter = found.item
    shared = [e for e in survey.emitters if e.group == emitter.group and e.id != emitter.id]
    names = {found.id} if shared else {found.id, emitter.group}
    for visit in survey.visits:
        for state in visit.radio_states:
            if names & {*state.off_groups, *(one.name for one in state.activities)}:
                return f"the radio state {state.name!r}"
    return ""


def _swapped(items: tuple[Any, ...], item_id: str, item: Any) -> tuple[Any, ...]:
    put = (item if one.id == item_id else one for one in items)
    return tuple(one for one in put if one is not None)


def _put_place(survey: Survey, found: Thing, place: Place | None) -> Survey:
    places = _swapped(survey.places, found.id, place)
    return with_plan(survey, PlanSheet(survey.dwelling, places, survey.emitters))


def _put_emitter(survey: Survey, found: Thing, emitter: Emitter | None) -> Survey:
    emitters = _swapped(survey.emitters, found.id, emitter)
    made = with_plan(survey, PlanSheet(survey.dwelling, survey.places, emitters))
    if emitter is None or emitter.group == found.item.group or any(e.group == found.item.group for e in emitters):
        return made
    visits = tuple(replace(v, radio_states=tuple(_renamed(s, found.item.group, emitter.group) for s in v.radio_states))
                   for v in made.visits)  # fmt: skip
    return replace(made, visits=visits)


def _renamed(state: RadioState, before: str, after: str) -> RadioState:
    """The state with a switch under its new name, so that a test made with it still counts."""
    groups = tuple(sorted({after if group == before else group for group in state.off_groups}))
    activities = tuple(replace(one, name=after) if one.name == before else one for one in state.activities)
    return replace(state, off_groups=groups, activities=activities)


def _put_room(survey: Survey, found: Thing, room: Room | None) -> Survey:
    dwelling: Dwelling = replace(survey.dwelling, rooms=_swapped(survey.dwelling.rooms, found.id, room))
    places = survey.places
    if room is None:
        places = tuple(replace(p, room_id="") if p.room_id == found.id else p for p in places)
    return with_plan(survey, PlanSheet(dwelling, places, survey.emitters))


def _put_state(survey: Survey, found: Thing, state: RadioState | None) -> Survey:
    visit = survey.visit(found.visit_id)
    changed = replace(visit, radio_states=_swapped(visit.radio_states, found.id, state))
    return replace(survey, visits=_swapped(survey.visits, visit.id, changed))


def _put_visit(survey: Survey, found: Thing, visit: Visit | None) -> Survey:
    return replace(survey, visits=_swapped(survey.visits, found.id, visit))


_PUT: Mapping[str, Callable[[Survey, Thing, Any], Survey]] = {
    "place": _put_place,
    "room": _put_room,
    "transmitter": _put_emitter,
    "state": _put_state,
    "visit": _put_visit,
}
