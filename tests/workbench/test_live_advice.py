"""What to do next while readings come in: at once, and then as every other door says it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.field.foreseen import Measurement
from roomfield.field.information import Information
from roomfield.remedy.value_of_information import NextMeasurement, Ranked, next_step
from roomfield.show.words import load_words
from roomfield.workbench.model import joint_model
from roomfield.workbench.plan import next_measurement
from roomfield.workbench.plan.live_advice import advice_now
from roomfield.workbench.plan.next_measurement import asked_question, measure_next_for
from roomfield.workbench.plan.on_again import places_to_read_again
from roomfield.workbench.publish.contents.measuring import measuring_advice


@pytest.fixture(autouse=True)
def nothing_known_yet():
    joint_model._LATEST.clear()
    joint_model._inferred.cache_clear()


def first_scans(count: int):
    """The demo on its first visit after some scans, without a list of actions, which makes the question a small one."""
    survey = replace(demo_survey(), actions=(), adopted_plan=None)
    taken = [r for r in survey.readings if r.visit_id == FIRST.id]
    kept = list(dict.fromkeys((r.place_id, r.radio_state_id) for r in taken))[:count]
    return replace(survey, readings=tuple(r for r in taken if (r.place_id, r.radio_state_id) in kept))


def test_it_begins_with_a_bed():
    survey = first_scans(0)
    assert advice_now(survey, FIRST.id, "en").sentence == (
        "Begin with a scan at Parents' bed, left pillow, with everything as found."
    )
    assert "Zuerst" in advice_now(survey, FIRST.id, "de").sentence


def test_at_once_only_from_what_is_at_hand_and_settled_like_every_other_door():
    assert advice_now(first_scans(6), FIRST.id, "en", soon=True).settled is False
    settled = advice_now(first_scans(6), FIRST.id, "en")
    assert settled.settled
    at_once = advice_now(first_scans(7), FIRST.id, "en", soon=True)
    assert at_once.advice is not None and not at_once.settled
    later = advice_now(first_scans(7), FIRST.id, "en")
    question = asked_question(first_scans(7), "open", None)
    assert later.sentence == measure_next_for(first_scans(7), FIRST.id, question).sentence
    assert load_words("en").text(measuring_advice(first_scans(7), FIRST.id, "en")).endswith(later.sentence)
    assert advice_now(first_scans(7), FIRST.id, "en", soon=True).settled


def test_nothing_is_advised_where_nothing_stands_on_the_plan():
    survey = demo_survey()
    assert advice_now(replace(survey, visits=(), readings=()), "", "en") is None
    nowhere = tuple(replace(place, position=None) for place in survey.places)
    assert advice_now(replace(survey, places=nowhere, readings=()), FIRST.id, "en") is None


def test_a_home_too_large_to_be_worked_out_unasked_says_so(monkeypatch):
    monkeypatch.setattr("roomfield.workbench.plan.live_advice.MOST_LIVE_PATHS", 10)
    assert "roomfield next" in advice_now(first_scans(3), FIRST.id, "en").sentence


@pytest.mark.parametrize("owned", [False, True])
def test_a_second_meter_is_advised_only_if_one_is_on_record(owned, monkeypatch):
    survey = first_scans(7)
    meters = survey.meters[:1]
    more = (replace(meters[0], id="second", name="Second meter"),) if owned else ()
    survey = replace(survey, meters=(*meters, *more))
    offered = []

    def ranked(decision, candidates, **settings):
        offered.extend(one.measurement for one in candidates)
        return next_step(decision, candidates, **settings)

    monkeypatch.setattr(next_measurement, "next_step", ranked)
    measure_next_for(survey, FIRST.id, asked_question(survey, "open", None))
    assert Measurement.READ in offered
    assert (Measurement.SECOND_METER in offered) is owned


@pytest.mark.parametrize(
    ("language", "said"), [("en", "on, off, on again: 5 min"), ("de", "an, aus, wieder an: 5 min"),
                           ("fr", "allumé, éteint, rallumé\u00a0: 5\u00a0min")],
)  # fmt: skip
def test_where_what_was_read_is_old_a_switch_is_read_on_off_and_on_again(language, said, monkeypatch):
    survey = first_scans(7)
    old = places_to_read_again(survey, FIRST.id)
    question = asked_question(survey, "source", None)

    def ranked(decision, candidates, **settings):
        switched = [one for one in candidates if one.measurement in (Measurement.SWITCH_OFF, Measurement.SWITCH_AGAIN)]
        assert switched and all(
            (one.measurement is Measurement.SWITCH_AGAIN) == (one.place_id in old) for one in switched
        )
        first = next(one for one in switched if one.place_id in old)
        return NextMeasurement(decision, (Ranked(first, Information(9.0, 0.0, 0.3)),), 1, 2.0, 1.5)

    monkeypatch.setattr(next_measurement, "next_step", ranked)
    assert said in measure_next_for(survey, FIRST.id, question, language).sentence


def test_what_is_worth_its_time_only_with_others_is_told_first(monkeypatch):
    """What alone never changes the mind still heads the list if it is to be done."""
    survey = first_scans(7)
    question = asked_question(survey, "open", None)

    def ranked(decision, candidates, **settings):
        nothing = Information(0.0, 0.0, 0.0)
        return NextMeasurement(decision, tuple(Ranked(one, nothing) for one in candidates), 3, 2.0, 1.5)

    monkeypatch.setattr(next_measurement, "next_step", ranked)
    advice = measure_next_for(survey, FIRST.id, question)
    assert len(advice.rows) == 3 and not advice.stop
    assert advice.sentence.endswith(advice.rows[0].sentence)
