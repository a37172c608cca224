"""What limits, what gets worse, the order of work, and whether it worked: as the browser's pages say it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import FIRST, FOLLOW_UP, demo_survey
from roomfield.errors import InputError
from roomfield.survey import ActionKind
from roomfield.web.dependencies import amount_in
from roomfield.workbench.record import survey_list

DEMO = demo_survey()
BASE = f"/surveys/{DEMO.id}"
CALL = f"/api/v1/surveys/{DEMO.id}/what-if"


@pytest.fixture
def demo(client, records):
    records.create(DEMO)
    return client


@pytest.mark.parametrize(("language", "warned"), [("en", "Remove or silence sources"), ("de", "vor dem Schirmen")])
def test_the_plan_is_shown_in_order_with_what_limits_and_what_gets_worse(demo, language, warned):
    heads = {"accept-language": language}
    page = demo.get(
        f"{BASE}/what-if/plans?target_uw_m2=1000&at=sleeping&confidence=99.9&visit={FIRST.id}", headers=heads
    ).text
    words = {
        "en": (
            "Inside the home",
            "From outside",
            "Measure again",
            "of what remains",
            "is not reached by any plan made of the listed actions",
        ),
        "de": (
            "In der Wohnung",
            "Von außen",
            "Erneut messen",
            "was übrig bleibt",
            "erreicht kein Plan aus den aufgeführten Maßnahmen",
        ),
    }
    order = [page.index(word) for word in words[language][:3]]
    assert order == sorted(order)
    assert all(word in page for word in words[language][3:])
    assert warned in page
    assert "Agree on this plan" in page or language == "de"


def test_a_shield_round_a_source_is_warned_of_while_it_is_tried(demo):
    wish = {"screens": [{"surface_id": "u_south", "attenuation_db": 40.0}], "bound_w_m2": 1e-3}
    told = demo.post(f"{CALL}?visit={FIRST.id}", json=wish, headers={"accept-language": "de"}).json()
    assert any("vor dem Schirmen" in text for text in told["worse"])
    assert all("was übrig bleibt" in place["limiting"] for place in told["places"])
    quiet = demo.post(f"{CALL}?visit={FIRST.id}", json={"off": ["cordless"]}).json()
    assert quiet["worse"] == []


@pytest.mark.parametrize("language", ["en", "de"])
def test_before_and_after_stand_against_the_prediction_of_the_work(demo, language):
    heads = {"accept-language": language}
    page = demo.get(f"{BASE}/before-after", headers=heads).text
    assert "Corded telephone" in page
    part = demo.get(f"{BASE}/before-after/changes?first={FIRST.id}&second={FOLLOW_UP.id}", headers=heads).text
    assert {"en": "as predicted", "de": "wie vorhergesagt"}[language] in part
    assert {"en": "Where the aim was asked for (3 places)", "de": "Wo das Ziel verlangt war (3 Plätze)"}[
        language
    ] in part
    assert part.count('class="expected"') >= len(DEMO.places)


@pytest.mark.parametrize(("language", "asked", "unasked"), [("en", "Target asked for at", "not asked for"),
                                                              ("de", "Ziel verlangt für", "nicht verlangt")])  # fmt: skip
def test_the_target_can_be_asked_for_single_places_and_the_agreement_keeps_them(
    demo, records, language, asked, unasked
):
    heads = {"accept-language": language}
    part = demo.get(f"{BASE}/what-if/plans?target_uw_m2=5000&at=these&place=cot&place=desk", headers=heads).text
    assert f"{asked}: Child&#39;s cot, Desk in the study" in part
    assert part.count(unasked) == len(DEMO.places) - 2
    ids = re.findall(r'name="action" value="([^"]+)"', part.partition("</form>")[0])
    if "Side by side" in part:
        assert 2 <= part.partition("beside-plans")[2].partition("</div>")[0].count("<article") <= 3
    answers = {"action": ids, "place": ["cot", "desk"], "target_w_m2": "5e-3", "kind": "peak", "confidence": "0.9"}
    demo.post(f"{BASE}/what-if/adopt", data=answers)
    plan = survey_list.opened(records, DEMO.id).survey.adopted_plan
    assert (plan.place_ids, plan.action_ids) == (("cot", "desk"), tuple(ids))
    assert f"{asked}: Child&#39;s cot, Desk in the study" in demo.get(f"{BASE}/what-if", headers=heads).text


def test_plans_as_a_call_for_programs(demo):
    plain = demo.get(f"{CALL}/plans?target_w_m2=1e-5&at=sleeping").json()
    assert plain["asked_place_ids"] == ["bed_left", "bed_right", "cot"]
    assert plain["reachable"] is False and plain["suggested"] is None
    assert plain["lowest"][-1]["level_w_m2"] < plain["lowest"][0]["level_w_m2"]
    refused = demo.get(f"{CALL}/plans?target_w_m2=1e-3&at=attic")
    assert refused.status_code == 404 or refused.status_code == 422
    assert "attic" in refused.text


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("1200", 1200.0),
        ("1,200.50", 1200.5),
        ("1.200,50", 1200.5),
        ("1 000", 1000.0),
        ("1\N{NARROW NO-BREAK SPACE}000,5", 1000.5),
        ("1'000'000", 1e6),
        ("1,200", 1200.0),
        ("1.200", 1200.0),
        (" 12,5 ", 12.5),
        ("0", 0.0),
        ("7.", 7.0),
    ],
)
def test_an_amount_is_read_as_people_type_it(typed, amount):
    assert amount_in(typed, "budget") == amount


@pytest.mark.parametrize(
    "typed", ["abc", "-5", "1,2,3", "1.200.5", "1,20.000", "1 00", "nan", "1e3", "1_000", ",", "², "]
)
def test_what_is_no_amount_is_refused_and_never_ignored(demo, typed):
    with pytest.raises(InputError, match="not an amount"):
        amount_in(typed, "budget")
    answer = demo.get(
        f"{BASE}/what-if/plans",
        params={"target_uw_m2": 1000, "budget": typed, "visit": FIRST.id},
        headers={"accept-language": "de"},
    )
    assert answer.status_code == 422 and "ist kein Geldbetrag" in answer.text


def test_a_budget_with_marks_limits_the_plans(demo):
    """The same budget in two ways of writing gives the same part of a page; none gives dearer plans as well."""
    ask = {"target_uw_m2": 1000, "at": "sleeping", "visit": FIRST.id}
    plain, marked = (demo.get(f"{BASE}/what-if/plans", params={**ask, "budget": b}) for b in ("1200.50", "1,200.50"))
    assert plain.status_code == marked.status_code == 200
    assert plain.text == marked.text


@pytest.mark.parametrize("budget", ["-5", "nan", "inf"])
def test_programs_are_refused_such_budgets_too(demo, budget):
    assert demo.get(f"{CALL}/plans?target_w_m2=0.001&budget={budget}&visit={FIRST.id}").status_code == 422


@pytest.mark.parametrize(
    "path",
    [
        f"{BASE}/understand/field",
        f"{BASE}/what-if/plans?target_uw_m2=1000",
        f"/api/v1/surveys/{DEMO.id}/contributions",
    ],
)
def test_a_survey_without_a_visit_is_told_to_begin_one(client, records, path):
    records.create(replace(DEMO, visits=(), readings=(), bearings=(), recordings=(), logs=(), amendments=()))
    answer = client.get(path)
    assert 400 <= answer.status_code < 500
    assert "Begin a visit first" in answer.text


OWN = """schema = "roomfield-references/1"
[[measure]]
key = "ours"
kind = "shield_surface"
name.en = "Our mesh"
name.de = "Unser Gewebe"
note.en = "An electrician bonds it."
per_m2 = { low = 10, high = 20 }
sheet_db = 35
[[measure]]
key = "timer"
kind = "night_schedule"
name.en = "Our timer"
"""


def test_an_action_takes_wording_and_price_from_a_measure_of_our_own(demo, records, tmp_path, monkeypatch):
    monkeypatch.setenv("ROOMFIELD_REFERENCES", str(tmp_path / "own"))
    page = f"{BASE}/what-if"
    assert "From your own measures" not in demo.get(page).text
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "ours.toml").write_text(OWN, "utf-8")
    shown = demo.get(page).text
    shields = [one for one in DEMO.actions if one.kind is ActionKind.SHIELD_SURFACE]
    assert shown.count('<option value="ours">Our mesh (') == len(shields) > 0
    assert "Aus eigenen Maßnahmen" in demo.get(page, headers={"accept-language": "de"}).text
    demo.post(f"{page}/action/{shields[0].id}", data={"measure": "ours", "name": "x", "low": "1", "high": "2"})
    made = next(one for one in survey_list.opened(records, DEMO.id).survey.actions if one.id == shields[0].id)
    assert (made.name, made.note) == ("Our mesh", "An electrician bonds it.")
    assert made.cost.stated
    assert made.cost.high == pytest.approx(2.0 * made.cost.low, abs=0.02)
    assert "Our mesh" in demo.get(page).text
    refused = demo.post(f"{page}/action/{shields[0].id}", data={"measure": "timer"})
    assert refused.status_code == 422
    assert "of the kind night_schedule" in refused.text
