"""The home as a later visit finds it, from the record's list of work done."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.demo.invented_survey import FIRST, FOLLOW_UP, demo_survey
from roomfield.field.propagation import unit_density
from roomfield.field.scene import Scene
from roomfield.remedy.as_built import with_work_done
from roomfield.remedy.effects import changed_scene
from roomfield.survey import Action, ActionKind, SurfaceRef, Visit
from roomfield.workbench.model.joint_model import posterior_of


def done(*actions: Action):
    """The demo survey, with other work done before its second visit."""
    second = replace(FOLLOW_UP, done_action_ids=tuple(a.id for a in actions))
    return replace(demo_survey(), actions=actions, visits=(FIRST, second))


def gains(scene: Scene, survey) -> np.ndarray:
    known = [e for e in survey.emitters if e.position is not None]
    return unit_density(
        scene,
        [e.position for e in known],
        [e.frequency_hz for e in known],
        [e.pattern for e in known],
        [p.position for p in survey.places],
    )


def test_the_first_visit_finds_nothing_done():
    survey = demo_survey()
    assert with_work_done(survey, FIRST.id) is survey


def test_what_was_taken_out_is_no_longer_there():
    found = with_work_done(demo_survey(), FOLLOW_UP.id)
    assert {"hidden", "cordless"}.isdisjoint(e.id for e in found.emitters)
    assert {"router_24", "mast_800", "smart_meter"} <= {e.id for e in found.emitters}


@pytest.mark.parametrize(
    "action",
    [
        next(a for a in demo_survey().actions if a.id == "shield_child_south"),
        next(a for a in demo_survey().actions if a.id == "film_child_window"),
        Action("shut", "Windows boarded", ActionKind.CLOSE_OPENING, surfaces=(SurfaceRef("u_south"),)),
    ],
    ids=lambda a: a.id,
)
def test_built_work_means_the_same_in_the_record_as_in_the_prediction(action):
    survey = done(action)
    built = Scene.from_dwelling(with_work_done(survey, FOLLOW_UP.id).dwelling)
    before = Scene.from_dwelling(survey.dwelling)
    np.testing.assert_allclose(gains(built, survey), gains(changed_scene(before, action), survey), rtol=1e-9)
    assert not np.allclose(gains(built, survey), gains(before, survey), rtol=0.01)


def test_less_power_and_a_new_spot():
    weaker = Action("quiet", "q", ActionKind.REDUCE_POWER, emitter_ids=("router_24",), reduction_db=6.0)
    moved = Action("moved", "m", ActionKind.RELOCATE_EMITTER, emitter_ids=("router_24",), position=(7.0, 6.0, 0.5))
    cot = Action("cot", "c", ActionKind.MOVE_PLACE, place_id="cot", position=(5.2, 3.2, 3.2))
    found = with_work_done(done(weaker, moved, cot), FOLLOW_UP.id)
    router = next(e for e in found.emitters if e.id == "router_24")
    assert router.eirp_w == pytest.approx(0.1 / 10**0.6) and router.position == (7.0, 6.0, 0.5)
    assert found.place("cot").position == (5.2, 3.2, 3.2)


def test_work_of_an_earlier_visit_still_stands_on_a_later_one():
    third = Visit("third", "2026-06-01T09:00:00+02:00", "a", radio_states=FIRST.radio_states)
    survey = demo_survey()
    found = with_work_done(replace(survey, visits=(*survey.visits, third)), "third")
    assert "cordless" not in {e.id for e in found.emitters}
    assert next(w for w in found.dwelling.walls if w.id == "u_south").shields


def test_the_model_of_the_second_visit_has_only_what_is_left():
    assert posterior_of(demo_survey(), FOLLOW_UP.id).emitter_ids == tuple(
        e.id for e in demo_survey().emitters if e.id not in ("cordless", "hidden")
    )
