"""Differences taken together, quotients from on/off tests, the strongest service of a total, the IEC 62311 rule."""

from __future__ import annotations

import math

import numpy as np
import pytest

from roomfield.errors import InputError, KindMismatchError
from roomfield.exposure import (
    Decision,
    Scope,
    SwitchedPart,
    compare,
    difference,
    judge,
    pooled_difference,
    quotient,
    switched_quotient,
)
from roomfield.exposure.decision import Bound
from roomfield.exposure.guideline import SERVICES_AT_MOST
from roomfield.exposure.quotients import AttributedLevel
from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel
from roomfield.references.limits import select

BAND = (350e6, 6.6e9)


def level(
    w_m2: float,
    own_db: float = 0.0,
    gain_db: float = 0.0,
    kind: Kind = Kind.AVERAGE,
    censoring: Censoring = Censoring.NONE,
):
    parts = [ErrorContribution("own", own_db)] if own_db else []
    parts += [ErrorContribution("gain", gain_db, shared_key="m/gain")] if gain_db else []
    return UncertainLevel.from_density(kind, w_m2, tuple(parts), censoring)


class TestPooled:
    @pytest.mark.published("JCGM 100:2008, 4.2.3: the mean of n independent values has 1/sqrt(n) of their spread")
    def test_independent_pairs_narrow_the_mean(self):
        pairs = [(level(1e-3, 0.3), level(4e-4, 0.3)) for _ in range(4)]
        one, four = (np.std(pooled_difference(pairs[:n]).lower_draws) for n in (1, 4))
        assert four == pytest.approx(one / 2.0, rel=0.03)

    def test_a_shared_gain_does_not_average_out(self):
        pairs = [(level(1e-3, gain_db=1.0), level(4e-4, gain_db=1.0)) for _ in range(4)]
        one, four = (np.std(pooled_difference(pairs[:n]).lower_draws) for n in (1, 4))
        assert four == pytest.approx(one, rel=0.02)

    def test_one_pair_is_the_plain_difference(self):
        on, off = level(1e-3, 1.0, 2.0), level(4e-4, 1.0, 2.0)
        assert pooled_difference([(on, off)]).interval() == difference(on, off).interval()
        assert pooled_difference([(on, off)]).nominal_w_m2 == pytest.approx(6e-4)

    def test_bounds_stay_bounds(self):
        low = level(3e-8, censoring=Censoring.BELOW)
        found = pooled_difference([(level(1e-6), low), (level(2e-6), low)])
        span = found.interval()
        assert span.low_w_m2 == pytest.approx(1.5e-6 - 3e-8)
        assert span.high_w_m2 == pytest.approx(1.5e-6)
        over = level(2.5, censoring=Censoring.ABOVE)
        assert pooled_difference([(over, low), (level(1e-6), low)]).interval().high_w_m2 == math.inf
        assert not found.includes_zero()
        assert found.probability_positive().low == 1.0

    def test_what_cannot_be_pooled(self):
        with pytest.raises(InputError, match="no pair"):
            pooled_difference([])
        with pytest.raises(KindMismatchError):
            pooled_difference([(level(1.0), level(0.5, kind=Kind.PEAK))])
        with pytest.raises(KindMismatchError):
            pooled_difference([(level(1.0), level(0.5)), (level(1.0, kind=Kind.PEAK), level(0.5, kind=Kind.PEAK))])
        over = level(2.5, censoring=Censoring.ABOVE)
        with pytest.raises(InputError, match="overload"):
            pooled_difference([(over, over)])


class TestSwitchedQuotient:
    @pytest.mark.published(
        "ICNIRP 2020, simultaneous exposure: sum of S_i / S_limit(f_i); 1999/519/EC, Annex III, Table 2: f/200, 10 W/m²"
    )
    def test_by_hand(self):
        parts = [SwitchedPart("router", level(0.4), (2.45e9,)), SwitchedPart("base", level(0.9), (1.8e9,))]
        found = switched_quotient(level(1.0), parts, select("EU"), BAND)
        assert found.median == pytest.approx(0.6 / 10.0 + 0.1 / 9.0 + 0.3 / 2.0)
        assert [v.value_w_m2 for _, v in found.limits] == pytest.approx([10.0, 9.0])
        assert found.probability_below_one().low == 1.0

    def test_agrees_with_levels_that_are_attributed_outright(self):
        apart = quotient(
            [AttributedLevel("router", level(0.6), 2.45e9), AttributedLevel("rest", level(0.4))], select("EU"), BAND
        )
        found = switched_quotient(level(1.0), [SwitchedPart("router", level(0.4), (2.45e9,))], select("EU"), BAND)
        assert found.median == pytest.approx(apart.value)

    def test_never_above_the_comparison_with_the_smallest_limit(self):
        plain = 1.0 / select("EU").smallest_in_band(*BAND).value_w_m2
        found = switched_quotient(level(1.0), [SwitchedPart("router", level(0.2), (2.45e9, 5.5e9))], select("EU"), BAND)
        assert found.median < plain

    def test_the_strictest_of_several_frequencies_counts(self):
        found = switched_quotient(
            level(1.0), [SwitchedPart("x", level(0.0 + 1e-9), (800e6, 2.45e9))], select("EU"), BAND
        )
        assert found.limits[0][1].value_w_m2 == pytest.approx(4.0)

    def test_an_interval_is_never_negative(self):
        wide = [SwitchedPart("x", level(1.0, 3.0), (2.45e9,))]
        assert switched_quotient(level(1.0, 3.0), wide, select("EU"), BAND).interval()[0] >= 0.0

    def test_what_it_refuses(self):
        with pytest.raises(InputError, match="no frequency"):
            switched_quotient(level(1.0), [SwitchedPart("x", level(0.5), ())], select("EU"), BAND)
        with pytest.raises(KindMismatchError):
            switched_quotient(level(1.0, kind=Kind.PEAK), [SwitchedPart("x", level(0.5), (2e9,))], select("EU"), BAND)


class TestStrongestService:
    """By arithmetic: the strongest of n services holds between an n-th and the whole of their sum."""

    def test_a_total_just_above_a_value_shows_nothing(self):
        result = compare(level(0.3e-6, 0.5, kind=Kind.PEAK), "building-biology-2015", scope=Scope.TOTAL)
        within = result.strongest_at_most(result.chances[0])
        assert within.low < 1e-4
        assert within.high > 0.999

    def test_a_total_far_above_shows_that_some_service_is_above(self):
        result = compare(
            level(0.1e-6 * SERVICES_AT_MOST * 5, 0.5, kind=Kind.PEAK), "building-biology-2015", scope=Scope.TOTAL
        )
        assert result.strongest_at_most(result.chances[0]).high < 1e-4

    def test_a_total_under_a_value_shows_that_every_service_is(self):
        result = compare(level(0.01e-6, 0.5, kind=Kind.PEAK), "building-biology-2015", scope=Scope.TOTAL)
        assert result.strongest_at_most(result.chances[0]).low > 0.999

    def test_a_named_service_is_never_shown_to_be_above_by_a_total(self):
        result = compare(level(1.0, kind=Kind.PEAK), "europaem-2016", scope=Scope.TOTAL, service="wifi")
        assert result.strongest_at_most(result.chances[0]).high == 1.0

    def test_a_single_service_is_taken_as_it_is(self):
        result = compare(level(0.3e-6, kind=Kind.PEAK), "building-biology-2015", scope=Scope.SINGLE_SERVICE)
        assert result.strongest_at_most(result.chances[0]) == result.chances[0].at_most

    def test_categories_of_the_strongest_service_reach_further_down(self):
        result = compare(level(20e-6, 0.1, kind=Kind.PEAK), "building-biology-2015", scope=Scope.TOTAL)
        assert [c.row.name for c in result.plausible()] == ["severe anomaly"]
        assert [c.row.name for c in result.strongest_plausible()] == ["slight anomaly", "severe anomaly"]


class TestPenalty:
    """IEC 62311 / EN IEC 62311: L_m <= L / (0.7 + U / L_m) above 30 %, from memory."""

    @pytest.mark.published("IEC 62311, assessment to limits, L_m <= L / (0.7 + U/L_m) (from memory)")
    @pytest.mark.parametrize("expanded_db", [2.0, 4.0, 7.0])
    def test_the_largest_accepted_level(self, expanded_db):
        relative = 10.0 ** (expanded_db / 10.0) - 1.0
        verdict = judge(level(1.0, expanded_db / 2.0), Bound(10.0, Kind.AVERAGE, "limit"), "iec-62311")
        assert verdict.acceptance_limit_w_m2 == pytest.approx(10.0 / (0.7 + relative))

    def test_no_penalty_under_thirty_per_cent(self):
        verdict = judge(level(1.0, 0.5 * 10.0 * math.log10(1.29)), Bound(10.0, Kind.AVERAGE, "limit"), "iec-62311")
        assert verdict.acceptance_limit_w_m2 == pytest.approx(10.0)

    def test_decisions(self):
        bound = Bound(1.0, Kind.AVERAGE, "limit")
        assert judge(level(0.1, 3.0), bound, "iec-62311").decision is Decision.BELOW
        assert judge(level(0.9, 3.0), bound, "iec-62311").decision is Decision.NOT_SHOWN_BELOW
        assert judge(level(0.1, 3.0), bound, "iec-62311").rule.source.from_memory


def test_a_source_takes_nothing_away_and_an_overload_leaves_only_the_least():
    """Negative parts and bounds taken for numbers stood in reports ("fell by about 2 900 000")."""
    on = UncertainLevel.from_density(Kind.PEAK, 1e-4, (ErrorContribution("repeatability", 1.0),))
    off = UncertainLevel.from_density(Kind.PEAK, 1.1e-3, (ErrorContribution("repeatability", 1.0),))
    part = pooled_difference([(on, off)]).part()
    assert (part.median_w_m2, part.low_w_m2, part.high_w_m2) == (0.0, 0.0, 0.0)
    over = UncertainLevel.from_density(Kind.PEAK, 1.5, (ErrorContribution("repeatability", 1.0),), Censoring.ABOVE)
    part = pooled_difference([(over, on)]).part()
    assert part.is_at_least and part.median_w_m2 == part.low_w_m2
    assert 0.5 < part.low_w_m2 < 1.5
