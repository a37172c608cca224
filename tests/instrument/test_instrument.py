"""The instrument: what a reading is worth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from roomfield.errors import InputError
from roomfield.instrument import (
    correction,
    gain_key,
    individuals_chart,
    meter_chart,
    pulse_response_db,
    shortfall,
    three_axis_sum_w_m2,
    to_level,
    tolerance_db,
)
from roomfield.instrument.pickup import BEST_AXIS_AVERAGE, BEST_AXIS_MAXIMUM
from roomfield.quantities import Censoring, Kind, ratio
from roomfield.survey import (
    Accessory,
    AccessoryKind,
    AccessoryPoint,
    BandZone,
    CalibrationPoint,
    ListenedScan,
    Meter,
    Orientation,
    Reading,
    ReferenceCheck,
    Scan,
)

METER = Meter("m1", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)


def reading(value_w_m2: float, kind: Kind = Kind.PEAK, **more) -> Reading:
    return Reading("r1", "v1", "m1", "as_found", kind, value_w_m2, place_id="bed", **more)


class TestTolerance:
    @pytest.mark.published("JCGM 100:2008, 4.3.7; meters of this class, ±6 dB: common practice, no source")
    def test_stated_tolerance_is_a_rectangle(self):
        found = correction(METER)
        assert found.offset_db == 0.0
        assert found.contribution.std_db == pytest.approx(6 / math.sqrt(3))
        assert found.basis == "tolerance"

    def test_gain_is_shared_within_a_band_and_not_across(self):
        assert gain_key("m1", 2.40e9) == gain_key("m1", 2.45e9)
        assert gain_key("m1", 2.45e9) != gain_key("m1", 5.5e9)
        assert gain_key("m1", 2.45e9) != gain_key("m2", 2.45e9)

    def test_two_readings_of_one_meter_cancel_the_tolerance(self):
        before, after = to_level(reading(1e-3), METER).level, to_level(reading(1e-4), METER).level
        fell = ratio(after, before)
        assert before.std_db > 3.4
        assert fell.std_db < 1.5


class TestCertificate:
    points = (CalibrationPoint(900e6, 1.0, 0.5), CalibrationPoint(1.8e9, -1.0, 0.7))
    meter = replace(METER, calibration=points)

    def test_interpolates_over_the_logarithm_of_frequency(self):
        found = correction(self.meter, 900e6 * math.sqrt(2.0))
        assert found.offset_db == pytest.approx(0.0, abs=1e-9)
        assert found.contribution.std_db == pytest.approx(0.6)

    def test_grows_outside_its_range(self):
        assert correction(self.meter, 3.6e9).contribution.std_db == pytest.approx(math.hypot(0.7, 2.0))

    def test_covers_the_range_when_the_frequency_is_unknown(self):
        found = correction(replace(self.meter, band_low_hz=900e6, band_high_hz=1.8e9))
        assert found.offset_db == pytest.approx(0.0)
        assert found.contribution.std_db == pytest.approx(math.hypot(1 / math.sqrt(3), 0.7))

    @pytest.mark.parametrize("rows", [1, 2])
    def test_an_unknown_frequency_is_never_surer_than_a_known_one(self, rows):
        meter = replace(self.meter, calibration=self.points[:rows], band_low_hz=500e6, band_high_hz=6e9)
        unknown = correction(meter).contribution.std_db
        known = [correction(meter, f).contribution.std_db for f in np.geomspace(500e6, 6e9, 25)]
        assert unknown >= max(known) - 1e-9
        assert unknown > 3.0

    def test_away_from_its_rows_no_more_than_the_tolerance_is_added(self):
        far = correction(replace(self.meter, band_low_hz=500e6, band_high_hz=40e9), 40e9).contribution.std_db
        assert far == pytest.approx(math.hypot(0.7, 6.0 / math.sqrt(3.0)))

    def test_unsorted_rows_are_refused(self):
        with pytest.raises(InputError, match="do not rise"):
            correction(replace(METER, calibration=self.points[::-1]), 1e9)

    def test_overdue_calibration_is_flagged_and_widens(self):
        dated = replace(self.meter, calibration_due="2026-01-31")
        fresh = to_level(reading(1e-3), dated, on_date="2026-01-31")
        late = to_level(reading(1e-3), dated, on_date="2026-02-01")
        assert "calibration_overdue" in late.flags and "calibration_overdue" not in fresh.flags
        assert late.level.std_db > fresh.level.std_db


class TestCensoring:
    def test_near_the_floor_only_a_bound_is_left(self):
        found = to_level(reading(2e-8), METER)
        assert found.level.censoring is Censoring.BELOW
        assert "floor" in found.flags
        assert found.level.interval().low_w_m2 == 0.0

    def test_written_as_below_floor(self):
        found = to_level(reading(1e-7, censoring=Censoring.BELOW), METER)
        assert found.level.censoring is Censoring.BELOW
        assert found.level.median_w_m2 == pytest.approx(1e-7 * 10**0.07)

    def test_overload_is_a_lower_bound(self):
        found = to_level(reading(2.5), METER)
        assert found.level.censoring is Censoring.ABOVE
        assert found.level.interval().high_w_m2 == math.inf


class TestPickup:
    def test_three_axes_miss_nothing(self):
        missed = shortfall(METER, Kind.PEAK, Orientation.THREE_AXIS_SUM, Scan.FIXED)
        assert missed.high_db == 0.0

    @pytest.mark.calculated("geometry: the largest of three non-negative terms is at least a third of their sum")
    def test_best_axis_of_three_misses_at_most_4_77_db(self):
        axes = np.random.default_rng(1).exponential(size=(5000, 3))
        missed = 10 * np.log10(three_axis_sum_w_m2(axes) / axes.max(axis=1))
        bound = shortfall(METER, Kind.PEAK, Orientation.BEST_AXIS, Scan.FIXED)
        assert missed.max() <= bound.high_db
        assert missed.min() >= bound.low_db

    def test_scan_ranges_repeat_the_simulation_they_came_from(self):
        """40 waves in a 0.5 m cube at 2 GHz: our own simulation, sum of plane waves."""
        maximum, average = _scan_shortfalls(np.random.default_rng(1))
        assert np.mean((maximum >= BEST_AXIS_MAXIMUM.low_db) & (maximum <= BEST_AXIS_MAXIMUM.high_db)) > 0.93
        assert np.mean((average >= BEST_AXIS_AVERAGE.low_db) & (average <= BEST_AXIS_AVERAGE.high_db)) > 0.75
        for missed, said in ((maximum, BEST_AXIS_MAXIMUM), (average, BEST_AXIS_AVERAGE)):
            assert 0.0 < np.mean(missed > said.high_db) < 0.06, "a few of a hundred miss more, none would be too wide"


def _scan_shortfalls(rng: np.random.Generator, trials: int = 120, waves: int = 40):
    axis = np.linspace(-0.25, 0.25, 6)
    grid = np.stack(np.meshgrid(axis, axis, axis), -1).reshape(-1, 3)
    maximum, average = np.empty(trials), np.empty(trials)
    for trial in range(trials):
        direction = rng.normal(size=(waves, 3))
        direction /= np.linalg.norm(direction, axis=1, keepdims=True)
        polarisation = np.cross(direction, rng.normal(size=(waves, 3)))
        polarisation /= np.linalg.norm(polarisation, axis=1, keepdims=True)
        amplitude = rng.normal(size=waves) + 1j * rng.normal(size=waves)
        field = (np.exp(2j * np.pi / 0.15 * grid @ direction.T) * amplitude) @ polarisation
        values, vectors = np.linalg.eigh(np.einsum("gi,gj->gij", field, field.conj()).real)
        total, spot = (np.abs(field) ** 2).sum(axis=1), values[:, -1].argmax()
        held = np.abs(field @ vectors[spot, :, -1]) ** 2
        maximum[trial] = 10 * np.log10(total.max() / values[spot, -1])
        average[trial] = 10 * np.log10(total.mean() / held.mean())
    return maximum, average


class TestDetector:
    def test_long_pulses_are_seen_whole(self):
        """Response within 5 µs: common practice, no source."""
        assert pulse_response_db(368e-6, 5e-6) == pytest.approx(0.0, abs=1e-6)
        assert pulse_response_db(5e-6, 5e-6) == pytest.approx(1.99, abs=0.01)

    @pytest.mark.published("step response of a first-order system, 1 - exp(-t / tau) (any textbook of control)")
    def test_pulses_of_three_time_constants_read_a_twentieth_low(self):
        assert pulse_response_db(36e-6, 12e-6) == pytest.approx(-10.0 * math.log10(1.0 - math.exp(-3.0)))

    def test_short_pulses_are_corrected_for_or_told(self):
        """A detector of 12 µs: at 18 µs it may miss up to 1.1 dB, at 4 µs 5.5 dB."""
        meter = replace(METER, response_s=12e-6)
        plain, short, shortest = (to_level(reading(1e-3), meter, pulse_s=s) for s in (None, 18e-6, 4e-6))
        missed_db = pulse_response_db(18e-6, 12e-6)
        assert short.level.level_db - plain.level.level_db == pytest.approx(missed_db / 2.0)
        assert short.level.std_db > plain.level.std_db
        assert short.flags == () and shortest.flags == ("short_pulses",)
        average = to_level(reading(1e-3, Kind.AVERAGE), meter, pulse_s=4e-6)
        assert average.flags == ()


class TestZones:
    meter = replace(METER, band_low_hz=700e6, band_high_hz=5e9, zones=(BandZone(350e6, 700e6, 8.5),))

    def test_each_zone_has_its_tolerance_and_an_unknown_mix_the_widest(self):
        assert [tolerance_db(self.meter, f) for f in (1e9, 400e6, None)] == [6.0, 8.5, 8.5]
        assert correction(self.meter, 400e6).contribution.half_width_db == pytest.approx(8.5)
        assert self.meter.receives_hz == (350e6, 5e9)

    def test_outside_everything_stated_it_grows(self):
        assert tolerance_db(self.meter, 20e9) > tolerance_db(self.meter, 10e9) > 8.5

    @pytest.mark.calculated("half-width of a rectangle for 2 dB an octave is sqrt(3) 2 dB; added in squares to 8.5 dB")
    @pytest.mark.parametrize(("frequency_hz", "octaves"), [(10e9, 1.0), (20e9, 2.0), (175e6, 1.0), (87.5e6, 2.0)])
    def test_by_how_much_it_grows(self, frequency_hz, octaves):
        assert tolerance_db(self.meter, frequency_hz) == pytest.approx((8.5**2 + 12.0 * octaves**2) ** 0.5)


class TestAccessory:
    pad = Accessory(
        "pad", "20 dB pad", AccessoryKind.ATTENUATOR, (AccessoryPoint(1e9, -20.0), AccessoryPoint(4e9, -22.0))
    )
    meter = replace(METER, accessories=(pad,))

    def test_what_stands_in_front_is_taken_off(self):
        bare, padded = to_level(reading(1e-3), self.meter), to_level(reading(1e-5, accessory_id="pad"), self.meter)
        assert padded.level.level_db - bare.level.level_db == pytest.approx(1.0)  # the middle of 20 and 22 dB
        known = to_level(reading(1e-5, accessory_id="pad"), self.meter, frequency_hz=2e9)
        assert known.level.level_db - bare.level.level_db == pytest.approx(1.0)
        assert to_level(
            reading(1e-5, accessory_id="pad"), self.meter, frequency_hz=1e9
        ).level.level_db == pytest.approx(bare.level.level_db)
        assert padded.level.std_db > bare.level.std_db

    def test_overload_counts_behind_the_pad(self):
        found = to_level(reading(2.5, accessory_id="pad"), self.meter)
        assert found.level.censoring is Censoring.ABOVE
        assert found.level.median_w_m2 > 100.0

    def test_an_accessory_that_is_not_there_is_refused(self):
        with pytest.raises(InputError, match="no accessory 'horn'"):
            to_level(reading(1e-3, accessory_id="horn"), self.meter)


class TestHowHeld:
    @pytest.mark.published("Common practice, no source: within 1 dB held off at 30 cm, within 3 dB nearer")
    @pytest.mark.parametrize(("distance_m", "half_db"), [(0.5, 1.0), (0.3, 1.0), (0.1, 3.0)])
    def test_what_the_body_adds(self, distance_m, half_db):
        found = to_level(reading(1e-3, body_distance_m=distance_m), METER).level
        (body,) = [c for c in found.contributions if c.name == "body"]
        assert body.half_width_db == pytest.approx(half_db)

    def test_a_reading_too_near_the_body_is_wider(self):
        """At least 30 cm from the body: common practice, no source."""
        far, near = (to_level(reading(1e-3, body_distance_m=d), METER).level.std_db for d in (0.5, 0.1))
        assert near > far

    def test_drift_is_the_meter_s_and_cancels_in_ratios(self):
        checks = tuple(ReferenceCheck(f"2026-01-{n + 1:02d}", "source", 0.3 * n) for n in range(10))
        drifting = replace(METER, checks=checks)
        one, other = (to_level(reading(v), drifting) for v in (1e-3, 1e-4))
        assert "meter_drifting" in one.flags
        drift = next(c for c in one.level.contributions if c.name == "meter_drift")
        assert drift.shared_key
        assert ratio(one.level, other.level).std_db == pytest.approx(
            ratio(to_level(reading(1e-3), METER).level, to_level(reading(1e-4), METER).level).std_db
        )


NIST_CHART = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


class TestControlChart:
    @pytest.mark.published("NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (figures from memory)")
    def test_published_individuals_chart(self):
        chart = individuals_chart(NIST_CHART)
        assert chart.centre_db == pytest.approx(50.81, abs=5e-3)
        assert chart.upper_db == pytest.approx(55.8041, abs=1e-3)
        assert chart.lower_db == pytest.approx(45.8159, abs=1e-3)
        assert chart.outside == () and chart.runs == ()

    def test_a_jump_is_outside(self):
        chart = individuals_chart([0.1, -0.1, 0.0, 0.1, -0.1, 0.0, 0.1, 3.0])
        assert chart.outside == (7,)
        assert chart.drifting

    @pytest.mark.published(
        "NIST/SEMATECH e-Handbook, 6.3.2.2: out of control beyond either limit; mean range over 1.128"
    )
    @pytest.mark.parametrize("side", [1.0, -1.0])
    def test_a_point_beyond_either_limit_is_outside(self, side):
        values = side * np.array([0.1, -0.1, 0.0, 0.1, -0.1, 0.0, 0.1, 3.0])
        chart = individuals_chart(values)
        reach = 3.0 * np.mean(np.abs(np.diff(values))) / 1.128
        assert chart.outside == (7,) and chart.drifting
        assert (chart.lower_db, chart.upper_db) == pytest.approx((values.mean() - reach, values.mean() + reach))

    def test_eight_on_one_side_are_a_run(self):
        values = [0.5, -0.5] * 4 + [-0.2, -0.1, -0.2, -0.1, -0.2, -0.1, -0.2, -0.15] + [1.5, 1.2]
        assert individuals_chart(values).runs

    def test_a_trend_widens_every_level(self):
        checks = tuple(
            ReferenceCheck(f"2026-0{i + 1}-01", "invented comb source", 0.3 * i + 0.02 * (-1) ** i) for i in range(8)
        )
        drifting = replace(METER, checks=checks)
        chart = meter_chart(drifting)
        assert chart is not None and chart.drifting
        found = to_level(reading(1e-3), drifting)
        assert "meter_drifting" in found.flags
        assert found.level.std_db > to_level(reading(1e-3), METER).level.std_db

    def test_three_checks_make_no_chart(self):
        checks = tuple(ReferenceCheck(f"2026-0{i + 1}-01", "source", 0.0) for i in range(3))
        assert meter_chart(replace(METER, checks=checks)) is None


class TestListenedScan:
    GOOD, HASTY = ListenedScan(60.0, 60, 0.0, 0.4, 1.0), ListenedScan(6.0, 5, 1.5, 4.0, 9.0)

    def test_a_good_scan_narrows_and_a_hasty_one_widens_and_lifts(self):
        usual = to_level(reading(1e-3, Kind.HIGHEST_HELD), METER).level
        good = to_level(reading(1e-3, Kind.HIGHEST_HELD, listened=self.GOOD), METER).level
        hasty = to_level(reading(1e-3, Kind.HIGHEST_HELD, listened=self.HASTY), METER).level
        assert good.std_db < usual.std_db < hasty.std_db
        assert hasty.median_w_m2 == pytest.approx(1e-3 * 10**0.525, rel=0.01)

    def test_only_what_a_scan_missed_of_the_largest_value_is_replaced(self):
        for kept in (reading(1e-3, Kind.AVERAGE), reading(1e-3, scan=Scan.FIXED)):
            assert (
                to_level(replace(kept, listened=self.HASTY), METER).level.median_w_m2
                == to_level(kept, METER).level.median_w_m2
            )

    @pytest.mark.calculated("a rectangular error of half-width h holds 90 % within 0.9 h")
    def test_the_interval_of_the_sound_is_kept_at_its_own_coverage(self):
        found = shortfall(METER, Kind.PEAK, Orientation.BEST_AXIS, Scan.HAND_SCAN, self.HASTY)
        middle, half = (found.low_db + found.high_db) / 2, (found.high_db - found.low_db) / 2
        assert middle - 0.9 * half == pytest.approx(1.5) and middle + 0.9 * half == pytest.approx(9.0)
