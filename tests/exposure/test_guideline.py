"""Guideline comparisons: probabilities of categories, totals as upper bounds, kinds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from roomfield.errors import InputError, KindMismatchError, UnknownNameError
from roomfield.exposure.guideline import (
    SERVICES_AT_MOST,
    GuidelineRemark,
    Scope,
    compare,
    compare_with_every_service,
)
from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel

SBM = "building-biology-2015"


def peak(value_uw_m2: float, std_db: float = 0.0, *, kind: Kind = Kind.PEAK, censoring: Censoring = Censoring.NONE):
    causes = (ErrorContribution("meter", std_db),) if std_db else ()
    return UncertainLevel.from_density(kind, value_uw_m2 * 1e-6, causes, censoring)


@pytest.mark.published("Building-biology 2015 scale; U = 6 dB on 3 µW/m² spans 0.75 to 12 µW/m², two categories")
def test_a_level_near_an_edge_spans_two_categories():
    found = compare(peak(3.0, 3.0), SBM, scope=Scope.SINGLE_SERVICE)
    span = found.level.interval(0.9545)
    assert span.low_w_m2 * 1e6 == pytest.approx(0.75, abs=0.01)
    assert span.high_w_m2 * 1e6 == pytest.approx(12.0, abs=0.1)
    assert [c.row.name for c in found.plausible(0.9545)] == ["slight anomaly", "severe anomaly"]
    assert GuidelineRemark.SEVERAL_CATEGORIES in found.remarks
    assert found.nominal is not None and found.nominal.row.name == "slight anomaly"


@pytest.mark.calculated("Probabilities of categories for a normal error in dB, closed form")
@pytest.mark.parametrize("value", [0.05, 0.1, 3.0, 10.0, 700.0, 5000.0])
def test_probabilities_of_categories(value):
    found = compare(peak(value, 3.0), SBM, scope=Scope.SINGLE_SERVICE)
    edges = [-math.inf, *(10 * math.log10(e) for e in (0.1, 10, 1000)), math.inf]
    z = (np.array(edges) - 10 * math.log10(value)) / 3.0
    expected = np.diff(stats.norm.cdf(z))
    for end in ("low", "high"):
        assert [getattr(c.probability, end) for c in found.chances] == pytest.approx(list(expected), abs=2e-5)
        assert [getattr(c.at_most, end) for c in found.chances] == pytest.approx(list(stats.norm.cdf(z[1:])), abs=2e-5)
    assert sum(c.probability.low for c in found.chances) == pytest.approx(1.0)


@pytest.mark.published("Building-biology 2015 and Austrian 2012, edges after a way through decibels")
@pytest.mark.parametrize(
    ("value", "sbm", "austrian"), [(0.1, 1, 0), (1.0, 1, 1), (10.0, 2, 2), (1000.0, 2, 3), (1000.1, 3, 3)]
)
def test_exact_edges_survive_decibels(value, sbm, austrian):
    for guideline, index in ((SBM, sbm), ("austrian-medical-2012", austrian)):
        found = compare(peak(value), guideline, scope=Scope.SINGLE_SERVICE)
        assert found.nominal is found.chances[index]


@pytest.mark.published("Building-biology 2008 and 2015: each single radio service, not the sum")
def test_a_total_is_only_an_upper_bound_for_each_service():
    found = compare(peak(50.0, 2.0), SBM, scope=Scope.TOTAL)
    assert found.is_upper_bound
    assert not compare(peak(50.0, 2.0), SBM, scope=Scope.SINGLE_SERVICE).is_upper_bound
    with pytest.raises(TypeError):
        compare(peak(50.0), SBM)  # the scope is never guessed
    every = compare_with_every_service(peak(50.0, 2.0), "europaem-2016")
    assert len(every) == 10 and all(item.is_upper_bound for item in every)
    assert len(compare_with_every_service(peak(50.0), SBM)) == 1


@pytest.mark.published("EUROPAEM 2016: DECT 100 / 10 / 1 µW/m² by day, by night, sensitive groups")
def test_targets():
    found = compare(peak(10.0, 2.0), "europaem-2016", scope=Scope.SINGLE_SERVICE, service="dect")
    by_name = {c.row.name: c.probability.low for c in found.chances}
    assert by_name["nighttime"] == pytest.approx(0.5, abs=1e-3)
    assert by_name["daytime"] > 0.99999 and by_name["sensitive populations"] < 1e-5
    assert found.nominal is None and found.plausible() == found.chances


def test_services_are_named_and_never_borrowed():
    with pytest.raises(UnknownNameError):
        compare(peak(1.0), "europaem-2016", scope=Scope.SINGLE_SERVICE, service="nr")
    with pytest.raises(InputError):
        compare(peak(1.0), "europaem-2016", scope=Scope.TOTAL)


def test_kinds():
    with pytest.raises(KindMismatchError):
        compare(peak(1.0, kind=Kind.AVERAGE), SBM, scope=Scope.SINGLE_SERVICE)
    held = compare(peak(1.0, kind=Kind.HIGHEST_HELD), SBM, scope=Scope.SINGLE_SERVICE)
    assert held.chances == compare(peak(1.0), SBM, scope=Scope.SINGLE_SERVICE).chances
    found = compare(peak(1.0, kind=Kind.AVERAGE), "bioinitiative-2012", scope=Scope.TOTAL)
    assert GuidelineRemark.STATISTIC_NOT_STATED in found.remarks


def test_readings_that_are_only_bounds():
    floor = compare(peak(0.05, 1.0, censoring=Censoring.BELOW), SBM, scope=Scope.SINGLE_SERVICE)
    assert GuidelineRemark.BOUND_ONLY in floor.remarks
    assert floor.chances[0].probability.high == 1.0 and floor.chances[0].probability.low > 0.99
    assert [c.row.name for c in floor.plausible()] == ["no anomaly"]
    higher = compare(peak(5.0, 1.0, censoring=Censoring.BELOW), SBM, scope=Scope.SINGLE_SERVICE)
    assert (higher.chances[0].probability.low, higher.chances[0].probability.high) == pytest.approx(
        (0.0, 1.0), abs=1e-6
    )
    over = compare(peak(2e4, 1.0, censoring=Censoring.ABOVE), SBM, scope=Scope.SINGLE_SERVICE)
    assert [c.row.name for c in over.plausible()] == ["extreme anomaly"]
    assert over.chances[-1].probability.low > 0.999


@pytest.mark.calculated(
    "a level known only to lie under a reading may lie in any category that begins under it: 1 - F(edge)"
)
def test_a_level_under_the_floor_may_lie_in_any_category_that_begins_under_it():
    found = compare(peak(5.0, 1.0, censoring=Censoring.BELOW), SBM, scope=Scope.SINGLE_SERVICE)
    below = 0.0
    for chance in found.chances:
        assert chance.probability.high == pytest.approx(1.0 - below, abs=1e-3)
        assert chance.probability.low == pytest.approx(0.0, abs=2e-3)
        if chance.row.upper_w_m2 is not None:
            below = stats.norm.cdf(10.0 * math.log10(chance.row.upper_w_m2 / 5e-6))


EDGES_DB = 10.0 * np.log10([0.1e-6, 10e-6, 1000e-6])


@pytest.mark.calculated(
    "the strongest of n services holds a tenth to the whole of a total: normal laws 0 to 10 dB lower"
)
@pytest.mark.parametrize("value", [0.05, 3.0, 20.0, 700.0, 5000.0])
def test_the_strongest_service_of_a_total_lies_up_to_ten_decibels_lower(value):
    found = compare(peak(value, 2.0), SBM, scope=Scope.TOTAL)
    assert found.strongest_share_db == pytest.approx(10.0 * math.log10(SERVICES_AT_MOST)) == 10.0
    middle = 10.0 * math.log10(value * 1e-6)
    laws = [stats.norm(middle - part, 2.0) for part in range(11)]
    for edge, chance in zip(EDGES_DB, found.chances, strict=False):
        under = found.strongest_at_most(chance)
        assert (under.low, under.high) == pytest.approx((laws[0].cdf(edge), laws[-1].cdf(edge)), abs=2e-5)
    inside = np.array([np.diff([0.0, *law.cdf(EDGES_DB), 1.0]) for law in laws])
    each = found.strongest_in_each()
    assert [one.low for one in each] == pytest.approx(inside.min(axis=0), abs=2e-5)
    assert [one.high for one in each] == pytest.approx(inside.max(axis=0), abs=2e-5)
    ends = [middle - 10.0 + 2.0 * stats.norm.ppf(0.025), middle + 2.0 * stats.norm.ppf(0.975)]
    first, last = np.searchsorted(EDGES_DB, ends)
    assert found.strongest_plausible() == found.chances[first : last + 1]
    plain = np.searchsorted(EDGES_DB, [ends[0] + 10.0, ends[1]])
    assert found.plausible() == found.chances[plain[0] : plain[1] + 1]


def test_of_one_service_the_strongest_is_itself():
    found = compare(peak(3.0, 2.0), SBM, scope=Scope.SINGLE_SERVICE)
    assert found.strongest_share_db == 0.0
    assert [(c.low, c.high) for c in found.strongest_in_each()] == [
        (c.probability.low, c.probability.high) for c in found.chances
    ]
    assert found.strongest_plausible() == found.plausible()
    assert found.strongest_under(10e-6) == found.chances[1].at_most


def test_a_total_says_of_a_named_service_only_that_it_is_no_more():
    found = compare(peak(10.0, 2.0), "europaem-2016", scope=Scope.TOTAL, service="dect")
    night = next(c for c in found.chances if c.row.name == "nighttime")
    within = found.strongest_at_most(night)
    assert within.low == pytest.approx(0.5, abs=1e-3) and within.high == 1.0
    assert found.strongest_plausible() == found.chances


@pytest.mark.published("scipy.stats.norm; a bound leaves its open side at nothing or at certainty")
@pytest.mark.parametrize("censoring", [Censoring.BELOW, Censoring.ABOVE])
def test_of_a_total_that_is_only_a_bound_either_end_may_be_open(censoring):
    under, over = censoring is Censoring.BELOW, censoring is Censoring.ABOVE
    middle = 10.0 * math.log10(20e-6)
    whole, tenth = (stats.norm.cdf(-50.0, at, 2.0) for at in (middle, middle - 10.0))
    any_service = compare(peak(20.0, 2.0, censoring=censoring), SBM, scope=Scope.TOTAL).strongest_under(10e-6)
    assert any_service.low == pytest.approx(0.0 if over else whole, abs=2e-5)
    assert any_service.high == pytest.approx(1.0 if under else tenth, abs=2e-5)
    named = compare(peak(20.0, 2.0, censoring=censoring), "europaem-2016", scope=Scope.TOTAL, service="dect")
    of_it = named.strongest_under(10e-6)
    assert of_it.low == pytest.approx(0.0 if over else whole, abs=2e-5) and of_it.high == 1.0


def test_what_must_be_said_of_a_comparison():
    said = compare(peak(3.0, 0.1), SBM, scope=Scope.SINGLE_SERVICE).remarks
    assert GuidelineRemark.SEVERAL_CATEGORIES not in said and GuidelineRemark.BOUND_ONLY not in said
    targets = compare(peak(3.0, 9.0), "europaem-2016", scope=Scope.SINGLE_SERVICE, service="dect")
    assert len(targets.plausible()) > 1 and GuidelineRemark.SEVERAL_CATEGORIES not in targets.remarks
    assert GuidelineRemark.STATISTIC_NOT_STATED not in targets.remarks
