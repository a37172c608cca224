"""A plan never pays for an action that another one makes idle; what is not priced is not free; names for people."""

from __future__ import annotations

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.errors import InputError
from roomfield.remedy.branch_and_bound import clash
from roomfield.survey import Action, ActionKind, CostRange
from roomfield.workbench.plan.exclusions import with_exclusions
from roomfield.workbench.plan.hypothetical_changes import Screen, screen_action
from roomfield.workbench.plan.plan_choice import PlanTerms, adopted

OFF = Action("off", "Router off", ActionKind.SWITCH_OFF, ("router_24", "router_5"))
MOVED = Action("moved", "Router moved", ActionKind.RELOCATE_EMITTER, ("router_24",), position=(1.0, 1.0, 1.0))
WEAKER = Action("weaker", "Router weaker", ActionKind.REDUCE_POWER, ("router_5",), reduction_db=6.0)
PHONE = Action("phone", "Corded", ActionKind.WIRE_INSTEAD, ("cordless",))


def test_what_is_off_is_neither_moved_nor_weakened():
    off, moved, weaker, phone = with_exclusions([OFF, MOVED, WEAKER, PHONE])
    assert clash(off, moved)
    assert clash(off, weaker)
    assert not clash(moved, weaker)
    assert not clash(phone, off)


def test_such_a_plan_is_refused():
    home = demo_survey()
    from dataclasses import replace

    with pytest.raises(InputError, match="cannot be done together"):
        adopted(replace(home, actions=(OFF, MOVED)), ("off", "moved"), PlanTerms(1e-3))


def test_a_cost_that_nobody_stated_is_not_free():
    assert not OFF.cost.stated
    assert CostRange(0.0, 0.0).stated


@pytest.mark.parametrize(("language", "name"), [("en", "Shield: outer wall of"), ("de", "Schirmung: Außenwand (")])
def test_a_shield_is_named_by_its_rooms(language, name):
    from dataclasses import replace

    home = demo_survey()
    spoken = replace(home, assignment=replace(home.assignment, language=language))
    made = screen_action(Screen("u_south"), spoken)
    assert made.name.startswith(name)
    assert "u_south" not in made.name
