"""Kinds, averages in time and space, field regions."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from roomfield.errors import InputError, KindMismatchError, RangeError, TooEarlyError
from roomfield.exposure import averaging, metrics, regions
from roomfield.exposure.decision import Decision, judge
from roomfield.quantities import Censor, ErrorContribution, Kind, UncertainLevel
from roomfield.references import catalogue, limits

DATA = Path(__file__).parents[1] / "data"


def level(value: float, *causes: ErrorContribution, kind: Kind = Kind.PEAK, censor: Censor = Censor.NONE):
    return UncertainLevel.from_density(kind, value, causes, censor)


@pytest.mark.published("Ten 10 ms pulses a second are a 10 % duty cycle, 10 dB (common practice)")
def test_ten_pulses_of_ten_milliseconds():
    model = metrics.duty_cycle(0.1, 0.1, "ten pulses of 10 ms a second")
    average = metrics.average_from_peak(level(1e-3), model)
    assert average.kind is Kind.AVERAGE
    assert average.median_w_m2 == pytest.approx(1e-4)
    assert metrics.peak_from_average(average, model).median_w_m2 == pytest.approx(1e-3)


@pytest.mark.published("DECT: 424 bits at 1.152 Mbit/s in a 10 ms frame, duty 0.0368 (ETSI EN 300 175, from memory)")
def test_dect_duty_from_the_catalogue():
    model = metrics.emitter_duty(catalogue.emitter("DECT base, EU (idle beacon)"))
    assert 10 ** (-model.middle_db / 10) == pytest.approx(424 / 1.152e6 / 10e-3, rel=1e-3)
    assert model.contribution.std_db == 0.0


def test_an_unsure_duty_widens_the_interval():
    wifi = metrics.emitter_duty(catalogue.emitter("Wi-Fi 2.4 GHz access point, EU"))
    assert (wifi.low_db, wifi.high_db) == pytest.approx((10 * math.log10(2), 20.0))
    average = metrics.average_from_peak(level(1.0, ErrorContribution("meter", 1.0)), wifi)
    assert average.std_db == pytest.approx(math.hypot(1.0, (wifi.high_db - wifi.low_db) / math.sqrt(12)))
    span = average.interval(0.9999)
    assert span.low_w_m2 < 0.011 and span.high_w_m2 > 0.49


@pytest.mark.parametrize("pair", [(0.0, 0.5), (0.2, 0.1), (0.5, 1.5), (-0.1, 0.5)])
def test_impossible_duty_cycles(pair):
    with pytest.raises(RangeError):
        metrics.duty_cycle(*pair, "x")


def test_impossible_crest_factors():
    with pytest.raises(RangeError):
        metrics.CrestFactor(5.0, 3.0, "x")
    with pytest.raises(RangeError):
        metrics.CrestFactor(-1.0, 3.0, "x")


def test_conversions_take_only_their_kind():
    model = metrics.CrestFactor(10.0, 12.0, "x")
    for kind in (Kind.AVERAGE, Kind.HIGHEST_HELD):
        with pytest.raises(KindMismatchError):
            metrics.average_from_peak(level(1.0, kind=kind), model)
    with pytest.raises(KindMismatchError):
        metrics.peak_from_average(level(1.0), model)


def test_a_peak_bounds_the_average_and_decides_only_below():
    limit = limits.lookup("EU", "power_density", 2.45e9)
    bound = metrics.average_bound(level(1e-3, ErrorContribution("meter", 2.0)))
    assert judge(bound, limit).decision is Decision.BELOW
    high = metrics.average_bound(level(100.0, ErrorContribution("meter", 2.0), kind=Kind.HIGHEST_HELD))
    assert judge(high, limit).decision is Decision.UNDECIDED
    average = level(1.0, kind=Kind.AVERAGE)
    assert metrics.average_bound(average) is average
    with pytest.raises(InputError, match="overload"):
        metrics.average_bound(level(1.0, censor=Censor.ABOVE))


@pytest.mark.published("ICNIRP 2020, notes: averages are over squared field values, E_avg = sqrt(mean(E²))")
def test_spatial_mean_of_three_points():
    fields = np.array([1.0, 2.0, 3.0])
    densities = fields**2 / 376.730313412
    levels = [level(float(s), kind=Kind.AVERAGE) for s in densities]
    found = averaging.spatial_mean(levels, "three")
    assert math.sqrt(found.median_w_m2 * 376.730313412) == pytest.approx(math.sqrt(np.mean(fields**2)))


def test_spatial_schemes_need_all_their_points():
    with pytest.raises(TooEarlyError, match=r"1\.1 m, 1\.5 m, 1\.7 m"):
        averaging.spatial_mean([level(1.0, kind=Kind.AVERAGE)], "three")
    with pytest.raises(KindMismatchError):
        averaging.spatial_mean([level(1.0)], "single")


def test_mean_over_points_lowers_only_what_is_independent():
    gain = ErrorContribution.from_half_width("gain", 6.0, shared_key="meter")
    levels = [level(1.0, gain, ErrorContribution("repeatability", 1.0), kind=Kind.AVERAGE) for _ in range(20)]
    found = averaging.spatial_mean(levels, "twenty")
    assert found.shared_std_db == pytest.approx(gain.std_db)
    assert found.independent_std_db == pytest.approx(1.0 / math.sqrt(20), rel=0.05)


@pytest.mark.published("Averaging times of 6 and 30 min (1999/519/EC; ICNIRP 2020), plain mean as reference")
@pytest.mark.parametrize("window_s", [360.0, 1800.0])
def test_rolling_average(window_s):
    rng = np.random.default_rng(5)
    series = rng.exponential(1e-6, 4000)
    found = averaging.rolling_average(series, 1.0, window_s)
    count = int(window_s)
    slow = np.array([series[i : i + count].mean() for i in range(0, len(series) - count + 1, 97)])
    assert found[::97] == pytest.approx(slow, rel=1e-9)
    assert len(found) == len(series) - count + 1


def test_a_series_shorter_than_the_window_is_refused():
    with pytest.raises(TooEarlyError, match="Measure longer"):
        averaging.rolling_average([1.0, 2.0], 60.0, 360.0)
    assert averaging.rolling_average([1.0, 3.0], 180.0, 360.0) == pytest.approx([2.0])
    assert averaging.covers(360.0, 360.0) and not averaging.covers(300.0, 360.0) and averaging.covers(1.0, None)


def test_time_average_weighs_by_duration():
    assert averaging.time_average_w_m2([1.0, 4.0], [30.0, 10.0]) == pytest.approx(1.75)
    for densities, durations in (
        ([1.0], [0.0]),
        ([1.0, 2.0], [1.0]),
        ([-1.0], [1.0]),
        ([1.0, 1.0], [2.0, -1.0]),
    ):
        with pytest.raises(InputError):
            averaging.time_average_w_m2(densities, durations)


@pytest.mark.published("EMF-Portal record 25930: DECT varies by 10.6 dB over a day")
def test_a_spot_reading_for_a_longer_average_is_widened():
    spot = level(1.0, ErrorContribution("meter", 1.0), kind=Kind.AVERAGE)
    wide = averaging.as_time_average(spot, "dect")
    assert wide.std_db == pytest.approx(math.hypot(1.0, 5.3 / math.sqrt(3)))
    assert wide.median_w_m2 == pytest.approx(1.0)


@pytest.mark.published("FCC OET 65 (97-01); IEEE C95.3; IEC 62232:2017: field regions (formulas from memory)")
def test_field_regions():
    with (DATA / "practice/practice-field-regions.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            f = float(row["f_MHz"]) * 1e6
            assert regions.reactive_near_field_m(f) == pytest.approx(float(row["lambda_over_2pi_m"]), rel=1e-5)
            for size in ("0.05", "0.1", "0.3"):
                printed = float(row[f"two_D2_over_lambda_D_{size}_m"])
                assert regions.far_field_m(f, float(size)) == pytest.approx(printed, rel=1e-5)
            printed = float(row["0.6_D2_over_lambda_D_1_m"])
            assert regions.aperture_far_field_m(f, 1.0) == pytest.approx(printed, rel=1e-5)
            printed = float(row["iec_region_III_D_0.1_m"])
            assert regions.source_region_far_m(f, 0.1) == pytest.approx(printed, rel=1e-5)


def test_readings_too_near_are_indicative():
    assert regions.is_indicative(0.2, 200e6)
    assert not regions.is_indicative(0.3, 200e6)
    assert regions.is_indicative(0.3, 5.5e9, 0.1)
