"""The list of actions of a survey: what stands on it, putting one on it, agreeing on some of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from roomfield.errors import InputError, RangeError, UnknownNameError
from roomfield.field.scene import Scene
from roomfield.remedy.order import CAUTION_KEYS, LAP_SHARE, covered_area
from roomfield.survey import Action, ActionKind, AdoptedPlan, CostRange, Point3, ShieldPart, ShieldSheet, Survey
from roomfield.survey.action import SurfaceRef
from roomfield.workbench.plan.plan_choice import PlanTerms, adopted
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.own_measures import Measure, own_measure, own_measures
from roomfield.workbench.record.survey_list import revise

ON_EMITTERS = frozenset(
    {
        ActionKind.SWITCH_OFF,
        ActionKind.NIGHT_SCHEDULE,
        ActionKind.REDUCE_POWER,
        ActionKind.WIRE_INSTEAD,
        ActionKind.RELOCATE_EMITTER,
        ActionKind.REPLACE_DEVICE,
    }
)
ON_SURFACES = frozenset({ActionKind.SHIELD_SURFACE, ActionKind.CLOSE_OPENING})
ON_PLACES = frozenset({ActionKind.MOVE_PLACE, ActionKind.CANOPY})
MOVING = frozenset({ActionKind.RELOCATE_EMITTER, ActionKind.MOVE_PLACE})
WEAKENING = frozenset({ActionKind.REDUCE_POWER, ActionKind.REPLACE_DEVICE})
SHEETED = frozenset({ActionKind.SHIELD_SURFACE, ActionKind.CANOPY})
FLAT_HZ = (1e8, 1e10)
"""A sheet known by one figure is taken to hold it over this range [Hz]."""


@dataclass(frozen=True)
class Listed:
    """An action as it stands on the list.

    Parameters
    ----------
    agreed : bool
        True if the agreed plan holds it.
    done_on : str
        Id of the visit that first says it was done; empty if none does.
    """

    action: Action
    agreed: bool
    done_on: str

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        action = self.action
        return {
            "id": action.id,
            "name": action.name,
            "kind": action.kind.value,
            "cost_low": action.cost.low,
            "cost_high": action.cost.high,
            "cost_stated": action.cost.stated,
            "currency": action.cost.currency,
            "emitter_ids": action.emitter_ids,
            "place_id": action.place_id,
            "surface_ids": tuple(surface.surface_id for surface in action.surfaces),
            "excludes": action.excludes,
            "cautions": tuple(topic for _, topic in CAUTION_KEYS[action.kind]),
            "agreed": self.agreed,
            "done_on": self.done_on,
        }


def listed(survey: Survey) -> tuple[Listed, ...]:
    """Every action of a survey, in its order."""
    agreed = set(survey.adopted_plan.action_ids) if survey.adopted_plan else set()
    visits = sorted(survey.visits, key=lambda visit: visit.started_at)
    return tuple(
        Listed(one, one.id in agreed, next((v.id for v in visits if one.id in v.done_action_ids), ""))
        for one in survey.actions
    )


@dataclass(frozen=True)
class NewAction:
    """An action as it is asked for.

    Parameters
    ----------
    kind : str
        Which of `ActionKind`.
    transmitters, walls : tuple of str
        Names or ids of transmitters; ids of walls and slabs.
    place, room : str
        Name or id of the place moved or under a canopy; of the room for "anywhere in this room".
    position : (float, float, float) or None
        New position [m].
    part : str
        Of the walls: masonry, openings or whole.
    sheet_db : float or None
        Attenuation of the sheet, as its maker measured it [dB].
    coverage : float
        Share of the area that will truly be covered, 0 to 1.
    reduction_db : float
        Intended reduction of radiated power [dB].
    off_hours : (float, float) or None
        Local hours from and to of a night schedule [h].
    cost : (float, float) or None
        Cost range; None if it is not known.
    excludes : tuple of str
        Ids of actions that cannot be done together with this one.
    measure : str
        Key of a measure of the user's own; it gives what is left out of name, kind, sheet, reduction, cost and note.
    """

    name: str
    kind: str
    transmitters: tuple[str, ...] = ()
    place: str = ""
    room: str = ""
    position: Point3 | None = None
    walls: tuple[str, ...] = ()
    part: str = "whole"
    sheet_db: float | None = None
    coverage: float = 1.0
    reduction_db: float = 0.0
    off_hours: tuple[float, float] | None = None
    cost: tuple[float, float] | None = None
    currency: str = "EUR"
    excludes: tuple[str, ...] = ()
    note: str = ""
    measure: str = ""


def put_action(job: Job, wanted: NewAction) -> Action:
    """Put an action on the list of a survey in a record.

    Raises
    ------
    UnknownNameError
        If it names something that is not there.
    InputError
        If it lacks what it needs, a figure cannot be, or the measure is of another kind.
    """
    made = as_action(job.survey, wanted)
    _revise(job, lambda survey: replace(survey, actions=(*survey.actions, made)))
    return made


def as_action(survey: Survey, wanted: NewAction) -> Action:
    """What was asked for as an action of the record, checked.

    Raises
    ------
    UnknownNameError, InputError
        As `put_action`.
    """
    if not wanted.measure:
        if not wanted.kind:
            raise InputError(
                "an action needs a name and a kind.", mend="Add them, or name a measure of your own that says them."
            )
        return _as_action(survey, wanted)
    measure = own_measure(wanted.measure)
    made = _as_action(survey, _completed(wanted, measure, survey.assignment.language))
    if measure.material and made.sheet is not None:
        made = replace(made, sheet=replace(made.sheet, name=measure.material))
    return (
        made
        if wanted.cost is not None
        else replace(made, cost=_priced(Scene.from_dwelling(survey.dwelling), made, measure))
    )


def _completed(wanted: NewAction, measure: Measure, language: str) -> NewAction:
    """What was asked for, with what the measure says of it."""
    _refuse_other_kind(measure, wanted.kind or measure.kind.value)
    return replace(
        wanted,
        name=wanted.name.strip() or measure.name(language),
        kind=measure.kind.value,
        sheet_db=measure.sheet_db if wanted.sheet_db is None else wanted.sheet_db,
        reduction_db=wanted.reduction_db or measure.reduction_db or 0.0,
        currency=wanted.currency if wanted.cost is not None else measure.currency,
        note=wanted.note or measure.remark(language),
    )


def _refuse_other_kind(measure: Measure, kind: str) -> None:
    if measure.kind.value != kind:
        raise InputError(
            f"the measure {measure.key} is of the kind {measure.kind.value}, not {kind}.",
            mend="Choose another measure, or leave the kind to it.",
        )


def _priced(scene: Scene, action: Action, measure: Measure) -> CostRange:
    """Price of a measure for an action; the area is that of the work order, overlaps counted."""
    price = measure.price(covered_area(scene, action)[0] * (1.0 + LAP_SHARE))
    return CostRange(*(price or (0.0, 0.0)), measure.currency, stated=price is not None)


@dataclass(frozen=True)
class PricedMeasure:
    """One of the user's measures, with what it would cost as a certain action.

    Parameters
    ----------
    key : str
        Key of the measure.
    name : str
        Its name in the survey's language.
    """

    key: str
    name: str
    cost: CostRange


def priced_measures(survey: Survey) -> dict[str, tuple[PricedMeasure, ...]]:
    """For each action's id the user's measures of its kind.

    Raises
    ------
    InputError
        If one of the user's files is refused.
    """
    own = own_measures()
    if not own:
        return {}
    scene = Scene.from_dwelling(survey.dwelling)
    return {
        action.id: tuple(
            PricedMeasure(one.key, one.name(survey.assignment.language), _priced(scene, action, one))
            for one in own
            if one.kind is action.kind
        )
        for action in survey.actions
    }


def with_measure(survey: Survey, action_id: str, key: str) -> Survey:
    """The survey with name, price, note and figures of an action as one of the user's measures says.

    Raises
    ------
    UnknownNameError
        If there is no such action or measure.
    InputError
        If the measure is of another kind, or the other actions cost another currency.
    """
    known = {action.id: action for action in survey.actions}
    before = known[_one_of("action", action_id, list(known))]
    measure, language = own_measure(key), survey.assignment.language
    _refuse_other_kind(measure, before.kind.value)
    others = replace(survey, actions=tuple(one for one in survey.actions if one.id != action_id))
    _currency(others, measure.currency)
    sheet = before.sheet if measure.sheet_db is None else sheet_of(measure.sheet_db)
    if measure.material and sheet is not None:
        sheet = replace(sheet, name=measure.material)
    made = replace(
        before,
        name=measure.name(language),
        note=measure.remark(language) or before.note,
        cost=_priced(Scene.from_dwelling(survey.dwelling), before, measure),
        sheet=sheet,
        reduction_db=measure.reduction_db or before.reduction_db,
    )
    return replace(survey, actions=tuple(made if one.id == action_id else one for one in survey.actions))


def _as_action(survey: Survey, wanted: NewAction) -> Action:
    kind = ActionKind(_one_of("kind of action", wanted.kind, [k.value for k in ActionKind]))
    _refuse_incomplete(wanted, kind)
    actions = [action.id for action in survey.actions]
    return Action(
        new_id("action"),
        wanted.name.strip(),
        kind,
        tuple(_named("transmitter", one, {e.id: e.name for e in survey.emitters}) for one in wanted.transmitters),
        _named("place", wanted.place, {p.id: p.name for p in survey.places}) if wanted.place else "",
        wanted.position,
        _named("room", wanted.room, {r.id: r.name for r in survey.dwelling.rooms}) if wanted.room else "",
        wanted.reduction_db,
        wanted.off_hours,
        _surfaces(survey, wanted),
        None if wanted.sheet_db is None else sheet_of(wanted.sheet_db),
        wanted.coverage,
        CostRange(*(wanted.cost or (0.0, 0.0)), _currency(survey, wanted.currency), stated=wanted.cost is not None),
        tuple(_one_of("action", one, actions) for one in wanted.excludes),
        wanted.note,
    )


def _refuse_incomplete(wanted: NewAction, kind: ActionKind) -> None:
    needs = (
        (bool(wanted.name.strip()), "a name"),
        (kind not in ON_EMITTERS or bool(wanted.transmitters), "a transmitter"),
        (kind not in ON_SURFACES or bool(wanted.walls), "a wall or slab"),
        (kind not in ON_PLACES or bool(wanted.place), "a place"),
        (kind not in MOVING or bool(wanted.position or wanted.room), "a position or a room"),
        (kind not in WEAKENING or wanted.reduction_db > 0.0, "a reduction in dB above 0"),
        (kind not in SHEETED or wanted.sheet_db is not None, "the attenuation of the sheet in dB"),
    )
    for given, what in needs:
        if not given:
            raise InputError(f"an action of the kind {kind.value} needs {what}.", mend="Add it, then try again.")
    low, high = wanted.cost or (0.0, 0.0)
    if not 0.0 <= low <= high < 1e9:
        raise InputError(f"a cost from {low:g} to {high:g} cannot be.", mend="Give the lower figure first.")
    if not 0.0 < wanted.coverage <= 1.0:
        raise RangeError("coverage", wanted.coverage, (0.0, 1.0), "", mend="Give the share that is covered.")
    for hour in wanted.off_hours or ():
        if not 0.0 <= hour <= 24.0:
            raise RangeError("hour", hour, (0.0, 24.0), "h", mend="Give local hours from and to.")


def _surfaces(survey: Survey, wanted: NewAction) -> tuple[SurfaceRef, ...]:
    known = [*(wall.id for wall in survey.dwelling.walls), *(slab.id for slab in survey.dwelling.slabs)]
    part = ShieldPart(_one_of("part", wanted.part, [p.value for p in ShieldPart]))
    return tuple(SurfaceRef(_one_of("wall or slab", one, known), part) for one in wanted.walls)


def sheet_of(attenuation_db: float) -> ShieldSheet:
    """A shielding sheet of one attenuation [dB] at all frequencies, as its maker measured it.

    Raises
    ------
    RangeError
        If the attenuation cannot be.
    """
    if not 0.0 < attenuation_db <= 120.0:
        raise RangeError("attenuation", attenuation_db, (0.0, 120.0), "dB", mend="Give the maker's figure.")
    return ShieldSheet(f"Sheet of {attenuation_db:g} dB", tuple((f, attenuation_db) for f in FLAT_HZ))


def _currency(survey: Survey, currency: str) -> str:
    used = {action.cost.currency for action in survey.actions}
    if used and currency not in used:
        raise InputError(
            f"the other actions cost {', '.join(sorted(used))}.", mend="Give all costs in one currency."
        )  # fmt: skip
    return currency


def _named(what: str, wanted: str, names: dict[str, str]) -> str:
    """An id, given as such or by the name that goes with it."""
    if wanted in names:
        return wanted
    found = [key for key, name in names.items() if name == wanted]
    if not found:
        raise UnknownNameError(what, wanted, [*names, *names.values()])
    return found[0]


def _one_of(what: str, wanted: str, known: Sequence[str]) -> str:
    if wanted not in known:
        raise UnknownNameError(what, wanted, known)
    return wanted


def agree(job: Job, action_ids: Sequence[str], terms: PlanTerms, note: str = "") -> AdoptedPlan:
    """Write down the plan that the client agreed to.

    Raises
    ------
    UnknownNameError
        If an action is not on the list.
    InputError
        If two actions cannot be done together, none is named, or the survey lies in no record.
    """
    known = [action.id for action in job.survey.actions]
    ids = tuple(dict.fromkeys(_one_of("action", one, known) for one in action_ids))
    made = adopted(job.survey, ids, terms).adopted_plan
    if made is None:
        raise InputError("no action was named.", mend="Name at least one.")
    plan = replace(made, note=note)
    _revise(job, lambda survey: replace(survey, adopted_plan=plan))
    return plan


def _revise(job: Job, change: Callable[[Survey], Survey]) -> None:
    if job.store is None:
        raise InputError(
            "a survey document cannot be changed.", where=job.survey.title, mend="Unpack or make a record first."
        )
    revise(job.store, job.survey.id, change)
