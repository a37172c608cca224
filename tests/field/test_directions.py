"""What a figure-of-eight antenna picks up on an axis that is not held exactly."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from roomfield.field.directions import LEAST_PICKUP, on_axis, pickup
from roomfield.field.inference import infer
from roomfield.field.observations import observe
from roomfield.field.posterior import levels_at
from roomfield.field.scene import Scene
from roomfield.field.sources import Radiators
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
    found = on_axis(wave(30.0), np.array([axis_deg]), np.array([std_deg]))[0, 0]
    assert found == pytest.approx(max(exact, LEAST_PICKUP), abs=1e-6)


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
    share = pickup(Scene.from_dwelling(survey.dwelling), radiators, survey.emitters, observed)
    aimed = ~np.isnan(observed.levels.axis_deg)
    assert np.all(share[~aimed] == 1.0)
    strongest, null = share[aimed]
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
