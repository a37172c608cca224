"""Causes of error one by one: their draws and sums against SciPy's distributions, and what is shared between levels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from roomfield.errors import InputError, UnknownNameError
from roomfield.quantities import (
    Censoring,
    ErrorContribution,
    ErrorShape,
    Kind,
    UncertainLevel,
    convert,
    joint_draws_w_m2,
    ratio,
)
from roomfield.quantities.contribution import combined_std_db, draw_errors_db, error_distribution, merge_shared
from roomfield.quantities.level import HALF_WIDTH

LAWS = {
    ErrorShape.NORMAL: stats.norm(0.0, 2.0),
    ErrorShape.RECTANGULAR: stats.uniform(-2.0 * math.sqrt(3.0), 4.0 * math.sqrt(3.0)),
    ErrorShape.TRIANGULAR: stats.triang(0.5, -2.0 * math.sqrt(6.0), 4.0 * math.sqrt(6.0)),
    ErrorShape.U_SHAPED: stats.arcsine(-2.0 * math.sqrt(2.0), 4.0 * math.sqrt(2.0)),
}
"""Laws of mean zero and standard deviation two, with the divisors of JCGM 100, 4.3.7 and 4.3.9."""


@pytest.mark.published("scipy.stats norm, uniform, triang, arcsine; divisors of JCGM 100:2008, 4.3.7 and 4.3.9")
@pytest.mark.parametrize("shape", ErrorShape)
def test_draws_follow_the_law_of_their_shape(shape):
    drawn = draw_errors_db(ErrorContribution("x", 2.0, shape, sensitivity=-3.0), 20_000, np.random.default_rng(1))
    assert stats.kstest(drawn, LAWS[shape].cdf).pvalue > 0.01
    low, high = LAWS[shape].support()
    assert low <= drawn.min() and drawn.max() <= high


@pytest.mark.published("scipy.stats norm, uniform, triang, arcsine: distribution functions")
@pytest.mark.parametrize("shape", ErrorShape)
def test_the_distribution_of_one_cause_is_that_of_its_shape(shape):
    found = error_distribution((ErrorContribution("x", 2.0, shape),))
    at = np.array([-5.0, -3.3, -2.0, -0.7, 0.0, 0.4, 1.9, 3.0, 4.7])
    # The grid's step is a thirtieth of a decibel here, and a U-shaped law is steep at its ends.
    assert found.cdf(at) == pytest.approx(LAWS[shape].cdf(at), abs=2e-3)
    assert (found.cdf(-99.0), found.cdf(99.0)) == (0.0, 1.0)


@pytest.mark.calculated("sixty cells for each standard deviation of the sum: 0.5 dB of 0.3 and 0.4 dB")
def test_the_grid_is_as_fine_as_it_is_said_to_be():
    edges = error_distribution((ErrorContribution("x", 0.3), ErrorContribution("y", 0.4))).edges_db
    assert np.diff(edges) == pytest.approx(0.5 / 60)


@pytest.mark.published("scipy.stats.norm: 95 % of a normal law within 1.96 standard deviations (JCGM 100, table G.1)")
def test_half_of_the_usual_interval():
    assert pytest.approx(stats.norm.ppf(0.975)) == HALF_WIDTH


@pytest.mark.published("JCGM 100:2008, 4.3.7 and 4.3.9, and eq. 10: divisors, and the root of the sum of squares")
def test_half_widths_and_standard_uncertainties():
    divisors = {"normal": 1.0, "rectangular": 3**0.5, "triangular": 6**0.5, "u_shaped": 2**0.5}
    for shape in ErrorShape:
        one = ErrorContribution.from_half_width("x", 3.0, shape)
        assert one.std_db == pytest.approx(3.0 / divisors[shape]) and one.half_width_db == pytest.approx(3.0)
    halved = ErrorContribution("x", 4.0, sensitivity=-0.5)
    assert halved.effective_std_db == 2.0
    assert combined_std_db((halved, ErrorContribution("y", 1.5))) == pytest.approx(2.5)


def test_a_level_without_error_keeps_its_value_to_a_billionth_of_a_decibel():
    exact = UncertainLevel(Kind.PEAK, -30.0)
    span = exact.interval(0.99)
    assert 0.0 <= 10.0 * math.log10(span.high_w_m2 / span.low_w_m2) <= 2e-9
    assert error_distribution(()).quantile(0.0) == -error_distribution(()).quantile(1.0) >= -1e-9
    assert error_distribution((ErrorContribution("none", 0.0),)).quantile(0.5) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.published(
    "JCGM 100:2008, 5.2.2, note 1: of wholly correlated inputs the uncertainties add with their signs"
)
def test_one_error_of_two_sizes_adds_with_its_sign():
    one = ErrorContribution("gain", 2.0, shared_key="k")
    other = ErrorContribution("gain", 3.0, shared_key="k", sensitivity=-1.0)
    for pair in ((one, other), (other, one)):
        assert combined_std_db(merge_shared(pair)) == pytest.approx(1.0)
    apart = ErrorContribution("drift", 3.0, shared_key="k")
    assert combined_std_db(merge_shared((one, apart))) == pytest.approx(math.sqrt(13.0))


def test_an_error_of_no_size_hides_none_that_has_one():
    nothing, real = (ErrorContribution("gain", std, shared_key="k") for std in (0.0, 2.0))
    for pair in ((nothing, real), (real, nothing)):
        assert combined_std_db(merge_shared(pair)) == 2.0


def test_what_a_level_shares_and_what_is_its_own():
    level = UncertainLevel(
        Kind.PEAK,
        -40.0,
        (
            ErrorContribution("gain", 3.0, shared_key="m"),
            ErrorContribution("own", 1.2),
            ErrorContribution("body", 1.6),
        ),
    )
    assert (level.shared_std_db, level.independent_std_db) == pytest.approx((3.0, 2.0))
    assert level.std_db == pytest.approx(math.sqrt(13.0))
    moved = level.shifted(2.5, ErrorContribution("added", 1.0))
    assert moved.level_db == -37.5 and moved.std_db == pytest.approx(math.sqrt(14.0))


@pytest.mark.published("JCGM 100:2008, F.1.2.3: a common error enters both results, each by its own factor")
def test_draws_of_one_error_with_two_sizes_and_signs():
    levels = [
        UncertainLevel(Kind.PEAK, -40.0, (ErrorContribution("gain", std, shared_key="m", sensitivity=sign),))
        for std, sign in ((2.0, 1.0), (3.0, -1.0))
    ]
    first, second = 10.0 * np.log10(joint_draws_w_m2(levels, 5000, np.random.default_rng(2)).T) + 40.0
    assert second == pytest.approx(-1.5 * first)
    assert stats.kstest(first, stats.norm(0.0, 2.0).cdf).pvalue > 0.01


@pytest.mark.parametrize("value", [0.0, -1.0, math.inf, math.nan])
def test_what_has_no_logarithm_is_no_level(value):
    with pytest.raises(InputError, match="no logarithm"):
        UncertainLevel.from_density(Kind.PEAK, value)


@pytest.mark.parametrize(
    ("first", "second", "found"),
    [
        (Censoring.NONE, Censoring.NONE, Censoring.NONE),
        (Censoring.BELOW, Censoring.NONE, Censoring.BELOW),
        (Censoring.ABOVE, Censoring.NONE, Censoring.ABOVE),
        (Censoring.NONE, Censoring.BELOW, Censoring.ABOVE),
        (Censoring.NONE, Censoring.ABOVE, Censoring.BELOW),
        (Censoring.BELOW, Censoring.ABOVE, Censoring.BELOW),
        (Censoring.ABOVE, Censoring.BELOW, Censoring.ABOVE),
    ],
)
def test_on_which_side_a_ratio_is_known(first, second, found):
    """An upper bound over a lower bound is an upper bound, and the other way round."""
    one, other = (UncertainLevel(Kind.PEAK, db, (), side) for db, side in ((-50.0, first), (-40.0, second)))
    assert ratio(one, other).censoring is found


@pytest.mark.parametrize("side", [Censoring.BELOW, Censoring.ABOVE])
def test_two_bounds_on_one_side_have_no_ratio(side):
    one = UncertainLevel(Kind.PEAK, -50.0, (), side)
    with pytest.raises(InputError, match="same side"):
        ratio(one, one)


def test_units_are_understood_as_they_are_written_and_none_is_guessed():
    for text in ("µW/m²", "μW/m^2", " uW / m2 ", "UW/M2", "uw/m**2"):
        assert convert.canonical_unit(text) == "uW/m2"
    assert convert.canonical_unit("dbuv/m") == "dBuV/m"
    for text in ("W", "W/m", "pW/m2", ""):
        with pytest.raises(UnknownNameError, match="unit"):
            convert.canonical_unit(text)


@pytest.mark.published("ITU-R P.525: dB(µV/m) = dB(W/m²) + 145.8 for Z0 = 120 pi ohm; and dBm/m² 30 above dBW/m²")
def test_levels_in_decibels():
    assert 10.0 * math.log10(convert.density_from_unit(145.8, "dBuV/m")) == pytest.approx(0.0, abs=0.05)
    assert convert.density_from_unit(-10.0, "dBW/m2") == pytest.approx(0.1)
    assert convert.density_from_unit(20.0, "dBm/m2") == pytest.approx(0.1)
    assert convert.density_from_unit(1e3, "mV/m") == pytest.approx(1.0 / 376.73, rel=1e-4)
    assert convert.decibels_from_ratio(0.0) == -np.inf
