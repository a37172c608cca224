"""The agreed plan and the follow-up in the report."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.demo.survey import FIRST, FOLLOW_UP, demo_survey
from roomfield.report.findings import StepGroup
from roomfield.survey import AdoptedPlan
from roomfield.workbench.job import Job
from roomfield.workbench.whole import Wishes, whole_content


@pytest.fixture(scope="module")
def survey():
    return demo_survey()


def test_a_follow_up_is_compared_with_the_visit_before(survey):
    content = whole_content(Job(survey), Wishes(FOLLOW_UP.id, issued_at="2026-05-01T12:00:00+02:00"))
    check = content.verification
    assert check is not None and content.remedy is None
    assert len(check.rows) == len(survey.places)
    for row in check.rows:
        assert row.reduction_low_db < row.reduction_db < row.reduction_high_db
        assert row.prediction_met is not None
    assert "Corded telephone instead of the cordless base" in check.done


def test_an_agreed_plan_becomes_a_work_order(survey):
    plan = AdoptedPlan(("shield_child_south", "corded_phone"), 1e-2, "peak", 0.8, "2026-03-20T10:00:00+01:00")
    agreed = replace(survey, adopted_plan=plan)
    remedy = whole_content(Job(agreed), Wishes(FIRST.id, issued_at="2026-05-01T12:00:00+02:00")).remedy
    assert remedy is not None
    assert [item.group for item in remedy.items] == [StepGroup.INNER, StepGroup.OUTER]
    shield = remedy.items[1]
    assert "m²" in shield.quantity
    assert any("Bonding" in caution for caution in shield.cautions)
    assert {p.place for p in remedy.predictions} == {p.name for p in survey.places}
    assert all(0.0 <= p.probability_met <= 1.0 for p in remedy.predictions)


def test_without_a_plan_there_is_no_work_order(survey):
    undecided = replace(survey, adopted_plan=None)
    content = whole_content(Job(undecided), Wishes(FIRST.id, issued_at="2026-05-01T12:00:00+02:00"))
    assert content.remedy is None and content.verification is None
