"""The joint posterior: physics it must agree with, recovery, coverage by simulation, states, bounds, refusals."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.linalg import solve_triangular

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.field import misfit as misfit_module
from roomfield.field.contributions import contributions
from roomfield.field.diagnostics import FindingKind, diagnostics
from roomfield.field.forward import Blocks, mixture_gain_db, power_sum
from roomfield.field.inference import build_forward, infer, unknown_groups
from roomfield.field.locate import Whereabouts, locate
from roomfield.field.observation_arrays import observe
from roomfield.field.path_gains import Radiators, materials_of, unit_db
from roomfield.field.posterior import levels_at
from roomfield.field.priors import emitter_prior
from roomfield.field.sampling import ChainLength, draw, scan_scales
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.remedy.prediction import predict
from roomfield.survey import (
    Action,
    ActionKind,
    Bearing,
    Censoring,
    Dwelling,
    FittedShield,
    Meter,
    RadioState,
    ShieldSheet,
    Standing,
)

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)
PEAK, AVERAGE = surveys.PEAK, surveys.AVERAGE

POINTS = [(1.0, 4.5, 1.0), (2.5, 1.5, 1.0), (6.0, 1.5, 1.2), (5.0, 4.5, 0.8), (7.0, 5.0, 1.0), (3.2, 3.8, 1.4)]
OTHERS = np.array([(2.0, 5.0, 1.0), (6.5, 2.5, 1.0), (4.8, 1.2, 1.0)])
SURE = Meter("m", "sure", tolerance_db=0.1, repeatability_db=0.1, floor_w_m2=1e-8, overload_w_m2=2.5)
ROUTER = surveys.emitter("router", (0.6, 0.6, 1.0), eirp_w=0.1, eirp_std_db=6.0, duty=0.1)
PHONE = surveys.emitter("phone", (7.4, 5.4, 1.0), frequency_hz=1.89e9, technology="dect", eirp_w=0.25, duty=0.04)


def true_levels(emitters, powers_db, points, dwelling):
    """Local means with everything on, by emitter [dB re 1 W/m²], from the propagation model."""
    scene = Scene.from_dwelling(dwelling)
    radiators = Radiators.of(tuple(emitters), np.array([e.position for e in emitters]))
    return unit_db(scene, radiators, np.asarray(points, dtype=float)) + np.asarray(powers_db)


def two_emitter_survey(powers_db=(-10.0, -6.0), **more):
    emitters = (ROUTER, PHONE)
    each = surveys.density(true_levels(emitters, powers_db, POINTS, surveys.flat()))
    spot = 10.0**0.45
    values = {
        ("all", PEAK): spot * each.sum(axis=1),
        ("off:router", PEAK): spot * each[:, 1],
        ("off:phone", PEAK): spot * each[:, 0],
        ("all", AVERAGE): 0.8 * each @ np.array([0.1, 0.04]),
    }
    return surveys.survey(emitters, POINTS, values, dwelling=surveys.flat(), **more)


@pytest.fixture(scope="module")
def posterior():
    return infer(two_emitter_survey(), seed=1, draws=300)


@pytest.mark.published("ITU-R P.525-4, equation 1: free-space power density S = P / (4 pi d²)")
def test_a_known_power_at_one_metre_gives_the_free_space_level() -> None:
    """Power known to 0.1 dB, meter too: the average at 1 m in the open is P / (4 pi), within misfit and axis error."""
    sure = surveys.emitter("e", (0.0, 0.0, 1.0), eirp_w=0.1, eirp_std_db=0.1, duty=1.0, duty_std_db=0.01)
    expected = 0.1 / (4.0 * np.pi)
    survey = surveys.survey((sure,), [(1.0, 0.0, 1.0)], {("all", AVERAGE): [0.8 * expected]}, meter=SURE)
    drawn = levels_at(infer(survey), [(1.0, 0.0, 1.0)], kind=Kind.AVERAGE)
    assert drawn.level_db.mean() == pytest.approx(10.0 * np.log10(expected), abs=1.0)


def test_powers_and_levels_of_two_emitters_are_recovered(posterior) -> None:
    truth = true_levels((ROUTER, PHONE), (-10.0, -6.0), OTHERS, surveys.flat())
    drawn = levels_at(posterior, OTHERS, kind=Kind.PEAK)
    mean = 10.0 * np.log10(np.median(drawn.by_emitter_w_m2, axis=0)).T
    off = mean - truth
    assert np.abs(off - off.mean()).max() < 2.5
    assert np.all(np.abs(posterior.eirp_db.mean(axis=0) - [-10.0, -6.0]) < 2.0 * posterior.eirp_db.std(axis=0))
    assert posterior.eirp_db.std(axis=0).max() < 5.5


def test_intervals_hold_over_surveys_drawn_from_the_prior() -> None:
    """Simulation-based calibration (Talts et al. 2018): ranks of true levels over 80 surveys are uniform."""
    rng = np.random.default_rng(17)
    survey = two_emitter_survey()
    observed, scene = observe(survey), Scene.from_dwelling(survey.dwelling)
    radiators = Radiators.of(survey.emitters, np.array([e.position for e in survey.emitters]))
    forward = build_forward(survey, observed, scene, radiators, materials_of(scene))
    ranks = []
    for trial in range(80):
        x = rng.standard_normal((1, forward.blocks.total))
        noise = replace(forward.noise, shares=forward.predict(x)[1][0])
        level = forward.predict(x)[0][0] + np.linalg.solve(
            noise.white.sparse().toarray(), rng.standard_normal(len(observed.levels))
        )
        rows = replace(observed.levels, value_db=level)
        simulated = replace(forward, observed=replace(observed, levels=rows), noise=replace(noise, rows=rows))
        scales = scan_scales(simulated)
        mode, which = scales.best, rng.choice(len(scales.modes), 40, p=scales.probability)
        white = rng.standard_normal((forward.blocks.total, 40))
        start = scales.modes[which] + solve_triangular(mode.factor.T, white).T
        drawn = draw(mode, simulated.log_posterior, start, ChainLength(3, 2), np.random.default_rng(trial))
        for function in (
            forward.eirp_db,
            forward.scale,
            forward.spot_db,
            lambda v: forward.site_levels_db(v)[:, :, 0],
            forward.gain_db,
        ):
            ranks.append((function(drawn.x) < function(x)).mean(axis=0))
    flat_ranks = np.concatenate(ranks)
    assert np.mean((flat_ranks > 0.05) & (flat_ranks < 0.95)) == pytest.approx(0.9, abs=0.06)
    assert np.mean(flat_ranks) == pytest.approx(0.5, abs=0.08)


def test_compiled_sums_equal_numpy_and_their_gradient_the_differences(posterior) -> None:
    forward = replace(posterior.forward, scan_gain_db=0.0 * posterior.forward.scan_gain_db)
    x = posterior.x[:2]
    value, gradient = forward.log_posterior(x)
    np.testing.assert_allclose(value, forward.log_likelihood(x) - 0.5 * np.sum(x**2, axis=1), rtol=1e-12)
    step = 1e-5
    for i in range(0, x.shape[1], 3):
        move = np.zeros(x.shape[1])
        move[i] = step
        numeric = (forward.log_posterior(x + move)[0] - forward.log_posterior(x - move)[0]) / (2 * step)
        np.testing.assert_allclose(gradient[:, i], numeric, atol=1e-5)


@pytest.mark.calculated("Gauss-Newton precision from derivatives by differences")
@pytest.mark.parametrize("most", [1000, 4])
def test_gradient_and_precision_are_those_of_the_derivatives(posterior, monkeypatch, most) -> None:
    """With every site carrying itself, and with few that carry the misfit of all."""
    monkeypatch.setattr(misfit_module, "MOST_UNKNOWNS", most)
    monkeypatch.setattr(misfit_module, "CARRIED_UNKNOWNS", most)
    monkeypatch.setattr(misfit_module, "LEAST_CARRIERS", 2)
    survey, scene = posterior.survey, posterior.scene
    built = build_forward(survey, observe(survey), scene, posterior.radiators, posterior.materials)
    forward = replace(built, scan_gain_db=0.0 * built.scan_gain_db)
    assert (forward.noise.rest_db2 is None) == (most == 1000)
    x = np.random.default_rng(1).standard_normal(forward.blocks.total)
    gradient, precision = forward.quadratic(x, slice(0, 0))
    np.testing.assert_allclose(gradient, forward.log_posterior(x[None])[1][0], atol=1e-8)
    moves = 1e-5 * np.eye(len(x))
    table = (forward.predict(x + moves)[0] - forward.predict(x - moves)[0]).T / 2e-5
    white = forward.noise.white @ table[forward.noise.values]
    assert not len(forward.noise.bounds)
    np.testing.assert_allclose(precision, white.T @ white + np.eye(len(x)), atol=1e-4)


def test_switching_off_removes_an_emitter(posterior) -> None:
    on = levels_at(posterior, OTHERS, kind=Kind.PEAK)
    off = levels_at(posterior, OTHERS, kind=Kind.PEAK, state="off:router")
    own = levels_at(posterior, OTHERS, kind=Kind.PEAK, state=RadioState("mine", "", ("router",)))
    assert np.all(off.by_emitter_w_m2[:, 0] < 1e-30)
    np.testing.assert_allclose(off.by_emitter_w_m2[:, 1], on.by_emitter_w_m2[:, 1])
    np.testing.assert_array_equal(off.density_w_m2, own.density_w_m2)
    assert np.median(off.level_db) < np.median(on.level_db)


def test_average_is_weighted_with_the_duty_and_peak_is_not(posterior) -> None:
    peak = levels_at(posterior, OTHERS, kind=Kind.PEAK)
    average = levels_at(posterior, OTHERS, kind=Kind.AVERAGE)
    ratio = 10.0 * np.log10(average.by_emitter_w_m2 / peak.by_emitter_w_m2)
    np.testing.assert_allclose(ratio[:, :, 0], posterior.duty_db, atol=1e-9)
    assert np.all(posterior.duty_db <= 0.0)
    assert np.all(average.density_w_m2 < peak.density_w_m2)


def test_a_common_gain_error_is_shared_and_cancels_between_two_points(posterior) -> None:
    level = levels_at(posterior, np.vstack([POINTS[:1], OTHERS[:1]]), kind=Kind.PEAK).level_db
    assert np.std(level[:, 0] - level[:, 1]) < 0.8 * np.hypot(*level.std(axis=0))  # independent ones would give 1.0
    assert np.corrcoef(level.T)[0, 1] > 0.4


def test_a_better_meter_gives_narrower_levels(posterior) -> None:
    good = infer(
        two_emitter_survey(
            meter=Meter("m", "good", tolerance_db=1.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)
        ),
        seed=1,
        draws=300,
    )
    wide, narrow = (levels_at(p, OTHERS, kind=Kind.PEAK).level_db.std(axis=0).mean() for p in (posterior, good))
    assert narrow < 0.85 * wide


def test_readings_under_the_floor_bound_the_level_from_above() -> None:
    values = {("all", PEAK): [1e-8] * 4}
    weak = surveys.emitter("e", (4.0, 3.0, 1.0), eirp_w=1e-5, eirp_std_db=20.0)
    survey = surveys.survey((weak,), POINTS[:4], values, censor=[Censoring.BELOW] * 4)
    found = infer(survey)
    level = levels_at(found, POINTS[:4], kind=Kind.PEAK).density_w_m2
    assert np.mean(level < 3e-8 * 10**0.6) > 0.8
    assert found.eirp_db.mean() < emitter_prior(weak).eirp_db
    assert FindingKind.ONLY_BOUNDS in {f.kind for f in diagnostics(found)}


def test_readings_in_overload_bound_it_from_below() -> None:
    strong = surveys.emitter("e", (4.0, 3.0, 1.0), eirp_w=1.0, eirp_std_db=15.0)
    survey = surveys.survey((strong,), POINTS[:3], {("all", PEAK): [2.5] * 3}, censor=[Censoring.ABOVE] * 3)
    assert infer(survey).eirp_db.mean() > 8.0


def test_an_emitter_of_unknown_position_is_found_indoors() -> None:
    """Noise-free readings of the model's own propagation; the emitter must be found within 1 m."""
    hidden = replace(PHONE, position=None)
    shown = two_emitter_survey()
    survey = replace(shown, emitters=(ROUTER, hidden))
    found = locate(infer(survey, draws=60), "phone")
    assert found.whereabouts is Whereabouts.REGION
    assert np.hypot(found.centre[0] - 7.4, found.centre[1] - 5.4) < 1.0
    assert found.polygons
    assert locate(infer(shown, draws=20), "phone").whereabouts is Whereabouts.RECORDED


def test_the_direction_of_a_mast_is_found_from_bearings_and_levels() -> None:
    truth = 140.0
    angle = np.deg2rad(truth)
    mast = surveys.emitter("mast", (4.0 + 200 * np.sin(angle), 3.0 + 200 * np.cos(angle), 11.0), outdoor=True,
                           switchable=False, frequency_hz=1.8e9, eirp_w=500.0, technology="lte_fdd")  # fmt: skip
    each = surveys.density(true_levels((mast,), (27.0,), POINTS, surveys.flat()))[:, 0]
    rng = np.random.default_rng(0)
    bearings = [
        Bearing(
            f"b{i}",
            "v",
            "m",
            "all",
            p,
            float((truth + rng.normal(0, 12)) % 180),
            float((truth + 90 + rng.normal(0, 12)) % 180),
        )
        for i, p in enumerate(POINTS)
    ]
    hidden = replace(mast, position=None, eirp_w=None)
    survey = surveys.survey((hidden,), POINTS, {("all", PEAK): 2.5 * each}, dwelling=surveys.flat(), bearings=bearings)
    found = locate(infer(survey, draws=60), "mast")
    assert found.whereabouts is Whereabouts.DIRECTION
    assert abs((found.bearing_deg - truth + 180.0) % 360.0 - 180.0) < 15.0
    span = (found.bearing_high_deg - found.bearing_low_deg) % 360.0
    assert 5.0 < span < 120.0


def test_the_same_seed_gives_the_same_draws() -> None:
    survey = two_emitter_survey()
    first, second, other = (
        infer(survey, seed=5, draws=20),
        infer(survey, seed=5, draws=20),
        infer(survey, seed=6, draws=20),
    )
    np.testing.assert_array_equal(first.x, second.x)
    assert np.any(first.x != other.x)
    levels = [levels_at(p, OTHERS, kind=Kind.PEAK).density_w_m2 for p in (first, second)]
    np.testing.assert_array_equal(*levels)


def test_a_shield_on_every_wall_lowers_what_comes_from_outside() -> None:
    mast = surveys.emitter("mast", (4.0, -100.0, 8.0), outdoor=True, frequency_hz=1.8e9, eirp_w=500.0, switchable=False)
    each = surveys.density(true_levels((mast,), (27.0,), POINTS, surveys.flat()))[:, 0]
    found = infer(surveys.survey((mast,), POINTS, {("all", PEAK): 2.5 * each}, dwelling=surveys.flat()), draws=100)
    sheet = FittedShield(ShieldSheet("sheet", ((1e9, 40.0), (4e9, 40.0))))
    scene = found.scene.with_shields([(s, sheet) for s in ("south", "east", "north", "west", "ceiling", "floor")])
    before = levels_at(found, OTHERS, kind=Kind.PEAK)
    after = levels_at(found, OTHERS, kind=Kind.PEAK, scene=scene)
    drop = after.level_db - before.level_db
    assert np.median(drop) < -20.0
    assert drop.std(axis=0).max() < before.level_db.std(axis=0).max()
    same = levels_at(found, OTHERS, kind=Kind.PEAK, scene=found.scene)
    np.testing.assert_array_equal(same.density_w_m2, before.density_w_m2)


def test_a_moved_emitter_takes_its_level_along(posterior) -> None:
    moved = levels_at(posterior, [(7.0, 0.8, 1.0)], kind=Kind.PEAK, emitter_positions={"router": (6.6, 0.6, 1.0)})
    stayed = levels_at(posterior, [(7.0, 0.8, 1.0)], kind=Kind.PEAK)
    assert np.median(moved.level_db) > np.median(stayed.level_db) + 8.0
    with pytest.raises(UnknownNameError, match="emitter"):
        levels_at(posterior, OTHERS, kind=Kind.PEAK, emitter_positions={"none": (0, 0, 0)})


def test_the_largest_contributor_is_named(posterior) -> None:
    near_phone = contributions(posterior, (7.0, 5.0, 1.0))
    near_router = contributions(posterior, (1.0, 1.0, 1.0))
    assert near_phone[0].name == "phone" and near_phone[0].probability_largest > 0.8
    assert near_router[0].name == "router" and near_router[0].emitter_ids == ("router",)
    for shares in (near_phone, near_router):
        assert sum(s.probability_largest for s in shares) == pytest.approx(1.0)
        assert all(0.0 <= s.share.low <= s.share.median <= s.share.high <= 1.0 for s in shares)


def test_bands_on_one_switch_at_one_place_are_called_inseparable() -> None:
    second = surveys.emitter("router_5", (0.66, 0.6, 1.0), frequency_hz=5.5e9, switch_group="router", eirp_w=0.1)
    survey = two_emitter_survey()
    found = infer(replace(survey, emitters=(*survey.emitters, second)), draws=60)
    twins = [f.subjects for f in diagnostics(found) if f.kind is FindingKind.TWINS]
    assert ("router", "router_5") in twins
    assert ("router", "phone") not in twins


def test_a_wild_reading_and_missing_switching_are_reported() -> None:
    survey = two_emitter_survey()
    wild = replace(survey.readings[0], value_w_m2=survey.readings[0].value_w_m2 * 1e4)
    found = infer(replace(survey, readings=(wild, *survey.readings[1:])), draws=60)
    named = [f.subjects for f in diagnostics(found) if f.kind in (FindingKind.OUTLIER, FindingKind.STRANGE_SITE)]
    assert any(wild.id in subjects for subjects in named)
    sound = {f.kind for f in diagnostics(infer(survey, draws=60))}
    assert not sound & {FindingKind.OUTLIER, FindingKind.STRANGE_SITE}
    only_all = replace(survey, readings=tuple(r for r in survey.readings if r.radio_state_id == "all"))
    kinds = {f.kind for f in diagnostics(infer(only_all, draws=60))}
    assert FindingKind.NO_SWITCHING in kinds


def test_one_source_and_five_readings_without_walls_are_enough() -> None:
    survey = surveys.survey((surveys.emitter("e"),), POINTS[:5], {("all", PEAK): [1e-4, 2e-3, 3e-5, 5e-5, 2e-5]})
    drawn = levels_at(infer(survey), OTHERS, kind=Kind.PEAK)
    assert np.all((drawn.level_db.std(axis=0) > 1.0) & (drawn.level_db.std(axis=0) < 12.0))
    assert drawn.quantile_w_m2(0.95).shape == (3,)


def test_a_place_without_position_informs_nothing() -> None:
    """Whatever was read there, shares and powers elsewhere stay as they are to the last digit."""
    survey = two_emitter_survey()
    places = (replace(survey.places[0], position=None), *survey.places[1:])
    wild = tuple(replace(r, value_w_m2=1e3 * r.value_w_m2) if r.place_id == "p0" else r for r in survey.readings)
    without = replace(survey, places=places, readings=tuple(r for r in survey.readings if r.place_id != "p0"))
    found, bare = (infer(s, draws=40) for s in (replace(survey, places=places, readings=wild), without))
    np.testing.assert_array_equal(found.x, bare.x)
    assert found.forward.observed.unplaced == ("p0",)
    assert FindingKind.UNPLACED in {f.kind for f in diagnostics(found)}
    with pytest.raises(TooEarlyError, match="no reading"):
        infer(replace(survey, places=tuple(replace(p, position=None) for p in survey.places)))


def test_what_no_meter_receives_plays_no_part() -> None:
    """A 98 MHz mast beside a meter that begins at 400 MHz has no share, whatever its power."""
    survey = two_emitter_survey(meter=Meter("m", "m", tolerance_db=6.0, band_low_hz=4e8, band_high_hz=6e9))
    mast = surveys.emitter("fm", (30.0, 30.0, 20.0), frequency_hz=98e6, outdoor=True, eirp_w=1e4, switchable=False)
    found = infer(replace(survey, emitters=(*survey.emitters, mast)), draws=40)
    assert found.emitter_ids == ("router", "phone")
    np.testing.assert_array_equal(found.x, infer(survey, draws=40).x)
    assert [e.id for e in found.outside_band] == ["fm"]
    assert FindingKind.OUTSIDE_BAND in {f.kind for f in diagnostics(found)}
    off = Action("fm-off", "fm off", ActionKind.SWITCH_OFF, ("fm",))
    predicted = predict(found, [off]).outcomes
    assert all(o.after_w_m2 == o.before_w_m2 for o in predicted)
    with pytest.raises(TooEarlyError, match="within the band"):
        infer(replace(survey, emitters=(mast,)))


def test_two_meters_at_one_place_are_of_one_site_and_weigh_each_other() -> None:
    """The second meter shows 6 dB more everywhere; each alone would be believed, together they meet in the middle."""
    survey = two_emitter_survey()
    second = replace(survey.meters[0], id="m2", name="second")
    more = tuple(
        replace(r, id=f"{r.id}-2", meter_id="m2", value_w_m2=4.0 * r.value_w_m2, position=(x + 0.05, y, z))
        for r in survey.readings
        for x, y, z in [POINTS[int(r.place_id[1:])]]
    )
    both = infer(replace(survey, meters=(*survey.meters, second), readings=(*survey.readings, *more)), draws=200)
    assert len(both.forward.observed.sites) == len(POINTS)
    gain = both.gain_db.mean(axis=0)
    first, other = gain[both.forward.gain_index[0]], gain[both.forward.gain_index[1]]
    np.testing.assert_allclose(other - first, 6.0, atol=1.5)
    assert both.eirp_db.std(axis=0).max() < infer(survey, draws=200).eirp_db.std(axis=0).max() + 0.2


def test_questions_asked_too_early_or_wrongly_are_refused(posterior) -> None:
    survey = two_emitter_survey()
    with pytest.raises(TooEarlyError, match="no reading"):
        infer(replace(survey, readings=()))
    with pytest.raises(TooEarlyError, match="no emitter"):
        infer(replace(survey, emitters=()))
    with pytest.raises(UnknownNameError, match="radio state"):
        levels_at(posterior, OTHERS, kind=Kind.PEAK, state="asleep")
    with pytest.raises(InputError, match="not a number"):
        levels_at(posterior, [(np.nan, 0.0, 0.0)], kind=Kind.PEAK)
    with pytest.raises(UnknownNameError, match="emitter"):
        locate(posterior, "nobody")
    with pytest.raises(TooEarlyError, match="no position"):
        contributions(posterior, replace(survey.places[0], position=None))


def test_sums_and_gain_of_a_scan_in_simple_cases() -> None:
    total, shares = power_sum(np.array([[-10.0, -10.0], [-20.0, -400.0]]))
    np.testing.assert_allclose(total, [-10.0 + 10 * np.log10(2.0), -20.0], atol=1e-9)
    np.testing.assert_allclose(shares, [[0.5, 0.5], [1.0, 0.0]], atol=1e-12)
    assert mixture_gain_db(np.array([5.0, 5.0]), np.array([1.0, 0.0])) == pytest.approx(5.0)
    blocks = Blocks((("a", 2), ("b", 3)))
    assert (blocks["b"].start, blocks["b"].stop, blocks.total) == (2, 5, 5)


@pytest.mark.published("Order statistics: largest of M sums of n exponential values, by scipy.stats.gamma")
@pytest.mark.parametrize("count", [2, 3, 4])
@pytest.mark.parametrize("cells", [12, 30])
def test_gain_of_a_scan_over_equal_emitters_is_that_of_sums_of_exponentials(count, cells) -> None:
    single, mixed = (10.0 * np.log10(stats.gamma(n, scale=1.0 / n).ppf(0.5 ** (1.0 / cells))) for n in (1, count))
    assert mixture_gain_db(np.full(count, single), np.full(count, 1.0 / count)) == pytest.approx(mixed, abs=0.15)


def test_priors_follow_the_record_then_the_catalogue() -> None:
    stated = emitter_prior(surveys.emitter("e", eirp_w=0.1, eirp_std_db=2.0, duty=0.5, duty_std_db=1.0))
    assert stated.eirp_db == pytest.approx(-10.0)
    assert (stated.eirp_std_db, stated.duty_std_db) == (2.0, 1.0)
    assert stated.duty_db == pytest.approx(10 * np.log10(0.5))
    base = emitter_prior(surveys.emitter("e", technology="dect", frequency_hz=1.89e9))
    assert base.eirp_db == pytest.approx(-10.0, abs=4.1)
    far = emitter_prior(surveys.emitter("e", None, outdoor=True, frequency_hz=1.8e9, technology="lte_fdd"))
    near = emitter_prior(surveys.emitter("e", (1, 1, 1), outdoor=True, frequency_hz=1.8e9, technology="lte_fdd"))
    assert far.eirp_std_db > near.eirp_std_db
    inside, beyond = (surveys.emitter("e", outdoor=out, technology="wlan_router") for out in (False, True))
    assert emitter_prior(beyond) == emitter_prior(inside)
    maybe = emitter_prior(surveys.emitter("e", standing=Standing.SUSPECTED))
    assert maybe.eirp_std_db > emitter_prior(surveys.emitter("e")).eirp_std_db
    assert emitter_prior(surveys.emitter("e", technology="", frequency_hz=None)).eirp_std_db > 10.0


def test_unknown_emitters_on_one_switch_are_sought_together() -> None:
    emitters = (
        surveys.emitter("a", None, switch_group="g"), ROUTER, surveys.emitter("b", None, switch_group="g"),
        surveys.emitter("c", None), surveys.emitter("d", None, bearing_deg=30.0, outdoor=True),
    )  # fmt: skip
    assert unknown_groups(emitters) == [[0, 2], [3]]


def test_an_emitter_known_by_bearing_only_is_put_far_that_way() -> None:
    mast = surveys.emitter("mast", None, bearing_deg=90.0, outdoor=True, switchable=False)
    found = infer(surveys.survey((mast,), POINTS[:3], {("all", PEAK): [1e-5] * 3}, dwelling=Dwelling()), draws=20)
    east = found.radiators.positions[0] - found.forward.observed.sites.mean(axis=0)
    assert east[0] == pytest.approx(200.0)
    assert abs(east[1]) < 1e-9
    assert locate(found, "mast").bearing_deg == 90.0


def test_normal_draws_of_a_normal_posterior_have_its_moments() -> None:
    """Without readings that matter the draws are the prior: mean 0, standard deviation 1 (Kolmogorov-Smirnov)."""
    survey = surveys.survey(
        (surveys.emitter("e", eirp_w=1e-9),), POINTS[:1], {("all", PEAK): [1.0]}, censor=[Censoring.BELOW]
    )
    found = infer(survey, draws=400)
    column = found.x[-100:, found.forward.blocks["gain"]][:, 0]
    assert stats.kstest(column, "norm").pvalue > 1e-3
