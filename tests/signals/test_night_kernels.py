"""Compiled loops of a night against SciPy's filters and NumPy's sums."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import find_objects, grey_opening, label, percentile_filter

from roomfield.signals.night.hum import upper_median
from roomfield.signals.night.night_kernels import (
    lifted,
    low_of_neighbours,
    mark_runs,
    mean_outside,
    neighbours_on_circle,
    opened,
    over_course,
    runs_above,
)

RNG = np.random.default_rng(41)


@pytest.mark.published("scipy.ndimage.grey_opening")
@pytest.mark.parametrize("count", [1, 5, 20, 61])
def test_what_is_narrower_than_the_opening_is_cut_off(count):
    course = RNG.standard_normal(count).cumsum()
    size = min(7, count)
    assert np.array_equal(opened(course, size), grey_opening(course, size, mode="nearest"))


@pytest.mark.published("scipy.ndimage.percentile_filter")
@pytest.mark.parametrize("count", [3, 9, 1000])
def test_low_of_neighbours_is_a_percentile_filter(count):
    cells = RNG.standard_normal(count).astype(np.float32)
    assert np.array_equal(low_of_neighbours(cells, 9, 2), percentile_filter(cells, 30, size=9, mode="nearest"))


@pytest.mark.published("scipy.ndimage.label")
@pytest.mark.parametrize("shortest", [1, 3, 8])
def test_runs_above_a_limit_are_the_labelled_stretches(shortest):
    values = np.convolve(RNG.standard_normal(3000), np.ones(5), "same").astype(np.float32)
    values[:9] = values[-9:] = 10.0
    expected = [(part.start, part.stop) for (part,) in find_objects(label(values > 1.0)[0])]
    expected = [(a, b) for a, b in expected if b - a >= shortest]
    assert [tuple(run) for run in runs_above(values, 1.0, shortest)] == expected


def test_every_second_value_above_the_limit_finds_room():
    values = np.arange(101, dtype=np.float32) % 2
    assert len(runs_above(values, 0.5, 1)) == 50
    assert len(runs_above(1.0 - values, 0.5, 1)) == 51
    assert runs_above(np.ones(6, np.float32), 0.5, 1).tolist() == [[0, 6]]


@pytest.mark.calculated("distance on the circle as the angle of a quotient of unit phasors")
def test_neighbours_on_a_circle_reach_over_its_seam():
    phases, others = RNG.uniform(0, 2 * np.pi, 80), RNG.uniform(0, 2 * np.pi, 50)
    apart = np.abs(np.angle(np.exp(1j * (phases[:, None] - others[None, :]))))
    assert np.array_equal(neighbours_on_circle(phases, others, 0.15), (apart <= 0.15).sum(axis=1))
    assert neighbours_on_circle(np.array([0.05]), np.array([6.25]), 0.15).tolist() == [1]


@pytest.mark.published("numpy.interp, numpy.ma.mean, numpy.partition")
def test_means_medians_and_courses_are_those_of_numpy():
    values = RNG.exponential(size=4801).astype(np.float32)
    mask = np.zeros(4801, np.bool_)
    mark_runs(mask, np.array([3, 1000]), np.array([700, 4801]))
    assert mask.sum() == 697 + 3801
    outside = float(np.ma.array(values, mask=mask, dtype=np.float64).mean())
    assert mean_outside(values, mask) == pytest.approx(outside, rel=1e-9)
    assert mean_outside(values, np.ones(4801, np.bool_)) == pytest.approx(values.mean(dtype=np.float64), rel=1e-9)
    assert np.array_equal(lifted(values, mask, 0.5), np.where(mask, np.maximum(values, np.float32(0.5)), values))
    assert upper_median(values) == float(np.median(values))
    middles = RNG.standard_normal(10)
    course = np.interp(np.arange(4801), (np.arange(10) + 0.5) * 480, middles)
    assert np.abs(over_course(values, middles, 480) - (values - course)).max() < 2e-6
