"""Simulated readings in the invented house: what an invented meter would have shown."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from roomfield.demo.truth import METER_ERROR_DB, Truth
from roomfield.survey import (
    CalibrationPoint,
    Censoring,
    Meter,
    RadioState,
    Reading,
    ReadingKind,
    ReferenceCheck,
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
        tolerance_db=6.0,
        repeatability_db=1.0,
        floor_w_m2=1e-8,
        overload_w_m2=2.5,
        calibrated_on="2025-06-01",
        calibration_due="2027-06-01",
        checks=tuple(
            ReferenceCheck(f"2025-{month:02d}-15", "invented comb source, -20 dB", deviation)
            for month, deviation in enumerate(checks, start=4)
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
            for kind, value in zip(ReadingKind, values, strict=True):
                name = f"{series}-{len(found) + 1:03d}"
                found.append(_reading(name, visit, meter, state, place.id, kind, value))
    return tuple(found)


def _scan(truth: Truth, row: int, on: NDArray[np.bool_], rng: np.random.Generator) -> Iterator[float]:
    """Peak, max-hold and average [W/m²] of one scan."""
    on_air = truth.density_w_m2[row] * on
    duty = np.array([e.duty or 0.0 for e in truth.emitters])
    spot = 10.0 ** (rng.normal(*_SCAN_GAIN_DB, len(on_air)) / 10.0)
    common_db = METER_ERROR_DB + rng.normal(0.0, _REPEATABILITY_DB)
    missed = 10.0 ** (-rng.uniform(*_ONE_AXIS_MISSES_DB) / 10.0)
    peak, held, mean = float(on_air @ spot), float((on_air * duty) @ spot), float(on_air @ duty) * missed
    own_db = common_db + rng.normal(0.0, _OWN_DB, 3)
    shown = np.array([peak, held, mean]) * 10.0 ** (own_db / 10.0)
    shown = np.minimum.accumulate(shown)
    return iter(float(f"{value:.3g}") for value in shown)


def _reading(
    name: str, visit: Visit, meter: Meter, state: RadioState, place_id: str, kind: ReadingKind, value: float
) -> Reading:
    censoring = Censoring.NONE
    if value >= meter.overload_w_m2:
        value, censoring = meter.overload_w_m2, Censoring.OVERLOAD
    elif value < 3.0 * meter.floor_w_m2:
        value, censoring = 3.0 * meter.floor_w_m2, Censoring.BELOW_FLOOR
    return Reading(
        name,
        visit.id,
        meter.id,
        state.id,
        kind,
        value,
        place_id=place_id,
        censoring=censoring,
        taken_at=visit.started_at,
    )
