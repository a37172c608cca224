"""The ledger of a visit: places by radio states, what was read in each cell, and which cells are still empty."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.survey import Place, RadioState, Reading, Survey, Visit, VisitPurpose
from roomfield.workbench.record.visit_choice import visit_asked_or_before


@dataclass(frozen=True)
class LedgerCell:
    """What was read at one place in one radio state.

    Parameters
    ----------
    readings : tuple of Reading
        As amended, in the order in which they were taken; empty if it is still to be measured.
    earlier : tuple of Reading
        Readings of the same cell on the visit that a follow-up is held against.
    """

    place: Place
    state: RadioState
    readings: tuple[Reading, ...]
    earlier: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class LedgerRow:
    """One place with a cell for each radio state."""

    place: Place
    cells: tuple[LedgerCell, ...]


@dataclass(frozen=True)
class Ledger:
    """A visit cell by cell.

    Parameters
    ----------
    rows : tuple of LedgerRow
        In the order of the places.
    loose : tuple of Reading
        Readings at points of the plan that are no place.
    """

    visit: Visit
    rows: tuple[LedgerRow, ...]
    loose: tuple[Reading, ...]

    @property
    def cells(self) -> int:
        """How many cells there are."""
        return sum(len(row.cells) for row in self.rows)

    @property
    def measured(self) -> int:
        """How many cells hold a reading."""
        return sum(bool(cell.readings) for row in self.rows for cell in row.cells)

    @property
    def next_cell(self) -> LedgerCell | None:
        """The first empty cell, radio state by radio state, so that each switch is thrown once."""
        by_state = (cell for column in zip(*(row.cells for row in self.rows), strict=True) for cell in column)
        return next((cell for cell in by_state if not cell.readings), None)


def ledger_of(survey: Survey, visit_id: str) -> Ledger:
    """The ledger of one visit.

    Parameters
    ----------
    survey : Survey
        The survey that is open.
    visit_id : str
        Which visit.

    Raises
    ------
    UnknownNameError
        If there is no such visit.
    """
    visit = survey.visit(visit_id)
    readings = survey.current_readings(visit_id)
    before = visit_before(survey, visit)
    then = survey.current_readings(before.id) if before else ()
    rows = tuple(
        LedgerRow(place, tuple(_cell(place, state, readings, before, then) for state in visit.radio_states))
        for place in survey.places
    )
    return Ledger(visit, rows, tuple(reading for reading in readings if not reading.place_id))


def visit_before(survey: Survey, visit: Visit) -> Visit | None:
    """The visit that a follow-up is held against: the last one before it; None for a first visit."""
    if visit.purpose is not VisitPurpose.FOLLOW_UP:
        return None
    before = visit_asked_or_before(survey, "", visit.id)
    return None if before is visit else before


def _cell(
    place: Place, state: RadioState, readings: tuple[Reading, ...], before: Visit | None, then: tuple[Reading, ...]
) -> LedgerCell:
    twins = {one.id for one in before.radio_states if set(one.off_groups) == set(state.off_groups)} if before else set()
    return LedgerCell(
        place,
        state,
        tuple(one for one in readings if (one.place_id, one.radio_state_id) == (place.id, state.id)),
        tuple(one for one in then if one.place_id == place.id and one.radio_state_id in twins),
    )
