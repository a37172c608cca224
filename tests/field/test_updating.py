"""One more reading without a new search: exact where the model is linear and normal, like the full inference elsewhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.field.inference import infer
from roomfield.field.posterior import levels_at
from roomfield.field.updating import gaussian_shift, updated
from roomfield.quantities import Kind


def normal_case(seed: int = 3):
    """Draws of a normal law, with a linear reading of two values."""
    rng = np.random.default_rng(seed)
    root = rng.standard_normal((6, 6))
    precision = root @ root.T + np.eye(6)
    table = rng.standard_normal((2, 6))
    covariance = np.array([[0.5, 0.2], [0.2, 0.4]])
    x = rng.multivariate_normal(np.zeros(6), np.linalg.inv(precision), size=20_000)
    return precision, table, covariance, x, rng


def test_a_shift_by_a_linear_reading_gives_the_normal_law_in_closed_form():
    """Mean and covariance as the normal equations say (Tarantola, Inverse Problem Theory, 2005, eq. 3.37 and 3.38)."""
    precision, table, covariance, x, rng = normal_case()
    gap = np.array([1.3, -0.8])
    moved, _ = gaussian_shift(x, precision, table, covariance, gap, rng)
    after = np.linalg.inv(precision + table.T @ np.linalg.inv(covariance) @ table)
    mean = x.mean(axis=0) + after @ table.T @ np.linalg.inv(covariance) @ gap
    error = np.sqrt(np.diag(after) / len(x))
    assert np.all(np.abs(moved.mean(axis=0) - mean) < 4.5 * error)
    assert np.allclose(np.cov(moved.T), after, atol=5.0 * np.diag(after).max() * np.sqrt(2.0 / len(x)))


def test_all_draws_weigh_the_same_where_the_model_is_linear_and_normal():
    precision, table, covariance, x, rng = normal_case()
    gap, mean = np.array([4.0, 2.5]), x.mean(axis=0)
    moved, weight = gaussian_shift(x, precision, table, covariance, gap, rng)

    def before(some):
        return -0.5 * np.einsum("ni,ij,nj->n", some - mean, precision, some - mean)

    away = gap - (moved - mean) @ table.T
    after = before(moved) - 0.5 * np.einsum("ni,ij,nj->n", away, np.linalg.inv(covariance), away)
    total = weight + after - before(x)
    assert np.ptp(total) < 1e-8


@pytest.fixture(scope="module")
def readings():
    """The demo's first visit, scan by scan."""
    survey = demo_survey()
    taken = [r for r in survey.readings if r.visit_id == FIRST.id]
    scans = list(dict.fromkeys((r.place_id, r.radio_state_id) for r in taken))

    def after(count: int):
        kept = {*scans[:count]}
        return replace(survey, readings=tuple(r for r in taken if (r.place_id, r.radio_state_id) in kept))

    return after


def levels(posterior):
    points = [p.position for p in posterior.survey.places if p.position is not None]
    return levels_at(posterior, points, kind=Kind.HIGHEST_HELD).level_db


@pytest.mark.parametrize("count", [6, 16], ids=["a place not read before", "a switch off"])
def test_levels_after_one_more_scan_are_those_of_the_full_inference(readings, count):
    """Means within what two seeds of the full inference differ by; widths within a fifth."""
    found = updated(infer(readings(count), visit_id=FIRST.id), readings(count + 1))
    assert found is not None and found.effective > 0.1
    anew = [levels(infer(readings(count + 1), visit_id=FIRST.id, seed=seed)) for seed in (0, 1)]
    quick = levels(found.posterior)
    by_chance = np.abs(anew[0].mean(axis=0) - anew[1].mean(axis=0))
    middle = np.mean([a.mean(axis=0) for a in anew], axis=0)
    assert np.max(np.abs(quick.mean(axis=0) - middle)) < 0.4 + by_chance.max()
    assert np.all(np.abs(quick.std(axis=0) / anew[0].std(axis=0) - 1.0) < 0.25)


def test_equal_seeds_give_equal_draws(readings):
    before = infer(readings(8), visit_id=FIRST.id)
    one, two = (updated(before, readings(9)) for _ in range(2))
    assert one is not None and two is not None
    assert np.array_equal(one.posterior.x, two.posterior.x)


def test_what_is_not_only_one_more_reading_asks_for_the_full_inference(readings):
    before = infer(readings(9), visit_id=FIRST.id)
    after = readings(10)
    amended = replace(after.readings[0], value_w_m2=2.0 * after.readings[0].value_w_m2)
    assert updated(before, replace(after, readings=(amended, *after.readings[1:]))) is None
    assert updated(before, readings(8)) is None
    assert updated(before, replace(after, emitters=after.emitters[1:])) is None


def test_a_slip_moves_the_levels_as_little_as_in_the_full_inference(readings):
    before = infer(readings(9), visit_id=FIRST.id)
    known = {r.id for r in readings(9).readings}
    slipped = tuple(r if r.id in known else replace(r, value_w_m2=1e-3 * r.value_w_m2) for r in readings(10).readings)
    after = replace(readings(10), readings=slipped)
    found = updated(before, after)
    anew = levels(infer(after, visit_id=FIRST.id)).mean(axis=0)
    assert found is None or np.max(np.abs(levels(found.posterior).mean(axis=0) - anew)) < 1.5
