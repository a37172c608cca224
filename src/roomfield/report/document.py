"""The report's content as values: what is to be said, apart from how it was computed and how it is set."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from roomfield.quantities.level import COVERAGE
from roomfield.show.chapters import Letter, LogEntry, RecordingEntry, Remedy, SourceEntry, Verification
from roomfield.show.drawings import LevelGrid, PlaceWays, PlanStorey
from roomfield.show.evidence import (
    AmendmentEntry,
    Budget,
    Caution,
    ChecklistEntry,
    MeterEntry,
    PhotoEntry,
    Position,
    Proof,
    ReadingEntry,
    ReferenceEntry,
    VisitEntry,
)
from roomfield.show.findings import (
    BandLevel,
    BandTotal,
    Contribution,
    NextStep,
    PlaceFinding,
    ShownAim,
    StateEntry,
    Verdict,
)
from roomfield.show.phrase import Text
from roomfield.show.shown_place import Frame, ShownPlace, shown_place


@dataclass(frozen=True)
class Parties:
    """Who ordered the assessment, who made it, and what was asked.

    Parameters
    ----------
    disclosure : Text
        Whether the assessor sells shielding or devices; empty if nothing was declared (the report says so).
    """

    client: str = ""
    address: str = ""
    assessor: str = ""
    organisation: str = ""
    question: str = ""
    disclosure: Text = ""


@dataclass(frozen=True)
class Rules:
    """How levels were compared with references.

    Parameters
    ----------
    coverage : float
        Probability of every interval in the report, 0 to 1.
    decision_rule : Text
        Name and wording of the rule.
    risk : float or None
        Stated risk of false acceptance, 0 to 1.
    category_edges : Text
        Which edge belongs to which category; empty uses the standard wording (lower edge inclusive).
    """

    coverage: float = COVERAGE
    decision_rule: Text = ""
    risk: float | None = None
    category_edges: Text = ""


@dataclass(frozen=True)
class SignedStep:
    """One step of the report towards its release.

    Parameters
    ----------
    stage : str
        ``draft``, ``reviewed`` or ``released``.
    by, at, note : str
        Who, when (ISO 8601), and what was said with it.
    """

    stage: str
    by: str
    at: str
    note: str = ""


@dataclass(frozen=True)
class Custody:
    """The survey package behind the report.

    Parameters
    ----------
    package_name : str
        File name of the survey package; empty if none was written.
    package_sha256 : str
        SHA-256 of that file as hexadecimal digits, as ``sha256sum`` gives it.
    content_sha256 : str
        SHA-256 of the manifest inside it, which does not depend on how it was packed.
    software : str
        Program and version.
    chain_sha256 : str
        Hash of the last link of the record's chain; empty if the survey lies in no record.
    chain_links : int
        How many links the chain has.
    """

    package_name: str = ""
    package_sha256: str = ""
    software: str = ""
    content_sha256: str = ""
    chain_sha256: str = ""
    chain_links: int = 0


@dataclass(frozen=True)
class ReportContent:
    """Everything that a report says.

    Parameters
    ----------
    survey_id, title : str
        Survey's id (in every footer) and title.
    issued_at : str
        Date and time of the report, ISO 8601 with offset; it is the PDF's only time stamp.
    state_id : str
        Radio state that the first page and the axis show, usually "as found".
    law_id, guideline_id : str
        References that the first page speaks of; ``guideline_id`` empty if the client chose none.
    aim : ShownAim or None
        What is not to be exceeded at the places that the guideline is for.
    invented : bool
        True for demonstration data; every page then says so.
    places : tuple of PlaceFinding
        In order; their position counts as their number on plan and in tables.
    storeys : tuple of PlanStorey
        Plans; empty if there is no plan.
    method : tuple of Text
        Paragraphs that add to the standard description of the method.
    undetermined : tuple of Text
        What could not be determined.
    together : Text or None
        Where all readings together lie, if it is far off what such transmitters usually give.
    stage : str
        ``draft``, ``reviewed``, ``released``, or ``changed`` since; empty if it was never put up for review.
    signed : tuple of SignedStep
        Who put it up, reviewed and released it.
    measuring : Text or None
        What to measure next for the open decision, or why measuring stopped.
    bands, band_totals : tuple of BandLevel, of BandTotal
        Levels of single bands as found, and their shares of the limit together; empty without a selective instrument.
    ways : tuple of PlaceWays
        What reaches places by which ways; empty without a model.
    """

    survey_id: str
    title: str
    issued_at: str
    state_id: str
    law_id: str
    guideline_id: str = ""
    invented: bool = False
    parties: Parties = Parties()
    rules: Rules = Rules()
    custody: Custody = Custody()
    visits: tuple[VisitEntry, ...] = ()
    states: tuple[StateEntry, ...] = ()
    places: tuple[PlaceFinding, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    bands: tuple[BandLevel, ...] = ()
    band_totals: tuple[BandTotal, ...] = ()
    contributions: tuple[Contribution, ...] = ()
    steps: tuple[NextStep, ...] = ()
    storeys: tuple[PlanStorey, ...] = ()
    method: tuple[Text, ...] = ()
    meters: tuple[MeterEntry, ...] = ()
    budgets: tuple[Budget, ...] = ()
    references: tuple[ReferenceEntry, ...] = ()
    positions: tuple[Position, ...] = ()
    proofs: tuple[Proof, ...] = ()
    cautions: tuple[Caution, ...] = ()
    undetermined: tuple[Text, ...] = ()
    amendments: tuple[AmendmentEntry, ...] = ()
    readings: tuple[ReadingEntry, ...] = ()
    maps: tuple[LevelGrid, ...] = ()
    sources: tuple[SourceEntry, ...] = ()
    recordings: tuple[RecordingEntry, ...] = ()
    photos: tuple[PhotoEntry, ...] = ()
    checklist: ChecklistEntry | None = None
    logs: tuple[LogEntry, ...] = ()
    remedy: Remedy | None = None
    verification: Verification | None = None
    letter: Letter | None = None
    aim: ShownAim | None = None
    together: Text | None = None
    measuring: Text | None = None
    ways: tuple[PlaceWays, ...] = ()
    stage: str = ""
    signed: tuple[SignedStep, ...] = ()

    @property
    def frame(self) -> Frame:
        """What the places are held against."""
        return Frame(self.state_id, self.rules.coverage, self.law_id, self.guideline_id)

    @cached_property
    def shown(self) -> tuple[ShownPlace, ...]:
        """The one answer about each place, in their order."""
        return tuple(shown_place(p, self.verdicts, self.contributions, self.frame) for p in self.places)

    def reference(self, reference_id: str) -> ReferenceEntry | None:
        """The reference with this id, or None.

        Parameters
        ----------
        reference_id : str
            Id of a reference of the report.
        """
        return next((r for r in self.references if r.id == reference_id), None)

    def state_name(self, state_id: str) -> str:
        """Name of a radio state; the id itself if it is not listed.

        Parameters
        ----------
        state_id : str
            Id of a radio state of the visit.
        """
        return next((s.name for s in self.states if s.id == state_id), state_id)

    def place_number(self, place_id: str) -> int:
        """Number of a place in tables and on the plan, from 1; 0 if it is not listed.

        Parameters
        ----------
        place_id : str
            Id of a place of the report.
        """
        return next((n for n, p in enumerate(self.places, start=1) if p.id == place_id), 0)

    def place_name(self, place_id: str) -> str:
        """Name of a place; the id itself if it is not listed.

        Parameters
        ----------
        place_id : str
            Id of a place of the report.
        """
        return next((p.name for p in self.places if p.id == place_id), place_id)
