"""Sums, means and differences: against Monte Carlo, a metrology library, and simulated visits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from GTC import get_correlation, set_correlation, uncertainty, ureal, value
from hypothesis import given, settings
from hypothesis import strategies as st

from roomfield.errors import InputError, KindMismatchError
from roomfield.exposure.differences import difference
from roomfield.exposure.level_sums import mean, total
from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, Kind, UncertainLevel, joint_draws_w_m2

GAIN = ErrorContribution.from_half_width("gain", 6.0, shared_key="meter")


def level(
    db: float, *contributions: ErrorContribution, kind: Kind = Kind.AVERAGE, censoring: Censoring = Censoring.NONE
):
    return UncertainLevel(kind, db, contributions, censoring)


def noise(std_db: float) -> ErrorContribution:
    return ErrorContribution("repeatability", std_db)


@pytest.mark.calculated("Two equal sources of u = 2 dB each: median 2.10 times one, u 1.45 dB (own Monte Carlo)")
def test_sum_of_two_equal_sources():
    summed = total([level(0.0, noise(2.0)), level(0.0, noise(2.0))])
    assert summed.median_w_m2 == pytest.approx(2.10, abs=0.01)
    assert summed.std_db == pytest.approx(1.45, abs=0.01)


@pytest.mark.parametrize("gain_half_width", [0.0, 3.0, 6.0])
@pytest.mark.parametrize("std_db", [0.5, 1.5, 3.0])
@pytest.mark.parametrize("spread_db", [0.0, 6.0, 20.0])
def test_sum_agrees_with_sampling(gain_half_width, std_db, spread_db):
    gain = ErrorContribution.from_half_width("gain", gain_half_width, shared_key="meter")
    levels = [level(db, gain, noise(std_db)) for db in (0.0, -0.5 * spread_db, -spread_db)]
    drawn = 10 * np.log10(joint_draws_w_m2(levels, 200_000, np.random.default_rng(1)).sum(axis=1))
    summed = total(levels)
    assert summed.level_db == pytest.approx(float(np.median(drawn)), abs=0.12)
    assert summed.std_db == pytest.approx(float(drawn.std()), rel=0.05, abs=0.02)
    low, high = (10 * math.log10(x) for x in (summed.interval().low_w_m2, summed.interval().high_w_m2))
    sampled_low, sampled_high = np.quantile(drawn, [0.025, 0.975])
    assert high == pytest.approx(float(sampled_high), abs=0.25)
    # A sum is skewed upwards; the symmetric form puts the lower end too low, never too high.
    assert -0.2 * std_db <= low - sampled_low <= 0.1


def test_what_all_parts_share_passes_through_whole():
    summed = total([level(0.0, GAIN), level(-3.0, GAIN), level(-10.0, GAIN)])
    assert summed.median_w_m2 == pytest.approx(1 + 10**-0.3 + 0.1)
    assert [(c.name, c.shared_key, c.shape) for c in summed.contributions] == [("gain", "meter", GAIN.shape)]
    assert summed.std_db == pytest.approx(GAIN.std_db)


@pytest.mark.published("IEC 62232, measured quantity: S = Sx + Sy + Sz (from memory)")
def test_three_axes_add_as_power_densities():
    axes = [level(10 * math.log10(s)) for s in (1e-6, 2e-6, 3e-6)]
    assert total(axes).median_w_m2 == pytest.approx(6e-6)
    field = math.sqrt(sum((math.sqrt(s * 376.730313)) ** 2 for s in (1e-6, 2e-6, 3e-6)))
    assert math.sqrt(total(axes).median_w_m2 * 376.730313) == pytest.approx(field)


def test_a_part_under_the_floor_adds_anything_up_to_its_bound():
    known, bound = level(0.0), level(0.0, censoring=Censoring.BELOW)
    summed = total([known, bound])
    assert summed.censoring is Censoring.NONE
    span = summed.interval(0.999999)
    assert (span.low_w_m2, span.high_w_m2) == pytest.approx((1.0, 2.0), rel=0.02)
    hardly = total([known, level(-40.0, censoring=Censoring.BELOW)])
    assert hardly.level_db == pytest.approx(0.0, abs=0.001)


def test_bounds_alone_make_bounds():
    below = total([level(0.0, censoring=Censoring.BELOW), level(0.0, censoring=Censoring.BELOW)])
    assert below.censoring is Censoring.BELOW and below.median_w_m2 == pytest.approx(2.0)
    above = total([level(0.0), level(3.0, censoring=Censoring.ABOVE), level(0.0, censoring=Censoring.BELOW)])
    assert above.censoring is Censoring.ABOVE and above.median_w_m2 == pytest.approx(1 + 10**0.3)


def test_sums_refuse_mixed_kinds_and_nothing():
    with pytest.raises(KindMismatchError):
        total([level(0.0), level(0.0, kind=Kind.PEAK)])
    with pytest.raises(InputError):
        total([])


@given(db=st.lists(st.floats(-60, 10), min_size=1, max_size=6), std=st.floats(0.1, 4))
@settings(max_examples=60, deadline=None)
def test_properties_of_sums_and_means(db, std):
    levels = [level(x, GAIN, noise(std)) for x in db]
    summed, middle = total(levels), mean(levels)
    assert summed.level_db >= max(db) - 1e-9
    assert summed.level_db - middle.level_db == pytest.approx(10 * math.log10(len(db)))
    assert summed.shared_std_db == pytest.approx(GAIN.std_db, rel=1e-9)
    assert summed.independent_std_db <= std * (1 + 1e-9)
    shuffled = total(levels[::-1])
    assert shuffled.level_db == pytest.approx(summed.level_db)


@pytest.mark.published("JCGM 100:2008, F.1.2.3, common errors; GTC (Measurement Standards Laboratory of New Zealand)")
@pytest.mark.parametrize(("gain_db", "own_db"), [(0.2, 0.0), (0.2, 0.05), (0.05, 0.1), (0.0, 0.1)])
def test_difference_agrees_with_a_metrology_library(gain_db, own_db):
    """Small errors, where first order is exact enough; the library works in linear units."""
    gain = ErrorContribution("gain", gain_db, ErrorShape.NORMAL, "meter")
    a, b = level(0.0, gain, noise(own_db)), level(-1.0, gain, noise(own_db))
    found = difference(a, b, draws=200_000)
    neper = math.log(10) / 10
    s = (1.0, 10**-0.1)
    u = [x * neper * math.hypot(gain_db, own_db) for x in s]
    x, y = (ureal(v, w, independent=False) for v, w in zip(s, u, strict=True))
    set_correlation(gain_db**2 / (gain_db**2 + own_db**2), x, y)
    assert get_correlation(x, y) == pytest.approx(gain_db**2 / (gain_db**2 + own_db**2))
    result = x - y
    span = found.interval(0.95)
    assert 0.5 * (span.low_w_m2 + span.high_w_m2) == pytest.approx(value(result), abs=0.03 * uncertainty(result) + 2e-3)
    assert 0.5 * (span.high_w_m2 - span.low_w_m2) / 1.96 == pytest.approx(uncertainty(result), rel=0.02)


def test_shared_errors_cancel_in_the_share():
    on, off = level(0.0, GAIN), level(-3.0103, GAIN)
    assert difference(on, off).share() == pytest.approx((0.5, 0.5), abs=1e-4)
    apart = difference(level(0.0, ErrorContribution.from_half_width("gain", 6.0)), level(-3.0103, GAIN))
    low, high = apart.share()
    assert low < 0.0 < 0.5 < high


def test_a_source_that_does_little_cannot_be_told_from_nothing():
    on, off = level(0.0, GAIN, noise(1.0)), level(-0.2, GAIN, noise(1.0))
    little = difference(on, off)
    assert little.includes_zero()
    span = little.interval()
    assert span.low_w_m2 < 0.0 < span.high_w_m2
    assert 0.4 < little.probability_positive().low < 0.7
    much = difference(level(0.0, GAIN, noise(1.0)), level(-15.0, GAIN, noise(1.0)))
    assert not much.includes_zero()
    assert much.probability_positive().low > 0.999


def test_differences_with_readings_that_are_only_bounds():
    on = level(0.0, GAIN, noise(1.0))
    floor = difference(on, level(-20.0, GAIN, censoring=Censoring.BELOW))
    assert floor.is_bound and not floor.includes_zero()
    span, plain = floor.interval(), on.interval()
    assert span.high_w_m2 == pytest.approx(plain.high_w_m2, rel=0.02)
    assert span.low_w_m2 == pytest.approx(plain.low_w_m2 * 0.99, rel=0.05)
    over = difference(level(0.0, GAIN, censoring=Censoring.ABOVE), level(-20.0, GAIN))
    assert over.interval().high_w_m2 == math.inf and over.interval().low_w_m2 > 0.0
    both_floor = difference(level(0.0, GAIN, censoring=Censoring.BELOW), level(-3.0, GAIN, censoring=Censoring.BELOW))
    assert both_floor.includes_zero()
    with pytest.raises(InputError, match="both readings are in overload"):
        difference(level(0.0, censoring=Censoring.ABOVE), level(0.0, censoring=Censoring.ABOVE))
    with pytest.raises(KindMismatchError):
        difference(on, level(0.0, kind=Kind.PEAK))


def test_same_seed_same_difference():
    on, off = level(0.0, GAIN, noise(1.0)), level(-2.0, GAIN, noise(1.0))
    assert difference(on, off).interval() == difference(on, off).interval()
    assert difference(on, off, seed=1).interval() != difference(on, off).interval()


@pytest.mark.published("JCGM 101:2008, 7.7: a 95 % interval covers 95 % of repeated cases; binomial scatter 0.6 %")
@pytest.mark.parametrize("on_over_off_db", [1.0, 6.0])
def test_difference_and_share_of_simulated_visits_cover_the_truth(on_over_off_db):
    """Each visit has one meter gain for both readings; truth is known."""
    rng = np.random.default_rng(21)
    true_on, true_off = 10 ** (on_over_off_db / 10), 1.0
    covered = {"difference": 0, "share": 0}
    count = 1200
    for _ in range(count):
        gain, own = rng.uniform(-6, 6), rng.normal(0, 1, 2)
        readings = (10 * math.log10(true_on) - gain - own[0], -gain - own[1])
        on, off = (level(db, GAIN, noise(1.0)) for db in readings)
        found = difference(on, off, draws=4000, seed=int(rng.integers(1 << 30)))
        span = found.interval()
        covered["difference"] += span.low_w_m2 <= true_on - true_off <= span.high_w_m2
        low, high = found.share()
        covered["share"] += low <= 1 - true_off / true_on <= high
    assert 0.93 <= covered["share"] / count <= 0.97
    assert 0.93 <= covered["difference"] / count <= 0.97


@pytest.mark.published("JCGM 101:2008, 7.7, for sums of three sources; binomial scatter 0.4 %")
def test_sums_of_simulated_readings_cover_the_truth():
    rng = np.random.default_rng(22)
    true = np.array([1.0, 0.5, 0.1])
    inside = []
    for _ in range(3000):
        read_db = 10 * np.log10(true) - rng.uniform(-6, 6) - rng.normal(0, 1.5, 3)
        span = total([level(float(db), GAIN, noise(1.5)) for db in read_db]).interval()
        inside.append(span.low_w_m2 <= true.sum() <= span.high_w_m2)
    assert 0.93 <= np.mean(inside) <= 0.97
