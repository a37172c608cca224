"""What changed between two visits, in words, on the invented home; bad questions are refused in one sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.survey import Dwelling
from roomfield.workbench.prove.unplanned_changes import (
    changed_texts,
    told_changes,
    what_changed_between,
    what_changed_told,
)
from roomfield.workbench.publish.contents.followup import follow_up_letter, verification

SECOND = demo_survey().visits[-1].id


def test_every_door_says_the_same():
    survey = demo_survey()
    found = what_changed_between(survey, FIRST.id, SECOND)
    assert found.sentences == what_changed_told(survey, FIRST.id, SECOND, "en")
    assert set(changed_texts(survey, FIRST.id, SECOND)) <= set(verification(survey, FIRST.id, SECOND).surprises)
    assert found.changes.told == () and "nothing changed but load" in found.sentences[0]
    assert "nur die Last" in what_changed_between(survey, FIRST.id, SECOND, "de").sentences[0]


def test_it_is_asked_without_a_plan_of_the_dwelling_and_with_the_visits_turned_round():
    survey = demo_survey()
    unbuilt = tuple(replace(v, done_action_ids=()) for v in survey.visits)
    bare = replace(survey, dwelling=Dwelling(), actions=(), adopted_plan=None, visits=unbuilt)
    assert what_changed_between(bare, FIRST.id, SECOND).sentences
    assert what_changed_between(survey, SECOND, FIRST.id).sentences


def test_what_cannot_be_compared_is_refused():
    survey = demo_survey()
    with pytest.raises(InputError, match="with itself"):
        what_changed_between(survey, FIRST.id, FIRST.id)
    with pytest.raises(UnknownNameError, match="nope"):
        what_changed_between(survey, FIRST.id, "nope")
    alone = replace(survey, readings=tuple(r for r in survey.readings if r.visit_id == FIRST.id))
    with pytest.raises(TooEarlyError, match="read alike on both"):
        what_changed_between(alone, FIRST.id, SECOND)
    assert changed_texts(alone, FIRST.id, SECOND) == ()


def test_the_letter_names_what_is_told_as_changed():
    """The demo's second visit with a sender of a tenth of a watt more beside the sofa than its readings hold."""
    survey = demo_survey()
    assert told_changes(survey, FIRST.id, SECOND) == ()
    louder = tuple(
        replace(r, value_w_m2=r.value_w_m2 + 2e-2) if r.visit_id == SECOND and r.place_id == "sofa" else r
        for r in survey.readings
    )
    changed = replace(survey, readings=louder)
    told = told_changes(changed, FIRST.id, SECOND)
    letter = follow_up_letter(changed, FIRST.id, SECOND, "2026-04-26")
    assert told and set(told) <= set(letter.closing)
