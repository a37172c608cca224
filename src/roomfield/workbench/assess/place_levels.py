"""Levels at places: every reading of a visit, put together by place, radio state and kind."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from roomfield.errors import TooEarlyError
from roomfield.instrument import CombinedLevel, combine
from roomfield.quantities import Kind
from roomfield.survey import RadioState, Reading, Survey, Visit


@dataclass(frozen=True)
class MeasuredLevel:
    """The level of one kind at one place in one radio state, by one meter.

    Parameters
    ----------
    place_id, state_id, meter_id : str
        Where, in which radio state, and with which meter.
    combined : CombinedLevel
        The level with the readings behind it.
    """

    place_id: str
    state_id: str
    meter_id: str
    combined: CombinedLevel

    @property
    def kind(self) -> Kind:
        """Peak, highest held or average."""
        return self.combined.kind


@dataclass(frozen=True)
class LevelTable:
    """All levels of one visit.

    Parameters
    ----------
    visit : Visit
        The visit.
    base_state : RadioState
        The state in which everything was as found.
    levels : tuple of PlaceLevel
        In the order of the survey's places, then radio states, then kinds.
    """

    visit: Visit
    base_state: RadioState
    levels: tuple[MeasuredLevel, ...]

    def find(self, place_id: str, state_id: str, kind: Kind, meter_id: str = "") -> MeasuredLevel | None:
        """The level asked for, by the first meter if none is named; None if nothing was read."""
        for item in self.levels:
            same = (item.place_id, item.state_id, item.kind) == (place_id, state_id, kind)
            if same and meter_id in ("", item.meter_id):
                return item
        return None


def level_table(survey: Survey, visit_id: str | None = None) -> LevelTable:
    """Levels of a visit at all places in all radio states.

    Parameters
    ----------
    survey : Survey
        The record; amendments are applied.
    visit_id : str, optional
        The visit; the first one if left out.

    Raises
    ------
    TooEarlyError
        If there is no visit or no reading yet.
    """
    if not survey.visits:
        raise TooEarlyError("the survey has no visit yet.", where=survey.title, mend="Enter a visit first.")
    visit = survey.visit(visit_id) if visit_id else survey.visits[0]
    readings = [r for r in survey.current_readings(visit.id) if r.place_id]
    if not readings:
        raise TooEarlyError(
            f"visit {visit.id!r} has no reading at a place yet.",
            where=survey.title,
            mend="Enter or import readings first.",
        )
    read = {r.radio_state_id for r in readings}
    return LevelTable(visit, base_state(visit, read), _combined(survey, visit, readings))


def base_state(visit: Visit, read: Collection[str] = ()) -> RadioState:
    """The radio state in which everything was as found: the one with the least switched off.

    Parameters
    ----------
    read : collection of str
        Ids of the radio states that have readings; empty to take any.
    """
    states = [s for s in visit.radio_states if not read or s.id in read]
    return min(states, key=lambda s: len(s.off_groups))


def _combined(survey: Survey, visit: Visit, readings: list[Reading]) -> tuple[MeasuredLevel, ...]:
    groups: dict[tuple[str, str, str, str], list[Reading]] = defaultdict(list)
    for reading in readings:
        groups[reading.place_id, reading.radio_state_id, reading.kind.value, reading.meter_id].append(reading)
    places = {p.id: i for i, p in enumerate(survey.places)}
    states = {s.id: i for i, s in enumerate(visit.radio_states)}
    kinds = {k.value: i for i, k in enumerate(Kind)}
    meters = {m.id: m for m in survey.meters}
    ordered = sorted(groups, key=lambda g: (places[g[0]], states[g[1]], kinds[g[2]], g[3]))
    return tuple(
        MeasuredLevel(
            place,
            state,
            meter_id,
            combine(groups[place, state, kind, meter_id], meters[meter_id], on_date=visit.started_at),
        )
        for place, state, kind, meter_id in ordered
    )
