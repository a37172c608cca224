"""A visit is held against the last one before it, whatever the order in which visits were entered."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import FIRST, FOLLOW_UP, demo_survey
from roomfield.errors import UnknownNameError
from roomfield.workbench.record.readings_ledger import visit_before
from roomfield.workbench.record.visit_choice import visit_asked_or_before

BETWEEN = replace(FOLLOW_UP, id="between", started_at="2026-04-01T09:30:00+02:00")


@pytest.fixture
def survey():
    return replace(demo_survey(), visits=(FIRST, FOLLOW_UP, BETWEEN))


def test_the_last_before_it_unless_one_is_named(survey):
    assert visit_asked_or_before(survey, "", FOLLOW_UP.id).id == "between"
    assert visit_asked_or_before(survey, "", "between").id == FIRST.id
    assert visit_asked_or_before(survey, FIRST.id, FOLLOW_UP.id).id == FIRST.id
    assert visit_before(survey, survey.visit(FOLLOW_UP.id)).id == "between"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2026-04-01T09:30:00+00:00", "2026-04-01T09:30:00+00:00"),  # begun in one second
        ("2026-04-01T10:30:00+02:00", "2026-04-01T09:30:00+00:00"),  # one hour apart, written on two clocks
    ],
)
def test_moments_count_and_not_how_they_are_written(survey, first, second):
    visits = (replace(FIRST, started_at=first), replace(FOLLOW_UP, started_at=second))
    assert visit_asked_or_before(replace(survey, visits=visits), "", FOLLOW_UP.id).id == FIRST.id


def test_nothing_is_before_the_first(survey):
    assert visit_asked_or_before(survey, "", FIRST.id).id == FIRST.id
    assert visit_before(survey, survey.visit(FIRST.id)) is None
    with pytest.raises(UnknownNameError):
        visit_asked_or_before(survey, "", "never")
