"""The whole record of one survey."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TypeVar

from roomfield.errors import UnknownNameError
from roomfield.survey.action import Action, AdoptedPlan
from roomfield.survey.amendment import Amendment
from roomfield.survey.dwelling import Dwelling
from roomfield.survey.emitter import Emitter
from roomfield.survey.equipment import Meter
from roomfield.survey.observation import Bearing, HeardTechnology, LogRecord, MediaItem, Reading, Recording
from roomfield.survey.person import Person
from roomfield.survey.place import Place
from roomfield.survey.sign_off import SignOff
from roomfield.survey.site_notes import HotSpot, Photograph, Tick
from roomfield.survey.visit import RadioState, Visit

WITHDRAWN = "withdrawn"
"""Amendment field that takes an observation out of the findings."""


@dataclass(frozen=True)
class Assignment:
    """What was ordered, by whom, and what it is held against.

    Parameters
    ----------
    jurisdiction : str
        Code of the legal limits, for example ``EU`` or ``CH`` (see the references).
    guideline : str
        Key of the precautionary guideline that the client chose; empty for none.
    language : str
        Language of the report, such as ``en`` or ``de``.
    aim_w_m2 : float or None
        Level that the client wants not to be exceeded where people sleep [W/m²]; None for the guideline's usual one.
    """

    client: str = ""
    address: str = ""
    assessor: str = ""
    organisation: str = ""
    question: str = ""
    jurisdiction: str = "EU"
    guideline: str = ""
    language: str = "en"
    aim_w_m2: float | None = None


@dataclass(frozen=True)
class Survey:
    """Everything that was observed and agreed about one dwelling; plain values, no physics.

    Parameters
    ----------
    invented : bool
        True for demonstration data; every output then says so.
    archived : bool
        True if the list of surveys shows it only when asked.
    """

    id: str
    title: str
    created_at: str
    assignment: Assignment = Assignment()
    invented: bool = False
    dwelling: Dwelling = Dwelling()  # noqa: RUF009 - frozen value
    places: tuple[Place, ...] = ()
    emitters: tuple[Emitter, ...] = ()
    meters: tuple[Meter, ...] = ()
    visits: tuple[Visit, ...] = ()
    readings: tuple[Reading, ...] = ()
    bearings: tuple[Bearing, ...] = ()
    recordings: tuple[Recording, ...] = ()
    logs: tuple[LogRecord, ...] = ()
    media: tuple[MediaItem, ...] = ()
    actions: tuple[Action, ...] = ()
    adopted_plan: AdoptedPlan | None = None
    people: tuple[Person, ...] = ()
    photographs: tuple[Photograph, ...] = ()
    hot_spots: tuple[HotSpot, ...] = ()
    ticks: tuple[Tick, ...] = ()
    archived: bool = False
    amendments: tuple[Amendment, ...] = ()
    note: str = ""
    sign_offs: tuple[SignOff, ...] = ()

    def place(self, place_id: str) -> Place:
        """The place with this id.

        Parameters
        ----------
        place_id : str
            Id of the place.
        """
        found = self._places_by_id.get(place_id)
        return _by_id("place", self.places, place_id) if found is None else found

    @cached_property
    def _places_by_id(self) -> dict[str, Place]:
        return {place.id: place for place in reversed(self.places)}

    def emitter(self, emitter_id: str) -> Emitter:
        """The emitter with this id.

        Parameters
        ----------
        emitter_id : str
            Id of the emitter.
        """
        return _by_id("emitter", self.emitters, emitter_id)

    def meter(self, meter_id: str) -> Meter:
        """The meter with this id.

        Parameters
        ----------
        meter_id : str
            Id of the meter.
        """
        return _by_id("meter", self.meters, meter_id)

    def visit(self, visit_id: str) -> Visit:
        """The visit with this id.

        Parameters
        ----------
        visit_id : str
            Id of the visit.
        """
        return _by_id("visit", self.visits, visit_id)

    @property
    def latest_visit(self) -> Visit | None:
        """The visit that was begun last; None before the first."""
        return self.visits[-1] if self.visits else None

    def radio_state(self, visit_id: str, state_id: str) -> RadioState:
        """The radio state of a visit with this id.

        Parameters
        ----------
        visit_id : str
            Id of the visit.
        state_id : str
            Id of its radio state.
        """
        return _by_id("radio state", self.visit(visit_id).radio_states, state_id)

    def current_readings(self, visit_id: str | None = None) -> tuple[Reading, ...]:
        """Readings with amendments applied and withdrawn ones left out.

        Parameters
        ----------
        visit_id : str, optional
            Only those of one visit.
        """
        amended = amend_all(self.readings, self.amendments)
        return tuple(r for r in amended if visit_id is None or r.visit_id == visit_id)

    def current_bearings(self) -> tuple[Bearing, ...]:
        """Bearings with amendments applied and withdrawn ones left out."""
        return amend_all(self.bearings, self.amendments)

    def current_recordings(self) -> tuple[Recording, ...]:
        """Recordings with amendments applied and withdrawn ones left out."""
        return amend_all(self.recordings, self.amendments)

    def current_logs(self) -> tuple[LogRecord, ...]:
        """Log records with amendments applied and withdrawn ones left out."""
        return amend_all(self.logs, self.amendments)

    def faults(self) -> tuple[str, ...]:
        """Every broken reference or doubled id, in words; empty if the record is sound."""
        return tuple(_faults(self))


_Item = TypeVar("_Item")
_Observation = TypeVar("_Observation", Reading, Bearing, Recording, LogRecord)


def _by_id(kind: str, items: tuple[_Item, ...], wanted: str) -> _Item:
    for item in items:
        if getattr(item, "id") == wanted:  # noqa: B009 - structural access, every record item has an id
            return item
    raise UnknownNameError(kind, wanted, [str(getattr(item, "id")) for item in items])  # noqa: B009


def amend_all(items: tuple[_Observation, ...], amendments: tuple[Amendment, ...]) -> tuple[_Observation, ...]:
    """Observations as amended, in their order, without the withdrawn ones.

    Parameters
    ----------
    items : tuple
        Observations of one type.
    amendments : tuple of Amendment
        In the order in which they were made; later ones win.
    """
    by_target: dict[str, list[Amendment]] = {}
    for amendment in amendments:
        by_target.setdefault(amendment.target_id, []).append(amendment)
    amended = (_amended(item, by_target.get(item.id, [])) for item in items)
    return tuple(item for item in amended if item is not None)


def _amended(item: _Observation, amendments: list[Amendment]) -> _Observation | None:
    withdrawn = False
    for amendment in amendments:
        value = json.loads(amendment.new)
        if amendment.field == WITHDRAWN:
            withdrawn = bool(value)
            continue
        current = getattr(item, amendment.field)
        if isinstance(value, list):
            value = tuple(HeardTechnology(**v) if isinstance(v, dict) else v for v in value)
        elif isinstance(current, str):
            value = type(current)(value)
        item = replace(item, **{amendment.field: value})
    return None if withdrawn else item


def _observations(survey: Survey) -> tuple[Reading | Bearing | Recording | LogRecord, ...]:
    return (*survey.readings, *survey.bearings, *survey.recordings, *survey.logs)


def _faults(survey: Survey) -> Iterator[str]:
    for field_name in ("places", "emitters", "meters", "visits", "readings", "bearings", "recordings", "logs",
                       "actions", "amendments"):  # fmt: skip
        counts = Counter(item.id for item in getattr(survey, field_name))
        yield from (f"{field_name}: the id {name!r} stands {n} times" for name, n in counts.items() if n > 1)
    states = {(v.id, s.id) for v in survey.visits for s in v.radio_states}
    visits, meters = {v.id for v in survey.visits}, {m.id for m in survey.meters}
    places = {p.id for p in survey.places}
    for item in _observations(survey):
        noun = f"{type(item).__name__.lower()} {item.id!r}"
        if item.visit_id not in visits:
            yield f"{noun}: there is no visit {item.visit_id!r}"
        elif (item.visit_id, item.radio_state_id) not in states:
            yield f"{noun}: visit {item.visit_id!r} has no radio state {item.radio_state_id!r}"
        if item.meter_id not in meters:
            yield f"{noun}: there is no meter {item.meter_id!r}"
        yield from _accessory_faults(survey, item, noun)
        place_id = getattr(item, "place_id", "")
        if place_id and place_id not in places:
            yield f"{noun}: there is no place {place_id!r}"
    for person in survey.people:
        for stay in person.stays:
            if stay.place_id and stay.place_id not in places:
                yield f"person {person.id!r}: there is no place {stay.place_id!r}"
    yield from _amendment_faults(survey)


def _accessory_faults(survey: Survey, item: object, noun: str) -> Iterator[str]:
    if isinstance(item, Reading) and item.accessory_id:
        meter = next((m for m in survey.meters if m.id == item.meter_id), None)
        if meter is not None and meter.accessory(item.accessory_id) is None:
            yield f"{noun}: meter {item.meter_id!r} has no accessory {item.accessory_id!r}"


def _amendment_faults(survey: Survey) -> Iterator[str]:
    observed = {o.id: o for o in _observations(survey)}
    for amendment in survey.amendments:
        target = observed.get(amendment.target_id)
        if target is None:
            yield f"amendment {amendment.id!r}: there is no observation {amendment.target_id!r}"
        elif amendment.field not in {f.name for f in fields(target)} | {WITHDRAWN}:
            yield f"amendment {amendment.id!r}: an observation has no field {amendment.field!r}"
