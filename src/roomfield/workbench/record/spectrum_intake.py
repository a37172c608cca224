"""Levels by band from a second, frequency-selective instrument: a trace or a table of bands becomes readings.

Each band becomes a meter of the record with a budget of its own, named after the instrument, so that the inference and
every comparison know which frequencies a reading is of.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from roomfield.errors import InputError, UnknownNameError
from roomfield.exchange.names import KINDS, plain, states_of
from roomfield.exchange.places import PlaceTable
from roomfield.exchange.spectrum_table import (
    NamedBand,
    SpectrumValue,
    read_bands,
    read_factors,
    read_spectrum,
    refuse_overlap,
)
from roomfield.instrument.receiving_chain import ACCURACY_DB, ReceivingChain
from roomfield.quantities import Censoring, ErrorContribution, Kind
from roomfield.quantities.contribution import combined_std_db
from roomfield.quantities.receiver import power_in_band
from roomfield.references.catalogue import service_bands
from roomfield.survey import CalibrationPoint, Meter, Orientation, Origin, Place, Reading, Scan, Survey
from roomfield.survey.soundness import refuse_unsound
from roomfield.table_files.cells import CellFault
from roomfield.table_files.column_mapping import ColumnMapping
from roomfield.table_files.spectrum_scheme import FREQUENCY_UNITS, INPUT_UNITS, SPECTRUM
from roomfield.workbench.record.editing import with_meter
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.readings_intake import Corrections, guessed, kept_as_received
from roomfield.workbench.record.setting_up import revised
from roomfield.workbench.record.visit_choice import visit_asked_or_only

LEAST_POINTS = 3
"""Points of a trace that a band needs."""
AVERAGINGS = ("power", "log")
_TOLD = 0.01
_MAXIMA = (Kind.PEAK, Kind.HIGHEST_HELD)


@dataclass(frozen=True)
class Instrument:
    """The frequency-selective instrument, as far as its table does not say it.

    Parameters
    ----------
    name : str
        What it is called; its bands are named after it.
    axes : int
        Of its antenna: 1, or 3 for an isotropic one.
    accuracy_db : float or None
        As its maker states it, plus or minus [dB]; None if nobody knows.
    resolution_bandwidth_hz, noise_bandwidth : float or None
        Of its filter: width at -3 dB [Hz], and noise bandwidth over that [1].
    averaging : str
        ``power`` (RMS), or ``log`` where decibels were averaged.
    antenna, cable, bands : str or Path
        Tables: factors (dB/m) or gains (dBi), losses (dB), and bands that a trace is parted into; empty for none, for
        the bands those of services in Europe.
    floor : float or None
        What its own noise shows at each point, or in each band, in the unit of the levels.
    """

    name: str = "Analyser"
    axes: int = 1
    accuracy_db: float | None = None
    resolution_bandwidth_hz: float | None = None
    noise_bandwidth: float | None = None
    averaging: str = "power"
    antenna: str | Path = ""
    cable: str | Path = ""
    bands: str | Path = ""
    floor: float | None = None


@dataclass(frozen=True)
class SpectrumCircumstances:
    """What a table of levels over frequency does not say of where and how it was taken.

    Parameters
    ----------
    place : str
        Name or id, where the table has no column for it.
    kind : Kind or None
        Of levels whose column does not say it.
    visit_id, state_id : str
        Visit and radio state; empty means the only one there is.
    taken_at : str
        ISO 8601; empty if not noted.
    fixed : bool
        True if the antenna stood still; False for a scan about the place.
    make_places : bool
        True to make a place for a name that is not known yet.
    """

    place: str = ""
    kind: Kind | None = None
    visit_id: str = ""
    state_id: str = ""
    taken_at: str = ""
    fixed: bool = False
    make_places: bool = False


@dataclass(frozen=True)
class BandReading:
    """One level of one band, before it is stored.

    Parameters
    ----------
    band : NamedBand
        Which.
    meter : Meter
        The instrument in this band.
    reading : Reading
        As it goes into the record.
    budget : tuple of ErrorContribution
        What the standard uncertainty of the meter in this band is made of.
    """

    band: NamedBand
    meter: Meter
    reading: Reading
    budget: tuple[ErrorContribution, ...]


@dataclass(frozen=True)
class SpectrumPlan:
    """What a table of levels over frequency adds to the record.

    Parameters
    ----------
    bands : tuple of BandReading
        By place, radio state, kind and frequency.
    new_places : tuple of Place
        Made for names that were not known.
    remarks : tuple of str
        What the user should know, one sentence each.
    """

    bands: tuple[BandReading, ...]
    new_places: tuple[Place, ...] = ()
    remarks: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """As plain values; SI units."""
        return {
            "bands": [
                {
                    "meter": one.meter.id,
                    "name": one.meter.name,
                    "low_hz": one.band.low_hz,
                    "high_hz": one.band.high_hz,
                    "place": one.reading.place_id,
                    "radio_state": one.reading.radio_state_id,
                    "kind": one.reading.kind.value,
                    "value_w_m2": one.reading.value_w_m2,
                    "censoring": one.reading.censoring.value,
                    "std_db": one.meter.calibration[0].std_db,
                    "budget": [{"name": part.name, "std_db": part.std_db} for part in one.budget],
                }
                for one in self.bands
            ],
            "new_places": [{"name": p.name, "use": p.kind.value} for p in self.new_places],
            "remarks": list(self.remarks),
        }


def guessed_spectrum(path: str | Path, corrections: Corrections | None = None) -> ColumnMapping:
    """How a table of levels over frequency is most likely to be read, with the user's corrections.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX: a trace (frequency and levels), or levels by band (lower and upper end and levels).
    corrections : Corrections, optional
        Columns such as ``Trace 1=highest_held[dBm]``, decimal sign, sheet.

    Raises
    ------
    InputError
        If the file cannot be read, or a correction is not understood.
    """
    return guessed(path, corrections, SPECTRUM)


def take_spectrum(
    job: Job,
    path: str | Path,
    mapping: ColumnMapping,
    instrument: Instrument,
    given: SpectrumCircumstances,
    *,
    confirmed: bool,
) -> SpectrumPlan:
    """Take a trace or levels by band into the record: all of it, or nothing.

    Parameters
    ----------
    job : Job
        A survey in a record.
    path : str or Path
        The file that the mapping was made from.
    mapping : ColumnMapping
        From `guessed_spectrum`.
    instrument : Instrument
        What took it.
    given : SpectrumCircumstances
        What the table does not say.
    confirmed : bool
        True once the user has seen the mapping and agreed.

    Raises
    ------
    RejectedRows
        With every faulty row; then nothing was stored.
    InputError
        If something is missing, or the file was taken in before.
    """
    if job.store is None:
        raise InputError("a survey document cannot take readings in.", mend="Unpack or make a record first.")
    if any(r.origin.file_sha256 == mapping.sha256 for r in job.survey.readings):
        raise InputError(
            "this very file was taken in before; twice the same readings would look like repeated scans.",
            where=Path(path).name,
            mend="Withdraw those readings first, or save the table under new content.",
        )
    plan = planned_spectrum(job.survey, path, mapping, instrument, given, confirmed=confirmed)
    meters = {one.meter.id: one.meter for one in plan.bands}
    readings = tuple(one.reading for one in plan.bands)

    def with_bands(survey: Survey) -> Survey:
        for meter in meters.values():
            survey = with_meter(survey, meter)
        return survey

    whole = with_bands(job.survey)
    refuse_unsound(
        replace(whole, readings=(*whole.readings, *readings), places=(*whole.places, *plan.new_places)), Path(path).name
    )
    revised(job, with_bands)
    job.store.append(job.survey.id, readings, new_places=plan.new_places, files=kept_as_received(job, path))
    return plan


def planned_spectrum(
    survey: Survey,
    path: str | Path,
    mapping: ColumnMapping,
    instrument: Instrument,
    given: SpectrumCircumstances,
    *,
    confirmed: bool,
) -> SpectrumPlan:
    """What taking a table in would add; nothing is stored; parameters and errors as `take_spectrum`.

    Parameters
    ----------
    survey : Survey
        The record.
    """
    values = read_spectrum(Path(path), mapping, confirmed=confirmed)
    chain = _chain(instrument)
    spots = _Spots(survey, given, mapping)
    of_trace = all(value.low_hz == value.high_hz for value in values)
    levels = list(_of_trace(values, instrument, chain, spots) if of_trace else _of_bands(values, chain, spots))
    if not levels:
        raise InputError(
            f"no band has {LEAST_POINTS} points in it or lies wholly within the trace.",
            where=mapping.file_name,
            mend="Give bands that the trace covers: --bands FILE.",
        )
    found = tuple(_reading(one, instrument, chain, mapping, spots, of_trace) for one in levels)
    remarks = (*_remarks(values, instrument, of_trace), *spots.remarks)
    return SpectrumPlan(found, tuple(spots.places.made), remarks)


@dataclass(frozen=True)
class _BandLevel:
    """One level of a band [W/m²], with the line that it came from; ``floor_w_m2`` is what noise alone would show."""

    band: NamedBand
    place_id: str
    state_id: str
    kind: Kind
    density_w_m2: float
    censoring: Censoring
    at_input: bool
    line: int
    note: str
    floor_w_m2: float | None


_Spot = tuple[str, str, Kind]


class _Spots:
    """Where, in which radio state and of which kind each value is."""

    def __init__(self, survey: Survey, given: SpectrumCircumstances, mapping: ColumnMapping) -> None:
        # The instrument's own meters are made by the intake, so that none has to be there.
        visit = visit_asked_or_only(survey, given.visit_id)
        self.survey, self.given, self.visit_id = survey, given, visit.id
        self.places = PlaceTable(survey, given.make_places)
        self.remarks: list[str] = []
        self._where = mapping.file_name
        self._states = states_of(survey, visit.id)
        only = [state.id for state in visit.radio_states]
        self._state = only[0] if len(only) == 1 else ""

    def of(self, value: SpectrumValue) -> _Spot:
        """Place, radio state and kind of a value.

        Raises
        ------
        InputError
            If the table does not say one of them and neither does the user.
        """
        place, kind = value.place or self.given.place, value.kind or self.given.kind
        if not place:
            raise self._missing("at which place the levels were read", "--at Bed")
        if kind is None:
            raise self._missing("whether its levels are peak, highest held or average", "--kind highest_held")
        named = value.state or self.given.state_id
        state = self._found(self._states.find, named, value, "Correct the name, or enter the radio state first.")
        place_id = self._found(self._place, place, value, "Correct the name, or say --make-places.")
        if not (state := state or self._state):
            raise self._missing("which radio state its rows belong to", "--state")
        return place_id, state, kind

    def _place(self, name: str) -> str:
        return self.places.find(name, "", "")

    def _found(self, find: Callable[[str], str], name: str, value: SpectrumValue, mend: str) -> str:
        """The id of what is named; empty if nothing is."""
        try:
            return find(name) if name else ""
        except CellFault as fault:
            raise InputError(f"{fault}.", where=f"{self._where}, line {value.line}", mend=mend) from None

    def _missing(self, what: str, option: str) -> InputError:
        return InputError(f"the table does not say {what}.", where=self._where, mend=f"Say it: {option}.")


def _chain(instrument: Instrument) -> ReceivingChain:
    if instrument.averaging not in AVERAGINGS:
        raise InputError(
            f"{instrument.averaging!r} is no way of averaging.", where="averaging", mend="Say power (RMS) or log."
        )
    return ReceivingChain(
        read_factors(Path(instrument.antenna)) if instrument.antenna else None,
        read_factors(Path(instrument.cable)) if instrument.cable else None,
        instrument.accuracy_db,
        instrument.resolution_bandwidth_hz,
        instrument.noise_bandwidth,
        instrument.averaging == "log",
    )


def _of_bands(values: Sequence[SpectrumValue], chain: ReceivingChain, spots: _Spots) -> Iterator[_BandLevel]:
    """Levels that the instrument added up itself."""
    seen: dict[_Spot, dict[NamedBand, int]] = defaultdict(dict)
    for value in values:
        spot = spots.of(value)
        band = NamedBand(value.band or _usual_name(value.low_hz, value.high_hz), value.low_hz, value.high_hz)
        if band in seen[spot]:
            raise InputError(
                f"lines {seen[spot][band]} and {value.line} hold the same band, place and kind.",
                mend="Keep one of them, or take them in as tables of their own.",
            )
        seen[spot][band] = value.line
        middle = (band.low_hz * band.high_hz) ** 0.5
        added = (value.factor_db or 0.0) + (value.loss_db or 0.0)
        density = float(chain.density_w_m2(value.amount.number or 0.0, value.unit, middle, added))
        density *= 10.0 ** (chain.offset_db / 10.0)
        yield _BandLevel(band, *spot, density, value.amount.censoring, value.unit in INPUT_UNITS, value.line, "", None)
    for found in seen.values():
        refuse_overlap(sorted(found, key=lambda band: band.low_hz), spots.survey.title)


def _usual_name(low_hz: float, high_hz: float) -> str:
    """What a band is called that a table does not name: by the service, if it is that of one."""
    middle = (low_hz * high_hz) ** 0.5
    known = [
        b for b in service_bands() if b.low_hz <= middle <= b.high_hz and high_hz - low_hz < 2 * (b.high_hz - b.low_hz)
    ]
    return known[0].name if len(known) == 1 else f"{low_hz / 1e6:g}-{high_hz / 1e6:g} MHz"


def _of_trace(
    values: Sequence[SpectrumValue], instrument: Instrument, chain: ReceivingChain, spots: _Spots
) -> Iterator[_BandLevel]:
    """Bands added up from the points of each trace."""
    traces: dict[_Spot, list[SpectrumValue]] = defaultdict(list)
    for value in values:
        if value.amount.censoring is not Censoring.NONE:
            raise InputError(
                f"line {value.line} holds a bound; a trace is added up from its points.",
                mend="Write the trace as it was shown, and its noise with --floor.",
            )
        traces[spots.of(value)].append(value)
    bands = _asked_bands(instrument)
    for spot, points in traces.items():
        points.sort(key=lambda value: value.low_hz)
        yield from _bands_of(spot, points, bands, instrument, chain, spots)


def _asked_bands(instrument: Instrument) -> tuple[NamedBand, ...]:
    if instrument.bands:
        return read_bands(Path(instrument.bands))
    return tuple(NamedBand(band.name, band.low_hz, band.high_hz) for band in service_bands())


def _bands_of(
    spot: _Spot, points: Sequence[SpectrumValue], bands: Sequence[NamedBand], instrument: Instrument,
    chain: ReceivingChain, spots: _Spots,
) -> Iterator[_BandLevel]:  # fmt: skip
    f = np.array([value.low_hz for value in points])
    twice = np.flatnonzero(np.diff(f) <= 0.0)
    if len(twice):
        raise InputError(
            f"lines {points[int(twice[0])].line} and {points[int(twice[0]) + 1].line} hold the same frequency.",
            mend="Keep one trace of a kind and place in the table.",
        )
    units = {value.unit for value in points}
    if len(units) > 1:
        raise InputError(f"one trace is in {len(units)} units.", mend="Write it in one.")
    unit = units.pop()
    added = np.array([(value.factor_db or 0.0) + (value.loss_db or 0.0) for value in points])
    shown = np.array([value.amount.number for value in points])
    density = chain.density_w_m2(shown, unit, f, added) * 10.0 ** (chain.offset_db / 10.0)
    noise = None
    if instrument.floor is not None:
        noise = chain.density_w_m2(np.full(len(f), instrument.floor), unit, f, added)
    width, step = chain.noise_bandwidth_hz, float(np.median(np.diff(f))) if len(f) > 1 else 0.0
    used = 0.0
    for band in bands:
        within = int(np.count_nonzero((f >= band.low_hz) & (f <= band.high_hz)))
        covered = f[0] - step <= band.low_hz and band.high_hz <= f[-1] + step
        if within < LEAST_POINTS or not covered:
            continue
        level = power_in_band(f, density, band.low_hz, band.high_hz, width)
        floor = None if noise is None else power_in_band(f, noise, band.low_hz, band.high_hz, width)
        used += level
        note = f"{within} points, {step / 1e3:g} kHz apart, noise bandwidth {width / 1e3:.4g} kHz"
        yield _BandLevel(band, *spot, level, Censoring.NONE, unit in INPUT_UNITS, points[0].line, note, floor)
    whole = power_in_band(f, density, f[0] - step, f[-1] + step, width)
    if used and (whole - used) / whole >= _TOLD:
        spots.remarks.append(f"{100.0 * (whole - used) / whole:.0f} % of the trace's power lies outside these bands.")
    if instrument.resolution_bandwidth_hz and step > instrument.resolution_bandwidth_hz:
        spots.remarks.append(
            f"The points of the trace are {step / 1e3:g} kHz apart, wider than the resolution bandwidth: a carrier "
            "between two of them may be missing."
        )


def _reading(
    one: _BandLevel,
    instrument: Instrument,
    chain: ReceivingChain,
    mapping: ColumnMapping,
    spots: _Spots,
    of_trace: bool,
) -> BandReading:
    middle = (one.band.low_hz * one.band.high_hz) ** 0.5
    budget = chain.budget(middle, at_input=one.at_input, of_trace=of_trace)
    meter = _meter(one, instrument, budget, middle)
    identity = f"{mapping.sha256}/{one.place_id}/{one.state_id}/{one.band}/{one.kind.value}"
    reading = Reading(
        id=f"{mapping.sha256[:16]}-{hashlib.sha256(identity.encode()).hexdigest()[:12]}",
        visit_id=spots.visit_id,
        meter_id=meter.id,
        radio_state_id=one.state_id,
        kind=one.kind,
        value_w_m2=one.density_w_m2,
        place_id=one.place_id,
        censoring=one.censoring,
        orientation=Orientation.THREE_AXIS_SUM if instrument.axes == 3 else Orientation.BEST_AXIS,
        scan=Scan.FIXED if spots.given.fixed else Scan.HAND_SCAN,
        taken_at=spots.given.taken_at,
        note=one.note,
        origin=Origin(mapping.file_name, mapping.sha256, one.line),
    )
    return BandReading(one.band, meter, reading, budget)


def _meter(one: _BandLevel, instrument: Instrument, budget: Sequence[ErrorContribution], middle_hz: float) -> Meter:
    """The instrument in one band: its own budget as the certificate at the middle of the band."""
    std = combined_std_db(tuple(budget))
    parts = ", ".join(f"{part.name.replace('_', ' ')} {part.std_db:.2f} dB" for part in budget)
    told = f"{instrument.name}/{one.band}/{instrument.axes}/{parts}/{one.floor_w_m2}"
    return Meter(
        id=f"band-{hashlib.sha256(told.encode()).hexdigest()[:10]}",
        name=f"{instrument.name}, {one.band.name}",
        band_low_hz=one.band.low_hz,
        band_high_hz=one.band.high_hz,
        tolerance_db=round(std * 3.0**0.5, 3),
        floor_w_m2=one.floor_w_m2,
        pickup_axes=instrument.axes,
        calibration=(CalibrationPoint(middle_hz, 0.0, round(std, 4)),),
        note=parts,
    )


def _remarks(values: Sequence[SpectrumValue], instrument: Instrument, of_trace: bool) -> Iterator[str]:
    if instrument.accuracy_db is None:
        yield f"The instrument's accuracy is not stated; ±{ACCURACY_DB:g} dB are taken."
    if of_trace and instrument.floor is None:
        yield "The instrument's own noise is not stated, so that a band without signal holds what its noise shows."
    if of_trace and any((value.kind or Kind.AVERAGE) in _MAXIMA for value in values):
        yield "Maxima of single points need not be of one moment: their sum over a band is on the safe side."


def kind_asked(text: str) -> Kind | None:
    """The kind of level that a word names; None for an empty one.

    Parameters
    ----------
    text : str
        Such as ``highest_held`` or ``max hold``.

    Raises
    ------
    UnknownNameError
        If it names none.
    """
    if not text:
        return None
    found = KINDS.get(plain(text))
    if found is None:
        raise UnknownNameError("kind of level", text, [kind.value for kind in Kind])
    return found


def hertz(text: str) -> float:
    """A frequency or bandwidth as it is typed, such as ``100kHz`` or ``1 MHz``, in Hz.

    Parameters
    ----------
    text : str
        A number with its unit.

    Raises
    ------
    InputError
        If it is none.
    """
    written = text.strip().replace(",", ".")
    unit = next((one for one in sorted(FREQUENCY_UNITS, key=len, reverse=True)
                 if plain(written).endswith(one.casefold())), "")  # fmt: skip
    try:
        found = float(written[: len(written) - len(unit)]) * FREQUENCY_UNITS[unit]
    except (ValueError, KeyError):
        found = 0.0
    if not found > 0.0 or not np.isfinite(found):
        raise InputError(f"{text[:40]!r} is no bandwidth.", where="bandwidth", mend="Write it as 100kHz or 1MHz.")
    return found
