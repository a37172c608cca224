"""Kinds, averages in time and space, field regions."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from roomfield.exposure import averaging, regions
from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel

DATA = Path(__file__).parents[1] / "data"


def level(value: float, *causes: ErrorContribution, kind: Kind = Kind.PEAK, censoring: Censoring = Censoring.NONE):
    return UncertainLevel.from_density(kind, value, causes, censoring)


def test_only_an_observation_as_long_as_the_averaging_time_covers_it():
    assert averaging.covers(360.0, 360.0) and not averaging.covers(300.0, 360.0) and averaging.covers(1.0, None)


@pytest.mark.published("EMF-Portal record 25930: DECT varies by 10.6 dB over a day")
def test_a_spot_reading_for_a_longer_average_is_widened():
    spot = level(1.0, ErrorContribution("meter", 1.0), kind=Kind.AVERAGE)
    wide = averaging.as_time_average(spot, "dect")
    assert wide.std_db == pytest.approx(math.hypot(1.0, 5.3 / math.sqrt(3)))
    assert wide.median_w_m2 == pytest.approx(1.0)


@pytest.mark.published("FCC OET 65 (97-01); IEEE C95.3: field regions (formulas from memory)")
def test_field_regions():
    with (DATA / "practice/practice-field-regions.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            f = float(row["f_MHz"]) * 1e6
            assert regions.reactive_near_field_m(f) == pytest.approx(float(row["lambda_over_2pi_m"]), rel=1e-5)
            for size in ("0.05", "0.1", "0.3"):
                printed = float(row[f"two_D2_over_lambda_D_{size}_m"])
                assert regions.far_field_m(f, float(size)) == pytest.approx(printed, rel=1e-5)


def test_readings_too_near_are_indicative():
    assert regions.is_indicative(0.2, 200e6)
    assert not regions.is_indicative(0.3, 200e6)
    assert regions.is_indicative(0.3, 5.5e9, 0.1)
