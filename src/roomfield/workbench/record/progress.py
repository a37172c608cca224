"""How far the job is: four stretches, what is still open in each, and the cell to measure next."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.survey import Survey, Visit, VisitPurpose
from roomfield.workbench.record.readings_ledger import LedgerCell, ledger_of
from roomfield.workbench.record.visit_choice import visit_asked_or_latest

STRETCHES = ("prepare", "on-site", "desk", "hand-over")


@dataclass(frozen=True)
class Stretch:
    """One stretch of the way.

    Parameters
    ----------
    key : str
        ``prepare``, ``on-site``, ``desk`` or ``hand-over``.
    open_points : tuple of str
        What is missing, as English sentences; empty once it is done.
    """

    key: str
    open_points: tuple[str, ...]

    @property
    def done(self) -> bool:
        """True if nothing is missing."""
        return not self.open_points


@dataclass(frozen=True)
class Progress:
    """The way through the job as it stands.

    Parameters
    ----------
    visit : Visit or None
        The visit that is shown; None before the first.
    measured, cells : int
        Cells of places and radio states that hold a reading, and all of them.
    next_cell : Cell or None
        What to measure next.
    """

    stretches: tuple[Stretch, ...]
    visit: Visit | None
    measured: int = 0
    cells: int = 0
    next_cell: LedgerCell | None = None

    @property
    def next_key(self) -> str:
        """The stretch to go on with: the first that is not done."""
        return next((one.key for one in self.stretches if not one.done), STRETCHES[-1])


def progress_of(survey: Survey, visit_id: str = "") -> Progress:
    """How far a survey is.

    Parameters
    ----------
    visit_id : str
        The visit to show; the latest if empty or not there.
    """
    visit = visit_asked_or_latest(survey, visit_id)
    if visit is None:
        return Progress((_prepare(survey), Stretch("on-site", ("No visit has begun.",)), *_later(survey)), None)
    ledger = ledger_of(survey, visit.id)
    missing = ledger.cells - ledger.measured
    gaps = ("Some places are not measured in every radio state yet.",) if missing else ()
    gaps = gaps if ledger.cells else ("There is no place to measure at.",)
    return Progress(
        (_prepare(survey), Stretch("on-site", gaps), *_later(survey)),
        visit,
        ledger.measured,
        ledger.cells,
        ledger.next_cell,
    )


def _prepare(survey: Survey) -> Stretch:
    missing = (
        (not survey.assignment.client, "The client is not named."),
        (not survey.assignment.assessor, "The assessor is not named."),
        (not survey.dwelling.walls, "The plan has no walls."),
        (not survey.places, "The plan has no place where somebody stays."),
        (not survey.emitters, "The plan has no transmitter."),
        (not survey.meters, "No meter is entered."),
    )
    return Stretch("prepare", tuple(words for is_missing, words in missing if is_missing))


def _later(survey: Survey) -> tuple[Stretch, Stretch]:
    desk = () if survey.adopted_plan else ("No plan is agreed on.",)
    follow_ups = {one.id for one in survey.visits if one.purpose is VisitPurpose.FOLLOW_UP}
    proven = any(reading.visit_id in follow_ups for reading in survey.current_readings())
    return Stretch("desk", desk), Stretch("hand-over", () if proven else ("No follow-up visit shows the effect.",))
