"""actions, action, predict, plans, agree, verify from the command line, on the invented home."""

from __future__ import annotations

import json

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.store.repository import open_store


@pytest.fixture
def record(tmp_path):
    path = tmp_path / "r.sqlite"
    open_store(str(path)).create(demo_survey())
    return path


def test_the_list_and_a_new_action_on_it(say, record):
    said = say("action", "Film", "shield_surface", "--wall", "u_north", "--sheet", 30, "--cost", 100, 200,
               "--record", record, "--json")  # fmt: skip
    assert said.code == 0, said.err
    made = json.loads(said.out)
    found = {one["id"]: one for one in json.loads(say("actions", "--record", record, "--json").out)}
    assert found[made["id"]]["surface_ids"] == ["u_north"]
    assert found["corded_phone"]["done_on"] == "follow-up"
    assert "Corded telephone" in say("actions", "--record", record).out


def test_what_a_set_of_actions_would_bring(say, demo_record):
    words = ("predict", "--do", "corded_phone", "--do", "shield_child_south", "--target", 1000, "--record", demo_record)
    shown = say(*words)
    assert shown.code == 0, shown.err
    assert "untreated" in shown.out and "carries" in shown.out
    assert "Remove or silence sources inside before shielding" in shown.out
    assert "m² of sheet" in shown.out and "Bonding of shielding" in shown.out
    assert shown.out.index("1. Corded telephone") < shown.out.index("2. South wall")
    assert "Inner sources first, then outer, then measure again." in shown.out
    plain = json.loads(say(*words, "--json").out)
    assert plain["target_w_m2"] == pytest.approx(1e-3)
    assert [step["step"] for step in plain["work"]] == ["inner_sources", "outer_sources"]


def test_the_plans_and_that_nothing_on_the_list_reaches_the_target(say, demo_record):
    plain = json.loads(say("plans", 100000, "--record", demo_record, "--json").out)
    assert plain["reachable"] and plain["suggested"]["probability"] >= 0.9
    assert plain["prediction"]["probability_all"] == pytest.approx(plain["suggested"]["probability"], abs=0.004)
    shown = say("plans", 0.001, "--record", demo_record)
    assert shown.code == 0
    assert "Nothing on the list reaches 0.001 µW/m²" in shown.out


def test_a_plan_is_agreed_on(say, record):
    said = say("agree", "corded_phone", "router_low_power", "--target", 2000, "--confidence", 0.8, "--record", record)
    assert said.code == 0, said.err
    plan = open_store(str(record)).load(demo_survey().id).survey.adopted_plan
    assert plan.action_ids == ("corded_phone", "router_low_power")
    assert (plan.target_w_m2, plan.confidence) == (pytest.approx(2e-3), 0.8)


@pytest.mark.parametrize(
    ("words", "code", "match"),
    [
        (("predict", "--do", "ghost"), 3, "ghost"),
        (("agree", "ghost", "--target", 1), 3, "ghost"),
        (("agree", "film_child_window", "shield_child_south", "--target", 1), 3, "together"),
        (("action", "Film", "shield_surface", "--wall", "u_north"), 3, "attenuation"),
        (("action", "Film", "painting"), 3, "painting"),
        (("plans", 0), 3, "target"),
        (("verify", "first"), 3, "itself"),
        (("predict", "--visit", "never"), 3, "never"),
        (("agree", "corded_phone"), 2, "target"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(say, record, words, code, match):
    said = say(*words, "--record", record)
    assert said.code == code
    assert match in said.err
    assert said.err.count("\n") == 1


def test_did_it_work(say, demo_record):
    shown = say("verify", "follow-up", "--record", demo_record)
    assert shown.code == 0, shown.err
    assert "Done: " in shown.out and "Corded telephone" in shown.out
    plain = json.loads(say("verify", "follow-up", "--record", demo_record, "--json").out)
    assert plain["target_w_m2"] == pytest.approx(1e-3)
    assert not plain["assumed_done"]
