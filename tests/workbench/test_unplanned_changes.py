"""What changed between two visits, in words, on the invented home; bad questions are refused in one sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.survey import Dwelling
from roomfield.workbench.prove.unplanned_changes import changed_texts, what_changed_between, what_changed_told
from roomfield.workbench.publish.contents.followup import verification

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
