"""Both ends of every interval, and the width of every stated distribution, against SciPy's distributions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel, ratio

NORMAL = "scipy.stats.norm: quantiles of the normal distribution, as tabled in JCGM 100:2008, table G.1"
RECTANGLE = (
    "Sum of a rectangle and a normal: density by scipy.integrate over scipy.stats.uniform and norm (JCGM 101, 6.4)"
)


def level(db: float = -20.0, censoring: Censoring = Censoring.NONE, *causes: ErrorContribution) -> UncertainLevel:
    return UncertainLevel(Kind.PEAK, db, causes or (ErrorContribution("own", 2.0),), censoring)


def decibels(density_w_m2: float) -> float:
    return 10.0 * float(np.log10(density_w_m2))


@pytest.mark.published(NORMAL)
@pytest.mark.parametrize("coverage", [0.5, 0.9, 0.95, 0.99])
def test_two_sided(coverage):
    found = level().interval(coverage)
    low, high = stats.norm.interval(coverage, -20.0, 2.0)
    assert decibels(found.low_w_m2) == pytest.approx(low, abs=2e-3)
    assert decibels(found.high_w_m2) == pytest.approx(high, abs=2e-3)


@pytest.mark.published(NORMAL)
@pytest.mark.parametrize("coverage", [0.5, 0.9, 0.95])
def test_a_bound_keeps_the_whole_probability_on_its_own_side(coverage):
    over = level(-20.0, Censoring.ABOVE).interval(coverage)
    assert decibels(over.low_w_m2) == pytest.approx(stats.norm.ppf(1.0 - coverage, -20.0, 2.0), abs=2e-3)
    assert over.high_w_m2 == np.inf
    under = level(-20.0, Censoring.BELOW).interval(coverage)
    assert under.low_w_m2 == 0.0
    assert decibels(under.high_w_m2) == pytest.approx(stats.norm.ppf(coverage, -20.0, 2.0), abs=2e-3)


@pytest.mark.published(NORMAL)
@pytest.mark.parametrize("censor", Censoring)
def test_ratios(censor):
    first = level(-26.0, censor, ErrorContribution("gain", 3.0, shared_key="m"), ErrorContribution("own", 1.5))
    second = level(-20.0, Censoring.NONE, ErrorContribution("gain", 3.0, shared_key="m"), ErrorContribution("own", 2.0))
    law = stats.norm(-6.0, 2.5)
    low, high = ratio(first, second).interval_db(0.9)
    ends = {Censoring.NONE: (0.05, 0.95), Censoring.BELOW: (0.0, 0.9), Censoring.ABOVE: (0.1, 1.0)}[censor]
    assert (low, high) == pytest.approx(law.ppf(ends), abs=3e-3)
    chance = ratio(first, second).probability_below_db(-4.0)
    exact = float(law.cdf(-4.0))
    wanted = {Censoring.NONE: (exact, exact), Censoring.BELOW: (exact, 1.0), Censoring.ABOVE: (0.0, exact)}[censor]
    assert (chance.low, chance.high) == pytest.approx(wanted, abs=1e-4)


@pytest.mark.published(RECTANGLE)
@pytest.mark.parametrize("bound_db", [-28.0, -24.0, -20.0, -17.0, -13.5])
def test_probability_under_a_bound_with_a_meters_tolerance(bound_db):
    stated = level(-20.0, Censoring.NONE, ErrorContribution.from_half_width("gain", 6.0), ErrorContribution("own", 1.0))
    grid = np.linspace(-6.0, 6.0, 20001)
    exact = float(np.trapezoid(stats.norm.cdf(bound_db + 20.0 - grid), grid) / 12.0)
    found = stated.probability_below(10.0 ** (bound_db / 10.0))
    assert (found.low, found.high) == pytest.approx((exact, exact), abs=1e-4)


def test_only_a_bound_leaves_a_range_of_probabilities():
    known, bound = level().probability_below(1e-2), level(-20.0, Censoring.BELOW).probability_below(1e-3)
    assert known.low == known.high
    assert bound.low < bound.high == 1.0
