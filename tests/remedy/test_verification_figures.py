"""The arithmetic of a verification, apart from any simulation of a dwelling: what is added, and the width it makes."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from roomfield.errors import TooEarlyError
from roomfield.quantities import Censoring, ErrorContribution, Kind, ratio
from roomfield.quantities.level import UncertainRatio
from roomfield.remedy.verification import (
    Agreement,
    VerifiedOutcome,
    _agreement,
    _outcome,
    base_state,
    mix_contribution,
    verify,
)
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
    for asked, said in ((near.probability_met, VerifiedOutcome.WORKED), (0.95, VerifiedOutcome.LOWER)):
        again = verify(survey(1e-2, 9e-5), "v1", "v2", target_w_m2=1e-4, confidence=asked)
        assert again.checks[0].outcome is said


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


def under_the_floor(there: Survey, bound_w_m2: float) -> Survey:
    """The same with the second reading written as under a bound."""
    second = replace(there.readings[1], value_w_m2=bound_w_m2, censoring=Censoring.BELOW)
    return replace(there, readings=(there.readings[0], second))


def test_of_what_a_bound_leaves_open_the_unfavourable_end_counts():
    """Lower, and under the target, only as far as the bound itself is."""
    (check,) = verify(under_the_floor(survey(1e-5, 1e-5), 1e-5), "v1", "v2", target_w_m2=3e-6).checks
    lower = ratio(check.after, check.before).probability_below_db(0.0)
    assert lower.high == 1.0 and check.probability_lower == pytest.approx(0.5, abs=0.05)
    met = check.after.probability_below(3e-6)
    assert met.high == 1.0 and check.probability_met == met.low < 0.2
    assert check.outcome is VerifiedOutcome.UNDECIDED and check.high_db == np.inf


def test_two_readings_under_the_floor_show_nothing():
    there = survey(1e-5, 1e-5)
    both = tuple(replace(r, value_w_m2=1e-9, censoring=Censoring.BELOW) for r in there.readings)
    (check,) = verify(replace(there, readings=both), "v1", "v2").checks
    assert (check.low_db, check.high_db, check.probability_lower) == (-np.inf, np.inf, 0.0)
    assert np.isnan(check.reduction_db) and np.isnan(check.probability_met)
    assert (check.outcome, check.agreement) == (VerifiedOutcome.UNDECIDED, Agreement.NOT_PREDICTED)


def with_a_desk() -> Survey:
    """The same fall of 30 dB at two places."""
    there = survey(1e-2, 1e-5)
    desk = Place("desk", "Desk", position=(2.0, 0.0, 0.5))
    more = tuple(replace(r, id=f"{r.id}-desk", place_id="desk") for r in there.readings)
    return replace(there, places=(*there.places, desk), readings=(*there.readings, *more))


def two_places(asked: tuple[str, ...], target_w_m2: float | None = 1e-4):
    return verify(with_a_desk(), "v1", "v2", target_w_m2=target_w_m2, asked=asked)


def test_what_was_unlike_at_one_place_widens_that_place_alone():
    there = with_a_desk()
    wider = tuple(replace(r, scan_edge_m=1.0) if r.id == "v2-r-desk" else r for r in there.readings)
    bed, desk = verify(replace(there, readings=wider), "v1", "v2").checks
    like, other = verify(there, "v1", "v2").checks
    assert (bed.low_db, bed.high_db) == (like.low_db, like.high_db) == (other.low_db, other.high_db)
    law = ratio(desk.after, desk.before.shifted(0.0, ErrorContribution("varies", 1.0), ErrorContribution("scan", 1.5)))
    low, high = law.interval_db(0.95)
    assert (desk.low_db, desk.high_db) == pytest.approx((-high, -low), abs=1e-9)


@pytest.mark.parametrize(
    ("asked", "target_w_m2", "held"),
    [
        ((), 1e-4, (True, True)),
        (("bed",), 1e-4, (True, False)),
        ((), None, (False, False)),
        (("bed",), None, (False, False)),
    ],
)
def test_which_places_are_held_to_the_target(asked, target_w_m2, held):
    found = two_places(asked, target_w_m2)
    assert (found.held_to_target("bed"), found.held_to_target("desk")) == held
    assert found.held_count == sum(held)
    assert tuple(not np.isnan(check.probability_met) for check in found.checks) == held
    assert found.worked, "where no target was asked for, lower is enough"


def test_what_is_said_of_several_places():
    worked = two_places(())
    assert worked.statement == "It worked at all 2 places checked."
    there = survey(1e-5, 1e-2)
    assert verify(there, "v1", "v2").statement == "Of 1 places: 1 higher than before."
    assert [note.rise_db for note in verify(there, "v1", "v2").unplanned] == [pytest.approx(30.0)]
    near = verify(survey(1e-2, 9e-5), "v1", "v2", target_w_m2=1e-4)
    assert near.statement == "Of 1 places: 1 lower, but the target is not shown to be met."
    plain = near.to_dict()["checks"][0]
    assert plain["before_w_m2"]["low"] < plain["before_w_m2"]["median"] < plain["before_w_m2"]["high"]
    assert plain["after_w_m2"]["median"] == near.checks[0].after.median_w_m2
    assert plain["reduction_low_db"] < plain["reduction_db"] < plain["reduction_high_db"]


def change(db: float, std_db: float = 2.0, censoring: Censoring = Censoring.NONE) -> UncertainRatio:
    return UncertainRatio(Kind.PEAK, db, (ErrorContribution("own", std_db),), censoring)


@pytest.mark.published("scipy.stats.norm: 95 % on one side is 1.645 standard deviations")
@pytest.mark.parametrize(
    ("db", "met", "said"),
    [
        (-3.4, True, VerifiedOutcome.WORKED),
        (-3.4, False, VerifiedOutcome.LOWER),
        (-3.2, True, VerifiedOutcome.UNDECIDED),
        (3.2, True, VerifiedOutcome.UNDECIDED),
        (3.4, True, VerifiedOutcome.HIGHER),
    ],
)
def test_nineteen_in_twenty_are_asked_for_on_either_side(db, met, said):
    lower = change(db).probability_below_db(0.0).low
    assert lower == pytest.approx(stats.norm.cdf(0.0, db, 2.0), abs=1e-4)
    assert _outcome(change(db), lower, met) is said


@pytest.mark.parametrize(
    ("censoring", "db", "said"),
    [
        (Censoring.BELOW, 6.0, VerifiedOutcome.UNDECIDED),
        (Censoring.ABOVE, 6.0, VerifiedOutcome.HIGHER),
        (Censoring.ABOVE, -6.0, VerifiedOutcome.UNDECIDED),
    ],
)
def test_a_rise_is_said_only_if_a_bound_shows_it(censoring, db, said):
    bounded = change(db, censoring=censoring)
    assert _outcome(bounded, bounded.probability_below_db(0.0).low, True) is said


EXPECTED = SimpleNamespace(reduction_db=SimpleNamespace(low=20.0, median=20.0, high=20.0))


@pytest.mark.parametrize(
    ("db", "censoring", "said"),
    [
        (-10.0, Censoring.NONE, Agreement.LESS),
        (-10.0, Censoring.BELOW, Agreement.NOT_PREDICTED),
        (-18.0, Censoring.BELOW, Agreement.AS_PREDICTED),
        (-22.0, Censoring.BELOW, Agreement.AS_PREDICTED),
        (-30.0, Censoring.BELOW, Agreement.MORE),
        (-10.0, Censoring.ABOVE, Agreement.LESS),
    ],
)
def test_a_reduction_of_at_least_so_much_is_not_called_less(db, censoring, said):
    """Under the floor now: at least 10 dB of 20 is neither as predicted nor less; 18 dB are within 1.96 of 2 dB."""
    assert _agreement(change(db, censoring=censoring), EXPECTED) is said
    assert _agreement(None, EXPECTED) is _agreement(change(db), None) is Agreement.NOT_PREDICTED


@pytest.mark.calculated(
    "a gain error is the power-weighted mean of its bands': the change carries the difference of shares"
)
def test_a_predicted_change_of_mix_leaves_the_difference_of_shares():
    wide = replace(METER, band_low_hz=700e6, band_high_hz=5e9, zones=(BandZone(50e6, 700e6, 8.5),))
    emitters = (*TWO_BANDS, Emitter("odd", "Of unknown frequency"))
    there = replace(survey(1e-3, 1e-4, emitters), meters=(wide,))
    mix = {"base": (0.7, 0.2), "tv": (0.2, 0.7), "odd": (0.1, 0.1)}
    planned = SimpleNamespace(mix=lambda place: mix if place == "bed" else None)
    found = mix_contribution(there, wide, planned, "bed")
    assert found.std_db == pytest.approx(0.5 * np.hypot(6.0, 8.5) / np.sqrt(3.0))
    assert mix_contribution(there, wide, planned, "desk").std_db == pytest.approx(2.0**0.5 * 0.5 * 8.5 / 3.0**0.5)
    assert mix_contribution(replace(there, emitters=()), wide, None, "bed").std_db == 0.0


def test_the_state_in_which_least_was_off_is_the_one_compared():
    some, most = RadioState("some", "some off", ("a",)), RadioState("most", "most off", ("a", "b"))
    assert base_state((most, some)) is base_state((some, most)) is some
    assert base_state(()) is None


def test_readings_of_the_meter_that_took_both_are_compared():
    """A second meter read once, much higher; what it read is compared with nothing of the first."""
    there = survey(1e-2, 1e-4)
    other = replace(METER, id="n", name="other")
    odd = replace(there.readings[0], id="odd", meter_id="n", value_w_m2=1.0)
    found = verify(replace(there, meters=(other, METER), readings=(odd, *there.readings)), "v1", "v2").checks[0]
    assert found.reduction_db == pytest.approx(20.0)
