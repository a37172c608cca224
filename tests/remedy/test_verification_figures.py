"""The arithmetic of a verification, apart from any simulation of a dwelling: what is added, and the width it makes."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from roomfield.errors import TooEarlyError
from roomfield.quantities import ErrorContribution, Kind, ratio
from roomfield.quantities.level import UncertainRatio
from roomfield.remedy.verification import Agreement, VerifiedOutcome, _agreement, mix_contribution, verify
from roomfield.survey import BandZone, Emitter, Meter, Place, RadioState, Reading, Survey, Visit, VisitPurpose

METER = Meter("m", "meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-9, overload_w_m2=2.5)
ONE_BAND = (Emitter("base", "Base", frequency_hz=1.89e9),)
TWO_BANDS = (*ONE_BAND, Emitter("tv", "Transmitter", frequency_hz=100e6))
STATE = (RadioState("on", "as found"),)


def survey(before: float, after: float, emitters=ONE_BAND) -> Survey:
    visits = (
        Visit("v1", "2026-03-02T10:00:00+00:00", "a", radio_states=STATE),
        Visit("v2", "2026-03-16T10:00:00+00:00", "a", VisitPurpose.FOLLOW_UP, radio_states=STATE),
    )
    readings = tuple(
        Reading(f"{v}-r", v, "m", "on", Kind.PEAK, value, "bed") for v, value in (("v1", before), ("v2", after))
    )
    return Survey("s", "home", "2026-03-01", places=(Place("bed", "Bed", position=(0.0, 0.0, 0.5)),),
                  emitters=emitters, meters=(METER,), visits=visits, readings=readings)  # fmt: skip


@pytest.mark.calculated(
    "draws by NumPy (JCGM 101:2008, 5.4): half of the power moves between two bands with errors of their own"
)
def test_what_a_change_of_mix_leaves_of_the_gain():
    rng = np.random.default_rng(1)
    first, second = rng.uniform(-6.0, 6.0, (2, 400_000))
    drawn = np.std(0.5 * first - 0.5 * second)
    found = mix_contribution(survey(1e-3, 1e-4, TWO_BANDS), METER, None, "bed")
    assert found.std_db == pytest.approx(drawn, rel=0.01)
    assert mix_contribution(survey(1e-3, 1e-4), METER, None, "bed").std_db == 0.0


@pytest.mark.calculated("half of the power moved between two bands, both with the error of the worse: sqrt(2) 0.5 u")
def test_without_a_prediction_the_worse_band_is_taken():
    wide = replace(METER, band_low_hz=700e6, band_high_hz=5e9, zones=(BandZone(50e6, 700e6, 8.5),))
    found = mix_contribution(replace(survey(1e-3, 1e-4, TWO_BANDS), meters=(wide,)), wide, None, "bed")
    assert found.std_db == pytest.approx(2.0**0.5 * 0.5 * 8.5 / 3.0**0.5)


@pytest.mark.published(
    "Common practice, no source: a source varies by about 1 dB between visits; JCGM 100, 5.2 for the sum"
)
@pytest.mark.parametrize("emitters", [ONE_BAND, TWO_BANDS], ids=["one band", "two bands"])
def test_the_interval_is_that_of_both_readings_a_varying_source_and_a_changed_mix(emitters):
    found = verify(survey(1e-3, 1e-4, emitters), "v1", "v2")
    (check,) = found.checks
    moved = ErrorContribution("mix", np.sqrt(2.0) * 0.5 * 6.0 / np.sqrt(3.0) if len(emitters) > 1 else 0.0)
    unequal = [ErrorContribution(c.name, c.std_db) for c in found.conditions if c.std_db]
    law = ratio(check.after, check.before.shifted(0.0, ErrorContribution("varies", 1.0), moved, *unequal))
    low, high = law.interval_db(0.95)
    assert (check.low_db, check.high_db) == pytest.approx((-high, -low), abs=1e-9)
    assert check.reduction_db == pytest.approx(10.0)
    assert check.low_db < check.reduction_db < check.high_db


def test_what_is_said_of_a_fall_a_rise_and_no_change():
    fallen = verify(survey(1e-2, 1e-5), "v1", "v2").checks[0]
    assert fallen.probability_lower > 0.99 and fallen.outcome is VerifiedOutcome.WORKED
    risen = verify(survey(1e-5, 1e-2), "v1", "v2").checks[0]
    assert risen.probability_lower < 0.01 and risen.outcome is VerifiedOutcome.HIGHER
    same = verify(survey(1e-4, 1e-4), "v1", "v2").checks[0]
    assert same.probability_lower == pytest.approx(0.5, abs=0.02) and same.outcome is VerifiedOutcome.UNDECIDED


def test_places_are_counted_by_what_can_be_said_of_them():
    counts = {outcome: verify(survey(1e-5, 1e-2), "v1", "v2").count(outcome) for outcome in VerifiedOutcome}
    assert counts == {outcome: int(outcome is VerifiedOutcome.HIGHER) for outcome in VerifiedOutcome}


def test_a_target_counts_as_met_only_with_the_confidence_asked_for():
    met = verify(survey(1e-2, 1e-5), "v1", "v2", target_w_m2=1e-4).checks[0]
    assert met.probability_met == pytest.approx(met.after.probability_below(1e-4).low)
    assert met.outcome is VerifiedOutcome.WORKED
    near = verify(survey(1e-2, 9e-5), "v1", "v2", target_w_m2=1e-4).checks[0]
    assert 0.3 < near.probability_met < 0.95 and near.outcome is VerifiedOutcome.LOWER


def test_readings_of_different_kinds_are_not_compared():
    there = survey(1e-3, 1e-4)
    mixed = replace(there, readings=(there.readings[0], replace(there.readings[1], kind=Kind.AVERAGE)))
    with pytest.raises(TooEarlyError, match="on both visits"):
        verify(mixed, "v1", "v2")


@pytest.mark.published(
    "scipy.stats.norm: 95 % of a normal law lies within 1.96 standard deviations (JCGM 100, table G.1)"
)
@pytest.mark.parametrize(("times", "said"), [(0.97, Agreement.AS_PREDICTED), (1.03, Agreement.LESS)])
def test_less_than_predicted_is_said_beyond_95_percent_of_both_errors(times, said):
    """The prediction's 95 % interval is 10 dB wide about 20 dB; the change has 3 dB of its own."""
    errors = (ErrorContribution("own", 3.0),)
    spread = 10.0 / (stats.norm.ppf(0.975) - stats.norm.ppf(0.025))
    reach = stats.norm.ppf(0.975) * np.hypot(3.0, spread)
    expected = SimpleNamespace(reduction_db=SimpleNamespace(low=15.0, median=20.0, high=25.0))
    for sign, answer in ((-1.0, said), (1.0, Agreement.MORE if said is Agreement.LESS else said)):
        change = UncertainRatio(Kind.PEAK, -(20.0 + sign * times * reach), errors)
        assert _agreement(change, expected) is answer
