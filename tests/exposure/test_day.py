"""The exposure of a day: a mean over hours, and the highest of a night, with their intervals."""

from __future__ import annotations

import numpy as np
import pytest

from roomfield.errors import InputError, KindMismatchError
from roomfield.exposure.day import DayLevel, highest_of, mean_over_hours
from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, Kind, UncertainLevel


def level(value, *, own_db=1.0, gain_db=0.0, kind=Kind.AVERAGE, censoring=Censoring.NONE) -> UncertainLevel:
    causes = [ErrorContribution("repeatability", own_db)]
    if gain_db:
        causes.append(ErrorContribution("meter_tolerance", gain_db, ErrorShape.RECTANGULAR, "m/gain"))
    return UncertainLevel.from_density(kind, value, tuple(causes), censoring)


@pytest.mark.published("time-weighted mean of power densities, ICNIRP 1998, note 3 of table 7 (averaging over time)")
def test_the_mean_of_a_day_weighs_power_by_hours():
    found = mean_over_hours([level(1e-4, own_db=1e-3), level(9e-4, own_db=1e-3)], [16.0, 8.0])
    assert found.median_w_m2 == pytest.approx((16 * 1e-4 + 8 * 9e-4) / 24.0, rel=1e-3)


@pytest.mark.published("JCGM 101:2008, propagation of distributions; common errors drawn once (JCGM 100, F.1.2.3)")
def test_intervals_hold_the_truth_as_often_as_they_say():
    """Many meters and homes: one gain for all places of a home, one error of its own for each."""
    rng = np.random.default_rng(5)
    hours, held = np.array([8.0, 6.0, 4.0]), []
    for _ in range(600):
        true = 10.0 ** rng.uniform(-6, -3, 3)
        gain = rng.uniform(-6.0, 6.0)
        shown = true * 10.0 ** ((gain + rng.normal(0.0, 1.5, 3)) / 10.0)
        span = mean_over_hours([level(v, own_db=1.5, gain_db=6.0 / 3**0.5) for v in shown], hours, draws=2000).interval(
            0.9
        )
        held.append(span.low_w_m2 <= hours @ true / hours.sum() <= span.high_w_m2)
    assert 0.87 <= np.mean(held) <= 0.93


def test_a_bound_leaves_an_end_open():
    found = mean_over_hours([level(1e-4), level(3e-8, censoring=Censoring.BELOW)], [8.0, 8.0]).interval()
    assert found.low_w_m2 < 0.5e-4 < found.high_w_m2
    assert mean_over_hours([level(1.5, censoring=Censoring.ABOVE)], [8.0]).interval().high_w_m2 == float("inf")


def test_the_highest_of_a_night():
    held = [level(v, kind=Kind.HIGHEST_HELD, own_db=0.01) for v in (1e-4, 5e-4)]
    assert highest_of(held).median_w_m2 == pytest.approx(5e-4, rel=0.01)
    low, high = highest_of(held).probability_below(4e-4)
    assert low == high == 0.0


def test_what_is_no_day():
    with pytest.raises(InputError, match="no stay"):
        mean_over_hours([], [])
    with pytest.raises(KindMismatchError):
        mean_over_hours([level(1e-4, kind=Kind.PEAK)], [8.0])
    with pytest.raises(KindMismatchError):
        highest_of([level(1e-4)])
    with pytest.raises(InputError, match="highest of"):
        highest_of([])


@pytest.mark.published("numpy.quantile, method hazen or linear: they agree at the middle of an odd number of draws")
def test_the_median_is_the_middle_of_the_draws():
    draws = np.sort(np.random.default_rng(3).lognormal(size=101))
    assert DayLevel(0.5 * draws, draws).median_w_m2 == pytest.approx(np.quantile(draws, 0.5))
