"""What the page of offered levels over frequency shows: columns, instrument, and the bands with their budgets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from roomfield.quantities.censoring import Censoring
from roomfield.show.words.numbers import numbers_for
from roomfield.survey import Survey
from roomfield.table_files.column_mapping import ColumnMapping
from roomfield.table_files.spectrum_scheme import SpectrumColumn
from roomfield.web.dependencies import Entries
from roomfield.web.formats import Show
from roomfield.web.page_texts import say
from roomfield.web.tablesheet import BOUND_WORDS, KIND_WORDS, MEANING_WORDS, changed_columns
from roomfield.workbench.record.readings_intake import Corrections
from roomfield.workbench.record.spectrum_intake import (
    AVERAGINGS,
    BandReading,
    Instrument,
    SpectrumCircumstances,
    SpectrumPlan,
    hertz,
    kind_asked,
)
from roomfield.workbench.record.spectrum_offer import BESIDE, TableBeside

_OF_READINGS = dict(MEANING_WORDS)
_OWN_WORDS = {
    SpectrumColumn.FREQUENCY: "Frequency",
    SpectrumColumn.LOW: "Lower end of the band",
    SpectrumColumn.HIGH: "Upper end of the band",
    SpectrumColumn.BAND: "Name of the band",
    SpectrumColumn.FACTOR: "Antenna factor or gain",
    SpectrumColumn.LOSS: "Loss of the cable",
    SpectrumColumn.STD: "Standard uncertainty",
}
BAND_MEANING_WORDS = tuple((one.value, _OWN_WORDS.get(one) or _OF_READINGS[one.value]) for one in SpectrumColumn)
"""What a column may mean: words of its own, and those of readings for what both have."""
PART_WORDS = {
    "receiver": "accuracy",
    "antenna_factor": "antenna factor",
    "cable_loss": "cable",
    "mismatch": "mismatch",
    "noise_bandwidth": "filter",
    "log_average": "averaged decibels",
}
"""Parts of a band's budget."""


@dataclass(frozen=True)
class BandAnswers:
    """What the user has answered about levels over frequency, as typed; see `Instrument`, `SpectrumCircumstances`."""

    visit_id: str = ""
    state_id: str = ""
    place: str = ""
    kind: str = ""
    decimal: str = ""
    instrument: str = "Analyser"
    axes: str = "1"
    accuracy: str = ""
    rbw: str = ""
    noise_bandwidth: str = ""
    averaging: str = AVERAGINGS[0]
    floor: str = ""
    taken_at: str = ""
    fixed: bool = False
    make_places: bool = False

    @classmethod
    def at_first(cls, survey: Survey) -> BandAnswers:
        """Before anything was answered: the latest visit, and its radio state if there is no other."""
        visit = survey.latest_visit
        states = visit.radio_states if visit else ()
        return cls(visit.id if visit else "", states[0].id if len(states) == 1 else "")

    @classmethod
    def of(cls, form: Entries, survey: Survey) -> BandAnswers:
        """As they stand in the form; a radio state of another visit falls away."""
        visit_id, state_id = form.text("visit_id"), form.text("state_id")
        states = {s.id for visit in survey.visits if visit.id == visit_id for s in visit.radio_states}
        return cls(
            visit_id, state_id if state_id in states else "", form.text("place"), form.text("kind"),
            form.text("decimal"), form.text("instrument"), form.text("axes", "1"), form.text("accuracy"),
            form.text("rbw"), form.text("noise_bandwidth"), form.text("averaging", AVERAGINGS[0]), form.text("floor"),
            form.text("taken_at"), bool(form.text("fixed")), bool(form.text("make_places")),
        )  # fmt: skip

    def corrections(self, guess: ColumnMapping, form: Entries | None) -> Corrections | None:
        """Where the answers differ from the guess; None if nowhere.

        Parameters
        ----------
        form : Entries, optional
            Holds the choices of the columns.
        """
        columns = tuple(changed_columns(guess, form)) if form else ()
        decimal = self.decimal if self.decimal not in ("", guess.decimal) else ""
        return Corrections(columns, decimal=decimal) if columns or decimal else None

    def used(self, form: Entries) -> Instrument:
        """The instrument as far as numbers tell it.

        Parameters
        ----------
        form : Entries
            With the numbers.

        Raises
        ------
        InputError
            If one of them is no number.
        """
        numbers = ("accuracy", "noise_bandwidth", "floor")
        optional = {name: form.number(name, 0.0) if form.text(name) else None for name in numbers}
        return Instrument(
            self.instrument or "Analyser", 3 if self.axes == "3" else 1, optional["accuracy"],
            hertz(self.rbw) if self.rbw else None, optional["noise_bandwidth"], self.averaging, floor=optional["floor"],
        )  # fmt: skip

    @property
    def circumstances(self) -> SpectrumCircumstances:
        """What the table does not say."""
        return SpectrumCircumstances(
            self.place, kind_asked(self.kind), self.visit_id, self.state_id, self.taken_at, self.fixed, self.make_places
        )


def tables_beside(form: Entries) -> dict[str, TableBeside]:
    """Tables of the instrument that were brought before, as the form carries them."""
    return {name: TableBeside(form.text(f"{name}_sha256"), form.text(f"{name}_name")) for name in BESIDE}


@dataclass(frozen=True)
class BandRow:
    """One level of one band as it would be taken in.

    Parameters
    ----------
    range : str
        Ends of the band.
    std : str
        Combined standard uncertainty [dB].
    parts : tuple of (str, str)
        What it is made of: in words, and standard uncertainty [dB].
    """

    band: str
    range: str
    place: str
    state: str
    kind: str
    value: str
    std: str
    parts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class BandOutcome:
    """What taking levels over frequency in would give."""

    rows: tuple[BandRow, ...]
    new_places: tuple[str, ...]
    remarks: tuple[str, ...]


def band_outcome(plan: SpectrumPlan, survey: Survey, language: str) -> BandOutcome:
    """The outcome in words.

    Parameters
    ----------
    plan : SpectrumPlan
        What was tried.
    survey : Survey
        Names places and radio states.
    language : str
        Such as ``de``.
    """
    places = {place.id: place.name for place in (*survey.places, *plan.new_places)}
    states = {state.id: state.name for visit in survey.visits for state in visit.radio_states}
    rows = tuple(_row(one, places, states, Show(language)) for one in plan.bands)
    return BandOutcome(rows, tuple(place.name for place in plan.new_places), plan.remarks)


def _row(one: BandReading, places: Mapping[str, str], states: Mapping[str, str], show: Show) -> BandRow:
    value, bound = show.density(one.reading.value_w_m2, 6), BOUND_WORDS.get(one.reading.censoring, "")
    ends = [numbers_for(show.language).frequency(end) for end in (one.band.low_hz, one.band.high_hz)]
    return BandRow(
        one.band.name,
        " – ".join(ends),
        places.get(one.reading.place_id, ""),
        states.get(one.reading.radio_state_id, ""),
        KIND_WORDS[one.reading.kind],
        say(show.language, bound, level=value) if one.reading.censoring is not Censoring.NONE else value,
        show.number(one.meter.calibration[0].std_db, 3),
        tuple((PART_WORDS[part.name], show.number(part.std_db, 3)) for part in one.budget),
    )
