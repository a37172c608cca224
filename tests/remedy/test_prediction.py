from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.field.hand_scan import cube_points
from roomfield.field.inference import infer
from roomfield.field.propagation import unit_density
from roomfield.quantities import Kind
from roomfield.remedy.effects import changed_scene, night_share
from roomfield.remedy.evaluator import (
    COMMON_DOUBT,
    LOCAL_DOUBT_DB,
    LOCAL_DOUBT_FROM_DB,
    Evaluator,
    let_through,
)
from roomfield.remedy.order import CAUTION_KEYS, WorkStage, work_order
from roomfield.remedy.prediction import predict
from roomfield.survey.action import Action, ActionKind, CostRange, SurfaceRef
from roomfield.survey.dwelling import ShieldPart, ShieldSheet

MESH = ShieldSheet("mesh", ((0.8e9, 42.0), (6e9, 38.0)), "IEEE 299")
K = ActionKind


def shield(name, surface, part=ShieldPart.WHOLE, **more) -> Action:
    return Action(name, name, K.SHIELD_SURFACE, surfaces=(SurfaceRef(surface, part),), sheet=MESH, **more)


SHIELDS = [
    shield("masonry", "south", ShieldPart.MASONRY),
    shield("window", "south", ShieldPart.OPENINGS),
    shield("west", "west", coverage=0.95),
    shield("ceiling", "ceiling"),
]


def db(x):
    return 10.0 * np.log10(np.asarray(x))


@pytest.mark.published("Full recomputation of the changed scene by the image method (ITU-R P.2040-3)")
@pytest.mark.parametrize("chosen", [[0], [1], [0, 1], [2, 3], [0, 1, 2, 3]])
def test_products_over_groups_equal_the_changed_scene(posterior, home, chosen):
    evaluator = Evaluator(posterior, SHIELDS, kind=Kind.PEAK)
    got = let_through(evaluator.variant().groups, chosen, (len(home.PLACES), len(home.EMITTERS)))
    scene = posterior.scene
    for k in chosen:
        scene = changed_scene(scene, SHIELDS[k])
    r, points = posterior.radiators, cube_points([p.position for p in home.PLACES]).reshape(-1, 3)

    def mean(one):
        unit = unit_density(one, r.positions, r.frequencies_hz, r.patterns, points)
        return unit.reshape(len(home.PLACES), 8, -1).mean(axis=1)

    assert db(got) == pytest.approx(db(mean(scene) / mean(posterior.scene)), abs=0.25)


@pytest.mark.published("Area left open: the loss of a screen cannot exceed -10 log10 of the open share")
def test_a_torn_shield_is_capped_by_what_is_open(posterior):
    torn = [shield(s, s, coverage=0.9) for s in ("south", "east", "north", "west", "floor", "ceiling")]
    evaluator = Evaluator(posterior, torn, kind=Kind.PEAK)
    through = let_through(evaluator.variant().groups, list(range(6)), (4, 3))[:, 2]
    assert np.all(-db(through) < 10.0)


@pytest.mark.calculated("The mean of a yes or no in every draw is its probability")
@pytest.mark.parametrize("share", [0.15, 0.5, 0.85])
def test_the_chance_of_missing_is_the_share_of_draws_that_miss(posterior, share):
    evaluator = Evaluator(posterior, SHIELDS, kind=Kind.PEAK)
    names = [a.id for a in SHIELDS[:3]]
    worst = evaluator.after(names).total_w_m2.max(axis=1)
    chance = evaluator.chance_over(float(np.quantile(worst, share)), names)
    assert chance.mean() == pytest.approx(1.0 - share, abs=4.0 * np.sqrt(share * (1.0 - share) / len(worst)))
    assert 0.0 <= chance.min() < chance.max() <= 1.0
    assert not np.any(evaluator.chance_over(1e6, names)) and np.all(evaluator.chance_over(1e-30, names) == 1.0)
    silent = list(posterior.emitter_ids)
    assert not np.any(evaluator.chance_over(1e-30, names, silent=silent))


@pytest.mark.calculated("Variances of independent parts add")
def test_a_change_is_doubted_at_each_place_and_in_all_of_them(posterior):
    """Bands of one device are off together at a place; two places share only what is done badly everywhere."""
    exact = [replace(a, sheet=replace(MESH, std_db=0.0)) for a in SHIELDS[:2]]
    evaluator = Evaluator(posterior, exact, kind=Kind.AVERAGE)
    names = [a.id for a in exact]
    before, after = (db(evaluator.contributions(ids)) for ids in ([], names))
    mast = posterior.emitter_ids.index("mast")
    change = after[mast] - before[mast]
    size = np.abs(np.median(change, axis=1))
    common, local = COMMON_DOUBT * size, LOCAL_DOUBT_DB * (1.0 - np.exp(-size / LOCAL_DOUBT_FROM_DB))
    assert size.max() > 15.0
    assert change.std(axis=1) == pytest.approx(np.hypot(common, local), rel=0.15)
    a, b = np.argsort(size)[-2:]
    alike = common[a] * common[b] / np.hypot(common[a], local[a]) / np.hypot(common[b], local[b])
    assert np.corrcoef(change[a], change[b])[0, 1] == pytest.approx(alike, abs=3.0 / np.sqrt(len(posterior.x)))


@pytest.mark.calculated("Powers add; 6 dB is a factor 3.98")
def test_simple_actions(posterior):
    off = predict(posterior, [Action("a", "a", K.SWITCH_OFF, ("router", "base"))])
    assert off.mix("bed")["router"][1] == 0.0
    less = predict(posterior, [Action("a", "a", K.REDUCE_POWER, ("router", "base", "mast"), reduction_db=6.0)])
    for outcome in less.outcomes:
        assert outcome.reduction_db.median == pytest.approx(6.0, abs=0.01)
    under = Action("c", "c", K.CANOPY, place_id="bed", sheet=MESH, coverage=0.99)
    canopy = predict(posterior, [under])
    assert 15.0 < canopy.outcome("bed").reduction_db.median < 20.0
    assert canopy.outcome("desk").reduction_db.median == pytest.approx(0.0, abs=0.01)


def test_night_schedule_acts_by_night_only(posterior):
    schedule = Action("n", "n", K.NIGHT_SCHEDULE, ("router", "base"), off_hours=(21.0, 7.0))
    found = predict(posterior, [schedule], target_w_m2=1e-3)
    periods = {(o.place_id, o.period) for o in found.outcomes}
    assert periods == {("bed", "night"), ("desk", "day"), ("sofa", "day"), ("door", "night"), ("door", "day")}
    assert found.outcome("bed", "night").reduction_db.median > 1.0
    assert found.outcome("desk", "day").reduction_db.median == pytest.approx(0.0, abs=1e-3)
    assert night_share((22.0, 6.0)) == 1.0
    assert night_share((0.0, 4.0)) == pytest.approx(0.5)


def test_relocated_emitter_is_loud_where_it_stands(posterior):
    moved = predict(posterior, [Action("m", "m", K.RELOCATE_EMITTER, ("router",), position=(4.3, 2.7, 1.0))])
    assert moved.outcome("door").reduction_db.median < -3.0
    assert moved.outcome("sofa").reduction_db.median > 0.0


def test_anywhere_in_a_room_finds_a_better_corner(posterior):
    found = predict(posterior, [Action("m", "m", K.MOVE_PLACE, place_id="sofa", room_id="room")])
    assert found.outcome("sofa").reduction_db.median > 2.0


@pytest.mark.published("Untreated openings leak: common practice, no source")
def test_what_limits_is_named(posterior):
    actions = [Action("off", "off", K.SWITCH_OFF, ("router", "base")), SHIELDS[0]]
    limit = predict(posterior, actions).outcome("bed").limits[0]
    assert (limit.emitter_id, limit.entry, limit.treated) == ("mast", "window", False)
    assert limit.share > 0.8
    assert "untreated window" in predict(posterior, actions).outcome("bed").limiting
    both = predict(posterior, [*actions, SHIELDS[1]])
    assert (
        both.outcome("bed").reduction_db.median > 10.0 + predict(posterior, actions).outcome("bed").reduction_db.median
    )


@pytest.mark.published("Reflections keep a source's power inside a shield: common practice, no source")
def test_source_inside_a_shield_is_warned_of(posterior):
    whole = [shield(s, s) for s in ("south", "east", "north", "west", "floor", "ceiling")]
    found = predict(posterior, whole)
    assert any("router" in w and "raise" in w for w in found.warnings)
    assert not predict(posterior, [SHIELDS[1], Action("off", "off", K.SWITCH_OFF, ("router", "base"))]).warnings


def test_a_telephone_inside_transmits_harder(home):
    phone = replace(home.EMITTERS[0], id="phone", name="mobile phone", technology="mobile phone", eirp_w=0.1)
    survey = home.survey(home.readings(home.true_levels(), "v1"))
    survey = replace(survey, emitters=(*survey.emitters, phone))
    posterior = infer(survey, seed=2, draws=50)
    whole = [shield(s, s) for s in ("south", "east", "north", "west", "ceiling")]
    evaluator = Evaluator(posterior, whole, kind=Kind.PEAK)
    assert evaluator.steady[0].scale[3].min() > 1.0
    assert evaluator.steady[0].scale[:3].max() == 1.0
    assert any("telephone" in w for w in predict(posterior, whole).warnings)


def test_target_and_plain_values(posterior):
    found = predict(posterior, SHIELDS[:2], target_w_m2=5e-3)
    chance = [o.probability_met for o in found.outcomes]
    assert found.probability_all <= min(chance) + 1e-12
    assert found.after_draws_w_m2.shape == (200, 4)
    plain = json.loads(json.dumps(found.to_dict()))
    assert [o["place_id"] for o in plain["outcomes"]] == ["bed", "desk", "sofa", "door"]
    assert plain["work"][0]["cautions"][0]["topic"] == "Bonding of shielding"


def test_work_stands_in_order_with_quantities_and_cautions(posterior):
    actions = [SHIELDS[0], Action("move", "move", K.MOVE_PLACE, place_id="bed", position=(2.0, 3.0, 0.8)),
               Action("off", "off", K.SWITCH_OFF, ("base",), cost=CostRange(10, 20))]  # fmt: skip
    steps = work_order(posterior, actions)
    assert [s.step for s in steps] == [WorkStage.INNER_SOURCES, WorkStage.PLACES, WorkStage.OUTER_SOURCES]
    assert steps[2].area_m2 == pytest.approx(5.0 * 2.5 - 1.6 * 1.2)
    assert steps[2].edge_m == pytest.approx(15.0 + 5.6)
    assert steps[2].material_m2 > steps[2].area_m2
    texts = {c.topic for c in steps[2].cautions}
    assert {"Bonding of shielding", "Shielding can block emergency calls", "Active implants", "Materials",
            "Rented homes", "Utility meters"} <= texts  # fmt: skip
    for kind in ActionKind:
        for group, topic in CAUTION_KEYS[kind]:
            assert group and topic


@pytest.mark.parametrize(
    ("action", "error", "match"),
    [
        (Action("a", "a", K.SWITCH_OFF), InputError, "names no emitter"),
        (Action("a", "a", K.SWITCH_OFF, ("toaster",)), UnknownNameError, "toaster"),
        (Action("a", "a", K.REDUCE_POWER, ("base",)), InputError, "reduction"),
        (Action("a", "a", K.SHIELD_SURFACE, sheet=MESH), InputError, "surface"),
        (Action("a", "a", K.SHIELD_SURFACE, surfaces=(SurfaceRef("south"),)), InputError, "sheet"),
        (shield("a", "attic"), UnknownNameError, "attic"),
        (Action("a", "a", K.CANOPY, place_id="bed"), InputError, "cloth"),
        (Action("a", "a", K.CANOPY, place_id="roof", sheet=MESH), UnknownNameError, "roof"),
        (Action("a", "a", K.RELOCATE_EMITTER, ("base",), room_id="cellar"), UnknownNameError, "cellar"),
        (Action("a", "a", K.CLOSE_OPENING, surfaces=(SurfaceRef("north"),)), UnknownNameError, "north"),
    ],
)
def test_incomplete_actions_are_refused(posterior, action, error, match):
    with pytest.raises(error, match=match):
        predict(posterior, [action])


def test_places_are_needed(posterior, home):
    with pytest.raises(TooEarlyError, match="place"):
        predict(posterior, [], places=[replace(home.PLACES[0], position=None)])
    with pytest.raises(InputError, match="same id"):
        predict(posterior, [SHIELDS[0], SHIELDS[0]])


def test_closing_an_opening(posterior):
    shut = Action("shut", "shut", K.CLOSE_OPENING, surfaces=(SurfaceRef("south"),), sheet=MESH)
    evaluator = Evaluator(posterior, [shut, SHIELDS[1]], kind=Kind.PEAK)
    groups = evaluator.variant().groups
    closed, screened = let_through(groups, [0], (4, 3)), let_through(groups, [1], (4, 3))
    assert closed == pytest.approx(screened)
    assert closed[0, 2] < 0.5
    leaf = Action("leaf", "leaf", K.CLOSE_OPENING, surfaces=(SurfaceRef("middle"),))
    wood = changed_scene(posterior.scene, leaf).shapes.plates
    assert [p.layers[0].material for p in wood if p.name == "gap"] == ["wood"]
