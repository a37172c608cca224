"""Open decisions and the ranking of what to measure next, on a surveyed home."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.errors import InputError
from roomfield.field.foreseen import Foreseen, Foresight, Measurement
from roomfield.field.information import PredictedObservation
from roomfield.field.posterior import levels_at
from roomfield.quantities import Kind
from roomfield.remedy.choice import pareto_front
from roomfield.remedy.evaluator import Evaluator
from roomfield.remedy.open_decision import OpenDecision, aim_met, is_own, main_source, stake_of, which_plan, whose
from roomfield.remedy.value_of_information import next_step
from roomfield.survey.action import Action, ActionKind, CostRange
from roomfield.survey.emitter import Control


@pytest.fixture(scope="module")
def evaluator(posterior):
    names = [e.id for e in posterior.survey.emitters]
    actions = [
        Action(f"off-{name}", name, ActionKind.SWITCH_OFF, (name,), cost=CostRange(50.0 + n, 50.0 + n))
        for n, name in enumerate(names[:3])
    ]
    return Evaluator(posterior, actions, kind=Kind.HIGHEST_HELD)


def test_the_plan_of_a_high_stake_is_the_surest_and_of_a_low_one_nothing(evaluator):
    front, _ = pareto_front(evaluator, 1e-4)
    surest = which_plan(evaluator, 1e-4, stake=1e9)
    assert set(surest.best) == set(front[-1][0])
    assert which_plan(evaluator, 1e-4, stake=1e-3).best == ()


def test_the_stake_makes_all_actions_together_just_worth_their_price(evaluator):
    assert stake_of(evaluator, 0.9) * 0.9 == pytest.approx(max(50.0 + 51.0 + 52.0, 90.0))
    with pytest.raises(InputError, match="stake"):
        which_plan(evaluator, 1e-4, stake=0.0)


def test_the_aim_is_decided_by_the_probability_of_meeting_it(posterior):
    places = [p for p in posterior.survey.places if p.position is not None]
    drawn = levels_at(posterior, [p.position for p in places], kind=Kind.PEAK).density_w_m2.max(axis=1)
    for share, best in ((0.8, "met"), (0.2, "missed")):
        found = aim_met(posterior, places, float(np.quantile(drawn, share)), Kind.PEAK, stake=100.0)
        assert found.best == (best,)
        assert found.regret_left == pytest.approx(20.0, abs=1.0)


def test_a_reading_foresees_what_the_meter_showed(posterior):
    """At places that were read the foreseen reading is the one taken, gain error and all."""
    foresight = Foresight(posterior, posterior.survey.places)
    column = {p.id: n for n, p in enumerate(foresight.places)}
    checked = 0
    for reading in posterior.survey.readings:
        if reading.kind is not Kind.PEAK or reading.place_id not in column:
            continue
        on = posterior.on_mask(reading.radio_state_id)
        drawn = foresight.shown_db(Kind.PEAK, on, foresight.gains_db)[:, column[reading.place_id]]
        off = drawn.mean() - 10.0 * np.log10(reading.value_w_m2)
        assert abs(off) < 3.0 * np.hypot(drawn.std(), foresight.scan_std_db)
        checked += 1
    assert checked >= 3


def test_switching_off_the_main_source_is_foreseen_to_take_its_part(posterior):
    foresight = Foresight(posterior, posterior.survey.places)
    as_found = {o.place_id: o for o in foresight.readings() if o.measurement is Measurement.READ}
    for one in foresight.switchings():
        if one.measurement is Measurement.SWITCH_OFF:
            assert np.all(one.outcome.mean[:, 1] <= as_found[one.place_id].outcome.mean[:, 1] + 1e-9)


def test_on_off_and_on_again_are_foreseen_as_these_three_scans(posterior):
    foresight = Foresight(posterior, posterior.survey.places)
    again = foresight.places[0].id
    on = next(o for o in foresight.readings() if o.measurement is Measurement.READ and o.place_id == again)
    plain = {(o.place_id, o.switch): o for o in foresight.switchings() if o.measurement is Measurement.SWITCH_OFF}
    told = [o for o in foresight.switchings([again]) if o.measurement is not Measurement.TRANSMIT]
    assert {o.place_id for o in told if o.measurement is Measurement.SWITCH_AGAIN} == {again}
    assert [(o.place_id, o.switch) for o in told] == [*plain]
    for one in (o for o in told if o.place_id == again):
        off = plain[again, one.switch]
        scans = [on.outcome.mean, off.outcome.mean, on.outcome.mean]
        assert np.array_equal(one.outcome.mean, np.hstack(scans))
        assert one.minutes == on.minutes + off.minutes + on.minutes


def test_the_main_source_is_the_largest_part_in_most_draws(posterior):
    place = next(p for p in posterior.survey.places if p.position is not None)
    found = main_source(posterior, place, Kind.AVERAGE, stake=1.0)
    assert np.all(found.loss.sum(axis=1) == len(found.options) - 1)
    assert found.regret_left == pytest.approx(found.loss.mean(axis=0).min())


def candidate(values: np.ndarray, minutes: float) -> Foreseen:
    return Foreseen(Measurement.READ, "", "", minutes, PredictedObservation.of_levels(values, 0.5))


def test_ranked_by_the_minute_and_stopped_by_the_clients_rate():
    theta = np.random.default_rng(4).normal(0.0, 4.0, 400)
    decision = OpenDecision(
        (("leave",), ("act",)), 10.0 * np.column_stack([np.maximum(theta, 0), np.maximum(-theta, 0)])
    )
    offered = [candidate(theta, 10.0), candidate(theta, 2.0), candidate(np.zeros(400), 0.5)]
    found = next_step(decision, offered, client_rate=1.0)
    assert found.ranked[0].candidate is offered[1]
    assert found.together == 1
    assert found.ranked[-1].candidate is offered[2]
    assert next_step(decision, offered, client_rate=1e3).stop
    assert next_step(decision, offered[2:], client_rate=0.01).stop


def test_two_that_only_help_together_are_not_called_enough():
    """Which of two doors depends on whether two signs agree: one sign alone says nothing."""
    signs = np.random.default_rng(8).choice([-1.0, 1.0], (400, 2))
    agree = signs[:, 0] == signs[:, 1]
    decision = OpenDecision((("left",), ("right",)), 100.0 * np.column_stack([agree, ~agree]).astype(float))
    offered = [candidate(3.0 * signs[:, 0], 1.0), candidate(3.0 * signs[:, 1], 1.0)]
    found = next_step(decision, offered, client_rate=5.0)
    assert found.together == 2
    assert found.best_rate == pytest.approx(25.0, rel=0.15)


def test_a_pair_that_helps_is_found_among_many_that_do_not():
    """One alone never changes the mind: a reading that is off by much more than it says, and what it is off by."""
    rng = np.random.default_rng(5)
    theta, error = rng.normal(-5.0, 4.0, 500), 12.0 * rng.standard_normal(500)
    cost = 30.0 * np.column_stack([np.maximum(theta, 0), np.maximum(-theta, 0)])
    decision = OpenDecision((("leave",), ("act",)), cost)
    others = [candidate(rng.normal(0.0, 9.0, 500), 1.0) for _ in range(30)]
    pair = [candidate(theta + error, 1.0), candidate(error, 1.0)]
    found = next_step(decision, [*others, *pair], client_rate=0.5)
    assert found.together == 2
    assert {id(r.candidate) for r in found.ranked[:2]} == {id(one) for one in pair}
    assert [r.per_minute for r in found.ranked[:2]] == pytest.approx([found.best_rate] * 2)
    assert len(found.ranked) == 32


def test_whose_it_is_goes_by_who_decides_about_the_larger_part(posterior):
    place = next(p for p in posterior.survey.places if p.position is not None)
    found = whose(posterior, place, Kind.HIGHEST_HELD, stake=10.0)
    assert found.options == (("own",), ("others",))
    assert np.all(found.loss.sum(axis=1) == 10.0)
    table = levels_at(posterior, [place.position], kind=Kind.HIGHEST_HELD).by_emitter_w_m2[:, :, 0]
    own = [is_own(e) for e in posterior.survey.emitters]
    share = table[:, own].sum(axis=1) / table.sum(axis=1)
    assert found.loss[:, 0].mean() == pytest.approx(10.0 * np.mean(share < 0.5))


@pytest.mark.parametrize(
    ("control", "outdoor", "own"),
    [
        (Control.CLIENT, True, True),
        (Control.NEIGHBOUR, False, False),
        (Control.UNKNOWN, False, True),
        (Control.UNKNOWN, True, False),
    ],
)
def test_a_transmitter_is_own_as_noted_else_by_where_it_stands(posterior, control, outdoor, own):
    assert is_own(replace(posterior.survey.emitters[0], control=control, outdoor=outdoor)) is own


def test_a_night_says_more_than_an_hour_and_costs_more(posterior):
    places = [p for p in posterior.survey.places if p.position is not None][:1]
    hour, night = Foresight(posterior, places).logs([places[0].id])
    assert (hour.measurement, night.measurement) == (Measurement.HOUR_LOG, Measurement.NIGHT_LOG)
    assert np.all(hour.outcome.std > night.outcome.std) and hour.minutes < night.minutes
