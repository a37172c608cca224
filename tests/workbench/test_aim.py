"""The client's aim, the places it is for, both ends of every probability, and limits that bind installations only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.errors import RangeError
from roomfield.report.render.html import render_html
from roomfield.show.findings import Outcome
from roomfield.store.repository import open_store
from roomfield.survey import Control, Kind
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.assess.place_use import aim_in
from roomfield.workbench.publish.files import report_content
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.setting_up import put_aim

from .surveys import typed

SBM = "building-biology-2015"
ISSUED = "2026-04-01T10:00:00+02:00"


def content(rows, **order):
    return report_content(assess(typed(rows, **order)), issued_at=ISSUED)


def _with_aim(aim_w_m2):
    survey = typed([("bed", "as_found", Kind.PEAK, 1e-6)])
    order = replace(survey.assignment, aim_w_m2=aim_w_m2)
    return report_content(assess(replace(survey, assignment=order)), issued_at=ISSUED)


@pytest.mark.published("SBM-2015, sleeping areas, RF peak: under 0.1, 0.1 to 10, 10 to 1000, over 1000 µW/m²")
def test_the_usual_aim_is_the_upper_edge_of_the_second_category():
    aim = aim_in(typed([("bed", "as_found", Kind.PEAK, 1e-6)], guideline=SBM).assignment)
    assert aim.value_w_m2 == pytest.approx(10e-6)
    assert (aim.chosen, aim.category) == (False, "slight anomaly")


def test_a_bed_in_the_second_category_is_not_above():
    """5.5 µW/m² was told as "above the guideline", for its lowest step was taken for the guideline."""
    (bed,) = content([("bed", "as_found", Kind.PEAK, 4e-6)], guideline=SBM).shown
    assert bed.aim.outcome in (Outcome.LIKELY_BELOW, Outcome.UNDECIDED)
    assert bed.aim.bound_w_m2 == pytest.approx(10e-6)
    assert bed.aim.category.name == "slight anomaly"
    assert bed.aim.category.chance.high > 0.8


def test_a_guideline_for_sleeping_areas_judges_no_desk():
    rows = [("bed", "as_found", Kind.PEAK, 1e-3), ("desk", "as_found", Kind.PEAK, 1e-3)]
    made = content(rows, guideline=SBM)
    judged = {p.place.id: p.aim is not None for p in made.shown}
    assert judged == {"bed": True, "desk": False}
    page = render_html(made, language="en")
    assert "the guideline is for places to sleep" in page
    assert "The one place held against it" in page or "above the usual aim" in page


def test_the_clients_own_aim_counts_even_without_a_guideline():
    (bed,) = _with_aim(1e-3).shown
    assert (bed.aim.outcome, bed.aim.bound_w_m2) == (Outcome.BELOW, 1e-3)


def test_the_clients_own_aim_is_for_the_level_itself():
    """As a plan's target is: planning, finding and proof then speak of one probability."""
    survey = typed([("bed", "as_found", Kind.PEAK, 20e-3)], guideline=SBM)
    order = replace(survey.assignment, aim_w_m2=1e-3)
    found = assess(replace(survey, assignment=order))
    (bed,) = report_content(found, issued_at=ISSUED).shown
    level = found.precaution[0].strictest.level
    assert bed.aim.outcome is Outcome.ABOVE
    assert bed.aim.probability_below.high == pytest.approx(level.probability_below(1e-3).high)
    assert not bed.aim.upper_bound_only


def test_an_aim_is_kept_and_a_wrong_one_refused(tmp_path):
    store = open_store(tmp_path / "roomfield.sqlite")
    job = Job(store.create(typed([("bed", "as_found", Kind.PEAK, 1e-6)], guideline=SBM)).survey, store)
    put_aim(job, 100e-6)
    assert job.again().survey.assignment.aim_w_m2 == pytest.approx(100e-6)
    with pytest.raises(RangeError, match="aim"):
        put_aim(job, 1e3)
    assert job.again().survey.assignment.aim_w_m2 == pytest.approx(100e-6)
    put_aim(job.again(), None)
    assert job.again().survey.assignment.aim_w_m2 is None


@pytest.mark.published(
    "JCGM 101:2008, 5.9: a probability as the share of draws; meter errors as the budget states them"
)
def test_odds_against_the_aim_have_both_ends():
    """One service makes all of it, or ten share it evenly: the ends of the probability, by plain sampling."""
    made = content([("bed", "as_found", Kind.PEAK, 20e-6)], guideline=SBM)
    (bed,) = made.shown
    low, high = bed.level.level.low_w_m2, bed.level.level.high_w_m2
    lines = made.budgets[0].lines
    rng, n = np.random.default_rng(5), 200_000
    drawn = np.zeros(n)
    for line in lines:
        shape = line.distribution.key.rsplit(".", 1)[1]
        half = line.std_db * np.sqrt(3.0)
        drawn += rng.uniform(-half, half, n) if shape == "rectangular" else rng.normal(0.0, line.std_db, n)
    level_db = 10.0 * np.log10(bed.level.level.median_w_m2) + drawn - np.median(drawn)
    aim_db = 10.0 * np.log10(10e-6)
    assert bed.aim.probability_below.low == pytest.approx(np.mean(level_db <= aim_db), abs=0.02)
    assert bed.aim.probability_below.high == pytest.approx(np.mean(level_db - 10.0 <= aim_db), abs=0.02)
    ends = 10.0 ** (np.quantile(level_db, [0.025, 0.975]) / 10.0)
    assert (low, high) == pytest.approx(tuple(ends), rel=0.06)


@pytest.mark.parametrize("jurisdiction", ["DE", "CH", "IN", "BE-BRU"])
def test_a_limit_for_installations_is_not_held_against_the_own_router(jurisdiction):
    """Common practice, no source at hand: these documents bind fixed installations."""
    rows = [("bed", "as_found", Kind.AVERAGE, 1.4), ("bed", "router_off", Kind.AVERAGE, 1e-6)]
    survey = typed(rows, jurisdiction=jurisdiction)
    assert any(e.control is Control.CLIENT for e in survey.emitters)
    made = report_content(assess(survey), issued_at=ISSUED)
    (bed,) = made.shown
    assert bed.law.outcome in (Outcome.NOT_COMPARABLE, Outcome.BELOW, Outcome.LIKELY_BELOW)
    assert "fixed installations" in render_html(made, language="en")


def test_margins_are_those_of_the_upper_end_that_the_verdict_uses():
    """The change over a day belongs to the comparison, so it belongs to the margin as well."""
    (bed,) = content([("bed", "as_found", Kind.AVERAGE, 1e-4)]).shown
    assert bed.law.compared.high_w_m2 > bed.average.level.high_w_m2
    assert bed.law.margin == pytest.approx(bed.law.bound_w_m2 / bed.law.compared.high_w_m2)


def test_another_survey_is_untouched():
    survey = typed([("bed", "as_found", Kind.PEAK, 1e-6)])
    assert aim_in(survey.assignment) is None
    assert aim_in(replace(survey.assignment, guideline=SBM)) is not None
