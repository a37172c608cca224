"""The choice of a plan as every door shows it, and the list it is made from, on the invented home."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

import roomfield as rf
from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.errors import InputError, RangeError, TooEarlyError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.remedy.prediction import predict
from roomfield.show.words import load_words
from roomfield.store.repository import open_store
from roomfield.survey import ActionKind, Assignment, ShieldPart
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan.action_list import NewAction, as_action, listed
from roomfield.workbench.plan.plan_choice import PlanTerms, choice_of, offer, prediction_of, suggested
from roomfield.workbench.record.editing import started_survey
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.visit_choice import visit_asked_or_first

FEW = ("unknown_off", "corded_phone", "router_low_power", "shield_child_south")
EASY, HARD = PlanTerms(5e-2), PlanTerms(1e-9)


@pytest.fixture(scope="module")
def survey():
    whole = demo_survey()
    return replace(whole, actions=tuple(a for a in whole.actions if a.id in FEW), adopted_plan=None)


@pytest.mark.calculated("Exhaustive enumeration of all plans")
@pytest.mark.parametrize("terms", [EASY, PlanTerms(2e-2, confidence=0.5), HARD])
def test_the_offer_is_the_best_of_every_plan_on_the_list(survey, terms):
    found = offer(survey, FIRST.id, terms)
    posterior = posterior_of(survey, FIRST.id)
    tied = tie_of(posterior, Kind.PEAK)
    every = []
    for size in range(len(FEW) + 1):
        for some in itertools.combinations(survey.actions, size):
            chance = predict(posterior, some, target_w_m2=terms.target_w_m2, tied=tied).probability_all
            every.append((sum((a.cost.low + a.cost.high) / 2 for a in some), chance))
    for cost, chance in every:
        assert max(p.plan.probability for p in found.plans if p.plan.cost <= cost + 1e-9) >= chance - 0.004
    good = [cost for cost, chance in every if chance >= terms.confidence + 0.004]
    if good:
        assert found.suggested.plan.cost <= min(good)
        assert found.suggested.plan.probability >= terms.confidence
        assert found.shown == found.suggested
    else:
        assert found.suggested is None
        assert found.shown.plan.probability == max(p.plan.probability for p in found.plans)
    assert [p.plan.cost for p in found.plans] == sorted(p.plan.cost for p in found.plans)


def test_the_offer_is_shown_in_order_of_work_with_what_limits_it(survey):
    surest = offer(survey, FIRST.id, PlanTerms(1e-4, confidence=0.95), "de")
    assert surest.suggested is None
    words = load_words("de")
    shown = offer(survey, FIRST.id, PlanTerms(5e-3, confidence=0.3), "de")
    headings = [heading for heading, _ in shown.steps]
    assert headings[0] == words.say("steps.inner")
    assert headings[-1] == words.say("steps.measure")
    assert sorted(name for _, names in shown.steps[:-1] for name in names) == sorted(shown.shown.names)
    assert {place for place, _ in shown.limits} == {p.name for p in survey.places}
    assert all("dessen, was übrig bleibt" in text for _, text in shown.limits)
    assert shown.svg.startswith("<svg")


def test_a_budget_is_kept(survey):
    terms = PlanTerms(5e-2, budget=10.0)
    found, chosen = offer(survey, FIRST.id, terms), choice_of(survey, FIRST.id, terms)
    assert found.shown.plan.cost <= 10.0
    assert suggested(chosen) is None or suggested(chosen).cost <= 10.0
    tight = choice_of(survey, FIRST.id, replace(terms, budget=0.0))
    assert tight.within_budget.cost == 0.0


def test_nothing_to_choose_from_is_too_early(survey):
    with pytest.raises(TooEarlyError, match="action"):
        offer(replace(survey, actions=()), FIRST.id, EASY)
    with pytest.raises(TooEarlyError, match="visit"):
        visit_asked_or_first(replace(survey, visits=()))


def test_actions_that_exclude_each_other_are_refused():
    whole = demo_survey()
    with pytest.raises(InputError, match="cannot be done together"):
        prediction_of(whole, FIRST.id, ("film_child_window", "shield_child_south"), EASY)
    with pytest.raises(UnknownNameError, match="ghost"):
        prediction_of(whole, FIRST.id, ("ghost",), EASY)


def test_the_list_says_what_is_agreed_and_what_is_done():
    found = {one.action.id: one for one in listed(demo_survey())}
    assert found["router_night_off"].agreed and not found["router_night_off"].done_on
    assert found["corded_phone"].done_on == "follow-up"
    assert not found["canopy_cot"].agreed
    assert "Bonding of shielding" in found["canopy_cot"].to_dict()["cautions"]


WALL = NewAction("Mesh", "shield_surface", walls=("u_south",), part="openings", sheet_db=30.0, cost=(10.0, 20.0))


def test_what_is_asked_for_becomes_an_action(survey):
    made = as_action(survey, WALL)
    assert made.kind is ActionKind.SHIELD_SURFACE
    assert (made.surfaces[0].surface_id, made.surfaces[0].part) == ("u_south", ShieldPart.OPENINGS)
    assert {db for _, db in made.sheet.attenuation} == {30.0}
    off = as_action(survey, NewAction("off", "switch_off", transmitters=("Cordless telephone base",)))
    assert off.emitter_ids == ("cordless",)


@pytest.mark.parametrize(
    ("change", "error", "match"),
    [
        ({"kind": "magic"}, UnknownNameError, "magic"),
        ({"kind": "switch_off"}, InputError, "transmitter"),
        ({"kind": "reduce_power", "transmitters": ("cordless",)}, InputError, "reduction"),
        ({"kind": "move_place", "place": "cot"}, InputError, "position"),
        ({"kind": "canopy", "place": "nowhere"}, UnknownNameError, "nowhere"),
        ({"walls": ("fence",)}, UnknownNameError, "fence"),
        ({"walls": ()}, InputError, "wall"),
        ({"sheet_db": None}, InputError, "attenuation"),
        ({"sheet_db": 500.0}, RangeError, "attenuation"),
        ({"coverage": 0.0}, RangeError, "coverage"),
        ({"cost": (5.0, 1.0)}, InputError, "cost"),
        ({"currency": "CHF"}, InputError, "currency"),
        ({"off_hours": (25.0, 6.0)}, RangeError, "hour"),
        ({"name": " "}, InputError, "name"),
        ({"excludes": ("ghost",)}, UnknownNameError, "ghost"),
    ],
)
def test_an_incomplete_action_is_refused(survey, change, error, match):
    with pytest.raises(error, match=match):
        as_action(survey, replace(WALL, **change))


def test_from_the_list_to_the_agreement_in_a_notebook(survey, tmp_path):
    store = open_store(str(tmp_path / "r.sqlite"))
    store.create(survey)
    job = rf.open(str(tmp_path / "r.sqlite"))
    job = rf.add_action(job, "Mesh", "shield_surface", walls=["u_south"], part="openings", sheet_db=30.0, cost=(10, 20))
    made = job.survey.actions[-1]
    assert replace(made, id="") == replace(as_action(job.survey, WALL), id="")
    with pytest.raises(UnknownNameError, match="fence"):
        rf.add_action(job, "Mesh", "shield_surface", walls=["fence"], sheet_db=30.0)
    with pytest.raises(InputError, match="document"):
        rf.add_action(Job(survey), "Mesh", "shield_surface", walls=["u_south"], sheet_db=30.0)
    found = rf.predict(job, [made.id, "corded_phone"], target_w_m2=1e-3)
    assert {o.place_id for o in found.outcomes} == {p.id for p in survey.places}
    choice = rf.plans(job, 5e-2)
    agreed = rf.agree(job, choice.cheapest.action_ids or ("corded_phone",), target_w_m2=5e-2, note="yes")
    assert agreed.survey.adopted_plan.target_w_m2 == 5e-2
    assert agreed.survey.adopted_plan.note == "yes"
    with pytest.raises(InputError, match="document"):
        rf.agree(Job(survey), ["corded_phone"], target_w_m2=1e-3)
    empty = started_survey("x", Assignment(), "one-room-flat")
    with pytest.raises(TooEarlyError):
        rf.predict(empty, [])


def test_a_notebook_compares_the_visits():
    found = rf.verify(rf.open_demo(), "follow-up")
    assert found.target_w_m2 == pytest.approx(1e-3)
    assert len(found.checks) == 7
