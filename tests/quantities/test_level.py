"""Uncertain levels against JCGM 101, JCGM 100 and an independent metrology library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from GTC import get_correlation, set_correlation, ureal
from GTC import uncertainty as gtc_uncertainty
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from roomfield.errors import InputError, KindMismatchError
from roomfield.quantities import (
    Censoring,
    ErrorContribution,
    ErrorShape,
    Kind,
    UncertainLevel,
    joint_draws_w_m2,
    ratio,
)
from roomfield.quantities.contribution import combined_std_db, error_distribution, merge_shared


def level(db: float, *contributions: ErrorContribution, kind: Kind = Kind.PEAK, censoring: Censoring = Censoring.NONE):
    return UncertainLevel(kind, db, contributions, censoring)


def rectangles(*half_widths: float) -> tuple[ErrorContribution, ...]:
    return tuple(ErrorContribution.from_half_width(f"x{i}", h) for i, h in enumerate(half_widths))


@pytest.mark.published("JCGM 101:2008, 9.2.3, Table 3: four rectangular inputs of unit standard deviation")
def test_sum_of_four_rectangles_has_the_published_interval():
    errors = error_distribution(rectangles(*[math.sqrt(3.0)] * 4))
    low, high = errors.quantile(np.array([0.025, 0.975]))
    assert low == pytest.approx(-3.88, abs=0.01)
    assert high == pytest.approx(3.88, abs=0.01)


@pytest.mark.published("JCGM 101:2008, 9.2.2, Table 2: four standard normal inputs, interval of plus-minus 3.92")
def test_sum_of_four_normals_has_the_published_interval():
    parts = tuple(ErrorContribution(f"x{i}", 1.0) for i in range(4))
    low, high = error_distribution(parts).quantile(np.array([0.025, 0.975]))
    assert (low, high) == (pytest.approx(-3.92, abs=0.01), pytest.approx(3.92, abs=0.01))


@pytest.mark.parametrize(
    ("shape", "reference"),
    [
        (ErrorShape.NORMAL, stats.norm(0, 1)),
        (ErrorShape.RECTANGULAR, stats.uniform(-math.sqrt(3), 2 * math.sqrt(3))),
        (ErrorShape.TRIANGULAR, stats.triang(0.5, -math.sqrt(6), 2 * math.sqrt(6))),
        (ErrorShape.U_SHAPED, stats.arcsine(-math.sqrt(2), 2 * math.sqrt(2))),
    ],
)
def test_single_shapes_follow_scipy(shape, reference):
    errors = error_distribution((ErrorContribution("x", 1.0, shape),))
    probabilities = np.array([0.01, 0.05, 0.3, 0.5, 0.8, 0.975])
    np.testing.assert_allclose(errors.quantile(probabilities), reference.ppf(probabilities), atol=0.02)


@pytest.mark.published("JCGM 100:2008, 4.3.7: a plus-or-minus a limit gives a / sqrt(3)")
def test_six_decibel_tolerance():
    tolerance = ErrorContribution.from_half_width("tolerance", 6.0)
    assert tolerance.std_db == pytest.approx(3.4641, abs=1e-4)
    only = level(-40.0, tolerance).interval(1.0)
    assert only.high_w_m2 / 1e-4 == pytest.approx(10**0.6, rel=0.02)
    assert only.low_w_m2 / 1e-4 == pytest.approx(10**-0.6, rel=0.02)


@given(st.lists(st.tuples(st.sampled_from(list(ErrorShape)), st.floats(0.05, 8.0)), min_size=1, max_size=6))
def test_convolution_keeps_mean_and_variance(parts):
    contributions = tuple(ErrorContribution(f"x{i}", std, shape) for i, (shape, std) in enumerate(parts))
    errors = error_distribution(contributions)
    mass, middle = np.diff(errors.cumulative), (errors.edges_db[1:] + errors.edges_db[:-1]) / 2
    std = combined_std_db(contributions)
    assert abs(float(mass @ middle)) < 0.01 * std
    assert float(mass @ middle**2) == pytest.approx(std**2, rel=0.01)


def test_censored_levels_are_one_sided():
    below = level(-70.0, *rectangles(6.0), censoring=Censoring.BELOW)
    assert below.interval().low_w_m2 == 0.0
    assert below.interval().high_w_m2 < 1e-7 * 10**0.6
    known = below.probability_below(1e-6)
    assert (known.low, known.high) == (1.0, 1.0)
    unknown = below.probability_below(1e-9)
    assert (unknown.low, unknown.high) == (0.0, 1.0)
    above = level(3.0, *rectangles(6.0), censoring=Censoring.ABOVE)
    assert above.interval().high_w_m2 == math.inf
    assert above.probability_below(1e-3).high == 0.0


def test_shared_errors_cancel_in_ratios():
    gain = ErrorContribution.from_half_width("tolerance", 6.0, shared_key="m1/gain")
    own = ErrorContribution("repeatability", 1.0)
    fell = ratio(level(-50.0, gain, own), level(-40.0, gain, own))
    assert fell.ratio_db == pytest.approx(-10.0)
    assert fell.std_db == pytest.approx(math.sqrt(2.0))
    low, high = fell.interval_db()
    assert (low, high) == (pytest.approx(-12.77, abs=0.02), pytest.approx(-7.23, abs=0.02))


@given(st.floats(0.1, 5), st.floats(0.1, 5), st.floats(0.1, 3), st.floats(0.1, 3))
def test_ratio_agrees_with_an_independent_metrology_library(shared_a, shared_b, own_a, own_b):
    a, b = ureal(-40.0, shared_a, independent=False), ureal(-50.0, shared_b, independent=False)
    set_correlation(1.0, a, b)
    assert get_correlation(a, b) == 1.0
    expected = gtc_uncertainty((b + ureal(0, own_b)) - (a + ureal(0, own_a)))
    ours = ratio(
        level(-50.0, ErrorContribution("gain", shared_b, shared_key="k"), ErrorContribution("own", own_b)),
        level(-40.0, ErrorContribution("gain", shared_a, shared_key="k"), ErrorContribution("own", own_a)),
    )
    assert ours.std_db == pytest.approx(expected, rel=1e-9)


def test_ratio_refuses_other_kinds_and_double_bounds():
    with pytest.raises(KindMismatchError, match="average"):
        ratio(level(-40.0), level(-40.0, kind=Kind.AVERAGE))
    with pytest.raises(InputError, match="same side"):
        ratio(level(-70.0, censoring=Censoring.BELOW), level(-70.0, censoring=Censoring.BELOW))
    assert ratio(level(-70.0, censoring=Censoring.BELOW), level(-40.0)).censoring is Censoring.BELOW
    assert ratio(level(-40.0), level(-70.0, censoring=Censoring.BELOW)).censoring is Censoring.ABOVE


def test_zero_is_refused_with_a_way_out():
    with pytest.raises(InputError, match="below floor"):
        UncertainLevel.from_density(Kind.PEAK, 0.0)


def test_joint_draws_share_what_is_shared():
    gain = ErrorContribution.from_half_width("tolerance", 6.0, shared_key="m1/gain")
    own = ErrorContribution("repeatability", 0.5)
    draws = 10 * np.log10(
        joint_draws_w_m2([level(-40.0, gain, own), level(-50.0, gain, own)], 20_000, np.random.default_rng(3))
    )
    assert draws.std(axis=0) == pytest.approx([math.hypot(12**0.5, 0.5)] * 2, rel=0.02)
    assert float(np.std(draws[:, 0] - draws[:, 1])) == pytest.approx(0.5 * math.sqrt(2), rel=0.02)


def test_merging_adds_sensitivities_and_drops_what_cancels():
    gain = ErrorContribution("gain", 2.0, shared_key="k")
    both = merge_shared((gain, ErrorContribution("gain", 2.0, shared_key="k", sensitivity=-1.0)))
    assert both == ()
    doubled = merge_shared((gain, gain))
    assert combined_std_db(doubled) == pytest.approx(4.0)


def test_one_vocabulary_of_censoring_with_its_sides():
    """The record, the physics, the logs and what is shown speak of one type; its words are those of the document."""
    import roomfield.survey
    from roomfield.logs.reading import CODES

    assert roomfield.survey.Censoring is Censoring
    assert [(one.value, one.side, one.opposite.value, CODES[one]) for one in Censoring] == [
        ("none", 0, "none", 0),
        ("below_floor", -1, "overload", 1),
        ("overload", 1, "below_floor", 2),
    ]
