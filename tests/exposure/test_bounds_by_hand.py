"""What readings that are only bounds allow, worked by hand, and both ends of every stated range, against SciPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from roomfield.errors import InputError
from roomfield.exposure.attribution import attribute
from roomfield.exposure.day import highest_of, mean_over_hours
from roomfield.exposure.differences import difference, draw_quantile, pooled_difference
from roomfield.exposure.level_sums import _pooled, mean, total
from roomfield.exposure.quotients import AttributedLevel, SwitchedPart, _parts_of, quotient, switched_quotient
from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, Kind, UncertainLevel
from roomfield.references.limits import select

BAND = (350e6, 6.6e9)
UNDER, OVER = Censoring.BELOW, Censoring.ABOVE


def level(w_m2: float, own_db: float = 0.0, censoring: Censoring = Censoring.NONE, gain_db: float = 0.0):
    causes = [ErrorContribution("own", own_db)] if own_db else []
    causes += [ErrorContribution("gain", gain_db, shared_key="m")] if gain_db else []
    return UncertainLevel.from_density(Kind.AVERAGE, w_m2, tuple(causes), censoring)


class TestDifferences:
    def test_a_level_under_the_floor_may_be_anything_from_nothing(self):
        """1 minus (0 to 2) lies between -1 and 1: it may be positive, and need not."""
        pair = level(1.0), level(2.0, censoring=UNDER)
        for found in (difference(*pair), pooled_difference([pair])):
            span = found.interval()
            assert (span.low_w_m2, span.high_w_m2) == pytest.approx((-1.0, 1.0))
            assert found.includes_zero()
            chance = found.probability_positive()
            assert (chance.low, chance.high) == (0.0, 1.0)

    @pytest.mark.parametrize(("on", "zero"), [(2.0, False), (1.0, True), (0.5, False)])
    def test_nothing_is_shown_only_where_zero_lies_within(self, on, zero):
        pair = level(on, 0.2), level(1.0, 0.2)
        assert difference(*pair).includes_zero() is pooled_difference([pair]).includes_zero() is zero

    def test_a_difference_is_a_bound_if_either_level_is(self):
        known = level(1.0)
        assert not difference(known, known).is_bound
        for side in (UNDER, OVER):
            bound = level(1.0, censoring=side)
            assert difference(bound, known).is_bound and difference(known, bound).is_bound

    def test_the_mean_of_pairs(self):
        pairs = [(level(5.0), level(1.0)), (level(3.0), level(1.0)), (level(1.0), level(1.0))]
        assert pooled_difference(pairs).nominal_w_m2 == pytest.approx(2.0)

    @pytest.mark.published("scipy.stats.norm: ratio of two levels of 1.5 and 2 dB has 2.5 dB (JCGM 100, eq. 10)")
    def test_the_share_of_a_source_with_its_usual_interval(self):
        found = difference(level(1.0, 1.5), level(0.1, 2.0)).share()
        ends = stats.norm.ppf([0.025, 0.975], 10.0, 2.5)
        assert found == pytest.approx(tuple(1.0 - 10.0 ** (-ends / 10.0)), abs=1e-3)

    def test_quantiles_of_draws_that_are_partly_infinite(self):
        draws = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, math.inf, math.inf])
        found = [draw_quantile(draws, p) for p in (0.0, 0.25, 0.7, 0.75, 1.0)]
        assert found == [1.0, 3.0, 6.0, math.inf, math.inf]
        assert draw_quantile(draws[:6], 0.5) == np.quantile(draws[:6], 0.5)


class TestQuotients:
    @pytest.mark.published("scipy.stats.norm; ICNIRP 2020: 10 W/m² at 2.45 GHz")
    def test_a_sum_of_one_source_has_the_law_of_its_level(self):
        found = quotient([AttributedLevel("router", level(8.0, 2.0), 2.45e9)], select("ICNIRP"), BAND)
        law = stats.norm(10.0 * math.log10(0.8), 2.0)
        span = found.interval()
        assert 10.0 * np.log10([span.low_w_m2, span.high_w_m2]) == pytest.approx(law.ppf([0.025, 0.975]), abs=2e-3)
        assert found.probability_below_one().low == pytest.approx(law.cdf(0.0), abs=1e-4)
        assert found.judge().bound.value_w_m2 == 1.0

    @pytest.mark.published("JCGM 101:2008, clause 7: sampling, done here with NumPy alone; 1999/519/EC: 10 and 9 W/m²")
    def test_a_sum_with_switched_sources_is_that_of_sampling(self):
        chosen = select("EU")
        smallest = chosen.smallest_in_band(*BAND).value_w_m2
        parts = [SwitchedPart("router", level(0.5, 1.0, gain_db=2.0), (2.45e9,)),
                 SwitchedPart("base", level(0.8, 1.0, gain_db=2.0), (1.8e9,))]  # fmt: skip
        found = switched_quotient(level(1.6, 1.0, gain_db=2.0), parts, chosen, BAND)
        rng = np.random.default_rng(7)
        gain, own = rng.normal(0.0, 2.0, 200_000), rng.normal(0.0, 1.0, (3, 200_000))
        whole, *without = np.array([[1.6], [0.5], [0.8]]) * 10.0 ** ((gain + own) / 10.0)
        added = np.clip(whole - np.array(without), 0.0, whole)
        added *= np.minimum(1.0, whole / np.maximum(added.sum(axis=0), 1e-300))
        sums = added[0] / 10.0 + added[1] / 9.0 + (whole - added.sum(axis=0)) / smallest
        spread = np.std(sums)
        assert found.median == pytest.approx(np.median(sums), abs=0.03 * spread)
        assert found.interval() == pytest.approx(np.quantile(sums, [0.025, 0.975]), abs=0.08 * spread)
        assert found.interval(0.5) == pytest.approx(np.quantile(sums, [0.25, 0.75]), abs=0.04 * spread)
        strong = switched_quotient(level(6.0, 1.0, gain_db=2.0), [SwitchedPart("router", level(5.9, 1.0, gain_db=2.0), (2.45e9,))], chosen, BAND)  # fmt: skip
        chance = strong.probability_below_one()
        assert chance.low == chance.high == pytest.approx(np.mean(strong.upper_draws < 1.0))
        assert 0.0 < chance.low < 0.2

    @pytest.mark.calculated("1999/519/EC: 10 W/m² at 2.45 GHz, 2 W/m² at 400 MHz; least and most by hand")
    @pytest.mark.parametrize(
        ("found", "without", "least", "most"),
        [
            (level(1.0), level(0.3), 0.7 / 10.0 + 0.3 / 2.0, 0.7 / 10.0 + 0.3 / 2.0),
            (level(1.0), level(0.3, censoring=UNDER), 1.0 / 10.0, 0.7 / 10.0 + 0.3 / 2.0),
            (level(1.0), level(0.3, censoring=OVER), 0.7 / 10.0 + 0.3 / 2.0, 1.0 / 2.0),
            (level(1.0, censoring=UNDER), level(0.3), 0.0, 1.0 / 2.0),
            (level(1.0, censoring=OVER), level(0.3), 1.0 / 10.0, math.inf),
        ],
        ids=["numbers", "off under the floor", "off in overload", "on under the floor", "on in overload"],
    )
    def test_the_least_and_the_most_that_bounds_allow(self, found, without, least, most):
        summed = switched_quotient(found, [SwitchedPart("router", without, (2.45e9,))], select("EU"), (400e6, 6e9))
        assert summed.interval() == pytest.approx((least, most))
        assert summed.probability_below_one().high == 1.0
        assert summed.probability_below_one().low == (0.0 if most == math.inf else 1.0)

    def test_sources_add_no_more_than_there_is_and_share_what_is_there(self):
        whole = np.full(4, 0.5)
        found = _parts_of(whole, np.array([[0.4, 0.1, -0.2, 0.9], [0.4, 0.2, 0.0, 0.5]]))
        assert found == pytest.approx(np.array([[0.25, 0.1, 0.0, 0.25], [0.25, 0.2, 0.0, 0.25]]))


class TestSums:
    @pytest.mark.published(
        "L. F. Fenton, IRE Trans. Commun. Syst. 8 (1960) 57-67: mean and variance; scipy.stats.lognorm"
    )
    @pytest.mark.parametrize("gain_db", [0.0, 1.5])
    @pytest.mark.parametrize("own_db", [(2.0, 2.0, 2.0), (0.5, 3.0, 1.0)])
    def test_a_sum_has_the_mean_and_the_variance_of_its_parts_together(self, gain_db, own_db):
        neper = math.log(10.0) / 10.0
        levels = [level(w, own, gain_db=gain_db) for w, own in zip((1.0, 0.4, 0.1), own_db, strict=True)]
        laws = [stats.lognorm(neper * math.hypot(gain_db, own), scale=x.median_w_m2)
                for x, own in zip(levels, own_db, strict=True)]  # fmt: skip
        means = np.array([law.mean() for law in laws])
        together = math.expm1((neper * gain_db) ** 2)
        covariance = np.outer(means, means) * together + np.diag([law.var() - m**2 * together for law, m in zip(laws, means, strict=True)])  # fmt: skip
        found = total(levels)
        law = stats.lognorm(neper * found.std_db, scale=found.median_w_m2)
        assert law.mean() == pytest.approx(means.sum())
        assert law.var() == pytest.approx(covariance.sum())
        assert mean(levels).median_w_m2 == pytest.approx(found.median_w_m2 / 3.0)

    def test_the_mean_of_two_exact_levels(self):
        assert mean([level(1.0), level(3.0)]).median_w_m2 == pytest.approx(2.0)
        assert total([level(1.0), level(3.0)]).std_db == 0.0

    @pytest.mark.calculated("2 and from nothing to 6 W/m²: between 2 and 8, a rectangle of 6.02 dB about 4 W/m²")
    def test_parts_under_the_floor_are_a_rectangle_between_none_and_all_of_them(self):
        found = total([level(2.0), level(4.0, censoring=UNDER), level(2.0, censoring=UNDER)])
        assert found.median_w_m2 == pytest.approx(4.0)
        (added,) = found.contributions
        assert added.half_width_db == pytest.approx(10.0 * math.log10(2.0))
        assert added.shape is ErrorShape.RECTANGULAR

    @pytest.mark.parametrize(("large_db", "shape"), [(7.1, ErrorShape.RECTANGULAR), (6.9, ErrorShape.NORMAL)])
    def test_errors_of_one_cause_keep_their_shape_only_where_one_makes_98_percent_of_the_variance(
        self, large_db, shape
    ):
        """Of 7 and 1 dB the first makes 49 of 50."""
        found = _pooled("x", [ErrorContribution("x", 1.0), ErrorContribution("x", large_db, ErrorShape.RECTANGULAR)])
        assert found.shape is shape and found.std_db == pytest.approx(math.hypot(large_db, 1.0))


class TestDays:
    def test_what_bounds_allow_of_a_day_and_of_a_night(self):
        span = mean_over_hours([level(1.0), level(2.0, censoring=UNDER)], [8.0, 8.0]).interval()
        assert (span.low_w_m2, span.high_w_m2) == pytest.approx((0.5, 1.5))
        over = mean_over_hours([level(1.0), level(2.0, censoring=OVER)], [8.0, 8.0]).interval()
        assert (over.low_w_m2, over.high_w_m2) == (pytest.approx(1.5), math.inf)
        held = [UncertainLevel(Kind.HIGHEST_HELD, db, (), side) for db, side in ((0.0, Censoring.NONE), (3.0, UNDER))]
        night = highest_of(held)
        span = night.interval()
        assert (span.low_w_m2, span.high_w_m2) == pytest.approx((1.0, 10.0**0.3))
        assert night.probability_below(1.5) == (0.0, 1.0)

    @pytest.mark.published("scipy.stats.norm: quantiles of one level's law")
    def test_of_one_stay_the_day_has_the_law_of_its_level(self):
        found = mean_over_hours([level(1.0, 2.0)], [8.0], draws=200_000)
        for coverage in (0.5, 0.95):
            span = found.interval(coverage)
            ends = stats.norm.interval(coverage, 0.0, 2.0)
            assert 10.0 * np.log10([span.low_w_m2, span.high_w_m2]) == pytest.approx(ends, abs=0.03)
        assert found.probability_below(10.0**0.2) == pytest.approx((stats.norm.cdf(1.0),) * 2, abs=0.005)

    @pytest.mark.parametrize(("levels", "hours"), [([], [8.0]), ([level(1.0)], [0.0])])
    def test_no_stay_and_stays_without_length_have_no_mean(self, levels, hours):
        with pytest.raises(InputError, match="no stay"):
            mean_over_hours(levels, hours)


@pytest.mark.published(
    "JCGM 101:2008, clause 7: sampling, done here with NumPy alone, common errors drawn once (F.1.2.3)"
)
@pytest.mark.parametrize("coverage", [0.5, 0.95])
def test_what_switches_leave_over_is_that_of_sampling(coverage):
    values = np.array([10.0, 6.0, 7.0, 2.0])
    found, first, second, rest = (level(v, 0.3, gain_db=2.0) for v in values)
    left = attribute(found, {"a": first, "b": second}, background=rest, coverage=coverage, draws=50_000).remainder
    rng = np.random.default_rng(8)
    drawn = values[:, None] * 10.0 ** ((rng.normal(0.0, 2.0, 200_000) + rng.normal(0.0, 0.3, (4, 200_000))) / 10.0)
    sums = -drawn[0] + drawn[1] + drawn[2] - drawn[3]
    ends = np.quantile(sums, [(1.0 - coverage) / 2.0, (1.0 + coverage) / 2.0])
    assert (left.low_w_m2, left.high_w_m2) == pytest.approx(ends, abs=0.04 * np.std(sums))
