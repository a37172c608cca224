"""What if, plan choice, and before and after on the invented home, whose truth is known."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.remedy.prediction import predict
from roomfield.survey import ActionKind, Assignment, ShieldPart
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan import plan_choice
from roomfield.workbench.plan.hypothetical_changes import (
    Moved,
    Screen,
    WhatIfModel,
    WhatIfRequest,
    actions_of,
    usual_bound_w_m2,
    with_actions,
)
from roomfield.workbench.prove import before_after
from roomfield.workbench.record.editing import started_survey


@pytest.fixture(scope="module")
def survey():
    return demo_survey()


@pytest.fixture(scope="module")
def bench(survey):
    return WhatIfModel(survey, survey.visits[0].id)


def by_place(answer):
    return {row.place_id: row for row in answer.places}


def test_nothing_wished_changes_nothing(bench):
    assert all(row.change_db == (0.0, 0.0, 0.0) for row in bench.answer(WhatIfRequest()).places)


@pytest.mark.calculated("conservation: a source that is off adds nothing, so no total of powers can rise")
def test_switching_off_never_raises_an_average(bench, survey):
    for emitter in survey.emitters:
        assert all(
            row.change_db[2] <= 1e-9 for row in bench.answer(WhatIfRequest(off=(emitter.id,), kind="average")).places
        )


def test_the_cordless_base_matters_most_where_it_stands(bench):
    rows = by_place(bench.answer(WhatIfRequest(off=("cordless",))))
    assert max(rows.values(), key=lambda row: -row.change_db[1]).change_db[1] < -3.0


def test_moving_only_a_place_leaves_the_others_as_they_were(bench):
    rows = by_place(bench.answer(WhatIfRequest(places=(Moved("cot", (1.0, 1.0, 3.4)),))))
    assert rows.pop("cot").change_db[1] != 0.0
    assert all(row.change_db == (0.0, 0.0, 0.0) for row in rows.values())


@pytest.mark.calculated("inverse-square law: nearer to an emitter is louder, all else equal")
def test_an_emitter_moved_beside_the_cot_raises_its_level(bench, survey):
    x, y, z = survey.place("cot").position
    rows = by_place(bench.answer(WhatIfRequest(emitters=(Moved("cordless", (x + 0.5, y, z)),))))
    assert rows["cot"].change_db[1] > 3.0


@pytest.mark.parametrize("kind", ["peak", "average"])
def test_the_hand_drags_the_prediction_that_the_report_prints(bench, survey, kind):
    """Nothing kept from an earlier question may leak into a later one."""
    x, y, z = survey.place("cot").position
    away = (Moved("cordless", (x + 1.0, y, z)), Moved("hidden", (2.0, 6.0, 1.0)))
    screens = (Screen("u_south"), Screen("u_west", 20.0, ShieldPart.OPENINGS, 0.9))
    for wish in (
        WhatIfRequest(emitters=away, screens=screens[:1], kind=kind),
        WhatIfRequest(
            off=("router_24",), places=(Moved("desk", (x, y, z)),), screens=screens, kind=kind, bound_w_m2=1e-3
        ),
        WhatIfRequest(emitters=away[:1], places=(Moved("cot", (1.0, 1.0, 3.4)),), kind=kind, bound_w_m2=1e-2),
    ):
        tied = tie_of(bench.posterior, Kind(kind))
        alone = predict(
            bench.posterior, actions_of(survey, wish), kind=Kind(kind), target_w_m2=wish.bound_w_m2 or None, tied=tied
        )
        for row, outcome in zip(bench.answer(wish).places, alone.outcomes, strict=True):
            assert row.after_w_m2 == pytest.approx(tuple(outcome.after_w_m2.to_dict().values()), rel=1e-9)
            assert -row.change_db[0] == pytest.approx(outcome.reduction_db.high, rel=1e-9)
            if wish.bound_w_m2:
                assert row.probability_after == outcome.probability_met


@pytest.mark.published("common practice, no source: remove sources inside before shielding")
@pytest.mark.parametrize(("language", "word"), [("en", "Remove or silence"), ("de", "entfernen oder abschalten")])
def test_a_source_within_the_shield_is_warned_of_in_the_readers_language(bench, language, word):
    worse = bench.answer(WhatIfRequest(screens=(Screen("u_south", 40.0), Screen("u_west", 40.0))), language).worse
    assert any("Cordless" in text and word in text for text in worse)
    assert not bench.answer(WhatIfRequest(off=("cordless",)), language).worse


def test_what_limits_is_named_by_the_rooms(bench, survey):
    indoor = tuple(e.id for e in survey.emitters if not e.outdoor)
    cot = by_place(bench.answer(WhatIfRequest(off=indoor, screens=(Screen("u_south", part=ShieldPart.MASONRY),))))[
        "cot"
    ]
    assert "through the untreated" in cot.limiting
    assert " of " in cot.limiting
    assert "u_" not in cot.limiting


def test_probabilities_are_of_the_bound_asked_for(bench):
    low, high = (by_place(bench.answer(WhatIfRequest(bound_w_m2=b)))["cot"] for b in (1e-9, 10.0))
    assert (low.probability_before, high.probability_before) == (0.0, 1.0)


def test_what_is_not_there_is_refused_by_name(bench):
    for wish in (WhatIfRequest(off=("ghost",)), WhatIfRequest(places=(Moved("ghost", (0.0, 0.0, 0.0)),))):
        with pytest.raises(UnknownNameError, match="ghost"):
            bench.answer(wish)
    with pytest.raises(InputError, match="dB"):
        bench.answer(WhatIfRequest(screens=(Screen("u_south", attenuation_db=-3.0),)))


def test_a_survey_without_readings_says_what_comes_first():
    empty = started_survey("x", Assignment(), "one-room-flat")
    with pytest.raises(TooEarlyError):
        WhatIfModel(empty, empty.visits[0].id)


def test_a_wish_becomes_actions_of_the_record(survey):
    wish = WhatIfRequest(off=("cordless",), places=(Moved("cot", (1.0, 1.0, 3.4)),), screens=(Screen("u_south"),))
    kinds = [action.kind for action in actions_of(survey, wish)]
    assert kinds == [ActionKind.SWITCH_OFF, ActionKind.MOVE_PLACE, ActionKind.SHIELD_SURFACE]
    after = with_actions(survey, wish)
    assert len({action.id for action in after.actions}) == len(survey.actions) + 3


@pytest.mark.published("SBM-2015: the second category for sleeping areas ends at 10 µW/m²")
def test_the_usual_bound_is_the_clients_aim(survey):
    assert usual_bound_w_m2(survey) == survey.assignment.aim_w_m2
    without = replace(survey, assignment=replace(survey.assignment, aim_w_m2=None))
    assert usual_bound_w_m2(without) == pytest.approx(10e-6), "the upper edge of the second category"


def test_agreeing_on_a_plan_needs_actions_that_are_there(survey):
    terms = plan_choice.PlanTerms(1e-3)
    agreed = plan_choice.adopted(survey, (survey.actions[0].id,), terms)
    assert agreed.adopted_plan.target_w_m2 == 1e-3
    for ids in ((), ("ghost",)):
        with pytest.raises(InputError):
            plan_choice.adopted(survey, ids, terms)


def test_an_action_of_the_agreed_plan_stays_on_the_list(survey):
    with pytest.raises(InputError, match="agreed"):
        plan_choice.without_action(survey, survey.visits[1].done_action_ids[0])


def test_a_price_is_kept_and_an_impossible_one_refused(survey):
    name = survey.actions[0].id
    priced = plan_choice.with_cost(survey, name, "New name", 10.0, 25.0)
    assert (priced.actions[0].cost.low, priced.actions[0].cost.high, priced.actions[0].name) == (10.0, 25.0, "New name")
    with pytest.raises(InputError):
        plan_choice.with_cost(survey, name, "x", 30.0, 20.0)


def widths(survey):
    """Place, and widths of the intervals of change and of level [dB]."""
    first, second = (visit.id for visit in survey.visits)
    for row in before_after.changes(survey, first, second):
        low, _, high = row.change_db
        if math.isfinite(low + high):
            yield row.place, high - low, 10.0 * math.log10(row.before_w_m2[2] / max(row.before_w_m2[0], 1e-12))


@pytest.mark.published("JCGM 100:2008, 5.2: errors that two inputs share cancel in their ratio")
def test_the_change_is_known_better_than_either_level_where_the_mix_stays(survey):
    """The router stays on and stays the loudest by the sofa and the table."""
    found = [(change, level) for place, change, level in widths(survey) if place in ("Sofa", "Dining table")]
    assert len(found) == 6
    assert all(change < level for change, level in found)


@pytest.mark.published("JCGM 100:2008, 5.1.2: independent errors add in quadrature, and no more than that")
def test_where_another_band_is_left_its_error_is_counted_too(survey):
    found = list(widths(survey))
    assert all(change < math.sqrt(2.0) * level for _, change, level in found)
    by_place = {place: change for place, change, _ in found}
    assert by_place["Child's cot"] > by_place["Sofa"]


def test_a_visit_compared_with_itself_is_refused(survey):
    first = survey.visits[0].id
    with pytest.raises(InputError, match="cannot be compared with itself"):
        before_after.changes(survey, first, first)


def test_what_was_done_is_compared_with_its_prediction(survey):
    """A source taken away changes the mix of frequencies: what does not cancel is counted in."""
    first, second = (visit.id for visit in survey.visits)
    found = before_after.verification_of(survey, first, second)
    assert found.done_action_ids == survey.visits[1].done_action_ids
    agreements = {check.agreement.value for check in found.checks}
    assert agreements <= {"as_predicted", "less_than_predicted", "more_than_predicted"}
    assert next(c for c in found.checks if c.place_id == "desk").low_db > 0.0
