"""What the page of an offered table shows: its columns, the answers so far, and what would come of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from roomfield.errors import RoomfieldError, RowFault
from roomfield.exchange.readings_table import ImportPlan
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.survey import Reading, Survey
from roomfield.table_files.column_mapping import ColumnMapping, ColumnScheme, MappedColumn
from roomfield.web.dependencies import Entries
from roomfield.web.formats import Show
from roomfield.web.page_texts import say
from roomfield.workbench.record import table_intake
from roomfield.workbench.record.readings_intake import Circumstances, Corrections

MOST_SHOWN_FAULTS = 100
MOST_SHOWN_READINGS = 12
KIND_WORDS = {Kind.PEAK: "Peak", Kind.HIGHEST_HELD: "Highest held", Kind.AVERAGE: "Average"}
BOUND_WORDS = {Censoring.BELOW: "below {level}", Censoring.ABOVE: "above {level}"}
MEANING_WORDS = (
    ("place", "Place"),
    ("room", "Room"),
    ("use", "Use of the place"),
    ("radio_state", "Radio state"),
    ("peak", "Peak"),
    ("highest_held", "Highest held"),
    ("average", "Average"),
    ("value", "Value of the kind named in the row"),
    ("kind", "Kind of reading"),
    ("unit", "Unit"),
    ("flag", "Flag: floor or overload"),
    ("orientation", "Antenna"),
    ("scan", "Hand scan, fixed or through the room"),
    ("replicate", "Number of the scan"),
    ("watched_s", "Seconds watched or held"),
    ("height_m", "Height above the floor"),
    ("body_distance_m", "Distance from the body"),
    ("accessory", "Accessory in front"),
    ("date", "Date"),
    ("time", "Time of day"),
    ("moment", "Date and time"),
    ("meter", "Meter"),
    ("x", "Metres east"),
    ("y", "Metres north"),
    ("z", "Metres up"),
    ("note", "Note"),
    ("unused", "not used"),
)


def unit_words(units: Iterable[str] = table_intake.UNITS) -> tuple[tuple[str, str], ...]:
    """Units with the signs of the trade.

    Parameters
    ----------
    units : iterable of str
        In our spelling; those of readings if left out.
    """
    return tuple((unit, unit.replace("uW", "µW").replace("uV", "µV").replace("m2", "m²")) for unit in units)


@dataclass(frozen=True)
class ColumnChoice:
    """One column of the file on the form.

    Parameters
    ----------
    because : str
        From what its meaning was concluded.
    """

    index: int
    header: str
    meaning: str
    unit: str
    example: str
    because: str
    has_unit: bool

    @classmethod
    def of(cls, mapped: MappedColumn, scheme: ColumnScheme) -> ColumnChoice:
        """The choice as the mapping has it."""
        meaning = mapped.column.value
        has_unit = meaning in scheme.values
        return cls(mapped.index, mapped.header, meaning, mapped.unit, mapped.example, mapped.because, has_unit)


def choices_of(mapping: ColumnMapping) -> tuple[ColumnChoice, ...]:
    """The columns of a file on the form."""
    return tuple(ColumnChoice.of(one, mapping.scheme) for one in mapping.columns)


@dataclass(frozen=True)
class TableAnswers:
    """What the user has answered about a table; see `Corrections` and `Circumstances`."""

    visit_id: str = ""
    meter_id: str = ""
    state_id: str = ""
    dates: str = ""
    decimal: str = ""
    grouped: bool = False
    utc_offset: str = ""
    make_places: bool = False
    accept_rest: bool = False
    again: bool = False

    @classmethod
    def at_first(cls, survey: Survey) -> TableAnswers:
        """Before anything was answered: the latest visit; meter and radio state only where there is no other."""
        return cls(visit_id=survey.latest_visit.id if survey.latest_visit else "")

    @classmethod
    def of(cls, form: Entries, survey: Survey) -> TableAnswers:
        """As they stand in the form; a radio state of another visit falls away."""
        visit_id = form.text("visit_id")
        states = {s.id for visit in survey.visits if visit.id == visit_id for s in visit.radio_states}
        state_id = form.text("state_id")
        return cls(
            visit_id,
            form.text("meter_id"),
            state_id if state_id in states else "",
            form.text("dates"),
            form.text("decimal"),
            bool(form.text("grouped")),
            form.text("utc_offset"),
            bool(form.text("make_places")),
            bool(form.text("accept_rest")),
            bool(form.text("again")),
        )

    def corrections(self, guess: ColumnMapping, form: Entries | None) -> Corrections | None:
        """Where the answers differ from the guess; None if nowhere.

        Parameters
        ----------
        form : Entries, optional
            Holds the choices of the columns.
        """
        columns = tuple(changed_columns(guess, form)) if form else ()
        dates = self.dates if self.dates != guess.date_order else ""
        decimal = (
            self.decimal if self.decimal and (self.decimal, self.grouped) != (guess.decimal, guess.grouped) else ""
        )
        if not (columns or dates or decimal):
            return None
        return Corrections(columns, dates, decimal, self.grouped)

    @property
    def circumstances(self) -> Circumstances:
        """What the table does not say."""
        return Circumstances(
            self.visit_id,
            self.meter_id,
            self.state_id,
            self.utc_offset,
            self.make_places,
            self.accept_rest,
            self.again,
        )


def changed_columns(guess: ColumnMapping, form: Entries) -> list[str]:
    """Columns that the form takes as something else than the guess, as `Corrections` has them."""
    changed = []
    for mapped in guess.columns:
        meaning = form.text(f"meaning-{mapped.index}", mapped.column.value)
        unit = form.text(f"unit-{mapped.index}", mapped.unit) if meaning in guess.scheme.values else mapped.unit
        if meaning == "unused" and mapped.unit:
            unit = ""
        if (meaning, unit) != (mapped.column.value, mapped.unit):
            changed.append(f"{mapped.header}={meaning}[{unit}]")
    return changed


@dataclass(frozen=True)
class Refusal:
    """Why something cannot be done, as the page tells it."""

    what: str
    where: str
    mend: str

    @classmethod
    def of(cls, fault: RoomfieldError) -> Refusal:
        """From the fault itself."""
        return cls(fault.what, fault.where, fault.mend)


@dataclass(frozen=True)
class ReadRow:
    """One reading as it would be taken in."""

    line: int
    place: str
    state: str
    kind: str
    value: str
    taken_at: str


@dataclass(frozen=True)
class TableOutcome:
    """What taking a table in would give.

    Parameters
    ----------
    rejected_rows : int
        Lines that would be left out.
    faults : tuple of RowFault
        The first of their faults.
    rows : tuple of ReadRow
        The first readings.
    """

    readings: int
    rejected_rows: int
    empty_lines: int
    faults: tuple[RowFault, ...]
    rows: tuple[ReadRow, ...]
    new_places: tuple[str, ...]
    remarks: tuple[str, ...]


def outcome_of(plan: ImportPlan, survey: Survey, language: str) -> TableOutcome:
    """The outcome in words.

    Parameters
    ----------
    plan : ImportPlan
        What was tried.
    survey : Survey
        Names places and radio states.
    language : str
        ``en`` or ``de``.
    """
    places = {place.id: place.name for place in (*survey.places, *plan.new_places)}
    states = {state.id: state.name for visit in survey.visits for state in visit.radio_states}
    show = Show(language)
    return TableOutcome(
        len(plan.readings),
        len({fault.line for fault in plan.faults}),
        len(plan.empty_lines),
        plan.faults[:MOST_SHOWN_FAULTS],
        tuple(_row(one, places, states, show) for one in plan.readings[:MOST_SHOWN_READINGS]),
        tuple(place.name for place in plan.new_places),
        (*plan.remarks, *_other_day(plan, survey, language)),
    )


def _other_day(plan: ImportPlan, survey: Survey, language: str) -> list[str]:
    started = {visit.id: visit.started_at[:10] for visit in survey.visits}
    count = sum(1 for one in plan.readings if one.taken_at and one.taken_at[:10] != started[one.visit_id])
    words = "{count} readings carry another day than the visit. Is it the right visit?"
    return [say(language, words, count=count)] if count else []


def _row(reading: Reading, places: dict[str, str], states: dict[str, str], show: Show) -> ReadRow:
    value = show.density(reading.value_w_m2, 6)
    bound = BOUND_WORDS.get(reading.censoring)
    return ReadRow(
        reading.origin.line,
        places.get(reading.place_id, "") or (_position(reading, show) if reading.position else ""),
        states.get(reading.radio_state_id, ""),
        KIND_WORDS[reading.kind],
        say(show.language, bound, level=value) if bound else value,
        show.moment(reading.taken_at),
    )


def _position(reading: Reading, show: Show) -> str:
    return " · ".join(show.number(one, 3) for one in reading.position or ()) + " m"
