from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.remedy.prediction import predict
from roomfield.remedy.verification import Agreement, VerifiedOutcome, verify
from roomfield.survey import Censoring, HeardTechnology, Recording, ReferenceCheck
from roomfield.survey.action import Action, ActionKind, SurfaceRef
from roomfield.survey.dwelling import FittedShield, ShieldSheet

MESH = ShieldSheet("mesh", ((0.8e9, 42.0), (6e9, 38.0)), "IEEE 299")


def db(x):
    return 10.0 * np.log10(np.asarray(x))


def two_visits(home, after, *, rng=None, gain=(0.0, 0.0, 0.0), before=None, **more):
    rng = rng or np.random.default_rng(3)
    before = home.true_levels() if before is None else before
    first = home.readings(before, "v1", rng=rng, gain_db=gain, vary_db=0.7)
    second = home.readings(after, "v2", rng=rng, gain_db=gain, vary_db=0.7)
    return home.survey(first, second=second, **more)


@pytest.mark.calculated("Simulation with the meter's gain drawn within its tolerance and shared by both visits")
def test_interval_of_the_reduction_holds_and_the_shared_error_cancels(home, posterior):
    everything = Action("low", "low", ActionKind.REDUCE_POWER, ("router", "base", "mast"), reduction_db=10.0)
    planned = predict(posterior, [everything])
    rng = np.random.default_rng(11)
    before = home.true_levels()
    inside, widths = [], []
    for _ in range(60):
        weaker = 10 ** (-rng.uniform(0.0, 20.0) / 10)
        gain = np.full(3, rng.uniform(-6.0, 6.0))
        found = verify(two_visits(home, before * weaker, rng=rng, gain=gain), "v1", "v2", prediction=planned)
        for check in found.checks:
            inside.append(check.low_db <= -db(weaker) <= check.high_db)
            widths.append(check.high_db - check.low_db)
    assert 0.92 <= np.mean(inside) < 1.0
    lone = found.checks[0].before.interval(0.95)
    assert np.median(widths) < 1.5 * db(lone.high_w_m2 / lone.low_w_m2)


@pytest.mark.calculated("Simulation with a gain of its own in every band, silenced sources changing the mix")
def test_interval_holds_when_the_mix_of_frequencies_changes(home, posterior):
    rng = np.random.default_rng(12)
    before = home.true_levels()
    after = before * [0.0, 0.0, 1.0]
    planned = predict(posterior, [Action("off", "off", ActionKind.SWITCH_OFF, ("router", "base"))])
    inside = []
    for _ in range(60):
        gain = rng.uniform(-6.0, 6.0, 2)[[0, 1, 1]]  # the base and the mast are in one third of an octave
        found = verify(two_visits(home, after, rng=rng, gain=gain), "v1", "v2", prediction=planned)
        for k, check in enumerate(found.checks):
            inside.append(check.low_db <= db(before[k].sum() / after[k].sum()) <= check.high_db)
    assert np.mean(inside) >= 0.87


@pytest.mark.calculated("Simulation: nothing was changed, or the level ended just over the target")
def test_it_worked_is_seldom_said_falsely(home):
    rng = np.random.default_rng(13)
    before = home.true_levels()
    unchanged, over = [], []
    for _ in range(60):
        gain = np.full(3, rng.uniform(-6.0, 6.0))
        idle = verify(two_visits(home, before, rng=rng, gain=gain), "v1", "v2")
        unchanged.extend(c.outcome is VerifiedOutcome.WORKED for c in idle.checks)
        after = before * 0.1
        survey = two_visits(home, after, rng=rng, gain=gain)
        for k, check in enumerate(verify(survey, "v1", "v2").checks):
            target = float(after[k].sum()) / 1.05
            held = verify(survey, "v1", "v2", target_w_m2=target).checks[k]
            assert held.reduction_db == check.reduction_db
            over.append(held.outcome is VerifiedOutcome.WORKED)
    assert np.mean(unchanged) < 0.05
    assert np.mean(over) < 0.05


def test_a_good_shield_worked_as_predicted(home, posterior):
    shield = Action("s", "s", ActionKind.SHIELD_SURFACE, surfaces=(SurfaceRef("south"),), sheet=MESH)
    off = Action("off", "off", ActionKind.SWITCH_OFF, ("router", "base"))
    planned = predict(posterior, [shield, off])
    after = home.true_levels(shields=[("south", FittedShield(MESH))]) * [0.0, 0.0, 1.0]
    found = verify(two_visits(home, after), "v1", "v2", target_w_m2=0.05, prediction=planned)
    assert found.worked
    assert {c.agreement for c in found.checks} == {Agreement.AS_PREDICTED}
    assert found.conditions == ()
    assert found.causes == ()
    assert "worked at all 4" in found.statement
    assert json.loads(json.dumps(found.to_dict()))["checks"][0]["outcome"] == "worked"


def test_a_leaking_shield_falls_short_and_a_cause_is_named(home, posterior):
    shield = Action("s", "s", ActionKind.SHIELD_SURFACE, surfaces=(SurfaceRef("south"),), sheet=MESH)
    off = Action("off", "off", ActionKind.SWITCH_OFF, ("router", "base"))
    planned = predict(posterior, [shield, off])
    after = home.true_levels() * [0.0, 0.0, 0.8]
    found = verify(two_visits(home, after), "v1", "v2", target_w_m2=1e-6, prediction=planned)
    assert Agreement.LESS in {c.agreement for c in found.checks}
    assert not found.worked
    assert any("joints" in c for c in found.causes)


def test_a_new_source_is_a_surprise(home):
    survey = two_visits(home, home.true_levels() * 30.0)
    recordings = tuple(
        Recording(f"r{v}", v, "m", "on", "0" * 64, heard=tuple(HeardTechnology(t, 0.95) for t in heard))
        for v, heard in (("v1", ["dect"]), ("v2", ["dect", "wifi"]))
    )
    found = verify(replace(survey, recordings=recordings), "v1", "v2")
    assert {c.outcome for c in found.checks} == {VerifiedOutcome.HIGHER}
    assert "A source not heard before: wifi." in found.surprises
    assert any("higher than before" in s for s in found.surprises)
    assert any("All places fall short alike" in c for c in found.causes)


def test_unequal_conditions_are_named_and_widen(home):
    equal = verify(two_visits(home, home.true_levels() * 0.1), "v1", "v2")
    late = verify(two_visits(home, home.true_levels() * 0.1, again="2026-03-15T22:00:00+00:00"), "v1", "v2")
    assert {c.name for c in late.conditions} == {"time_of_day", "day_of_week"}
    for a, b in zip(equal.checks, late.checks, strict=True):
        assert b.high_db - b.low_db > a.high_db - a.low_db + 0.5
        assert b.reduction_db == pytest.approx(a.reduction_db)


def test_another_meter_keeps_both_gain_errors(home):
    survey = two_visits(home, home.true_levels() * 0.1)
    other = tuple(replace(r, meter_id="n") if r.visit_id == "v2" else r for r in survey.readings)
    survey = replace(survey, readings=other, meters=(*survey.meters, replace(home.METER, id="n", name="other")))
    found = verify(survey, "v1", "v2")
    assert [c.name for c in found.conditions] == ["another_meter"]
    same = verify(two_visits(home, home.true_levels() * 0.1), "v1", "v2").checks[0]
    assert found.checks[0].high_db - found.checks[0].low_db > 1.3 * (same.high_db - same.low_db)


def test_a_drifting_meter_and_another_way_of_reading_are_named(home):
    survey = two_visits(home, home.true_levels() * 0.1)
    checks = tuple(ReferenceCheck(f"2026-0{1 + i // 4}-0{1 + i % 4}", "source", 0.4 * i) for i in range(10))
    readings = tuple(replace(r, scan_edge_m=1.0) if r.visit_id == "v2" else r for r in survey.readings)
    survey = replace(survey, meters=(replace(home.METER, checks=checks),), readings=readings)
    assert {c.name for c in verify(survey, "v1", "v2").conditions} == {"meter_drift", "scanned_volume"}


def test_readings_under_the_floor_make_a_lower_bound_of_the_reduction(home):
    survey = two_visits(home, home.true_levels() * 1e-3)
    readings = tuple(
        replace(r, value_w_m2=1e-8, censoring=Censoring.BELOW) if r.visit_id == "v2" else r for r in survey.readings
    )
    found = verify(replace(survey, readings=readings), "v1", "v2", target_w_m2=1.0)
    for check in found.checks:
        assert check.high_db == float("inf")
        assert check.low_db > 20.0
        assert check.outcome is VerifiedOutcome.WORKED


def test_wrong_questions(home):
    survey = two_visits(home, home.true_levels())
    with pytest.raises(InputError, match="itself"):
        verify(survey, "v1", "v1")
    with pytest.raises(UnknownNameError, match="v9"):
        verify(survey, "v1", "v9")
    with pytest.raises(TooEarlyError, match="average"):
        verify(survey, "v1", "v2", kind=Kind.AVERAGE)
