"""For which places a target is asked, from the choice to the report and the follow-up, on the invented home."""

from __future__ import annotations

import itertools
import json
import re
from dataclasses import asdict, replace
from types import SimpleNamespace

import numpy as np
import pytest

import roomfield as rf
from roomfield.demo.invented_survey import FIRST, FOLLOW_UP, demo_survey
from roomfield.errors import TooEarlyError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.remedy.choice import asked_evaluator
from roomfield.remedy.evaluator import Evaluator
from roomfield.remedy.prediction import predict, predict_with
from roomfield.report.compose.work_chapters import remedy_section
from roomfield.show.words import load_words
from roomfield.survey import Place, PlaceKind
from roomfield.workbench.assess.place_use import is_for_sleeping, is_long_stay
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan.plan_choice import PlanTerms, adopted, choice_of, offer
from roomfield.workbench.plan.plan_offers import offered
from roomfield.workbench.plan.target_places import asked_of, asked_places
from roomfield.workbench.prove.before_after import comparison_of
from roomfield.workbench.publish.contents.followup import follow_up_letter
from roomfield.workbench.publish.contents.remedy_plan import _remedy

BEDS = ("bed_left", "bed_right", "cot")
FEW = ("unknown_off", "corded_phone", "router_low_power", "router_to_hall", "cot_to_north")


@pytest.fixture(scope="module")
def survey():
    whole = demo_survey()
    return replace(whole, actions=tuple(a for a in whole.actions if a.id in FEW), adopted_plan=None)


def every_plan(survey):
    return [some for size in range(len(FEW) + 1) for some in itertools.combinations(survey.actions, size)]


def test_places_are_named_by_use_or_one_by_one(survey):
    assert asked_places(survey, ()) == asked_places(survey, ["all", "cot"]) == ()
    assert asked_places(survey, ["sleeping"]) == BEDS
    assert asked_places(survey, ["long_stays"]) == (*BEDS, "desk")
    assert asked_places(survey, ["Sofa", "cot"]) == ("cot", "sofa")
    assert asked_places(survey, [p.id for p in survey.places]) == ()
    with pytest.raises(UnknownNameError, match="attic"):
        asked_places(survey, ["sleeping", "attic"])
    with pytest.raises(TooEarlyError, match="used like that"):
        asked_places(replace(survey, places=survey.places[-2:]), ["sleeping"])


@pytest.mark.published("Italian decree of 8 July 2003, art. 3 (2): no less than four hours a day (from memory)")
@pytest.mark.parametrize(
    ("kind", "night", "day", "sleeping", "long"),
    [
        (PlaceKind.BED, 0.0, 0.0, True, True),
        (PlaceKind.SOFA, 6.0, 0.0, True, True),
        (PlaceKind.SOFA, 0.0, 3.9, False, False),
        (PlaceKind.OTHER, 0.0, 4.0, False, True),
        (PlaceKind.DESK, 0.0, 0.0, False, True),
        (PlaceKind.DESK, 0.0, 1.0, False, False),
    ],
)
def test_what_counts_as_sleeping_and_as_a_long_stay(kind, night, day, sleeping, long):
    place = Place("p", "p", kind, night_hours=night, day_hours=day)
    assert (is_for_sleeping(place), is_long_stay(place)) == (sleeping, long)


@pytest.mark.calculated("Exhaustive enumeration of all plans")
def test_the_choice_for_the_beds_is_the_best_of_every_plan(survey):
    target = 2e-3
    found = choice_of(survey, FIRST.id, PlanTerms(target, place_ids=BEDS))
    assert found.place_ids == BEDS
    everywhere = choice_of(survey, FIRST.id, PlanTerms(target))
    assert everywhere.place_ids == ()
    assert everywhere.best.probability < found.best.probability
    posterior = posterior_of(survey, FIRST.id)
    tied = tie_of(posterior, Kind.PEAK)
    beds = asked_evaluator(
        posterior, survey.actions, kind=Kind.PEAK, places=[survey.place(name) for name in BEDS], tied=tied
    )
    for some in every_plan(survey):
        ids = [a.id for a in some]
        chance = float((beds.after(ids).total_w_m2 <= target).all(axis=1).mean())
        cost = sum((a.cost.low + a.cost.high) / 2 for a in some)
        assert max(p.probability for p in found.curve if p.cost <= cost + 1e-9) >= chance - 0.004
    evaluator = Evaluator(posterior, survey.actions, kind=Kind.PEAK, tied=tied)
    columns = [c for c, o in enumerate(evaluator.columns) if evaluator.places[o.place_index].id in BEDS]
    chance = float((evaluator.after(ids).total_w_m2[:, columns] <= target).all(axis=1).mean())
    foreseen = predict_with(evaluator, ids, target, BEDS)
    assert foreseen.probability_all == pytest.approx(chance)
    assert predict_with(evaluator, ids, target).probability_all <= chance


def test_what_helps_elsewhere_only_is_not_weighed(survey):
    found = choice_of(survey, FIRST.id, PlanTerms(2e-3, place_ids=("desk",)))
    assert all("cot_to_north" not in point.action_ids for point in found.curve)


def test_other_places_are_shown_with_what_they_get(survey):
    found = offer(survey, FIRST.id, PlanTerms(2e-3, place_ids=BEDS), "de")
    assert found.asked == tuple(survey.place(name).name for name in BEDS)
    assert {outcome.place_id for _, outcome in found.places} == {p.id for p in survey.places}
    assert {outcome.place_id for _, outcome in found.places if outcome.asked} == set(BEDS)
    plain = offered(survey, FIRST.id, PlanTerms(2e-3, place_ids=BEDS))
    assert plain["asked_place_ids"] == list(BEDS)
    assert {o["place_id"] for o in plain["prediction"]["outcomes"] if not o["asked"]} == {
        p.id for p in survey.places if p.id not in BEDS
    }
    with pytest.raises(UnknownNameError, match="attic"):
        predict(posterior_of(survey, FIRST.id), survey.actions, target_w_m2=1.0, asked=("attic",))


@pytest.mark.calculated("Exhaustive enumeration of all plans")
@pytest.mark.parametrize(
    ("terms", "budget"), [(PlanTerms(1e-4), np.inf), (PlanTerms(1e-3, budget=50.0, place_ids=BEDS), 50.0)]
)
def test_out_of_reach_the_lowest_level_for_each_cost_is_shown(survey, terms, budget):
    found = choice_of(survey, FIRST.id, terms)
    asked = terms.place_ids or tuple(p.id for p in survey.places)
    places = [p for p in survey.places if p.id in asked]
    posterior = posterior_of(survey, FIRST.id)
    evaluator = Evaluator(posterior, survey.actions, kind=Kind.PEAK, places=places, tied=tie_of(posterior, Kind.PEAK))
    every = []
    for some in every_plan(survey):
        worst = np.sort(evaluator.after([a.id for a in some]).total_w_m2.max(axis=1))
        held = worst[int(np.ceil(terms.confidence * len(worst) - 1e-9)) - 1]
        every.append((sum((a.cost.low + a.cost.high) / 2 for a in some), held))
    as_found = every[0][1]
    for cost in sorted({c for c, _ in every if c <= budget}):
        best = min(held for c, held in every if c <= cost + 1e-9)
        shown = min(p.level_w_m2 for p in found.lowest if p.plan.cost <= cost + 1e-9)
        assert shown <= best * 10 ** (0.53 / 10)
        assert shown >= best * (1 - 1e-3)
    for point in found.lowest:
        assert point.plan.cost <= budget
        assert point.reduction_db == pytest.approx(10 * np.log10(as_found / point.level_w_m2), abs=0.01)
    falls = [p.reduction_db for p in found.lowest]
    assert all(b >= a + 0.5 for a, b in itertools.pairwise(falls))


def test_out_of_reach_is_said_plainly_with_what_remains_from_which_source(survey):
    found = offer(survey, FIRST.id, PlanTerms(1e-4))
    assert found.suggested is None and found.by_level
    assert found.shown.names == found.lowest[-1].names
    assert re.sub(r"\s", " ", found.reach[0]) == (
        "The target of 100 µW/m² at every place with a probability of 90 % is not reached by any plan made of the "
        "listed actions."
    )
    worst = max((o for _, o in found.places), key=lambda o: o.after_w_m2.median)
    assert survey.place(worst.place_id).name in found.reach[2]
    assert any(e.name in found.reach[3] for e in survey.emitters)
    assert found.svg.startswith("<svg") and "level not exceeded where asked" in found.svg
    reached = offer(survey, FIRST.id, PlanTerms(5e-2))
    assert reached.lowest == () and not reached.by_level


def test_the_agreement_names_the_places_and_report_and_follow_up_keep_to_them():
    whole = demo_survey()
    agreed = adopted(whole, whole.adopted_plan.action_ids, PlanTerms(1e-3, confidence=0.7, place_ids=BEDS))
    assert asked_of(agreed, agreed.adopted_plan) == BEDS
    told = _remedy(agreed, FIRST.id)
    assert told.asked == tuple(whole.place(name).name for name in BEDS)
    assert {p.asked for p in told.predictions} == {True, False}
    assert "asked for" in load_words("en").text(told.statement)
    compared = comparison_of(agreed, FIRST.id, FOLLOW_UP.id).verification
    assert compared.asked_ids == BEDS
    for check in compared.checks:
        assert np.isnan(check.probability_met) == (check.place_id not in BEDS)
    letter = follow_up_letter(agreed, FIRST.id, FOLLOW_UP.id, "2026-06-01")
    words = load_words("de")
    assert any("Verlangt war das Ziel für" in words.text(text) for text in letter.paragraphs)
    freely = comparison_of(agreed, FIRST.id, FOLLOW_UP.id, target_w_m2=2e-3).verification
    assert freely.asked_ids == ()


def test_a_place_that_is_gone_does_not_break_the_agreement():
    whole = demo_survey()
    plan = replace(whole.adopted_plan, place_ids=("attic", "cot"))
    assert asked_of(replace(whole, adopted_plan=plan), plan) == ("cot",)


def test_a_notebook_asks_for_the_beds(survey):
    assert rf.plans(survey, 2e-3, at=["sleeping"]).place_ids == BEDS
    assert rf.predict(survey, ["corded_phone"], target_w_m2=2e-3, at=["cot"]).highest.place_id == "cot"


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", ("Nothing on the list reaches the target at every place asked for", "not asked for", "most remains at")),
        (
            "de",
            (
                "Nichts auf der Liste erreicht das Ziel an allen verlangten Plätzen",
                "nicht verlangt",
                "bleibt am meisten",
            ),
        ),
    ],
)
def test_the_report_says_where_the_target_was_asked_and_what_the_lowest_levels_cost(language, said):
    whole = demo_survey()
    agreed = adopted(whole, ("corded_phone",), PlanTerms(1e-5, place_ids=BEDS))
    words = load_words(language)
    content = SimpleNamespace(remedy=_remedy(agreed, FIRST.id))
    section = remedy_section(content, words)
    text = json.dumps(asdict(section), default=str, ensure_ascii=False)
    assert all(one in text for one in said), text[:2000]
    assert ", ".join(whole.place(name).name for name in BEDS) in text
    assert words.say("remedy.caption_lowest") in text
    assert words.say("figure.lowest.caption") in text
