"""The agreed plan and the follow-up in the report."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import FIRST, FOLLOW_UP, demo_survey
from roomfield.quantities import Kind
from roomfield.remedy.evaluator import Evaluator
from roomfield.report.compose import Part
from roomfield.report.document import ReportContent
from roomfield.report.render.html import render_html
from roomfield.show.findings import StepGroup
from roomfield.show.words import load_words
from roomfield.survey import AdoptedPlan, CostRange, Visit, VisitPurpose
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan.plan_choice import candidates
from roomfield.workbench.publish.contents.remedy_plan import with_remedy
from roomfield.workbench.publish.whole_report import Wishes, whole_content
from roomfield.workbench.record.job import Job

BARE = ReportContent("s", "t", "2026-05-01T12:00:00+02:00", "as_found", "law")
SOME = ("unknown_off", "corded_phone", "shield_child_south")


@pytest.fixture(scope="module")
def survey():
    return demo_survey()


def agreed(survey, *ids, target=1e-2, confidence=0.8):
    return replace(survey, adopted_plan=AdoptedPlan(ids, target, "peak", confidence, "2026-03-20T10:00:00+01:00"))


def remedy_of(survey):
    return with_remedy(BARE, survey, FIRST.id).remedy


def test_a_follow_up_is_compared_with_the_visit_before(survey):
    content = whole_content(Job(survey), Wishes(FOLLOW_UP.id, issued_at="2026-05-01T12:00:00+02:00"))
    check = content.verification
    assert check is not None and content.remedy is None
    assert len(check.rows) == len(survey.places)
    for row in check.rows:
        assert row.reduction_low_db < row.reduction_db < row.reduction_high_db
        assert row.prediction_met is not None
        assert row.predicted_after.low_w_m2 < row.predicted_after.median_w_m2 < row.predicted_after.high_w_m2
    assert "Corded telephone instead of the cordless base" in check.done


def test_an_agreed_plan_becomes_a_work_order(survey):
    remedy = remedy_of(agreed(survey, "shield_child_south", "corded_phone"))
    assert [item.group for item in remedy.items] == [StepGroup.INNER, StepGroup.OUTER]
    shield = remedy.items[1]
    assert "m²" in load_words("de").text(shield.quantity)
    assert any("Bonding" in caution.topic for caution in shield.cautions)
    assert {p.place for p in remedy.predictions} == {p.name for p in survey.places}
    assert all(0.0 <= p.probability_met <= 1.0 for p in remedy.predictions)


def test_without_a_plan_there_is_no_work_order(survey):
    content = with_remedy(BARE, replace(survey, adopted_plan=None), FIRST.id)
    assert content.remedy is None and content.verification is None


def test_the_curve_holds_the_agreed_plan_and_nothing_cheaper_is_surer(survey):
    ids = ("corded_phone", "shield_child_south", "canopy_cot")
    remedy = remedy_of(agreed(survey, *ids))
    own = [p for p in remedy.curve if p.chosen]
    assert len(own) == 1 and len(own[0].actions) == 3
    others = sorted((p for p in remedy.curve if not p.chosen), key=lambda p: p.cost)
    assert [p.probability for p in others] == sorted(p.probability for p in others)
    assert max(p.probability for p in others if p.cost <= own[0].cost) >= own[0].probability
    posterior = posterior_of(survey, FIRST.id)
    evaluator = Evaluator(
        posterior, [a for a in survey.actions if a.id in ids], kind=Kind.PEAK, tied=tie_of(posterior, Kind.PEAK)
    )
    alone = (evaluator.after(ids).total_w_m2 <= 1e-2).all(axis=1).mean()
    assert own[0].probability == pytest.approx(alone, abs=0.02)
    page = render_html(replace(BARE, remedy=remedy), language="en", parts=(Part.REMEDY.value,))
    assert page.count("<svg") == 1


@pytest.mark.parametrize(
    ("ids", "target", "confidence", "key"),
    [
        (SOME, 1.0, 0.9, "remedy.reaches"),
        (SOME, 1e-9, 0.9, "remedy.nothing_reaches"),
        (("cot_to_north",), 2e-2, 0.2, "remedy.another_reaches"),
    ],
)
def test_it_says_plainly_whether_the_plan_or_anything_on_the_list_does(survey, ids, target, confidence, key):
    found = remedy_of(agreed(survey, *ids, target=target, confidence=confidence)).statement
    assert found.key == key
    values = dict(found.values)
    assert (values["chance"] >= confidence) is (key == "remedy.reaches")
    assert values.get("other", confidence) >= confidence > values.get("best", 0.0)
    assert "{" not in load_words("de").text(found)


def test_that_a_cheaper_plan_is_surer_is_told_with_the_reason_on_record(survey):
    dearer = agreed(survey, *SOME, "canopy_cot", "film_child_window", target=1e-2)
    remedy = remedy_of(dearer)
    own = next(p for p in remedy.curve if p.chosen)
    better = min(
        (p for p in remedy.curve if p.cost < own.cost and p.probability > own.probability), key=lambda p: p.cost
    )
    told, reason = remedy.chosen_for
    assert (told.key, reason.key) == ("remedy.cheaper_and_surer", "remedy.no_reason")
    assert dict(told.values)["chance"] == better.probability
    noted = replace(dearer, adopted_plan=replace(dearer.adopted_plan, note="Invented: no canopy is wanted."))
    assert [t.key for t in remedy_of(noted).chosen_for] == ["remedy.cheaper_and_surer", "remedy.agreed_note"]
    page = render_html(replace(BARE, remedy=remedy_of(noted)), language="fr", parts=(Part.REMEDY.value,))
    assert "Invented: no canopy is wanted." in page


def test_a_plan_on_the_curve_is_not_called_beaten(survey):
    best = max(remedy_of(agreed(survey, *SOME)).curve, key=lambda p: p.probability)
    ids = tuple(a.id for a in survey.actions if a.name in best.actions)
    assert remedy_of(agreed(survey, *ids)).chosen_for == ()


def test_costs_in_two_currencies_leave_the_curve_out_only(survey):
    mixed = tuple(replace(a, cost=CostRange(1, 2, "CHF")) if a.id == "canopy_cot" else a for a in survey.actions)
    remedy = remedy_of(agreed(replace(survey, actions=mixed), "corded_phone", target=1e-9))
    assert remedy.curve == ()
    assert remedy.statement.key == "remedy.falls_short"


def test_what_is_done_is_not_offered_again(survey):
    left = {a.id for a in candidates(survey, FOLLOW_UP.id)}
    assert left.isdisjoint(FOLLOW_UP.done_action_ids)
    assert "router_night_off" in left
    assert {a.id for a in candidates(survey, FIRST.id)} == {a.id for a in survey.actions}


def letter_of(survey, language="en", visit=FOLLOW_UP.id):
    content = with_remedy(BARE, survey, visit)
    words = load_words(language)
    letter = content.letter
    return content, [words.text(t) for t in (letter.subject, *letter.paragraphs, *letter.items, *letter.closing)]


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_letter_tells_the_client_what_came_of_it(survey, language):
    content, texts = letter_of(survey, language)
    assert content.letter.addressee.startswith(survey.assignment.client)
    assert len(content.letter.items) == len(content.verification.rows)
    for row, line in zip(content.verification.rows, content.letter.items, strict=True):
        assert load_words(language).text(line).startswith(row.place)
    whole = "\n".join(texts)
    assert "{" not in whole
    for action in survey.actions:
        assert (action.name in whole) == (action.id in (*FOLLOW_UP.done_action_ids, "router_night_off"))
    page = render_html(content, language=language, parts=(Part.LETTER.value,))
    assert survey.assignment.assessor in page


@pytest.mark.published("common practice, no source: no statement on health, no promise, limits in law kept apart")
def test_the_letter_claims_nothing_about_health_and_keeps_the_law_apart(survey):
    _, texts = letter_of(survey)
    assert any("not a legal limit" in t and "nothing about health" in t for t in texts)
    whole = " ".join(texts).lower().replace("says nothing about health", "")
    for stem in ("health", "safe", "harm", "danger", "symptom", "ill", "sick", "sleep better", "protect", "risk"):
        assert not re.search(rf"\b{stem}", whole), stem
    german = " ".join(letter_of(survey, "de")[1]).lower()
    for stem in ("gesünder", "gesund ", "unbedenklich", "gefährlich", "krank", "sicher vor", "schädlich"):
        assert stem not in german, stem


def test_a_visit_without_noted_work_says_that_the_plan_is_taken_as_done(survey):
    silent = replace(survey, visits=(FIRST, replace(FOLLOW_UP, done_action_ids=())))
    content, texts = letter_of(silent)
    assert any("taken as done" in load_words("en").text(t) for t in content.verification.conditions)
    assert any("no work was noted" in t for t in texts)
    without = replace(silent, adopted_plan=None)
    content, texts = letter_of(without)
    assert all(row.prediction_met is None for row in content.verification.rows)
    assert any("only compare the two visits" in t for t in texts)


def test_a_follow_up_that_can_be_compared_with_nothing_has_no_letter(survey):
    empty = Visit("third", "2026-06-01T09:00:00+02:00", "a", VisitPurpose.FOLLOW_UP, radio_states=FIRST.radio_states)
    content = with_remedy(BARE, replace(survey, visits=(*survey.visits, empty)), "third")
    assert content.letter is None and content.verification is None


def test_a_router_off_by_night_is_not_expected_by_day(survey):
    """The follow-up is by day: with the schedule alone, no reduction is predicted and none is missed."""
    by_day = replace(survey, visits=(FIRST, replace(FOLLOW_UP, done_action_ids=("router_night_off",))))
    content = with_remedy(BARE, by_day, FOLLOW_UP.id)
    assert all(row.predicted_after is None for row in content.verification.rows)
    by_night = replace(FOLLOW_UP, done_action_ids=("router_night_off",), started_at="2026-04-25T23:10:00+02:00")
    entered_late = replace(survey, visits=(FIRST, by_night))  # the readings are still those of the day
    content = with_remedy(BARE, entered_late, FOLLOW_UP.id)
    assert all(row.predicted_after is None for row in content.verification.rows)
    at_night = tuple(
        replace(r, taken_at="2026-04-25T23:20:00+02:00") if r.visit_id == FOLLOW_UP.id else r for r in survey.readings
    )
    content = with_remedy(BARE, replace(entered_late, readings=at_night), FOLLOW_UP.id)
    sofa = next(r for r in content.verification.rows if r.place == "Sofa")
    assert sofa.predicted_after.median_w_m2 < 0.5 * sofa.before.median_w_m2


@pytest.mark.published(
    "common practice, no source: a telephone behind a shield sends harder; sources inside come first"
)
def test_a_telephone_within_the_shield_is_warned_of_in_the_report(survey):
    phone = replace(survey.emitters[0], id="phone", name="Mobile phone", technology="mobile phone", eirp_w=0.1)
    with_phone = replace(survey, emitters=(*survey.emitters, phone))
    remedy = remedy_of(agreed(with_phone, "shield_child_south"))
    kinds = {one.key for one in remedy.warnings}
    assert {"worse.transmits_harder", "worse.reflected"} <= kinds
    for language, word in (("en", "transmits harder"), ("de", "sendet ein Telefon stärker")):
        page = render_html(replace(BARE, remedy=remedy), language=language, parts=(Part.REMEDY.value,))
        assert word in page
