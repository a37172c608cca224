"""From results to what is shown: which reading, which end of a probability, which end of an interval."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy import stats

from roomfield.quantities import Censoring, ErrorContribution, Kind, ProbabilityRange, UncertainLevel
from roomfield.show.findings import Outcome
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.contents.place_findings import (
    chance,
    leaning,
    likely_outcome,
    place_findings,
    stated_level,
)

from .surveys import typed


@pytest.mark.parametrize("kind", [Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE])
def test_the_highest_of_several_readings_is_shown(kind):
    made = typed([("bed", "as_found", kind, value) for value in (3e-5, 9e-5, 5e-5)])
    scans = tuple(replace(one, replicate=n) for n, one in enumerate(made.readings, 1))
    (found,) = place_findings(assess(replace(made, readings=scans)))
    level = next(item for item in found.levels if item.kind is kind)
    assert level.shown.value_w_m2 == 9e-5 and level.replicates == 3


@pytest.mark.parametrize(
    ("low", "high", "said", "leans"),
    [
        (0.96, 1.0, Outcome.BELOW, Outcome.LIKELY_BELOW),
        (0.85, 0.90, Outcome.LIKELY_BELOW, Outcome.LIKELY_BELOW),
        (0.5, 1.0, Outcome.UNDECIDED, Outcome.UNDECIDED),
        (0.0, 0.5, Outcome.UNDECIDED, Outcome.UNDECIDED),
        (0.0, 1.0, Outcome.UNDECIDED, Outcome.UNDECIDED),
        (0.10, 0.15, Outcome.LIKELY_ABOVE, Outcome.LIKELY_ABOVE),
        (0.0, 0.04, Outcome.ABOVE, Outcome.LIKELY_ABOVE),
    ],
)
def test_a_range_of_probabilities_is_judged_by_its_unfavourable_end(low, high, said, leans):
    """What a bound leaves open is never said: below needs the low end, above the high end."""
    assert likely_outcome(ProbabilityRange(low, high), 0.95) is said
    assert leaning(ProbabilityRange(low, high)) is leans
    shown = chance(ProbabilityRange(low, high))
    assert (shown.low, shown.high) == (low, high)


@pytest.mark.published("scipy.stats.norm: quantiles of the normal distribution, as tabled in JCGM 100:2008, table G.1")
@pytest.mark.parametrize(
    ("censoring", "tails"),
    [
        (Censoring.NONE, (0.025, 0.975)),
        (Censoring.BELOW, (0.0, 0.95)),
        (Censoring.ABOVE, (0.05, 1.0)),
    ],
)
def test_a_stated_level_has_its_median_both_ends_and_its_side(censoring, tails):
    shown = stated_level(UncertainLevel(Kind.PEAK, -40.0, (ErrorContribution("own", 2.0),), censoring), 0.95)
    low, high = 10.0 ** (stats.norm.ppf(tails, -40.0, 2.0) / 10.0)
    assert shown.median_w_m2 == pytest.approx(1e-4, rel=1e-3)
    assert (shown.low_w_m2, shown.high_w_m2) == pytest.approx((low, high), rel=1e-3)
    assert shown.censoring is censoring
