"""The main job: from a visit's readings to findings, against the invented home's known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.demo.truth import truth
from roomfield.errors import TooEarlyError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.show.findings import Outcome
from roomfield.survey import (
    Assignment,
    Censoring,
    Meter,
    Place,
    PlaceKind,
    RadioState,
    Reading,
    Survey,
    Visit,
)
from roomfield.workbench.assess.assessment import Terms, assess
from roomfield.workbench.publish.contents.place_findings import law_outcome, likely_outcome
from roomfield.workbench.publish.contents.steps import next_steps
from roomfield.workbench.record.chosen_limits import chosen_limits

STATES = (RadioState("as_found", "As found"), RadioState("router_off", "Router off", ("router",)))


def one_place(*values: tuple[str, Kind, float], censoring: Censoring = Censoring.NONE, **order) -> Survey:
    visit = Visit("v1", "2026-03-01T09:00:00+01:00", "A. Assessor", radio_states=STATES)
    readings = tuple(
        Reading(f"r{n}", "v1", "m1", state, kind, value, place_id="bed", censoring=censoring)
        for n, (state, kind, value) in enumerate(values)
    )
    return Survey(
        "s1",
        "Invented room",
        visit.started_at,
        Assignment(**order),
        places=(Place("bed", "Bed", PlaceKind.BED),),
        meters=(
            Meter("m1", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),
        ),
        visits=(visit,),
        readings=readings,
    )


@pytest.fixture(scope="module")
def demo():
    return assess(demo_survey())


class TestLaw:
    @pytest.mark.published("Council Recommendation 1999/519/EC, Annex III, Table 2: f/200 W/m² from 400 to 2000 MHz")
    def test_an_unknown_mix_is_held_against_the_smallest_limit_in_the_band(self, demo):
        assert demo.limit.value_w_m2 == pytest.approx(400 / 200)
        assert demo.limit.is_smallest_in_band

    @pytest.mark.parametrize("name", ["EU", "ICNIRP", "US", "CA", "CH", "IT"])
    def test_every_jurisdiction_that_must_be_there(self, name):
        found = assess(one_place(("as_found", Kind.AVERAGE, 1e-3), jurisdiction=name))
        assert found.limit.value_w_m2 > 0.0
        assert found.limits.jurisdiction == name

    def test_a_set_can_be_named_by_its_own_name(self):
        assert chosen_limits("icnirp-1998-public-whole-body").edition_key == "1998"

    def test_an_unknown_jurisdiction_names_the_choices(self):
        with pytest.raises(UnknownNameError, match="EU"):
            chosen_limits("Atlantis")

    def test_only_averages_are_held_against_the_law(self, demo):
        assert {f.verdict.level.kind for f in demo.law} == {Kind.AVERAGE}
        assert {f.results[0].level.kind for f in demo.precaution} == {Kind.HIGHEST_HELD}

    def test_a_level_near_the_limit_stays_open(self):
        found = assess(one_place(("as_found", Kind.AVERAGE, 1.2)))
        assert law_outcome(found.law[0].verdict) is Outcome.UNDECIDED

    def test_overload_never_counts_as_below(self):
        survey = one_place(("as_found", Kind.AVERAGE, 2.5), censoring=Censoring.ABOVE)
        assert law_outcome(assess(survey).law[0].verdict) is not Outcome.BELOW

    def test_limits_of_the_user_stand_beside_the_law(self, tmp_path):
        mine = """schema = "roomfield-limits/1"
        [[set]]
        id = "agreed"
        title = "Agreed"
        document = "Agreement"
        edition = "2027"
        clause = "1"
        [[set.level]]
        f_low_mhz = 10
        f_high_mhz = 10000
        quantity = "power_density"
        coefficient = 1e-4
        """
        (tmp_path / "mine.toml").write_text(mine, "utf-8")
        survey = one_place(("as_found", Kind.AVERAGE, 1e-3))
        found = assess(survey, user_limits=str(tmp_path / "mine.toml"))
        assert found.limits == assess(survey).limits
        (own,) = found.beside
        assert [f.verdict.bound.value_w_m2 for f in own.findings] == [1e-4]
        assert law_outcome(own.findings[0].verdict) is Outcome.ABOVE
        assert law_outcome(found.law[0].verdict) is Outcome.BELOW

    def test_a_user_s_own_limits(self, tmp_path, demo):
        own = one_place(("as_found", Kind.AVERAGE, 1e-3))
        with pytest.raises(Exception, match=r"limits\.toml"):
            assess(own, user_limits=str(tmp_path / "limits.toml"))


class TestGuideline:
    @pytest.mark.published("Building-biology evaluation guidelines SBM-2015, RF, peak: 0.1, 10, 1000 µW/m²")
    @pytest.mark.parametrize(
        ("shown_w_m2", "category"),
        [(1e-5, "severe anomaly"), (2e-1, "extreme anomaly"), (5e-7, "slight anomaly")],
    )
    def test_category_of_the_median(self, shown_w_m2, category):
        survey = one_place(("as_found", Kind.PEAK, shown_w_m2), guideline="building-biology-2015")
        result = assess(survey).precaution[0].strictest
        assert result.nominal.row.name == category
        assert result.is_upper_bound

    def test_below_the_floor_is_surely_below_what_lies_above_it(self):
        survey = one_place(
            ("as_found", Kind.PEAK, 3e-8),
            censoring=Censoring.BELOW,
            guideline="building-biology-2015",
        )
        result = assess(survey).precaution[0].strictest
        assert result.chances[1].at_most.low > 0.99
        assert likely_outcome(result.chances[0].at_most, 0.95) is not Outcome.ABOVE


class TestSwitches:
    def test_only_states_that_differ_by_one_switch_are_compared(self, demo):
        pairs = {(f.state_with, f.state_without) for f in demo.switches}
        assert ("as_found", "own_off") not in pairs
        assert ("router_off", "own_off") in pairs

    def test_the_meter_s_shared_error_does_not_widen_the_ratio(self, demo):
        found = next(f for f in demo.switches if f.place_id == "desk" and f.group == "cordless" and f.kind is Kind.PEAK)
        assert found.difference.ratio().std_db < 2.5
        assert found.difference.first.std_db > 2.6

    def test_intervals_hold_the_true_contribution(self, demo):
        """Average level: true contribution of a switch is its emitters' local mean times duty."""
        true = truth()
        duty = np.array([e.duty for e in true.emitters])
        rows = {p.id: n for n, p in enumerate(true.places)}
        held = []
        for f in demo.switches:
            if f.kind is not Kind.AVERAGE:
                continue
            mine = np.array([e.group == f.group for e in true.emitters])
            span = f.difference.interval(0.95)
            held.append(span.low_w_m2 <= float(true.density_w_m2[rows[f.place_id]] @ (duty * mine)) <= span.high_w_m2)
        assert np.mean(held) > 0.85


class TestSteps:
    def test_inner_before_outer_before_measuring(self, demo):
        groups = [step.group.value for step in next_steps(demo)]
        assert groups == sorted(groups, key=["inner", "outer", "measure"].index)
        assert groups[-1] == "measure"

    def test_nothing_needed_says_so(self):
        survey = one_place(("as_found", Kind.AVERAGE, 1e-6))
        assert next_steps(assess(survey))[0].title.key == "step.nothing_needed.title"


def test_too_early_names_the_step_that_comes_first():
    survey = demo_survey()
    with pytest.raises(TooEarlyError, match="Begin a visit first"):
        assess(replace(survey, visits=(), readings=(), bearings=()))
    with pytest.raises(TooEarlyError, match="import readings first"):
        assess(replace(survey, readings=(), amendments=()))


def test_wider_coverage_widens_the_interval(demo):
    item = demo.table.find("cot", "as_found", Kind.PEAK)
    narrow, wide = item.combined.level.interval(0.9), item.combined.level.interval(0.99)
    assert wide.low_w_m2 < narrow.low_w_m2 < narrow.high_w_m2 < wide.high_w_m2
    assert assess(demo_survey(), FIRST.id, terms=Terms(rule="guard-U")).law[0].verdict.rule.rule_id == "guard-U"
