"""Every constant and branch between a reading and its level: closed forms, statsmodels, and what is said to be held."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats
from statsmodels.regression.linear_model import WLS

from roomfield.instrument import (
    correction,
    gain_key,
    individuals_chart,
    pulse_response_db,
    shortest_pulse_s,
    shortfall,
    to_level,
    tolerance_db,
    weighed_together,
    with_clipped_averages,
)
from roomfield.instrument.accessory import in_front
from roomfield.instrument.floor import bounded_value, floor_noise
from roomfield.instrument.pickup import Shortfall
from roomfield.instrument.repeat_statistics import repeated
from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel
from roomfield.survey import (
    Accessory,
    AccessoryKind,
    AccessoryPoint,
    BandZone,
    CalibrationPoint,
    Emitter,
    HeardTechnology,
    Meter,
    Orientation,
    Reading,
    Recording,
    ReferenceCheck,
    Scan,
    Survey,
)

METER = Meter("m", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)
PAD = Accessory(
    "pad", "pad", AccessoryKind.ATTENUATOR, (AccessoryPoint(1e9, -20.0, 0.4), AccessoryPoint(4e9, -23.0, 0.8))
)
PADDED = replace(METER, accessories=(PAD,))


def reading(value_w_m2: float = 1e-3, kind: Kind = Kind.PEAK, **more) -> Reading:
    return Reading("r", "v", "m", "as_found", kind, value_w_m2, **{"place_id": "bed", **more})


def cause(level: UncertainLevel, name: str) -> ErrorContribution:
    (found,) = [c for c in level.contributions if c.name == name]
    return found


def level(db: float, *causes: ErrorContribution, kind: Kind = Kind.PEAK, censoring: Censoring = Censoring.NONE):
    return UncertainLevel(kind, db, causes, censoring)


class TestInFront:
    @pytest.mark.published("JCGM 100:2008, 4.3.7: of a range only its ends are known: middle, half-width over sqrt(3)")
    def test_over_all_rows_where_the_frequency_is_not_known(self):
        found = in_front(PADDED, "pad")
        assert found.change_db == -21.5
        assert found.contribution.std_db == pytest.approx(math.hypot(1.5 / math.sqrt(3.0), 0.8))

    def test_between_rows_over_the_logarithm_of_frequency(self):
        found = in_front(PADDED, "pad", 2e9)
        assert (found.change_db, found.contribution.std_db) == pytest.approx((-21.5, 0.6))
        assert in_front(PADDED, "").contribution is None


class TestGain:
    @pytest.mark.published(
        "IEC 61260-1: a third of an octave reaches a sixth of an octave to either side of its middle"
    )
    @pytest.mark.parametrize("third", [-6, -1, 0, 1, 4, 9])
    def test_the_gain_is_one_over_a_third_of_an_octave_about_a_gigahertz(self, third):
        middle = 1e9 * 2.0 ** (third / 3.0)
        assert gain_key("m", middle) == f"m/gain/{third:+d}"
        for side in (-1.0, 1.0):
            assert gain_key("m", middle * 2.0 ** (side * 0.16)) == gain_key("m", middle)
            assert gain_key("m", middle * 2.0 ** (side * 0.17)) != gain_key("m", middle)

    def test_a_zone_holds_where_it_is_stated_inside_the_rated_band_too(self):
        zones = (BandZone(3e9, 5e9, 9.0), BandZone(4e9, 6e9, 4.0))
        meter = replace(METER, band_low_hz=700e6, band_high_hz=5e9, zones=zones)
        assert [tolerance_db(meter, f) for f in (2e9, 3.5e9, 4.5e9, 5.5e9)] == [6.0, 9.0, 9.0, 4.0]
        assert tolerance_db(meter) == 9.0

    def test_over_the_band_the_middle_of_the_corrections_is_added(self):
        rows = (CalibrationPoint(900e6, 1.5, 0.5), CalibrationPoint(1.8e9, -0.5, 0.7))
        found = correction(replace(METER, calibration=rows, band_low_hz=900e6, band_high_hz=1.8e9))
        assert found.offset_db == 0.5
        assert found.contribution.std_db == pytest.approx(math.hypot(1.0 / math.sqrt(3.0), 0.7))


class TestChart:
    @pytest.mark.published("scipy.stats.linregress: two-sided test of no trend, at one in a hundred")
    @pytest.mark.parametrize(("chance", "drifting"), [(0.0095, True), (0.0105, False), (0.5, False)])
    def test_a_trend_calls_for_a_cause_at_one_in_a_hundred(self, chance, drifting):
        swing = np.array([1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0, 1.0])
        at = np.arange(swing.size)
        slope = optimize.brentq(lambda k: stats.linregress(at, swing + k * at).pvalue - chance, 1e-6, 1.0)
        found = individuals_chart(swing + slope * at)
        assert (found.outside, found.runs) == ((), ())
        assert found.slope_p_value == pytest.approx(chance)
        assert found.slope_db_per_check == pytest.approx(slope)
        assert found.drifting is drifting

    @pytest.mark.published("NIST/SEMATECH e-Handbook, 6.3.2: eight in a row on one side of the centre line")
    @pytest.mark.parametrize(("count", "runs"), [(7, ()), (8, (7,)), (9, (7, 8))])
    def test_eight_in_a_row(self, count, runs):
        for side in (1.0, -1.0):
            assert individuals_chart([side] * count + [-side * count]).runs == runs
        assert individuals_chart([0.0] * 10).runs == ()

    @pytest.mark.published("JCGM 100:2008, 4.3.7: as far as the checks lay from their middle, over sqrt(3)")
    def test_drift_adds_as_far_as_the_checks_lay_from_their_middle(self):
        values = [4.0, 4.1, 4.0, 4.2, 4.1, 4.0, 4.1, 6.5]
        checks = tuple(ReferenceCheck(f"2026-01-{n + 1:02d}", "source", v) for n, v in enumerate(values))
        drift = cause(to_level(reading(), replace(METER, checks=checks)).level, "meter_drift")
        assert drift.half_width_db == pytest.approx(6.5 - np.mean(values))


class TestWhatIsAdded:
    def test_what_is_said_of_display_and_overdue_calibration(self):
        """Half-width 0.05 dB and standard deviation 1 dB, as the list of assumptions states them."""
        due = replace(METER, calibration_due="2026-01-31")
        late = to_level(reading(), due, on_date="2026-02-01").level
        assert cause(late, "display").half_width_db == pytest.approx(0.05)
        assert cause(late, "overdue_calibration").std_db == 1.0

    def test_without_both_dates_nothing_is_overdue(self):
        assert to_level(reading(), replace(METER, calibration_due="2026-01-31")).flags == ()
        assert to_level(reading(), METER, on_date="2026-02-01").flags == ()
        dated = to_level(reading(taken_at="2026-02-01T10:00"), replace(METER, calibration_due="2026-01-31"))
        assert dated.flags == ("calibration_overdue",)

    @pytest.mark.published("step response of a first-order system, 1 - exp(-t / tau) (any textbook of control)")
    @pytest.mark.parametrize(
        ("missed_db", "added_db", "flags"),
        [(0.09, 0.0, ()), (0.11, 0.055, ()), (2.9, 1.45, ()), (3.1, 0.0, ("short_pulses",))],
    )
    def test_from_where_short_pulses_are_corrected_for_and_from_where_told(self, missed_db, added_db, flags):
        """Half of what may be missed is added, from 0.1 dB on; beyond 3 dB it is only told (our judgement)."""
        pulse_s = -12e-6 * math.log(1.0 - 10.0 ** (-missed_db / 10.0))
        assert pulse_response_db(pulse_s, 12e-6) == pytest.approx(missed_db)
        found = to_level(reading(), replace(METER, response_s=12e-6), pulse_s=pulse_s)
        assert found.level.level_db - to_level(reading(), METER).level.level_db == pytest.approx(added_db)
        assert found.flags == flags

    def test_kinds_of_one_scan_share_its_error_and_places_do_not(self):
        def key(**more) -> str:
            return cause(to_level(reading(**more), METER).level, "repeatability").shared_key

        assert key() == key(kind=Kind.AVERAGE) == key(position=(1.0, 0.0, 1.0))
        assert key() != key(place_id="desk")
        assert key() != key(replicate=1)
        here, there = ((x, 0.0, 1.0) for x in (0.0, 1.0))
        assert key(place_id="", position=here) != key(place_id="", position=there)

    @pytest.mark.calculated("noise of the size of the floor adds its power: 10 log10(1 + floor / reading)")
    def test_what_noise_adds_near_the_floor(self):
        assert floor_noise(4e-8, METER).half_width_db == pytest.approx(10.0 * math.log10(1.25))
        assert cause(to_level(reading(1e-7), METER).level, "floor_noise").half_width_db == pytest.approx(
            10.0 * math.log10(1.1)
        )


class TestEndsOfTheScale:
    @pytest.mark.parametrize(
        ("value", "typed", "bound", "found"),
        [
            (2.5, Censoring.NONE, 2.5, Censoring.ABOVE),
            (9.0, Censoring.NONE, 2.5, Censoring.ABOVE),
            (1.0, Censoring.ABOVE, 1.0, Censoring.ABOVE),
            (0.0, Censoring.ABOVE, 2.5, Censoring.ABOVE),
            (2.4, Censoring.NONE, 2.4, Censoring.NONE),
            (3.1e-8, Censoring.NONE, 3.1e-8, Censoring.NONE),
            (2.9e-8, Censoring.NONE, 3e-8, Censoring.BELOW),
            (0.0, Censoring.BELOW, 3e-8, Censoring.BELOW),
            (1e-6, Censoring.BELOW, 1e-6, Censoring.BELOW),
        ],
    )
    def test_number_or_bound(self, value, typed, bound, found):
        """Under three times the floor nothing is told from nothing; from the overload value on it may be anything."""
        one = bounded_value(reading(value, censoring=typed), METER)
        assert (one.density_w_m2, one.censoring) == (pytest.approx(bound), found)
        behind = bounded_value(reading(value, censoring=typed, accessory_id="pad"), PADDED)
        assert (behind.density_w_m2, behind.censoring) == (pytest.approx(bound * 10.0**2.15), found)

    def test_only_averages_that_are_numbers_become_bounds_of_a_clipped_scan(self):
        clipped, below = reading(2.5), reading(1e-6, Kind.AVERAGE, censoring=Censoring.BELOW)
        found = with_clipped_averages([clipped, reading(2.0, Kind.HIGHEST_HELD), below], (METER,))
        assert [r.censoring for r in found] == [Censoring.NONE, Censoring.NONE, Censoring.BELOW]


class TestAxis:
    @pytest.mark.calculated("the largest of three shares that make one is at least a third: 10 log10(3) dB")
    def test_one_spot(self):
        best = shortfall(METER, Kind.PEAK, Orientation.BEST_AXIS, Scan.FIXED)
        assert (best.low_db, best.high_db) == pytest.approx((0.0, 10.0 * math.log10(3.0)))
        other = shortfall(METER, Kind.PEAK, Orientation.X, Scan.FIXED)
        assert (other.low_db, other.high_db) == pytest.approx((0.0, 20.0 * math.log10(3.0)))

    def test_a_range_is_corrected_by_its_middle_and_its_half_is_the_error(self):
        found = Shortfall(1.0, 4.0)
        assert found.middle_db == 2.5 and found.contribution.half_width_db == pytest.approx(1.5)


class TestRepeated:
    @pytest.mark.published(
        "JCGM 100:2008, 4.2.3: s / sqrt(n); where the meter's own repeatability is more, that over sqrt(n)"
    )
    @pytest.mark.parametrize("count", [2, 3, 9])
    def test_equal_scans_leave_the_meters_repeatability_over_the_root_of_their_number(self, count):
        one = level(
            -40.0, ErrorContribution("repeatability", 1.2), ErrorContribution("display", 0.3), kind=Kind.AVERAGE
        )
        found = repeated([one] * count)
        assert cause(found, "repeatability").std_db == pytest.approx(1.2 / math.sqrt(count))
        assert cause(found, "display").std_db == pytest.approx(0.3 / math.sqrt(count))

    @pytest.mark.parametrize("kind", [Kind.AVERAGE, Kind.HIGHEST_HELD])
    def test_of_errors_that_differ_between_scans_the_larger_is_kept(self, kind):
        scans = [
            level(-40.0, ErrorContribution("repeatability", r), ErrorContribution("body", b), kind=kind)
            for r, b in ((1.0, 0.6), (2.0, 1.7), (1.5, 1.1))
        ]
        for order in (scans, scans[::-1]):
            found = repeated(order)
            assert cause(found, "body").std_db == 1.7
            assert cause(found, "repeatability").std_db == pytest.approx(2.0 / math.sqrt(3.0))

    @pytest.mark.published("positive-part James-Stein estimator of normal means: mean + (1 - sigma²/s²)+ (x - mean)")
    @pytest.mark.parametrize("values", [(0.0, 3.0), (-1.0, 0.5, 4.0), (0.0, 0.2, -0.2), (1.0, 6.0, 2.0, 9.0, 3.0)])
    def test_the_highest_of_several_is_drawn_in_by_what_the_meter_alone_scatters(self, values):
        found = repeated([level(v, ErrorContribution("repeatability", 1.2), kind=Kind.HIGHEST_HELD) for v in values])
        real = max(1.0 - 1.2**2 / np.var(values, ddof=1), 0.0)
        assert found.level_db == pytest.approx(np.mean(values) + real * (max(values) - np.mean(values)))
        # All of the scatter real: the error of one scan; none of it: that of a mean of n.
        variance = 1.2**2 * (real + (1.0 - real) / len(values))
        assert cause(found, "repeatability").std_db == pytest.approx(math.sqrt(variance))


class TestSeveralMeters:
    @pytest.mark.published(
        "statsmodels WLS, weights 1/u²: mean, and its error from the scatter (Birge, Phys. Rev. 40, 207)"
    )
    @pytest.mark.parametrize("values", [(-40.0, -31.0), (-40.0, -37.0, -28.0), (-40.0, -38.0, -47.0, -41.0)])
    def test_meters_that_disagree(self, values):
        stds = (2.0, 1.0, 3.0, 1.5)[: len(values)]
        fit = WLS(values, np.ones(len(values)), weights=1.0 / np.square(stds)).fit()
        found = weighed_together([level(v, ErrorContribution("own", u)) for v, u in zip(values, stds, strict=True)])
        assert fit.scale > 1.0
        assert (found.level_db, found.std_db) == pytest.approx((fit.params[0], fit.bse[0]))

    @pytest.mark.published("JCGM 100:2008, 5.1.2, of a mean weighted by 1/u²: 1 / sqrt(sum of 1/u²)")
    @pytest.mark.parametrize("apart", [0.0, 1.0, 1.1, 1.2])
    def test_meters_that_agree_as_well_as_they_say_are_not_widened(self, apart):
        """Two meters of 1 dB may lie sqrt(2) dB apart."""
        found = weighed_together([level(db, ErrorContribution("own", 1.0)) for db in (-40.0, -40.0 + apart)])
        assert found.std_db == pytest.approx(1.0 / math.sqrt(2.0))

    @pytest.mark.parametrize("apart", [1.5, 1.6])
    def test_beyond_that_they_are(self, apart):
        found = weighed_together([level(db, ErrorContribution("own", 1.0)) for db in (-40.0, -40.0 + apart)])
        assert found.std_db == pytest.approx(apart / 2.0)

    def test_of_bounds_alone_one_in_overload_counts_and_of_two_the_higher(self):
        low, high = (level(db, censoring=side) for db, side in ((-30.0, Censoring.BELOW), (-40.0, Censoring.ABOVE)))
        assert weighed_together([low, high]) is weighed_together([high, low]) is high
        higher = level(-35.0, censoring=Censoring.ABOVE)
        assert weighed_together([high, higher]) is higher


class TestPulsesOfADwelling:
    @pytest.mark.published("ETSI EN 300 175-2 and 3GPP TS 45.002: a DECT full slot lasts 368 µs, a GSM burst 547 µs")
    def test_the_longest_pulse_of_the_technology_whose_pulses_are_shortest(self):
        base, mast, broadcast = (Emitter(t, t, technology=t) for t in ("dect", "gsm", "dvbt"))
        made = Survey("s", "home", "2026-03-01", emitters=(base, mast, broadcast))
        assert shortest_pulse_s(made) == pytest.approx(368e-6, rel=0.01)
        assert shortest_pulse_s(replace(made, emitters=(mast, broadcast))) == pytest.approx(547e-6, rel=0.01)
        assert shortest_pulse_s(replace(made, emitters=(broadcast,))) is None

    @pytest.mark.parametrize(("probability", "counts"), [(0.49, False), (0.5, True), (0.6, True)])
    def test_what_was_heard_counts_if_it_is_likelier_there_than_not(self, probability, counts):
        heard = (HeardTechnology("dect", probability),)
        recording = Recording("r", "v", "m", "as_found", "0" * 64, heard=heard)
        found = shortest_pulse_s(Survey("s", "home", "2026-03-01", recordings=(recording,)))
        assert (found is not None) is counts
