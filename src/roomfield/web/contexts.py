"""What each page shows: one dataclass per page, and nothing else reaches its template."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from roomfield.survey import Assignment, Meter, Survey, Visit
from roomfield.workbench.practice.practice_scan import PracticeSheet
from roomfield.workbench.record.progress import Progress, progress_of
from roomfield.workbench.record.releasing import ReportStanding


@dataclass(frozen=True)
class Context:
    """What a template is given.

    Attributes
    ----------
    template : str
        File of the template.
    """

    template: ClassVar[str] = ""


@dataclass(frozen=True)
class Step:
    """One page of the job, and the stretch of the way that it belongs to."""

    slug: str
    name: str
    stretch: str


STEPS = (
    Step("assignment", "Assignment", "prepare"),
    Step("plan", "Plan", "prepare"),
    Step("walk", "Walk", "on-site"),
    Step("readings", "Readings", "on-site"),
    Step("listen", "Listen", "on-site"),
    Step("logs", "Logs", "on-site"),
    Step("understand", "Understand", "desk"),
    Step("what-if", "What if", "desk"),
    Step("before-after", "Before and after", "hand-over"),
    Step("report", "Report", "hand-over"),
)


STRETCH_NAMES = {
    "prepare": "Prepare",
    "on-site": "At the client's",
    "desk": "At the desk",
    "hand-over": "Hand over",
}


@dataclass(frozen=True)
class Head:
    """The title block of a survey's pages.

    Parameters
    ----------
    line : str
        Client and address.
    visits : tuple of Visit
        All visits, to change to another.
    progress : Progress
        How far the job is, for the visit that is shown.
    asked : bool
        True if the reader chose the visit; the links of the way then carry it along.
    """

    id: str
    title: str
    line: str
    invented: bool
    revision: int
    visits: tuple[Visit, ...]
    progress: Progress
    asked: bool = False

    @property
    def visit_id(self) -> str:
        """The visit that is shown; empty before the first."""
        return self.progress.visit.id if self.progress.visit else ""

    @property
    def onward(self) -> str:
        """What the links of the way carry along, so that the chosen visit stays chosen."""
        return f"?visit={self.visit_id}" if self.asked and self.visit_id else ""


def head_of(survey: Survey, revision: int, visit_id: str = "", *, asked: bool = False) -> Head:
    """The title block of a survey.

    Parameters
    ----------
    survey : Survey
        The survey that is open.
    revision : int
        Its revision in the store.
    visit_id : str
        The visit that is shown; the latest if empty.
    asked : bool
        True if the reader chose it.
    """
    line = " · ".join(part for part in (survey.assignment.client, survey.assignment.address) if part)
    progress = progress_of(survey, visit_id)
    return Head(survey.id, survey.title, line, survey.invented, revision, survey.visits, progress, asked)


@dataclass(frozen=True)
class FaultPage(Context):
    """Something cannot be done: what, where, how to mend it."""

    template: ClassVar[str] = "fault.html"
    heading: str
    what: str
    where: str
    mend: str


@dataclass(frozen=True)
class UnlockPage(Context):
    """Asks another device for the one-time code.

    Parameters
    ----------
    gone : bool
        True if the device was removed and must forget what it holds.
    has_root : bool
        True if there is a root that it can be told to trust.
    """

    template: ClassVar[str] = "unlock.html"
    refused: str = ""
    wait_s: int = 0
    gone: bool = False
    has_root: bool = False


@dataclass(frozen=True)
class DevicesPage(Context):
    """Other devices that were let in.

    Parameters
    ----------
    devices : tuple
        Name, address and since when.
    open : bool
        True if other devices can reach this server at all.
    code : str
        The one-time code while it is good; empty otherwise.
    pairing : Pairing or None
        Picture that a phone reads, and what it is then asked; None if none is let in now.
    """

    template: ClassVar[str] = "devices.html"
    devices: tuple[Any, ...] = ()
    open: bool = False
    code: str = ""
    pairing: Any = None


@dataclass(frozen=True)
class AwayPage(Context):
    """Said by a phone of itself while the computer sleeps."""

    template: ClassVar[str] = "away.html"


@dataclass(frozen=True)
class PracticePage(Context):
    """An invented home to practise in; its levels stay on the server until they are scored."""

    template: ClassVar[str] = "practice.html"
    home: PracticeSheet


@dataclass(frozen=True)
class HelpPage(Context):
    """Every explained term."""

    template: ClassVar[str] = "help-page.html"
    entries: tuple[Any, ...]


@dataclass(frozen=True)
class Call:
    """One call of the HTTP API."""

    verb: str
    path: str
    words: str


@dataclass(frozen=True)
class ProgramsPage(Context):
    """The HTTP API for people who write programs."""

    template: ClassVar[str] = "programs.html"
    calls: tuple[Call, ...]


@dataclass(frozen=True)
class SurveysPage(Context):
    """The list of surveys, with its search.

    Parameters
    ----------
    cards : tuple of SurveyCard
        What the search found, newest change first.
    total : int
        How many there are in all.
    backed_up : str
        Where a backup was just written; empty otherwise.
    put_away : int
        How many lie in the archive.
    archive : bool
        True if the archive is shown.
    """

    template: ClassVar[str] = "surveys.html"
    cards: tuple[Any, ...]
    query: str
    total: int
    has_demo: bool
    backed_up: str = ""
    put_away: int = 0
    archive: bool = False


@dataclass(frozen=True)
class NewSurveyPage(Context):
    """A new survey: from a dwelling to start from, or from a package.

    Parameters
    ----------
    usual : Assignment
        Assessor and references of the last survey.
    meters : tuple of Meter
        Meters that are taken over.
    own_keys : tuple of (str, str)
        Keys and names of the reader's own templates.
    """

    template: ClassVar[str] = "new.html"
    starters: tuple[Any, ...]
    limits: tuple[Any, ...]
    guidelines: tuple[Any, ...]
    usual: Assignment
    meters: tuple[Meter, ...]
    own_keys: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class SurveyPage(Context):
    """A page inside a survey; its step is lit in the strip."""

    step_slug: ClassVar[str] = ""
    head: Head


@dataclass(frozen=True)
class AssignmentPage(SurveyPage):
    """Who asked what; the meters and the visits."""

    template: ClassVar[str] = "assignment.html"
    step_slug: ClassVar[str] = "assignment"
    assignment: Assignment
    note: str
    meters: tuple[Meter, ...]
    visits: tuple[Visit, ...]
    limits: tuple[Any, ...]
    guidelines: tuple[Any, ...]
    counts: dict[str, int]


@dataclass(frozen=True)
class ChecklistPage(SurveyPage):
    """What is seen to before the job and on arrival.

    Parameters
    ----------
    prepare, arrive : tuple of ChecklistLine
        Rows with whether they were ticked.
    """

    template: ClassVar[str] = "checklist.html"
    step_slug: ClassVar[str] = "assignment"
    prepare: tuple[Any, ...]
    arrive: tuple[Any, ...]


@dataclass(frozen=True)
class MeterPage(SurveyPage):
    """One meter with its certificate and checks.

    Parameters
    ----------
    standing : MeterStanding
        How it stands today.
    figures : tuple of FigureRow
        Figures in the units of the trade, stated or standing in.
    """

    template: ClassVar[str] = "meter.html"
    step_slug: ClassVar[str] = "assignment"
    standing: Any
    figures: tuple[Any, ...]


@dataclass(frozen=True)
class PlanPage(SurveyPage):
    """The plan editor and what it starts with."""

    template: ClassVar[str] = "plan.html"
    step_slug: ClassVar[str] = "plan"
    start: dict[str, Any]


@dataclass(frozen=True)
class WalkPage(SurveyPage):
    """Fast entry of readings on the plan."""

    template: ClassVar[str] = "walk.html"
    step_slug: ClassVar[str] = "walk"
    start: dict[str, Any]


@dataclass(frozen=True)
class ReadingsPage(SurveyPage):
    """The ledger of a visit, tables that were taken in, and how to bring one.

    Parameters
    ----------
    rows : tuple of RowSheet
        Places with a cell for each radio state.
    loose : tuple of NotedValue
        Readings at points that are no place.
    cameras : dict of str to CameraNote
        What the camera says of the photos whose own file is kept, by photo.
    tables : tuple of TakenTable
        Files that standing readings came from.
    new : int
        Readings that were taken in just now.
    """

    template: ClassVar[str] = "readings.html"
    step_slug: ClassVar[str] = "readings"
    rows: tuple[Any, ...]
    loose: tuple[Any, ...]
    bearings: tuple[Any, ...]
    withdrawn: tuple[Any, ...]
    photos: tuple[Any, ...]
    cameras: dict[str, Any]
    tables: tuple[Any, ...]
    new: int


@dataclass(frozen=True)
class EntryPage(SurveyPage):
    """One reading or bearing to put right.

    Parameters
    ----------
    standing : Reading or Bearing
        As it stands now.
    typed : dict of str to str
        What the form shows: as noted, or as typed before a refusal.
    history : tuple of Amendment
        What was changed so far.
    """

    template: ClassVar[str] = "entry.html"
    step_slug: ClassVar[str] = "readings"
    standing: Any
    is_bearing: bool
    typed: dict[str, str]
    places: tuple[Any, ...]
    states: tuple[Any, ...]
    kinds: tuple[tuple[str, str], ...]
    history: tuple[Any, ...]
    refusal: Any


@dataclass(frozen=True)
class TableOfferPage(SurveyPage):
    """How a table of readings would be read and what that would give, to be confirmed.

    Parameters
    ----------
    columns : tuple of ColumnChoice
        One for each column of the file.
    given : TableAnswers
        What the user has answered so far.
    outcome : TableOutcome or None
        What taking it in would give; None while a question is open.
    refusal : Refusal or None
        Why it cannot be taken in as it stands.
    """

    template: ClassVar[str] = "tableoffer.html"
    step_slug: ClassVar[str] = "readings"
    offer: Any
    columns: tuple[Any, ...]
    given: Any
    meanings: tuple[tuple[str, str], ...]
    units: tuple[tuple[str, str], ...]
    visits: tuple[Visit, ...]
    states: tuple[Any, ...]
    meters: tuple[Meter, ...]
    outcome: Any
    refusal: Any


@dataclass(frozen=True)
class BandOfferPage(SurveyPage):
    """How levels over frequency would be read and which bands they would give, to be confirmed.

    Parameters
    ----------
    columns : tuple of ColumnChoice
        One for each column of the file.
    given : BandAnswers
        What the user has answered so far.
    beside : dict of str to TableBeside
        Tables of antenna, cable and bands that were brought.
    outcome : BandOutcome or None
        What taking it in would give; None while something is open.
    refusal : Refusal or None
        Why it cannot be taken in as it stands.
    """

    template: ClassVar[str] = "bandoffer.html"
    step_slug: ClassVar[str] = "readings"
    offer: Any
    columns: tuple[Any, ...]
    given: Any
    meanings: tuple[tuple[str, str], ...]
    units: tuple[tuple[str, str], ...]
    visits: tuple[Visit, ...]
    states: tuple[Any, ...]
    places: tuple[Any, ...]
    kinds: tuple[tuple[str, str], ...]
    beside: dict[str, Any]
    outcome: Any
    refusal: Any


@dataclass(frozen=True)
class ListenPage(SurveyPage):
    """Live listening, recordings, and what was heard in them."""

    template: ClassVar[str] = "listen.html"
    step_slug: ClassVar[str] = "listen"
    start: dict[str, Any]
    visits: tuple[Visit, ...]
    recordings: tuple[Any, ...]


@dataclass(frozen=True)
class RecordingPage(SurveyPage):
    """Everything that was heard in one recording."""

    template: ClassVar[str] = "recording.html"
    step_slug: ClassVar[str] = "listen"
    claimed: tuple[Any, ...]
    verdict: str
    technologies: tuple[Any, ...]
    profiles: tuple[Any, ...]
    rates: tuple[Any, ...]
    warnings: tuple[str, ...] = ()
    unlisted: bool = False
    figure: str = ""


@dataclass(frozen=True)
class LogsPage(SurveyPage):
    """Long series of the survey, and how to bring one in."""

    template: ClassVar[str] = "logs.html"
    step_slug: ClassVar[str] = "logs"
    logs: tuple[Any, ...]


@dataclass(frozen=True)
class LogOfferPage(SurveyPage):
    """How a log would be read, to be confirmed.

    Parameters
    ----------
    typed : dict of str to str
        What the form shows: as guessed, or as answered before a refusal.
    zones : tuple of str
        Time zones to choose from; others may be typed.
    """

    template: ClassVar[str] = "logoffer.html"
    step_slug: ClassVar[str] = "logs"
    offer: Any
    places: tuple[Any, ...]
    visits: tuple[Visit, ...]
    typed: dict[str, str]
    zones: tuple[str, ...]
    refusal: Any


@dataclass(frozen=True)
class LogPage(SurveyPage):
    """One long series: timeline, statistics, day profile.

    Parameters
    ----------
    bound : str
        The client's bound as typed, in ``unit``; empty if none was given.
    kind : str
        What one value is.
    senders : tuple of (str, str)
        Technologies heard in a night of sound, by key and title.
    """

    template: ClassVar[str] = "log.html"
    step_slug: ClassVar[str] = "logs"
    start: dict[str, Any]
    place: str
    bound: str
    unit: str
    kind: str
    senders: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class NightPage(SurveyPage):
    """A night on a sound cable: how to set it up, what waits to be kept, a recording, and one that goes on."""

    template: ClassVar[str] = "night.html"
    step_slug: ClassVar[str] = "logs"
    start: dict[str, Any]
    places: tuple[Any, ...]
    visits: tuple[Visit, ...]
    waiting: tuple[Any, ...]


@dataclass(frozen=True)
class LogFactsPart(Context):
    """What a log says, in figures.

    Parameters
    ----------
    parts : tuple of PartRow
        Night, day and evening.
    role : str
        ``aim`` or ``limit`` if the bound is that which fits the log's kind; empty for one that was typed.
    night : tuple of str
        What the sound of a night says; empty for a log that came from none.
    """

    template: ClassVar[str] = "parts/logfacts.html"
    statistics: dict[str, Any]
    rows: tuple[Any, ...]
    parts: tuple[Any, ...]
    day: tuple[Any, ...]
    day_top: str
    zone: str
    hours: float | None
    clock: str
    above: Any
    role: str
    stair: Any
    week: Any
    bursts: Any
    night: tuple[str, ...] = ()


@dataclass(frozen=True)
class UnderstandPage(SurveyPage):
    """The answer first: sentences, the plan, a card for each place; the rest is folded.

    Parameters
    ----------
    visit_id : str
        The visit that is shown: the one asked for, else the latest that holds a reading.
    sentences : tuple of str
        The answer; empty if nothing was measured.
    cards : tuple of PlaceCard
        Where people sleep first.
    """

    template: ClassVar[str] = "understand.html"
    step_slug: ClassVar[str] = "understand"
    visit_id: str
    sentences: tuple[str, ...]
    cards: tuple[Any, ...]


@dataclass(frozen=True)
class NextPart(Context):
    """What to do next, in one line, with the other candidates behind it; nothing where nothing can be advised."""

    template: ClassVar[str] = "parts/nextline.html"
    found: Any


@dataclass(frozen=True)
class LevelsPart(Context):
    """Levels at places against law and guideline."""

    template: ClassVar[str] = "parts/levels.html"
    sheets: tuple[Any, ...]
    law: dict[str, Any]
    guideline: str


@dataclass(frozen=True)
class SwitchesPart(Context):
    """What went away when something was switched off."""

    template: ClassVar[str] = "parts/switches.html"
    groups: tuple[Any, ...]


@dataclass(frozen=True)
class FieldPart(Context):
    """Contributions, maps and the next points, from everything together."""

    template: ClassVar[str] = "parts/field.html"
    survey_id: str
    visit_id: str
    kind: str
    sheets: tuple[Any, ...]
    storeys: tuple[Any, ...]
    nearest: tuple[Any, ...]
    sought: tuple[Any, ...]


@dataclass(frozen=True)
class WaysPart(Context):
    """What reaches one place, as a drawing."""

    template: ClassVar[str] = "parts/ways.html"
    svg: str
    caption: str


@dataclass(frozen=True)
class WhatIfPage(SurveyPage):
    """The plan with things that can be moved, switched and shielded."""

    template: ClassVar[str] = "whatif.html"
    step_slug: ClassVar[str] = "what-if"
    start: dict[str, Any]
    actions: tuple[Any, ...]
    adopted: Any
    adopted_at: tuple[str, ...]
    placed: tuple[Any, ...]
    target_uw_m2: float
    readings: int
    measures: dict[str, Any]


@dataclass(frozen=True)
class ChoicePart(Context):
    """Cost against certainty, the plan that is suggested, and up to three plans side by side."""

    template: ClassVar[str] = "parts/choice.html"
    survey_id: str
    revision: int
    offer: Any
    beside: tuple[Any, ...]
    terms: Any


@dataclass(frozen=True)
class BeforeAfterPage(SurveyPage):
    """Did it work: the visits that can be compared."""

    template: ClassVar[str] = "beforeafter.html"
    step_slug: ClassVar[str] = "before-after"
    visits: tuple[Visit, ...]
    first: str
    second: str
    done: tuple[str, ...]


@dataclass(frozen=True)
class ChangesPart(Context):
    """Changes between two visits, and what changed beside the work."""

    template: ClassVar[str] = "parts/changes.html"
    rows: tuple[Any, ...]
    found: Any
    unplanned: tuple[str, ...]
    coverage: str


@dataclass(frozen=True)
class ReportPage(SurveyPage):
    """Which visit, which parts, which language; preview and download."""

    template: ClassVar[str] = "report.html"
    step_slug: ClassVar[str] = "report"
    visits: tuple[Visit, ...]
    visit_id: str
    parts: tuple[str, ...]
    chosen: tuple[str, ...]
    report_language: str
    readings: int
    address: str
    standing: ReportStanding
    me: str
