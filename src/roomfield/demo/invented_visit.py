"""Simulated readings in the invented house: what an invented meter would have shown."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from roomfield.demo.truth import METER_ERROR_DB, Truth
from roomfield.quantities.kind import Kind
from roomfield.survey import (
    BandZone,
    CalibrationPoint,
    Censoring,
    Meter,
    RadioState,
    Reading,
    ReferenceCheck,
    SelfTest,
    Visit,
    VisitPurpose,
)

Array = NDArray[np.float64]

METER_ID = "demo-meter"
_SCAN_GAIN_DB = (4.3, 1.0)
"""Largest value of a scan over the local mean, mean and spread [dB]: the middle of 1.4 to 7.1 dB that our
simulation of 40 waves in a 0.5 m cube gives."""
_ONE_AXIS_MISSES_DB = (0.2, 4.0)
"""What a mean along one axis misses of the total [dB], from the same simulation."""
_REPEATABILITY_DB, _OWN_DB = 1.0, 0.3
_FOUND_BACK_DB = 0.5
"""How well the strongest spot is found again to watch the peak there [dB]; our judgement."""
_SELDOM, _SELDOM_S = ("smart_meter",), 6.0
"""Transmitters that speak once in so many seconds: a peak that was watched for less may have missed them."""
WATCHED_S = {Kind.PEAK: 5.0, Kind.HIGHEST_HELD: 45.0, Kind.AVERAGE: 45.0}
"""How long the invented assessor watched, held and averaged [s]."""
_SCAN_EVERY_S = 200.0
"""From the start of one scan to that of the next [s]."""

STATES = (
    RadioState("as_found", "As found"),
    RadioState("router_off", "Router off", ("router",)),
    RadioState("cordless_off", "Cordless base off", ("cordless",)),
    RadioState("own_off", "All own radios off", ("router", "cordless")),
)


def demo_meter() -> Meter:
    """An invented meter with checks on an invented reference source."""
    checks = (0.1, -0.2, 0.2, 0.0, -0.1, 0.3, -0.2, 0.1)
    return Meter(
        METER_ID,
        "Invented broadband meter",
        serial="DEMO-0001",
        band_low_hz=650e6,
        band_high_hz=6.2e9,
        tolerance_db=4.5,
        repeatability_db=1.0,
        floor_w_m2=2e-8,
        overload_w_m2=1.6,
        response_s=1.2e-5,
        averaging_s=0.8,
        body_distance_m=0.4,
        pickup_axes=1,
        zones=(BandZone(300e6, 650e6, 6.0), BandZone(6.2e9, 8.4e9, 5.5)),
        calibrated_on="2025-06-01",
        calibration_due="2027-06-01",
        checks=tuple(
            ReferenceCheck(f"2025-{month:02d}-15", "invented comb source, -20 dB", deviation)
            for month, deviation in enumerate(checks, start=4)
        ),
        self_tests=(
            SelfTest("2026-03-14T08:55:00+01:00", True, "3 of 4"),
            SelfTest("2026-04-25T09:20:00+02:00", True, "2 of 4"),
        ),
        note="Invented for demonstration; no such meter exists.",
    )


def certificate() -> tuple[CalibrationPoint, ...]:
    """An invented calibration certificate, for examples that need one."""
    return (
        CalibrationPoint(800e6, -2.1, 0.9),
        CalibrationPoint(1.8e9, -2.4, 0.8),
        CalibrationPoint(3.5e9, -2.2, 1.0),
        CalibrationPoint(6.0e9, -2.6, 1.2),
    )


def simulated_readings(truth: Truth, visit: Visit, meter: Meter, seed: int) -> tuple[Reading, ...]:
    """Readings of all kinds at all places in all radio states of a visit.

    Parameters
    ----------
    truth : Truth
        The true field.
    visit : Visit
        With its radio states.
    meter : Meter
        Floor and overload limit what it shows.
    seed : int
        Of the random errors.
    """
    rng = np.random.default_rng(seed)
    found: list[Reading] = []
    series = 2 if visit.purpose is VisitPurpose.FOLLOW_UP else 1
    for state in visit.radio_states:
        on = np.array([e.group not in state.off_groups for e in truth.emitters])
        for row, place in enumerate(truth.places):
            values = _scan(truth, row, on, rng)
            taken_at = _later(visit.started_at, len(found) / len(Kind) * _SCAN_EVERY_S)
            for kind, value in zip(Kind, values, strict=True):
                name = f"{series}-{len(found) + 1:03d}"
                found.append(_reading(name, visit, meter, state, place.id, kind, value, taken_at))
    return tuple(found)


def _scan(truth: Truth, row: int, on: NDArray[np.bool_], rng: np.random.Generator) -> Iterator[float]:
    """Peak, highest held and average [W/m²] of one scan, as `Kind` lists them."""
    on_air = truth.density_w_m2[row] * on
    duty = np.array([e.duty or 0.0 for e in truth.emitters])
    spot = 10.0 ** (rng.normal(*_SCAN_GAIN_DB, len(on_air)) / 10.0)
    seen = np.array(
        [rng.random() < WATCHED_S[Kind.PEAK] / _SELDOM_S if e.id in _SELDOM else True for e in truth.emitters]
    )
    common_db = METER_ERROR_DB + rng.normal(0.0, _REPEATABILITY_DB)
    missed = 10.0 ** (-rng.uniform(*_ONE_AXIS_MISSES_DB) / 10.0)
    held, mean = float(on_air @ spot), float(on_air @ duty) * missed
    peak = float((on_air * seen) @ spot) * 10.0 ** (-abs(rng.normal(0.0, _FOUND_BACK_DB)) / 10.0)
    own_db = common_db + rng.normal(0.0, _OWN_DB, 3)
    held, peak, mean = np.minimum.accumulate(np.array([held, peak, mean]) * 10.0 ** (own_db / 10.0))
    return iter(float(f"{value:.3g}") for value in (peak, held, mean))


def _reading(
    name: str, visit: Visit, meter: Meter, state: RadioState, place_id: str, kind: Kind, value: float, taken_at: str
) -> Reading:
    censoring = Censoring.NONE
    if value >= meter.figures.overload_w_m2:
        value, censoring = meter.figures.overload_w_m2, Censoring.ABOVE
    elif value < 3.0 * meter.figures.floor_w_m2:
        value, censoring = 3.0 * meter.figures.floor_w_m2, Censoring.BELOW
    return Reading(
        name,
        visit.id,
        meter.id,
        state.id,
        kind,
        value,
        place_id=place_id,
        censoring=censoring,
        taken_at=taken_at,
        watched_s=WATCHED_S[kind],
    )


def _later(start: str, seconds: float) -> str:
    """A time of the visit to the minute, ISO 8601."""
    return (datetime.fromisoformat(start) + timedelta(seconds=seconds)).replace(second=0).isoformat()
