"""From a reading to an uncertain level."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from roomfield.errors import InputError
from roomfield.instrument.accessory import reading_in_front
from roomfield.instrument.calibration import correction
from roomfield.instrument.checks import meter_chart
from roomfield.instrument.floor import bounded_value, floor_noise, pulse_response_db
from roomfield.instrument.pickup import shortfall
from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, Kind, UncertainLevel
from roomfield.survey import ListenedScan, Meter, Orientation, Reading, Scan

BODY_DISTANCE_M = 0.3
"""Meters of this class are held at least 30 cm from the body (common practice, no source)."""
BODY_HALF_WIDTH_DB = 1.0
"""Influence of body and operator (line of our own example budget; no standard's table)."""
BODY_TOO_NEAR_HALF_WIDTH_DB = 3.0
"""The same when it was held nearer; our judgement, no source."""
DISPLAY_HALF_WIDTH_DB = 0.05
"""Three significant digits (own arithmetic)."""
OVERDUE_STD_DB = 1.0
"""Added when the calibration is overdue; our judgement, no source."""
LEAST_PULSE_CORRECTION_DB, LARGEST_PULSE_CORRECTION_DB = 0.1, 3.0
"""Shortfalls of short pulses below the first are left alone, above the second they are told; our judgement."""
DRIFT_FLAG, OVERDUE_FLAG, FLOOR_FLAG, OVERLOAD_FLAG, PULSE_FLAG = (
    "meter_drifting",
    "calibration_overdue",
    "floor",
    "overload",
    "short_pulses",
)


@dataclass(frozen=True)
class MeteredLevel:
    """What one reading is worth.

    Parameters
    ----------
    reading : Reading
        As observed.
    level : UncertainLevel
        Total power density at the largest spot of the scan (peak, highest held) or its mean (average).
    flags : tuple of str
        What a reader must know: floor, overload, overdue calibration, drifting meter.
    """

    reading: Reading
    level: UncertainLevel
    flags: tuple[str, ...]


@dataclass(frozen=True)
class _Treatment:
    offset_db: float
    contributions: tuple[ErrorContribution, ...]
    flags: tuple[str, ...]


@lru_cache(maxsize=1024)
def _treatment(
    meter: Meter,
    kind: Kind,
    orientation: Orientation,
    scan: Scan,
    listened: ListenedScan | None,
    frequency_hz: float | None,
    on_date: str,
) -> _Treatment:
    gain = correction(meter, frequency_hz)
    missed = shortfall(meter, kind, orientation, scan, listened)
    contributions = [
        gain.contribution,
        missed.contribution,
        ErrorContribution.from_half_width("display", DISPLAY_HALF_WIDTH_DB),
    ]
    flags = []
    if _overdue(meter, on_date):
        contributions.append(
            ErrorContribution("overdue_calibration", OVERDUE_STD_DB, ErrorShape.NORMAL, f"{meter.id}/overdue")
        )
        flags.append(OVERDUE_FLAG)
    chart = meter_chart(meter)
    if chart is not None and chart.drifting:
        drift = max(abs(v - chart.centre_db) for v in chart.values_db)
        contributions.append(
            ErrorContribution("meter_drift", drift / 3**0.5, ErrorShape.RECTANGULAR, f"{meter.id}/drift")
        )
        flags.append(DRIFT_FLAG)
    kept = tuple(c for c in contributions if c.std_db > 0.0)
    return _Treatment(gain.offset_db + missed.middle_db, kept, tuple(flags))


def _overdue(meter: Meter, on_date: str) -> bool:
    if not (meter.calibration_due and on_date):
        return False
    return _day(on_date, "the visit") > _day(meter.calibration_due, f"meter {meter.name}")


def _day(text: str, where: str) -> date:
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        raise InputError(f"{text!r} is no date.", where=where, mend="Write it as 2026-03-14.") from None


def to_level(
    reading: Reading,
    meter: Meter,
    *,
    frequency_hz: float | None = None,
    on_date: str = "",
    pulse_s: float | None = None,
) -> MeteredLevel:
    """What a reading is worth: corrected level, shared and independent errors, censoring.

    Parameters
    ----------
    reading : Reading
        As written down.
    meter : Meter
        That took it.
    frequency_hz : float, optional
        Frequency of what dominates it [Hz]; None for a total over an unknown mix.
    on_date : str
        Date of the visit, ISO 8601, to judge whether the calibration was overdue.
    pulse_s : float, optional
        Shortest pulse that may have been received [s]: a detector too slow for it shows less. Up to
        `LARGEST_PULSE_CORRECTION_DB` that is corrected for, beyond it is flagged.

    Notes
    -----
    The gain error is shared by all readings of one meter in one band; repeatability is shared by the kinds
    read in one scan; the rest is independent. The level of a peak or highest-held reading is that of the largest
    spot in the scanned volume, not a mean over the body.
    """
    kind = reading.kind
    treatment = _treatment(
        meter, kind, reading.orientation, reading.scan, reading.listened, frequency_hz, on_date or reading.taken_at
    )
    value, pulses = bounded_value(reading, meter), _short_pulses(meter, kind, pulse_s)
    added = [
        ErrorContribution("repeatability", meter.figures.repeatability_db, ErrorShape.NORMAL, scan_key(reading)),
        _body(reading, meter),
        *pulses.contributions,
    ]
    flags = [*treatment.flags, *pulses.flags]
    if value.censoring is Censoring.NONE:
        added.append(floor_noise(reading.value_w_m2, meter))
    else:
        flags.append(FLOOR_FLAG if value.censoring is Censoring.BELOW else OVERLOAD_FLAG)
    front = reading_in_front(reading, meter, frequency_hz)
    # The bounded value has been referred to the antenna by the middle of what stands in front.
    moved_db = reading_in_front(reading, meter).change_db - front.change_db
    if front.contribution is not None:
        added.append(front.contribution)
    level = UncertainLevel.from_density(
        kind, value.density_w_m2, (*treatment.contributions, *added), value.censoring
    ).shifted(treatment.offset_db + pulses.offset_db + moved_db)
    return MeteredLevel(reading, level, tuple(flags))


def _body(reading: Reading, meter: Meter) -> ErrorContribution:
    held_m = meter.figures.body_distance_m if reading.body_distance_m is None else reading.body_distance_m
    near = held_m < BODY_DISTANCE_M
    return ErrorContribution.from_half_width("body", BODY_TOO_NEAR_HALF_WIDTH_DB if near else BODY_HALF_WIDTH_DB)


@lru_cache(maxsize=256)
def _short_pulses(meter: Meter, kind: Kind, pulse_s: float | None) -> _Treatment:
    """What a detector may miss of the shortest pulse: anything from nothing to its whole shortfall."""
    if pulse_s is None or not kind.instantaneous:
        return _Treatment(0.0, (), ())
    missed_db = pulse_response_db(pulse_s, meter.figures.response_s)
    if missed_db < LEAST_PULSE_CORRECTION_DB:
        return _Treatment(0.0, (), ())
    if missed_db > LARGEST_PULSE_CORRECTION_DB:
        return _Treatment(0.0, (), (PULSE_FLAG,))
    half = missed_db / 2.0
    return _Treatment(half, (ErrorContribution.from_half_width("pulse_response", half),), ())


def scan_key(reading: Reading) -> str:
    """Name of the error that the kinds read in one scan have in common."""
    where = reading.place_id or str(reading.position)
    return f"scan/{reading.visit_id}/{reading.meter_id}/{reading.radio_state_id}/{where}/{reading.replicate}"
