"""What must be in a record before readings make sense: meter, transmitters, radio states, visits."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from roomfield.errors import InputError, RangeError, UnknownNameError
from roomfield.references.technologies import technologies
from roomfield.survey import (
    AccessoryPoint,
    Activity,
    BandZone,
    CalibrationPoint,
    Control,
    Emitter,
    Meter,
    Person,
    RadioState,
    ReferenceCheck,
    SelfTest,
    StateActivity,
    Stay,
    Survey,
    Visit,
    VisitPurpose,
)
from roomfield.survey.values import refuse_impossible
from roomfield.workbench.record.editing import new_id, now, with_meter, with_radio_state, with_visit
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.meters import (
    MeterStanding,
    meter_standing,
    with_accessory,
    with_certificate_row,
    with_check,
    with_self_test,
    with_zone,
)
from roomfield.workbench.record.survey_list import revise
from roomfield.workbench.record.thing_fields import FIELDS, field_value
from roomfield.workbench.record.visit_choice import visit_asked_or_only

MOST_NAME = 120
AIMS_W_M2 = (1e-9, 10.0)
"""Aims that can be meant, from far under any guideline to the legal limits for the public [W/m²]."""


def put_meter(
    job: Job,
    meter_id: str,
    *,
    certificate_rows: Sequence[tuple[float, float, float]] = (),
    zones: Sequence[tuple[float, float, float]] = (),
    **figures: object,
) -> Meter:
    """Enter a meter, or correct the figures of one that is there.

    Parameters
    ----------
    job : Job
        A survey in a record.
    meter_id : str
        Which meter; the first one if empty, a new one if it is not there.
    certificate_rows : sequence of (float, float, float)
        Frequency [Hz], correction and its standard uncertainty [dB].
    zones : sequence of (float, float, float)
        Ends [Hz] and tolerance, plus or minus [dB].
    **figures
        Fields of `Meter` to set, in SI units; None leaves a field as it is.

    Raises
    ------
    InputError
        If the figures cannot be.
    """
    meters = {m.id: m for m in job.survey.meters}
    wanted = meter_id or next(iter(meters), "meter-1")
    before = meters.get(wanted, Meter(wanted, wanted))
    given = {name: value for name, value in figures.items() if value is not None}
    meter = replace(before, **given)  # type: ignore[arg-type]
    if meter.calibration_due and not _is_date(meter.calibration_due):
        raise InputError(f"{meter.calibration_due!r} is no date.", where=meter.name, mend="Write it as 2027-06-01.")
    if not (given or certificate_rows or zones):
        return meter
    _named(meter.name, "meter")

    def change(survey: Survey) -> Survey:
        survey = with_meter(survey, meter)
        for row in certificate_rows:
            survey = with_certificate_row(survey, meter.id, CalibrationPoint(*row))
        for zone in zones:
            survey = with_zone(survey, meter.id, BandZone(*zone))
        return survey

    _revise(job, change)
    return job.again().survey.meter(meter.id)


def add_check(
    job: Job, meter_id: str, *, source: str, deviation_db: float, at: str = "", note: str = ""
) -> MeterStanding:
    """Keep a check of a meter at a reference source; answers how the meter stands after it.

    Raises
    ------
    InputError
        If a figure cannot be, or the source has no name.
    """
    chosen = _meter_id(job, meter_id)
    check = ReferenceCheck(at or now(), _named(source, "reference source"), deviation_db, note)
    _revise(job, lambda survey: with_check(survey, chosen, check))
    return meter_standing(job.again().survey, chosen)


def add_self_test(
    job: Job, meter_id: str, *, at: str = "", passed: bool | None = None, battery: str = "", note: str = ""
) -> MeterStanding:
    """Keep a meter's own test, or a look at its battery; answers how the meter stands after it."""
    chosen, test = _meter_id(job, meter_id), SelfTest(at or now(), passed, battery, note)
    _revise(job, lambda survey: with_self_test(survey, chosen, test))
    return meter_standing(job.again().survey, chosen)


def add_accessory(
    job: Job,
    meter_id: str,
    name: str,
    kind: str,
    rows: Sequence[tuple[float, float, float]],
    accessory_id: str = "",
) -> MeterStanding:
    """Enter what may stand in front of a meter; errors as `roomfield.workbench.record.meters.with_accessory`.

    Parameters
    ----------
    rows : sequence of (float, float, float)
        Frequency [Hz], how much more the meter shows, and the standard uncertainty of that [dB].
    """
    chosen, points = _meter_id(job, meter_id), tuple(AccessoryPoint(*row) for row in rows)
    clean = _named(name, "accessory")
    _revise(job, lambda survey: with_accessory(survey, chosen, clean, kind, points, accessory_id))
    return meter_standing(job.again().survey, chosen)


def _meter_id(job: Job, meter_id: str) -> str:
    """The meter named, or the first one."""
    return job.survey.meter(meter_id or next((m.id for m in job.survey.meters), "")).id


def put_aim(job: Job, aim_w_m2: float | None) -> None:
    """Write down what the client wants not to be exceeded where people sleep.

    Parameters
    ----------
    aim_w_m2 : float or None
        Power density [W/m²]; None for the usual aim of the guideline, the upper edge of its second category.

    Raises
    ------
    RangeError
        If it cannot be.
    """
    value = None if aim_w_m2 is None else checked_aim(aim_w_m2)
    _revise(job, lambda survey: replace(survey, assignment=replace(survey.assignment, aim_w_m2=value)))


def checked_aim(aim_w_m2: float) -> float:
    """An aim as it was given.

    Raises
    ------
    RangeError
        If it is not above 0 and at most 10 W/m², where the legal limits of the public lie.
    """
    if not AIMS_W_M2[0] <= aim_w_m2 <= AIMS_W_M2[1]:
        raise RangeError(
            "the aim", aim_w_m2 * 1e6, (AIMS_W_M2[0] * 1e6, AIMS_W_M2[1] * 1e6), "µW/m²", mend="Give it in µW/m²."
        )
    return aim_w_m2


def add_transmitter(
    job: Job,
    name: str,
    *,
    technology: str = "",
    frequency_hz: float | None = None,
    switch: str = "",
    control: str = "client",
    outdoor: bool = False,
    details: Mapping[str, str] | None = None,
) -> Emitter:
    """Enter a transmitter.

    Parameters
    ----------
    name : str
        What it is called in the report.
    technology : str
        Key of the table of technologies; empty if not known.
    frequency_hz : float, optional
        Carrier frequency [Hz].
    switch : str
        Name of its switch; transmitters on one switch share it. Its own if empty.
    control : str
        Who decides about it: client, neighbour, utility, operator or unknown.
    details : mapping of str to str, optional
        More of it, as `thing_fields.FIELDS` names and reads it: position, bearing, eirp, duty; what is empty is not
        known.

    Raises
    ------
    UnknownNameError
        If technology or control are not in the tables.
    InputError
        If the name is empty or already there.
    """
    clean = _named(name, "transmitter")
    known = [one.name for one in technologies()]
    if technology and technology not in known:
        raise UnknownNameError("technology", technology, known)
    if control not in set(Control):
        raise UnknownNameError("control", control, [c.value for c in Control])
    if frequency_hz is not None and not 1e3 <= frequency_hz <= 3e12:
        raise RangeError("frequency", frequency_hz, (1e3, 3e12), "Hz", mend="Give it in MHz.")
    if clean in {e.name for e in job.survey.emitters}:
        raise InputError(f"there is a transmitter named {clean!r} already.", mend="Give it another name.")
    made = Emitter(
        new_id("source"),
        clean,
        technology,
        frequency_hz,
        outdoor=outdoor,
        switch_group=switch,
        switchable=not outdoor,
        control=Control(control),
    )
    for field, text in (details or {}).items():
        if text:
            made = replace(made, **field_value(job.survey, made, FIELDS["transmitter"], f"{field}={text}"))
    refuse_impossible(made, "transmitter")
    _revise(job, lambda survey: replace(survey, emitters=(*survey.emitters, made)))
    return made


def add_radio_state(
    job: Job, name: str, off: Sequence[str], visit_id: str = "", *, doing: Sequence[str] = ()
) -> RadioState:
    """Enter a radio state of a visit: which switches are off in it.

    Parameters
    ----------
    off : sequence of str
        Names of transmitters or of switches.
    doing : sequence of str
        What others do, each as ``name=activity``: silent, idle, in_use or forced.
    visit_id : str
        The visit; may be left out if there is only one.

    Raises
    ------
    UnknownNameError
        If there is no such transmitter, switch or visit.
    """
    survey = job.survey
    groups = {e.group for e in survey.emitters}
    named = {e.name: e.group for e in survey.emitters}
    wanted = [one if one in groups else named.get(one, "") for one in off]
    if "" in wanted:
        raise UnknownNameError("transmitter or switch", off[wanted.index("")], [*named, *groups])
    visit = visit_asked_or_only(survey, visit_id)
    _named(name, "radio state")
    activities = tuple(_activity(text, {*named, *groups}, named) for text in doing)
    _revise(job, lambda one: with_radio_state(one, visit.id, name, tuple(dict.fromkeys(wanted)), activities))
    states = job.again().survey.visit(visit.id).radio_states
    return next(s for s in reversed(states) if s.name == name.strip()[:MOST_NAME])


def _activity(text: str, known: set[str], named: dict[str, str]) -> StateActivity:
    name, _, activity = text.rpartition("=")
    if name not in known:
        raise UnknownNameError("transmitter or switch", name, known)
    if activity not in set(Activity):
        raise UnknownNameError("activity", activity, [a.value for a in Activity])
    return StateActivity(named.get(name, name), Activity(activity))


def add_visit(job: Job, *, follow_up: bool, conditions: str = "", started_at: str = "", ended_at: str = "") -> Visit:
    """Enter one more visit, in the radio states of the one before.

    Parameters
    ----------
    follow_up : bool
        True if work was done since.
    started_at, ended_at : str
        ISO 8601 with the time of day; it starts now if left out.
    """
    purpose = VisitPurpose.FOLLOW_UP if follow_up else VisitPurpose.FIRST
    _revise(job, lambda survey: with_visit(survey, purpose, conditions, started_at, ended_at))
    return job.again().survey.visits[-1]


def put_person(job: Job, name: str, stays: Sequence[str]) -> Person:
    """Enter somebody's usual day, in the place of one of the same name.

    Parameters
    ----------
    stays : sequence of str
        Each as ``place=22-6.5``, hours by the local clock; ``=8-17`` for somewhere that was not measured.

    Raises
    ------
    InputError
        If a stay is no such text, or stays overlap.
    UnknownNameError
        If there is no such place.
    """
    clean, survey = _named(name, "person"), job.survey
    known = {p.name: p.id for p in survey.places} | {p.id: p.id for p in survey.places}
    found = tuple(_stay(text, known) for text in stays)
    if sum(stay.hours for stay in found) > 24.0 + 1e-9:
        raise InputError("the stays come to more than 24 hours.", where=clean, mend="Let them follow each other.")
    before = next((p.id for p in survey.people if p.name == clean), "")
    person = Person(before or new_id("person"), clean, found)
    kept = tuple(p for p in survey.people if p.id != person.id)
    _revise(job, lambda one: replace(one, people=(*kept, person)))
    return person


def _stay(text: str, known: dict[str, str]) -> Stay:
    place, _, hours = text.rpartition("=")
    clock = r"(\d{1,2})(?::(\d{2})|[.,](\d+))?"
    parts = re.fullmatch(rf"{clock}\s*-\s*{clock}", hours.strip())
    if parts is None:
        raise InputError(f"{text!r} is no stay.", where="stay", mend="Write it as 'Bed=22-6:30'.")
    if place and place not in known:
        raise UnknownNameError("place", place, known)
    stay = Stay(known.get(place, ""), _hour(*parts.groups()[:3]), _hour(*parts.groups()[3:]))
    refuse_impossible(stay, "stay")
    return stay


def _hour(whole: str, minutes: str | None, decimals: str | None) -> float:
    return int(whole) + (int(minutes) / 60.0 if minutes else 0.0) + (float(f"0.{decimals}") if decimals else 0.0)


def _is_date(text: str) -> bool:
    return len(text) == len("2026-03-14") and is_moment(text)


def is_moment(text: str) -> bool:
    """True for a date, or a date and time, as ISO 8601 writes them."""
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _named(name: str, what: str) -> str:
    clean = " ".join(name.split())
    if not clean or not clean.isprintable() or len(clean) > MOST_NAME:
        raise InputError(f"a {what} needs a name of 1 to {MOST_NAME} printable characters.", mend="Give it one.")
    return clean


def revised(job: Job, change: Callable[[Survey], Survey]) -> Job:
    """Change the survey of a record and open it again.

    Raises
    ------
    InputError
        If the survey lies in no record.
    """
    _revise(job, change)
    return job.again()


def _revise(job: Job, change: Callable[[Survey], Survey]) -> None:
    if job.store is None:
        raise InputError(
            "a survey document cannot be changed.", where=job.survey.title, mend="Unpack or make a record first."
        )
    revise(job.store, job.survey.id, change)
