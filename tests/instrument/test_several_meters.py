"""Two meters at one place weigh each other; differing by more than they allow, they widen."""

from __future__ import annotations

import numpy as np
import pytest

from roomfield.errors import InputError, KindMismatchError
from roomfield.instrument import weighed_together
from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, Kind, UncertainLevel


def level(
    db: float, tolerance: float, meter: str, kind: Kind = Kind.PEAK, censoring: Censoring = Censoring.NONE
) -> UncertainLevel:
    gain = ErrorContribution.from_half_width("meter_tolerance", tolerance, ErrorShape.RECTANGULAR, f"{meter}/gain")
    return UncertainLevel(kind, db, (gain, ErrorContribution("repeatability", 1.0)), censoring)


@pytest.mark.published("inverse-variance weighted mean (JCGM 100 H.5 note; any textbook of statistics)")
def test_the_surer_meter_weighs_more():
    found = weighed_together([level(-40.0, 6.0, "a"), level(-37.0, 2.0, "b")])
    assert -38.5 < found.level_db < -37.0
    assert found.std_db < level(-37.0, 2.0, "b").std_db


@pytest.mark.published("Birge ratio, R. T. Birge, Phys. Rev. 40 (1932) 207; as CODATA widens inconsistent data")
def test_meters_that_exclude_each_other_widen_the_level():
    near, far = (weighed_together([level(-40.0, 2.0, "a"), level(-40.0 + d, 2.0, "b")]) for d in (0.5, 15.0))
    assert far.std_db > 3.0 * near.std_db
    assert far.interval(0.95).low_w_m2 < 1e-4 < 10**-2.5 < far.interval(0.95).high_w_m2 * 2.0


def test_bounds_leave_the_word_to_the_meter_with_a_number():
    number, bound = level(-40.0, 3.0, "a"), level(-70.0, 3.0, "b", censoring=Censoring.BELOW)
    assert weighed_together([number, bound]) is number
    assert weighed_together([bound, level(-75.0, 3.0, "a", censoring=Censoring.BELOW)]) is bound


def test_it_holds_the_truth_as_often_as_it_says():
    rng, held = np.random.default_rng(3), []
    for _ in range(1500):
        levels = [level(-40.0 + rng.uniform(-t, t) + rng.normal(), t, m) for m, t in (("a", 5.0), ("b", 3.0))]
        span = weighed_together(levels).interval(0.9)
        held.append(span.low_w_m2 <= 1e-4 <= span.high_w_m2)
    assert 0.88 <= np.mean(held) <= 0.95


def test_what_cannot_be_put_together():
    with pytest.raises(InputError):
        weighed_together([])
    with pytest.raises(KindMismatchError):
        weighed_together([level(-40.0, 3.0, "a"), level(-40.0, 3.0, "b", Kind.AVERAGE)])
