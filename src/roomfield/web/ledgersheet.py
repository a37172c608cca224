"""The ledger of a visit as its page shows it: cells with what was noted, and one entry to put right."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.survey import Bearing, Reading, Survey
from roomfield.web.formats import Show
from roomfield.web.levelsheet import KIND_NAMES
from roomfield.web.page_texts import say
from roomfield.workbench.record.readings_ledger import Ledger, LedgerCell

WITHDRAWN = "withdrawn"


@dataclass(frozen=True)
class NotedValue:
    """One reading or bearing as the ledger writes it.

    Parameters
    ----------
    kind : str
        English name of the kind, to be translated.
    value : str
        As the display showed it [µW/m²], with ``<`` or ``>`` where it is a bound.
    """

    id: str
    kind: str
    value: str
    when: str
    note: str


@dataclass(frozen=True)
class CellSheet:
    """One cell of the ledger; without values it is still to be measured."""

    state: str
    state_id: str
    values: tuple[NotedValue, ...]
    earlier: tuple[NotedValue, ...]


@dataclass(frozen=True)
class RowSheet:
    """One place with its cells."""

    place: str
    place_id: str
    cells: tuple[CellSheet, ...]


@dataclass(frozen=True)
class BearingRow:
    """One bearing with the point it was taken at."""

    id: str
    point: str
    strongest: str
    null: str
    state: str
    note: str


@dataclass(frozen=True)
class WithdrawnRow:
    """An entry that no longer counts, with its reason."""

    what: str
    reason: str
    by: str
    at: str


def rows_of(ledger: Ledger, show: Show) -> tuple[RowSheet, ...]:
    """Places with their cells.

    Parameters
    ----------
    ledger : Ledger
        The visit.
    show : Show
        Language.
    """
    return tuple(
        RowSheet(row.place.name, row.place.id, tuple(_cell(cell, show) for cell in row.cells)) for row in ledger.rows
    )


def _cell(cell: LedgerCell, show: Show) -> CellSheet:
    return CellSheet(
        cell.state.name,
        cell.state.id,
        tuple(noted(one, show) for one in cell.readings),
        tuple(noted(one, show) for one in cell.earlier),
    )


def noted(reading: Reading, show: Show) -> NotedValue:
    """One reading as it was noted.

    Parameters
    ----------
    reading : Reading
        As amended.
    show : Show
        Language.
    """
    value = show.micro(reading.value_w_m2, 3)
    bounded = {"below_floor": f"< {value}", "overload": f"> {value}"}.get(reading.censoring, value)
    return NotedValue(reading.id, KIND_NAMES[reading.kind], bounded, show.moment(reading.taken_at), reading.note)


def value_words(reading: Reading, show: Show) -> str:
    """The number of a reading, or its bound in words."""
    level = show.density(reading.value_w_m2, 3)
    if reading.censoring == "below_floor":
        return say(show.language, "below {level}", level=level)
    if reading.censoring == "overload":
        return say(show.language, "above {level}", level=level)
    return level


def bearing_rows(survey: Survey, visit_id: str, show: Show) -> tuple[BearingRow, ...]:
    """Bearings of a visit.

    Parameters
    ----------
    survey : Survey
        The survey that is open.
    visit_id : str
        The visit.
    show : Show
        Language.
    """
    return tuple(_bearing(survey, one, show) for one in survey.current_bearings() if one.visit_id == visit_id)


def point_words(survey: Survey, bearing: Bearing, show: Show) -> str:
    """The place that a bearing was taken at, or its position."""
    at = next((place.name for place in survey.places if place.position == bearing.position), "")
    x, y = (show.number(value, 3) for value in bearing.position[:2])
    return at or say(show.language, "{x} m east, {y} m north", x=x, y=y)


def _bearing(survey: Survey, one: Bearing, show: Show) -> BearingRow:
    def angle(value: float | None) -> str:
        return "" if value is None else f"{show.number(value, 3)}°"

    state = survey.radio_state(one.visit_id, one.radio_state_id).name
    return BearingRow(
        one.id, point_words(survey, one, show), angle(one.strongest_deg), angle(one.null_deg), state, one.note
    )


def withdrawn_rows(survey: Survey, visit_id: str, show: Show) -> tuple[WithdrawnRow, ...]:
    """What was withdrawn on a visit, the latest first.

    Parameters
    ----------
    survey : Survey
        The survey that is open.
    visit_id : str
        The visit.
    show : Show
        Language.
    """
    counted: tuple[Reading | Bearing, ...] = (*survey.current_readings(visit_id), *survey.current_bearings())
    standing = {one.id for one in counted}
    observed: tuple[Reading | Bearing, ...] = (*survey.readings, *survey.bearings)
    taken = {one.id: one for one in observed if one.visit_id == visit_id}
    gone = {
        one.target_id: one
        for one in survey.amendments
        if one.field == WITHDRAWN and one.target_id in taken and one.target_id not in standing
    }
    return tuple(
        WithdrawnRow(_what(survey, taken[target], show), one.reason, one.by, show.moment(one.at))
        for target, one in reversed(gone.items())
    )


def _what(survey: Survey, one: Reading | Bearing, show: Show) -> str:
    if isinstance(one, Bearing):
        return f"{say(show.language, 'Bearing')}, {point_words(survey, one, show)}"
    place = survey.place(one.place_id).name if one.place_id else say(show.language, "Point on the plan")
    return f"{place}, {say(show.language, KIND_NAMES[one.kind])} {value_words(one, show)}"
