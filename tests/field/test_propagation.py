from __future__ import annotations

import csv
import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import fresnel

from oracles.antenna_pattern import FAR_M, far_position, per_incident_density, relative_gain
from oracles.reference_paths import reference_density, reference_edges
from roomfield.errors import InputError, UnknownNameError
from roomfield.field import propagation
from roomfield.field.edge_kernels import fresnel_parts
from roomfield.field.propagation import grid_density, paths, unit_density
from roomfield.field.scene import Scene
from roomfield.field.transmission import stack_optics
from roomfield.survey.dwelling import Dwelling, FittedShield, FurnitureBox, Layer, ShieldPart, Slab, Wall
from roomfield.survey.emitter import AntennaPattern, Polarisation

_SPEC = importlib.util.spec_from_file_location("homes", Path(__file__).with_name("homes.py"))
homes = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(homes)

ISO, DIPOLE = AntennaPattern.ISOTROPIC, AntennaPattern.VERTICAL_DIPOLE
DATA = Path(__file__).parents[1] / "data" / "propagation"
EMPTY = Scene.from_dwelling(Dwelling())


@pytest.fixture(scope="module")
def home() -> Scene:
    return Scene.from_dwelling(homes.box_home())


def db(ratio):
    return 10.0 * np.log10(np.asarray(ratio))


def free_space_rows() -> list[dict[str, str]]:
    with (DATA / "p525-checks.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.published("ITU-R P.525-4 (2019), L = 20 log10(4 pi d / wavelength)")
@pytest.mark.parametrize("row", free_space_rows(), ids=lambda r: "@".join(list(r.values())[:2]))
def test_free_space(row):
    frequency_hz, distance = float(row["f_MHz"]) * 1e6, float(row["d_m"])
    density = float(unit_density(EMPTY, [[0, 0, 0]], [frequency_hz], ISO, [[distance, 0, 0]])[0, 0])
    effective_area = (299792458.0 / frequency_hz) ** 2 / (4.0 * np.pi)
    assert -db(density * effective_area) == pytest.approx(float(row["L_exact_dB"]), abs=2e-4)


def a_wall(layers, *, exterior=False) -> Wall:
    return Wall("w", "g", (-50.0, 0.0), (50.0, 0.0), -50.0, 50.0, layers, exterior)


@pytest.mark.published("ITU-R P.2040-3 (08/2023), eq. 43 and 44, vertical polarisation on a vertical wall is TE")
@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 60.0])
def test_one_wall_costs_its_slab_loss(angle_deg):
    layers = (Layer("brick", 0.115), Layer("air", 0.04), Layer("plasterboard", 0.0125))
    scene = Scene.from_dwelling(Dwelling(walls=(a_wall(layers),)))
    cosine = np.cos(np.radians(angle_deg))
    end = 2.0 * np.array([np.sin(np.radians(angle_deg)), cosine, 0.0])
    got = unit_density(scene, [-end], [2.45e9], ISO, [end], order=0)[0, 0] * 4 * np.pi * 16.0
    te, tm = stack_optics(layers, 2.45e9, cosine)
    assert db(got) == pytest.approx(db(te.transmission), abs=0.02)
    flat = unit_density(scene, [-end], [2.45e9], ISO, [end], order=0, polarisation=Polarisation.HORIZONTAL)
    assert angle_deg == 0.0 or db(flat[0, 0] * 4 * np.pi * 16.0) == pytest.approx(db(tm.transmission), abs=0.02)


@pytest.mark.calculated("Image theory over a perfect mirror: a second source at the mirrored place")
def test_metal_floor_adds_an_image():
    floor = Slab("f", 0.0, (Layer("metal", 0.01),), (((-99, -99), (99, -99), (99, 99), (-99, 99)),))
    scene = Scene.from_dwelling(Dwelling(slabs=(floor,)))
    got = unit_density(scene, [[0, 0, 1.0]], [2.45e9], DIPOLE, [[4.0, 0, 1.5]], order=1)[0, 0]
    direct, mirrored = np.array([4.0, 0, 0.5]), np.array([4.0, 0, -2.5])
    want = sum(float(relative_gain(DIPOLE, v[2] / np.linalg.norm(v))) / (4 * np.pi * v @ v) for v in (direct, mirrored))
    assert got == pytest.approx(want, rel=2e-3)


@pytest.mark.calculated("Half-wave dipole: (cos(pi/2 cos a) / sin a)², half power at 39 degrees from the horizon")
def test_dipole_pattern():
    assert relative_gain(DIPOLE, [0.0, 1.0]).tolist() == pytest.approx([1.0, 0.0], abs=1e-9)
    assert float(relative_gain(DIPOLE, np.sin(np.radians(39.0)))) == pytest.approx(0.5, abs=0.005)


@pytest.mark.published("Fresnel integrals of scipy.special; auxiliary functions as in Abramowitz and Stegun, 7.3.5-6")
def test_parts_of_the_fresnel_integrals():
    x = np.linspace(0.0, 8.0, 201)
    s, c = (0.5 - part for part in fresnel(x))
    turn = 0.5 * np.pi * x**2
    got = np.array([fresnel_parts(v) for v in x])
    assert got[:, 0] == pytest.approx(s * np.cos(turn) - c * np.sin(turn), abs=5e-4)
    assert got[:, 1] == pytest.approx(c * np.cos(turn) + s * np.sin(turn), abs=5e-4)


@pytest.mark.published("Sommerfeld's half-plane, as in Born and Wolf, Principles of Optics, 11.5 (from memory)")
def test_an_edge_along_the_field_throws_less_than_one_across_it():
    screen = Wall("w", "g", (-0.0001, 0.0), (40.0, 0.0), -400.0, 400.0, (Layer("metal", 0.01),))
    scene = Scene.from_dwelling(Dwelling(walls=(screen,)))

    def level(polarisation, inside):
        args = ([[6.0, -8.0, 0.0]], [2.45e9], ISO, [[inside, 4.0, 0.0]])
        return db(unit_density(scene, *args, order=0, polarisation=polarisation)[0, 0])

    for inside in (0.5, 4.0, 40.0):
        soft, hard, both = (
            level(p, inside) for p in (Polarisation.VERTICAL, Polarisation.HORIZONTAL, Polarisation.UNKNOWN)
        )
        assert soft < both < hard
    assert level(Polarisation.HORIZONTAL, 40.0) - level(Polarisation.VERTICAL, 40.0) > 10.0


@pytest.mark.published("J. B. Keller, Geometrical theory of diffraction, JOSA 52 (1962), eq. 4; from memory")
@pytest.mark.parametrize("polarisation", [Polarisation.VERTICAL, Polarisation.HORIZONTAL])
def test_edge_far_in_the_shadow_is_kellers_coefficient(polarisation):
    screen = Wall("w", "g", (-0.0001, 0.0), (400.0, 0.0), -400.0, 400.0, (Layer("metal", 0.01),))
    scene, k = Scene.from_dwelling(Dwelling(walls=(screen,))), 2.0 * np.pi * 2.45e9 / 299792458.0
    r_in, r_out, turn_in = 30.0, 20.0, np.radians(70.0)
    for turn_out in np.radians([280.0, 300.0, 330.0]):
        source = [r_in * np.cos(-turn_in), r_in * np.sin(-turn_in), 0.0]
        point = [r_out * np.cos(-turn_out), r_out * np.sin(-turn_out), 0.0]
        args = ([source], [2.45e9], ISO, [point])
        got = paths(scene, *args, order=0, polarisation=polarisation).by_order[0, 0, -1]
        sign = -1.0 if polarisation is Polarisation.VERTICAL else 1.0
        sum_of = 1.0 / np.cos((turn_out - turn_in) / 2.0) + sign / np.cos((turn_out + turn_in) / 2.0)
        coefficient2 = sum_of**2 / (8.0 * np.pi * k)
        want = coefficient2 / (4.0 * np.pi * r_in * r_out * (r_in + r_out))
        assert db(got) == pytest.approx(db(want), abs=0.3)


@pytest.mark.published("ITU-R P.526-15, eq. 31: single knife edge, J(v) for v > -0.78; it knows no polarisation")
@pytest.mark.parametrize("up", [0.05, 0.3, 1.0, 2.0])
def test_knife_edge(up):
    screen = Wall("w", "g", (-0.0001, 0.0), (40.0, 0.0), -400.0, 400.0, (Layer("metal", 0.01),))
    scene = Scene.from_dwelling(Dwelling(walls=(screen,)))
    wavelength, near = 299792458.0 / 2.45e9, np.array([up, 10.0, 0.0])
    far = np.array([up, -10.0, 0.0])
    edge = unit_density(scene, [far], [2.45e9], ISO, [near], order=0, polarisation=Polarisation.UNKNOWN)[0, 0]
    v = up * np.sqrt(2.0 / wavelength * (1 / 10.0 + 1 / 10.0))
    loss = 6.9 + 20 * np.log10(np.sqrt((v - 0.1) ** 2 + 1) + v - 0.1)
    assert -db(edge * 4 * np.pi * 400.0) == pytest.approx(loss, abs=0.5)


@pytest.mark.published("The same method in plain NumPy, exact in angle, Fresnel integrals from scipy.special")
@pytest.mark.parametrize(("pattern", "order"), [(ISO, 2), (DIPOLE, 1)])
def test_kernels_agree_with_the_plain_method(home, pattern, order):
    rng = np.random.default_rng(3)
    scene = home.with_shields([("south", FittedShield(homes.SHEET, ShieldPart.MASONRY, coverage=0.97))])
    sources = np.array([[1.1, 2.2, 1.0], [-6.0, -30.0, 8.0]])
    points = rng.uniform([0.4, 0.4, 0.3], [4.4, 3.0, 2.2], (4, 3))
    got = unit_density(scene, sources, [2.45e9, 0.9e9], pattern, points, order=order, diffraction=False)
    for j, (source, f) in enumerate(zip(sources, (2.45e9, 0.9e9), strict=True)):
        want = [reference_density(scene, source, f, p, pattern=pattern, order=order) for p in points]
        assert db(got[:, j]) == pytest.approx(db(want), abs=0.08)


@pytest.mark.calculated("Image theory over a perfect mirror: a second source at the mirrored place")
def test_a_metal_box_throws_back_like_a_mirror_of_its_size():
    box = FurnitureBox("safe", "safe", (1.0, -1.0, 0.0), (1.6, 1.0, 2.0), Layer("metal", 0.002))
    scene = Scene.from_dwelling(Dwelling(furniture=(box,)))
    source, beside, off = [-2.0, 0.3, 1.2], [-1.0, -0.6, 0.9], [-2.0, 6.5, 1.2]
    got = paths(scene, [source], [2.45e9], ISO, [beside, off], diffraction=False)
    way = np.array([4.0 - -1.0, 0.3 - -0.6, 1.2 - 0.9])
    assert got.by_order[0, 0, 1] == pytest.approx(1.0 / (4.0 * np.pi * (way @ way)), rel=2e-3)
    assert got.by_order[1, 0, 1] == pytest.approx(0.0)
    behind = unit_density(scene, [source], [2.45e9], ISO, [[3.0, 0.0, 1.0]], diffraction=False)
    assert float(behind[0, 0]) < 1e-9


@pytest.mark.calculated("The same method in plain NumPy, exact in angle; a panel seen through the panel before it")
def test_the_far_panel_of_a_box_throws_back_through_the_near_one():
    box = FurnitureBox("shelf", "shelf", (1.0, -2.0, 0.0), (1.6, 2.0, 2.0), Layer("chipboard", 0.018))
    scene = Scene.from_dwelling(Dwelling(furniture=(box,)))
    source, point = np.array([-2.0, 0.3, 1.2]), np.array([-1.0, -0.6, 0.9])
    got = paths(scene, [source], [2.45e9], ISO, [point], diffraction=False).by_order[0, 0]
    direct = reference_density(scene, source, 2.45e9, point, order=0)
    assert db(got[0]) == pytest.approx(db(direct), abs=1e-6)
    assert db(got[1]) == pytest.approx(db(reference_density(scene, source, 2.45e9, point, order=1) - direct), abs=0.05)


@pytest.mark.published("The same method in plain NumPy, Fresnel integrals from scipy.special")
def test_edges_agree_with_the_plain_method(home):
    source, points = np.array([1.0, -20.0, 4.0]), np.array([[3.9, 0.9, 1.0], [0.5, 2.4, 0.6], [4.2, 3.0, 1.9]])
    scene = home.with_shields([("south", FittedShield(homes.SHEET, ShieldPart.MASONRY))])
    got = paths(scene, [source], [1.8e9], ISO, points, order=0).by_order[:, 0, -1]
    want = np.array([reference_edges(scene, source, 1.8e9, p) for p in points])
    reached = want > 0.0
    assert reached.tolist() == [True, True, False]
    assert db(got[reached]) == pytest.approx(db(want[reached]), abs=0.15)
    assert got[~reached] == pytest.approx(0.0)


@pytest.mark.calculated("Reciprocity of linear media")
def test_source_and_place_may_change_ends(home):
    rng = np.random.default_rng(8)
    a, b = rng.uniform([0.3, 0.3, 0.3], [4.4, 3.0, 2.2], (2, 3, 3))
    there = unit_density(home, a, [2.45e9] * 3, ISO, b)
    back = unit_density(home, b, [2.45e9] * 3, ISO, a)
    assert db(there) == pytest.approx(db(back.T), abs=0.005)


def test_points_shared_among_threads_give_the_same(home, monkeypatch):
    points = np.random.default_rng(4).uniform([0.3, 0.3, 0.3], [4.4, 3.0, 2.2], (61, 3))
    found = []
    for threads in (1, 3):
        monkeypatch.setattr(propagation.config, "NUMBA_NUM_THREADS", threads)
        found.append(paths(home, [[1.0, 1.0, 1.0], [4.0, 3.0, 1.0]], [2.45e9, 0.9e9], DIPOLE, points))
    for one, other in zip(*(vars(f).values() for f in found), strict=True):
        assert np.array_equal(one, other)


def test_many_emitters_few_points_gives_the_same(home):
    rng = np.random.default_rng(9)
    a, b = rng.uniform([0.3, 0.3, 0.3], [4.4, 3.0, 2.2], (7, 3)), np.array([[2.0, 2.0, 1.0], [4.0, 3.1, 1.0]])
    f = [0.9e9, 2.45e9, 0.9e9, 5.5e9, 2.45e9, 0.9e9, 1.9e9]
    at_once = unit_density(home, a, f, DIPOLE, b)
    one_by_one = np.stack([unit_density(home, [p], [x], DIPOLE, b)[:, 0] for p, x in zip(a, f, strict=True)], axis=1)
    assert db(at_once) == pytest.approx(db(one_by_one), abs=0.03)


def test_waves_from_one_place_share_paths_and_keep_their_columns(home):
    f = [5.5e9, 0.8e9, 2.45e9]
    together = unit_density(home, [[1, 1, 1]] * 3, f, [ISO, DIPOLE, ISO], [[4, 3, 1], [2, 2, 1]])
    for k, (x, pattern) in enumerate(zip(f, [ISO, DIPOLE, ISO], strict=True)):
        alone = unit_density(home, [[1, 1, 1]], [x], pattern, [[4, 3, 1], [2, 2, 1]])[:, 0]
        assert db(together[:, k]) == pytest.approx(db(alone), abs=0.02)


def test_summary_adds_up(home):
    got = paths(home, [[1, 1, 1], [-9, -40, 6]], [2.45e9, 0.9e9], DIPOLE, [[4, 3, 1], [2, 2, 1], [2, 0.6, 1.2]])
    assert got.by_order.sum(axis=-1) == pytest.approx(got.density)
    assert got.entry.sum(axis=-1) == pytest.approx(got.density)
    assert np.trace(got.arrival, axis1=2, axis2=3) == pytest.approx(got.density)
    assert np.all(got.strongest <= got.density)
    assert np.all(got.rice_factor > 0.0)
    behind_window = dict(zip(got.entry_names, got.entry[2, 1], strict=True))
    assert max(behind_window, key=behind_window.get) == "window"


def test_arrival_points_back_to_the_source():
    got = paths(EMPTY, [[3.0, 4.0, 0.0]], [1e9], ISO, [[0.0, 0.0, 0.0]])
    assert got.mean_direction[0, 0] / got.density[0, 0] == pytest.approx([0.6, 0.8, 0.0])
    assert float(got.vertical_share[0, 0]) == pytest.approx(1.0)


def test_far_emitter_is_a_plane_wave():
    far = far_position(90.0, [2.0, 2.0, 1.0], 0.0)
    assert far == pytest.approx([2.0 + FAR_M, 2.0, 1.0])
    here = unit_density(EMPTY, [far], [1e9], ISO, [[0.0, 0.0, 1.0], [4.0, 4.0, 1.0]])
    assert per_incident_density(here) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.published("Area left open caps a shield; common practice, no source for homes")
def test_untreated_window_limits_a_shielded_wall(home):
    mast = far_position(180.0, [2.5, 2.0, 1.2], 3.0)
    places = [[1.8, 1.0, 1.3], [1.8, 2.5, 1.3], [1.9, 3.2, 1.2]]

    def median_loss(*shields):
        scene = home.with_shields([("south", s) for s in shields])
        before = unit_density(home, [mast], [1.8e9], ISO, places)
        return float(np.median(db(before / unit_density(scene, [mast], [1.8e9], ISO, places))))

    masonry = median_loss(FittedShield(homes.SHEET, ShieldPart.MASONRY))
    whole = median_loss(FittedShield(homes.SHEET, ShieldPart.WHOLE))
    torn = median_loss(FittedShield(homes.SHEET, ShieldPart.WHOLE, coverage=0.9))
    assert masonry < 3.0
    assert whole > 20.0
    assert masonry < torn < whole


@pytest.mark.published("A source within a shield gets worse: reflected power stays inside; common practice, no source")
def test_source_inside_a_shield_gets_louder(home):
    surfaces = ("south", "east", "north", "west", "floor", "ceiling")
    shielded = home.with_shields([(s, FittedShield(homes.SHEET)) for s in surfaces])
    args = ([[1.0, 1.0, 1.0]], [2.45e9], DIPOLE, [[4.0, 3.0, 1.0], [1.5, 2.8, 1.0]])
    assert np.all(unit_density(shielded, *args) > 1.5 * unit_density(home, *args))


def test_offsets_and_closed_openings_weaken(home):
    args = ([[1.8, -20.0, 2.0]], [2.45e9], ISO, [[1.8, 1.5, 1.4]])
    base = unit_density(home, *args, order=0, diffraction=False)
    worse = unit_density(home.with_offsets({"glass": 3.0, "window": 1.0}), *args, order=0, diffraction=False)
    assert db(base / worse)[0, 0] == pytest.approx(4.0, abs=1e-6)
    shut = home.with_openings_closed(["window"], (Layer("concrete", 0.2),))
    assert unit_density(shut, *args)[0, 0] < base[0, 0]
    assert "brick" in home.extrapolated(0.8e9)
    assert home.extrapolated(2.45e9) == ()


def test_grid_for_maps_is_close_to_cell_by_cell(home):
    x, y = np.linspace(0.3, 4.3, 21), np.linspace(0.3, 2.9, 14)
    sources = ([[1.0, 1.0, 1.0], [-9.0, -40.0, 6.0]], [2.45e9, 0.9e9], DIPOLE)
    grid = grid_density(home, *sources, (x, y, 1.2))
    cells = np.array([[u, v, 1.2] for v in y for u in x])
    full = unit_density(home, *sources, cells).reshape(14, 21, 2)
    off = db(grid / full)
    assert np.sqrt((off**2).mean()) < 0.5
    assert off[::6, ::6] == pytest.approx(0.0, abs=0.15)


def test_bad_input_is_one_clear_error(home):
    with pytest.raises(InputError, match="order 4"):
        unit_density(home, [[0, 0, 0]], [1e9], ISO, [[1, 1, 1]], order=4)
    with pytest.raises(InputError, match="frequency"):
        unit_density(home, [[0, 0, 0]], [0.0], ISO, [[1, 1, 1]])
    with pytest.raises(InputError, match="position"):
        unit_density(home, [[0, 0, np.nan]], [1e9], ISO, [[1, 1, 1]])
    with pytest.raises(InputError, match="2 values"):
        unit_density(home, [[0, 0, 0]], [1e9], [ISO, ISO], [[1, 1, 1]])
    with pytest.raises(UnknownNameError, match="attic"):
        home.with_shields([("attic", FittedShield(homes.SHEET))])
    bad = replace(homes.box_home(), walls=(a_wall((Layer("chalk", 0.1),)),))
    with pytest.raises(UnknownNameError, match="chalk"):
        Scene.from_dwelling(bad)


def test_no_points_no_emitters():
    assert unit_density(EMPTY, np.zeros((0, 3)), [], ISO, [[1, 1, 1]]).shape == (1, 0)
    assert unit_density(EMPTY, [[1, 1, 1]], [1e9], ISO, np.zeros((0, 3))).shape == (0, 1)
