"""What a figure-of-eight antenna picks up on an axis that is not held exactly."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from roomfield.field.directions import GUESSED_POWER_STD_DB, NULL_FILL, Aimed, aimed_at, on_axis
from roomfield.field.inference import infer
from roomfield.field.observation_arrays import observe
from roomfield.field.path_gains import Radiators
from roomfield.field.posterior import levels_at
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.survey import Bearing, Dwelling

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)

NORTH = surveys.emitter("north", (0.0, 6.0, 1.0))
EAST = surveys.emitter("east", (6.0, 0.0, 1.0), frequency_hz=1.89e9, technology="dect")
HERE = (0.0, 0.0, 1.0)


def wave(bearing_deg):
    towards = np.array([np.sin(np.deg2rad(bearing_deg)), np.cos(np.deg2rad(bearing_deg)), 0.0])
    return np.outer(towards, towards)[None, None]


@pytest.mark.published("cos² pickup of a short dipole, averaged over a normal angle by quadrature (scipy)")
@pytest.mark.parametrize("axis_deg", [0.0, 20.0, 75.0, 130.0])
@pytest.mark.parametrize("std_deg", [1.0, 14.0, 40.0])
def test_pickup_is_the_mean_of_cos_squared_over_the_hand(axis_deg, std_deg):
    def weighed(turn_deg):
        return np.cos(np.deg2rad(axis_deg + turn_deg - 30.0)) ** 2 * stats.norm(0.0, std_deg).pdf(turn_deg)

    exact = integrate.quad(weighed, -8 * std_deg, 8 * std_deg)[0]
    found = on_axis(wave(30.0)[..., :2, :2], np.deg2rad([axis_deg]), np.deg2rad([std_deg]))[0, 0]
    assert found == pytest.approx(exact, abs=1e-6)


def aimed(noted_deg, null, *waves, std_deg=12.0):
    arrival = np.concatenate([wave(b)[..., :2, :2] for b in waves], axis=1)
    one = np.array([float(noted_deg)]), np.array([std_deg]), np.array([null])
    return Aimed(np.array([0]), *one, arrival)


@pytest.mark.published("eigenvalues of a symmetric tensor (numpy.linalg.eigvalsh)")
@pytest.mark.parametrize("power", [(1.0, 0.3), (0.2, 1.0), (1.0, 0.02)])
@pytest.mark.parametrize("off_deg", [-15.0, 0.0, 15.0])
def test_strongest_and_null_are_the_ends_of_what_the_sum_can_show(power, off_deg):
    """However badly the axis is noted, the meter showed the largest and the smallest value there."""
    weights = np.array([power])
    tensor = sum(p * wave(b)[0, 0, :2, :2] for p, b in zip(power, (20.0, 80.0), strict=True))
    low, high = np.linalg.eigvalsh(tensor)
    axis = np.rad2deg(0.5 * np.arctan2(2.0 * tensor[0, 1], tensor[1, 1] - tensor[0, 0]))
    strongest = aimed(axis + off_deg, False, 20.0, 80.0).pickup(weights, power_std_db=0.5)
    null = aimed(axis + 90.0 + off_deg, True, 20.0, 80.0).pickup(weights, power_std_db=0.5)
    fill = NULL_FILL * sum(power)
    assert np.sum(weights * strongest.share) - fill == pytest.approx(high, rel=0.01)
    assert np.sum(weights * null.share) - fill == pytest.approx(low, abs=0.01 * high)
    assert np.all(strongest.std_db == 0.0)


def test_where_the_powers_are_not_known_the_noted_axis_decides():
    """Equal guesses for an emitter in the north and one in the east: the axis says which of them is the larger."""
    guess = np.array([[1.0, 1.0]])
    north, east = (aimed(a, False, 0.0, 90.0).pickup(guess, power_std_db=GUESSED_POWER_STD_DB).share for a in (0, 90))
    assert north[0, 0] > 5.0 * north[0, 1]
    assert east[0, 1] > 5.0 * east[0, 0]


def test_a_model_that_contradicts_the_noted_axis_gives_way():
    """Powers that put the axis square to what was noted were wrong, not the hand."""
    share = aimed(0.0, False, 0.0, 90.0).pickup(np.array([[1e-3, 1.0]])).share
    assert share[0, 0] > 0.8
    assert share[0, 1] < 0.2


def test_a_deep_null_is_less_sure_than_a_shallow_one():
    lone = aimed(90.0, True, 0.0).pickup(np.array([[1.0]]))
    mixed = aimed(90.0, True, 0.0, 90.0).pickup(np.array([[1.0, 0.3]]))
    assert lone.std_db[0] > 2.0 > 0.5 > mixed.std_db[0]


def made(bearings):
    return surveys.survey((NORTH, EAST), [HERE], {("all", surveys.AVERAGE): [1e-4]}, dwelling=Dwelling(),
                          bearings=bearings)  # fmt: skip


def bearing(strongest_deg, strongest_w_m2, null_w_m2):
    null_deg = (strongest_deg + 90.0) % 180.0
    return Bearing("b", "v", "m", "all", HERE, strongest_deg, null_deg, 5.0, strongest_w_m2, null_w_m2)


def test_an_emitter_on_the_axis_counts_and_one_across_does_not():
    survey = made([bearing(0.0, 1e-4, 1e-6)])
    radiators = Radiators.of(survey.emitters, np.array([e.position for e in survey.emitters]))
    observed = observe(survey)
    read = aimed_at(Scene.from_dwelling(survey.dwelling), radiators, observed)
    assert [survey.readings[0].id, "b", "b"] == list(observed.levels.ids)
    assert list(read.rows) == [1, 2] and list(read.null) == [False, True]
    strongest, null = read.pickup(np.ones((2, 2)), power_std_db=GUESSED_POWER_STD_DB).share
    assert strongest[0] > 0.9 and strongest[1] < 0.1
    assert null[0] < 0.1 and null[1] > 0.9


def test_a_null_towards_one_emitter_parts_it_from_the_other():
    """Common practice, no source: at the null of one transmitter the meter shows the others."""
    shares = []
    for strongest_deg in (0.0, 90.0):
        drawn = levels_at(infer(made([bearing(strongest_deg, 1e-4, 1e-6)]), draws=300), [HERE], kind=Kind.AVERAGE)
        parts = drawn.by_emitter_w_m2[:, :, 0]
        shares.append(np.median(parts[:, 0] / parts.sum(axis=1)))
    assert shares[0] > 0.7
    assert shares[1] < 0.3
