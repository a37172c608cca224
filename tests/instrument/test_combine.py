"""Axes and replicates."""

from __future__ import annotations

import math
import statistics
from dataclasses import replace

import pytest

from roomfield.errors import InputError
from roomfield.instrument import combine, sum_axes, with_clipped_averages
from roomfield.quantities import Censoring
from roomfield.quantities.kind import Kind
from roomfield.survey import Meter, Orientation, Reading

METER = Meter("m1", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)
BASE = Reading("r0", "v1", "m1", "as_found", Kind.AVERAGE, 1e-4, place_id="bed")


def axis(name: Orientation, value: float, **more) -> Reading:
    return replace(BASE, id=f"r_{name}", orientation=name, value_w_m2=value, **more)


@pytest.mark.published("IEC 62232, measured quantity: S = Sx + Sy + Sz (from memory)")
def test_three_axes_make_a_total():
    triple = [axis(Orientation.X, 1e-4), axis(Orientation.Y, 2e-4), axis(Orientation.Z, 3e-4)]
    total = combine(triple, METER)
    assert total.level.median_w_m2 == pytest.approx(6e-4)
    assert total.replicates == 1
    assert len(total.readings) == 3
    assert "pickup_axis" not in {c.name for c in total.level.contributions}


def test_an_incomplete_triple_is_left_alone():
    pair = [axis(Orientation.X, 1e-4), axis(Orientation.Y, 2e-4)]
    assert set(sum_axes(pair, METER)) == set(pair)


def test_axes_under_the_floor_and_in_overload():
    low = dict(censoring=Censoring.BELOW)
    mixed = combine(
        [axis(Orientation.X, 1e-4), axis(Orientation.Y, 3e-8, **low), axis(Orientation.Z, 3e-8, **low)], METER
    )
    assert mixed.level.censoring is Censoring.NONE
    assert mixed.level.median_w_m2 == pytest.approx(1e-4 + 3e-8)
    nothing = combine([axis(o, 3e-8, **low) for o in (Orientation.X, Orientation.Y, Orientation.Z)], METER)
    assert nothing.level.censoring is Censoring.BELOW
    assert nothing.level.median_w_m2 == pytest.approx(9e-8)
    over = combine([axis(Orientation.X, 2.5), axis(Orientation.Y, 1e-3), axis(Orientation.Z, 1e-3)], METER)
    assert over.level.censoring is Censoring.ABOVE


@pytest.mark.published("JCGM 100:2008, 4.2.3: standard deviation of the mean is s / sqrt(n)")
def test_repeated_scans_keep_the_shared_error_and_average_the_rest():
    scans = [replace(BASE, id=f"r{n}", replicate=n, value_w_m2=v) for n, v in enumerate((1e-4, 1.25e-4, 1e-4, 0.8e-4))]
    one, four = combine(scans[:1], METER).level, combine(scans, METER).level
    assert four.median_w_m2 / one.median_w_m2 == pytest.approx(statistics.mean((1.0, 1.25, 1.0, 0.8)))
    own = {c.name: c.std_db for c in four.contributions if not c.shared_key}
    assert own["repeatability"] == pytest.approx(METER.repeatability_db / 2.0)
    of_one = {c.name: c.std_db for c in one.contributions}
    assert own["display"] == pytest.approx(of_one["display"] / 2.0) and own["body"] == of_one["body"]
    assert four.shared_std_db == pytest.approx(METER.tolerance_db / math.sqrt(3.0))


@pytest.mark.published("JCGM 100:2008, 4.2.2 and 4.2.3: experimental standard deviation of repeated observations")
@pytest.mark.parametrize("values", [(1e-4, 2e-4, 4e-4, 2e-4), (1e-4, 3e-4, 9e-4)])
def test_scans_that_scatter_more_than_stated_widen_the_level(values):
    scans = [replace(BASE, id=f"r{n}", replicate=n, value_w_m2=v) for n, v in enumerate(values)]
    own = {c.name: c.std_db for c in combine(scans, METER).level.contributions if not c.shared_key}
    relative = statistics.stdev(values) / statistics.mean(values) / math.sqrt(len(values))
    assert own["repeatability"] == pytest.approx(10.0 * math.log10(1.0 + relative), rel=1e-6)
    assert own["repeatability"] > METER.repeatability_db / math.sqrt(len(values))


def test_an_overload_among_numbers_leaves_only_a_lower_bound():
    over = replace(BASE, id="o", replicate=1, value_w_m2=METER.overload_w_m2, censoring=Censoring.ABOVE)
    high = replace(BASE, value_w_m2=1.0)
    found, alone = combine([high, over], METER).level, combine([high], METER).level
    assert found.censoring is Censoring.ABOVE
    assert alone.median_w_m2 < found.median_w_m2 < METER.overload_w_m2 * 10**0.48
    assert found.probability_below(0.01).high < 1e-6


def test_numbers_win_over_bounds_and_bounds_keep_the_widest_claim():
    bound = replace(BASE, id="b", replicate=1, value_w_m2=5e-8, censoring=Censoring.BELOW)
    wider = replace(bound, id="c", replicate=2, value_w_m2=9e-8)
    assert combine([BASE, bound], METER).level.censoring is Censoring.NONE
    found = combine([bound, wider], METER).level
    assert found.censoring is Censoring.BELOW
    assert found.median_w_m2 > 9e-8


def test_kinds_are_not_combined():
    with pytest.raises(InputError, match="2 kinds"):
        combine([BASE, replace(BASE, id="p", kind=Kind.PEAK)], METER)


def several(kind: Kind, *values: float) -> list[Reading]:
    return [replace(BASE, id=f"s{n}", replicate=n, kind=kind, value_w_m2=v * 1e-6) for n, v in enumerate(values)]


@pytest.mark.published("JCGM 100:2008, 4.2.1: arithmetic mean of the observations, here of powers")
def test_averages_are_averaged_in_power():
    found = combine(several(Kind.AVERAGE, 10, 10, 10, 1000), METER).level
    one = combine(several(Kind.AVERAGE, 10), METER).level
    assert found.median_w_m2 / one.median_w_m2 == pytest.approx(257.5 / 10.0)
    assert found.std_db > one.std_db


def test_of_highest_values_the_highest_counts_if_the_scatter_is_more_than_the_meter_s():
    found = combine(several(Kind.HIGHEST_HELD, 40, 900, 35), METER).level
    one = combine(several(Kind.HIGHEST_HELD, 900), METER).level
    assert found.median_w_m2 / one.median_w_m2 == pytest.approx(1.0, abs=0.05)
    alike = combine(several(Kind.HIGHEST_HELD, 100, 110, 95), METER).level
    mean = combine(several(Kind.HIGHEST_HELD, 101.5), METER).level
    assert alike.level_db == pytest.approx(mean.level_db, abs=0.1)


@pytest.mark.published("JCGM 100:2008, F.1.1.2: only what varies between the observations is averaged")
def test_what_belongs_to_place_axis_and_habit_is_not_made_smaller_by_repeating():
    one, nine = (combine(several(Kind.AVERAGE, *[100.0] * n), METER).level for n in (1, 9))
    for name in ("pickup_axis", "body", "meter_tolerance"):
        stds = [next(c.std_db for c in level.contributions if c.name == name) for level in (one, nine)]
        assert stds[0] == stds[1] > 0.0
    assert next(c.std_db for c in nine.contributions if c.name == "repeatability") == pytest.approx(1.0 / 3.0)


def test_the_average_of_a_clipped_scan_is_a_lower_bound():
    """A detector that clips its peaks lowers the average too (common practice, no source)."""
    peak = replace(BASE, id="p", kind=Kind.PEAK, value_w_m2=2.5, censoring=Censoring.ABOVE)
    average = replace(BASE, id="a", value_w_m2=3e-3)
    elsewhere = replace(BASE, id="b", place_id="desk", value_w_m2=3e-3)
    found = with_clipped_averages([peak, average, elsewhere], (METER,))
    assert [r.censoring for r in found] == [Censoring.ABOVE, Censoring.ABOVE, Censoring.NONE]
    assert combine(found[1:2], METER).level.censoring is Censoring.ABOVE
    typed_apart = replace(average, replicate=1)
    assert with_clipped_averages([peak, typed_apart], (METER,))[1].censoring is Censoring.ABOVE
    quieter = replace(peak, id="q", replicate=1, value_w_m2=0.1, censoring=Censoring.NONE)
    assert with_clipped_averages([peak, quieter, typed_apart], (METER,))[2].censoring is Censoring.NONE
