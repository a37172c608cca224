"""A joint answer at odds with a clean on/off test is never told as sure."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from roomfield.field.contributions import contributions
from roomfield.field.inference import infer
from roomfield.field.switching_bounds import LargestBounds, _bounds, honest_odds, switching_bounds
from roomfield.quantities import Kind
from roomfield.survey import Activity, RadioState, StateActivity

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)
HERE = (3.0, 3.0, 1.0)


def test_bounds_follow_from_the_parts_that_switching_shows() -> None:
    """Two tested switches and two that were not: 60, 10, and 30 % for the latter together."""
    parts = np.array([[0.6] * 4, [0.1] * 4, [np.nan] * 4, [np.nan] * 4])
    assert _bounds(parts) == (
        LargestBounds(1.0, 1.0),
        LargestBounds(0.0, 0.0),
        LargestBounds(0.0, 0.0),
        LargestBounds(0.0, 0.0),
    )
    open_ = np.array([[0.4] * 4, [np.nan] * 4, [np.nan] * 4])
    assert _bounds(open_) == (LargestBounds(0.0, 1.0), LargestBounds(0.0, 1.0), LargestBounds(0.0, 1.0))


def test_odds_within_what_switching_allows_stay_as_they_are() -> None:
    assert honest_odds((0.7, 0.3), None) == ((0.7, 0.3), False)
    assert honest_odds((0.7, 0.3), (LargestBounds(0.2, 0.5), LargestBounds(0.3, 0.6))) == ((0.7, 0.3), False)


def test_odds_that_contradict_it_are_held_back_and_that_is_said() -> None:
    odds, contradicted = honest_odds((0.97, 0.03), (LargestBounds(0.0, 0.05), LargestBounds(0.95, 1.0)))
    assert contradicted and odds[0] == pytest.approx(0.25) and odds[1] == pytest.approx(0.75)
    open_ = (LargestBounds(0.0, 0.0), LargestBounds(0.0, 1.0), LargestBounds(0.0, 1.0))
    assert sum(honest_odds((1.0, 0.0, 0.0), open_)[0]) == 1.0


def a_survey(off_w_m2: float):
    """The record puts the router next to the place and the phone far off; what switching it off takes is given."""
    emitters = (
        surveys.emitter("router", (3.5, 3.0, 1.0), eirp_w=0.1, eirp_std_db=1.0, duty=0.5),
        surveys.emitter("phone", (9.0, 9.0, 1.0), frequency_hz=1.89e9, eirp_w=0.1, eirp_std_db=1.0, duty=0.5),
    )
    values = {("all", surveys.PEAK): [1e-2], ("off:router", surveys.PEAK): [off_w_m2]}
    return surveys.survey(emitters, [HERE], values)


def test_a_switch_that_takes_nothing_away_is_not_told_as_the_surely_largest() -> None:
    posterior = infer(a_survey(1e-2), draws=100)
    found = {s.name: s for s in contributions(posterior, HERE)}
    bounds = switching_bounds(posterior, HERE, [[0], [1]], Kind.PEAK)
    assert bounds is not None and bounds[0].high < 0.12
    assert found["router"].probability_largest < 0.6
    agreeing = contributions(infer(a_survey(1e-4), draws=100), HERE)[0]
    assert agreeing.name == "router" and agreeing.probability_largest > 0.95 and not agreeing.contradicted


def test_a_reading_during_a_call_is_no_part_of_the_test() -> None:
    """The call makes the average 20 dB higher; on against off remains what it was."""
    survey = a_survey(5e-3)
    call = RadioState("call", "call", activities=(StateActivity("router", Activity.IN_USE),))
    visit = replace(survey.visits[0], radio_states=(*survey.visits[0].radio_states, call))
    first, second = (replace(r, id=f"{r.id}-a", kind=Kind.AVERAGE) for r in survey.readings)
    busy = replace(first, id="busy", radio_state_id="call", value_w_m2=100.0 * first.value_w_m2)
    both = [(first, second), (first, second, busy)]
    found = [
        switching_bounds(
            infer(replace(survey, visits=(visit,), readings=some), draws=20), HERE, [[0], [1]], Kind.AVERAGE
        )
        for some in both
    ]
    assert found[0] == found[1]


def test_without_a_test_there_is_nothing_to_hold_against() -> None:
    posterior = infer(a_survey(1e-2), draws=20)
    assert switching_bounds(posterior, (0.0, 0.0, 1.0), [[0], [1]], Kind.PEAK) is None
    assert switching_bounds(posterior, HERE, [[0], [1]], Kind.AVERAGE) is None
