"""Evidence of candidate positions and directions: against Gaussian densities, and front told from back."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from shapely import Polygon

from roomfield.field import marginal_likelihood as evidence_module
from roomfield.field.forward import SPOT_MEAN_DB, SPOT_STD_DB, mixture_gain_db
from roomfield.field.inference import build_forward, infer
from roomfield.field.locate import arcs_of, locate
from roomfield.field.marginal_likelihood import CandidateEvidence
from roomfield.field.observation_arrays import observe
from roomfield.field.path_gains import Radiators
from roomfield.field.position_search import HEIGHTS_M, _coarse, _fine, _to_look_in
from roomfield.field.propagation import paths
from roomfield.field.scene import Scene
from roomfield.survey import Bearing, Storey

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)

POINTS = np.array([
    (1.0, 0.8, 1.0), (3.2, 1.5, 0.8), (2.0, 4.8, 1.2), (3.3, 3.6, 1.0), (5.0, 0.9, 0.6),
    (7.2, 2.2, 1.1), (5.5, 4.2, 1.0), (7.0, 5.3, 1.4), (4.6, 2.5, 0.9),
])  # fmt: skip
CANDIDATES = np.array([(2.0, 2.0, 1.0), (6.0, 1.0, 1.0), (6.5, 4.5, 1.0)])


def one_emitter_job(values):
    hidden = surveys.emitter("x", None)
    survey = surveys.survey((hidden,), POINTS, {("all", surveys.PEAK): values}, dwelling=surveys.flat())
    observed, scene = observe(survey), Scene.from_dwelling(survey.dwelling)
    radiators = Radiators.of(survey.emitters, POINTS[:1])
    return CandidateEvidence(build_forward(survey, observed, scene, radiators, ()), scene, radiators, [0])


@pytest.mark.published("scipy.stats.multivariate_normal")
def test_evidence_of_one_emitter_is_the_density_of_the_readings():
    """Peaks of one emitter are linear in all unknowns, so that they are jointly normal."""
    rng = np.random.default_rng(1)
    job = one_emitter_job(surveys.density(rng.normal(-40.0, 6.0, len(POINTS))))
    found, _ = job.evaluate(CANDIDATES)
    mean, std, *_ = job.forward.prior_eirp
    lift = mixture_gain_db(job.single, np.ones((len(POINTS), 1))) + SPOT_MEAN_DB[0] + job.forward.gain_mean_db[0]
    common = std[0] ** 2 + job.forward.gain_factor[0, 0] ** 2 + SPOT_STD_DB[0] ** 2
    covariance = job.misfit + job.fixed_noise + common
    exact = [
        stats.multivariate_normal(units[:, 0] + mean[0] + lift, covariance).logpdf(job.value)
        for units in job._batch(CANDIDATES).units
    ]
    assert np.diff(found) == pytest.approx(np.diff(exact), abs=1e-6)


def test_candidates_left_aside_would_not_have_won(monkeypatch):
    """Looking closer at all candidates instead of the promising ones leaves the probabilities as they are."""
    survey = mast_survey(3, truth_deg=140.0)
    observed, scene = observe(survey), Scene.from_dwelling(survey.dwelling)
    centre = observed.sites.mean(axis=0)
    start = np.array([e.position or tuple(centre) for e in survey.emitters])
    radiators = Radiators.of(survey.emitters, start)
    job = CandidateEvidence(build_forward(survey, observed, scene, radiators, ()), scene, radiators, [2])
    angle = np.deg2rad(np.arange(0.0, 360.0, 15.0))
    grid = centre + np.column_stack([200.0 * np.sin(angle), 200.0 * np.cos(angle), np.full(len(angle), 10.0)])
    some, _ = job.evaluate(grid)
    monkeypatch.setattr(evidence_module, "MARGIN", 1e9)
    every, _ = job.evaluate(grid)
    weight = [np.exp(v - v.max()) / np.exp(v - v.max()).sum() for v in (some, every)]
    assert weight[0] == pytest.approx(weight[1], abs=1e-3)


def mast_survey(number, *, truth_deg, levels=True):
    """A mast and, on the same side of the home, a transmitter that cannot be switched off; a router inside.

    Levels of the model's own propagation with 2.5 dB of misfit per emitter and place, one gain error of the meter,
    bearings with 12 degrees of error; strongest and null are the ends of what a figure-of-eight antenna shows.
    """
    rng = np.random.default_rng(number)
    angle = np.deg2rad(truth_deg)
    far = (4.0 + 200.0 * np.sin(angle), 3.0 + 200.0 * np.cos(angle), 14.0)
    beside = (4.0 + 6.0 * np.sin(angle), 3.0 + 6.0 * np.cos(angle), 1.5)
    router = surveys.emitter("router", (1.0, 1.0, 1.0))
    meter = surveys.emitter("neighbour", beside, outdoor=True, switchable=False, frequency_hz=0.87e9)
    mast = surveys.emitter("mast", far, outdoor=True, switchable=False, frequency_hz=1.8e9, technology="lte_fdd")
    emitters, powers = (router, meter, mast), np.array([0.1, 0.03, 600.0])
    scene = Scene.from_dwelling(surveys.flat())
    position = np.array([e.position for e in emitters])
    frequency = np.array([e.frequency_hz for e in emitters])
    gain = 10.0 ** (rng.normal(0.0, 3.0) / 10.0)
    whole = paths(scene, position, frequency, [e.pattern for e in emitters], POINTS)
    off = 10.0 ** (rng.normal(0.0, 2.5, whole.density.shape) / 10.0)
    factor = gain * off * powers
    level, tensor = factor * whole.density, factor[..., None, None] * whole.arrival
    states = {"all": [0, 1, 2], "off:router": [1, 2]}
    values, bearings = {}, []
    for state, on in states.items():
        scatter = 10.0 ** (rng.normal(0.0, 1.2, len(POINTS)) / 10.0)
        values[state, surveys.PEAK] = 2.5 * level[:, on].sum(axis=1) * scatter
        for i in range(0, len(POINTS), 2):
            ends, axes = np.linalg.eigh(tensor[i, on, :2, :2].sum(axis=0))
            axis = np.rad2deg(np.arctan2(axes[0, 1], axes[1, 1]))
            seen = (axis + np.array([0.0, 90.0]) + rng.normal(0.0, 12.0, 2)) % 180.0
            bearings.append(Bearing(f"{state}{i}", "v", "m", state, tuple(POINTS[i]), float(seen[0]), float(seen[1]),
                                    12.0, float(ends[1]), float(ends[0])))  # fmt: skip
    hidden = (router, meter, replace(mast, position=None))
    kept = values if levels else {("all", surveys.PEAK): np.full(len(POINTS), 1e-5)}
    return surveys.survey(hidden, POINTS, kept, dwelling=surveys.flat(), bearings=bearings)


@pytest.mark.parametrize("truth_deg", [40.0, 140.0, 250.0])
def test_levels_in_the_rooms_tell_front_from_back(truth_deg):
    """Common practice, no source: an axis says nothing of front and back, what the rooms shade does."""
    off = []
    for number in range(3):
        found = locate(infer(mast_survey(number, truth_deg=truth_deg), draws=20), "mast")
        off.append(abs((found.bearing_deg - truth_deg + 180.0) % 360.0 - 180.0))
        assert any((truth_deg - a.low_deg) % 360.0 <= (a.high_deg - a.low_deg) % 360.0 for a in found.arcs)
    assert np.median(off) < 10.0


def test_both_directions_are_told_where_nothing_parts_them():
    """No walls, and sites so close together that no level depends on the side."""
    mast = surveys.emitter("mast", None, outdoor=True, switchable=False, frequency_hz=1.8e9, technology="lte_fdd")
    sites = [(0.0, 0.0, 1.0), (0.05, 0.0, 1.0), (0.0, 0.05, 1.0)]
    bearings = [Bearing(f"b{i}", "v", "m", "all", p, 62.0, None, 8.0) for i, p in enumerate(sites)]
    survey = surveys.survey((mast,), sites, {("all", surveys.PEAK): np.full(3, 1e-5)}, bearings=bearings)
    found = locate(infer(survey, draws=20), "mast")
    assert len(found.arcs) == 2
    front, back = sorted(found.arcs, key=lambda a: a.middle_deg)
    assert front.middle_deg == pytest.approx(62.0, abs=6.0)
    assert back.middle_deg == pytest.approx(242.0, abs=6.0)
    assert front.probability == pytest.approx(back.probability, abs=0.1)
    assert front.probability + back.probability > 0.85


def test_a_neighbours_device_is_found_next_door():
    survey = mast_survey(1, truth_deg=270.0)
    hidden = replace(survey.emitters[1], position=None)
    mast = replace(survey.emitters[2], position=(-196.0, 3.0, 14.0))
    found = infer(replace(survey, emitters=(survey.emitters[0], hidden, mast)), draws=20).searches[0]
    assert found.outdoor
    near = np.linalg.norm(found.grid - found.centre, axis=1) < 20.0
    assert 0.0 < found.probability[near].sum() < 1.0
    assert np.count_nonzero(near) == np.count_nonzero(~near)


def test_arcs_are_the_shortest_that_reach_the_coverage():
    bearing = np.arange(0.0, 360.0, 5.0)

    def hill(middle):
        return np.exp(-0.5 * (((bearing - middle + 180.0) % 360.0 - 180.0) / 6.0) ** 2)

    one = hill(0.0) / hill(0.0).sum()
    (arc,) = arcs_of(bearing, one, 0.9)
    assert min(arc.middle_deg, 360.0 - arc.middle_deg) < 0.5
    assert arc.low_deg > 300.0 and arc.high_deg < 60.0
    assert arc.probability > 0.9
    both = 0.7 * one + 0.3 * hill(180.0) / hill(180.0).sum()
    first, second = arcs_of(bearing, both, 0.9)
    assert (first.probability, second.probability) == pytest.approx((0.7, 0.3), abs=0.03)
    assert second.middle_deg == pytest.approx(180.0, abs=1.0)
    assert second.span_deg < 60.0
    (everywhere,) = arcs_of(bearing, np.full(72, 1.0 / 72.0), 0.9)
    assert (everywhere.high_deg - everywhere.low_deg) % 360.0 > 300.0


def test_without_an_outline_a_transmitter_is_looked_for_on_the_storey_that_was_read() -> None:
    sites = np.array([[1.0, 1.0, 4.0], [5.0, 3.0, 4.2]])
    bare = (Storey("g", "ground", 0.0, 2.6, ()), Storey("u", "upper", 2.8, 5.4, ()))
    (upper,) = _to_look_in(bare, sites)
    assert (upper.id, Polygon(upper.outline).bounds) == ("u", (-1.0, -1.0, 7.0, 5.0))
    grid, _ = _coarse((upper,), sites)
    fine, _ = _fine(grid, np.zeros(len(grid)), 0.5, (upper,))
    assert sorted(set(fine[:, 2].round(6))) == pytest.approx([2.8 + height for height in HEIGHTS_M])
    outlined = (replace(bare[0], outline=upper.outline), bare[1])
    assert _to_look_in(outlined, sites) == outlined[:1]
    assert _to_look_in((), sites) == ()
