"""The compiled loops say what NumPy and SciPy say."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks
from scipy.stats import kurtosis, skew

from roomfield.signals.audio_kernels import (
    above_around,
    box_peaks,
    edge_response,
    fold_between,
    fold_blocks,
    kth_smallest,
    leaves,
    moments,
    pair_edges,
    peaks_above,
    phase_line_scores,
    running_sum,
    scatter,
    thin_samples,
)  # fmt: skip
from roomfield.signals.folding import nodes

RNG = np.random.default_rng(3)
SOUND = RNG.standard_normal(20000).astype(np.float32)


@pytest.mark.published("numpy.bincount of each sample's phase")
@pytest.mark.parametrize("period, bins", [(221.537, 208), (960.11, 40), (4915.2371, 2048), (7.3017, 5)])
def test_folding_by_phase(period, bins):
    sums, counts = fold_blocks(SOUND, 1 / period, bins, 3)
    edges = [block * SOUND.size // 3 for block in range(4)]
    for block, (first, last) in enumerate(pairwise(edges)):
        at = (np.arange(first, last) / period % 1.0 * bins).astype(int)
        np.testing.assert_array_equal(counts[block], np.bincount(at, minlength=bins))
        np.testing.assert_allclose(sums[block], np.bincount(at, SOUND[first:last], bins), atol=1e-4)


@pytest.mark.published("numpy.bincount of the phase before each sample, weighted by powers of its place")
def test_folding_between_phases():
    at = np.arange(SOUND.size) / 221.537 % 1.0 * 443
    low, part = at.astype(int), at % 1.0
    weights = (np.ones(at.size), part, part**2, SOUND, SOUND * part)
    expected = np.column_stack([np.bincount(low, weight, 443) for weight in weights])
    np.testing.assert_allclose(fold_between(SOUND, 1 / 221.537, 443), expected, atol=1e-5)


@pytest.mark.published("foldings by numpy.bincount and what numpy.interp leaves")
def test_a_course_is_folded_from_samples_and_from_what_it_leaves():
    sound, period, count = SOUND[:19000], 221.537, 221
    at = np.arange(sound.size) / period % 1.0 * count
    low, part = at.astype(int), at % 1.0
    both, near = np.r_[low, (low + 1) % count], np.r_[1 - part, part]

    def folded(x):
        return np.bincount(both, near * np.r_[x, x], count) / np.bincount(both, near, count)

    once = folded(sound)
    twice = once + folded(sound - np.interp(at, np.arange(count + 1), np.r_[once, once[0]]))
    np.testing.assert_allclose(nodes(sound, 1.0, period), twice - twice.mean(), atol=1e-6)


@pytest.mark.published("numpy.cumsum and numpy.convolve")
def test_edges_are_differences_of_a_running_sum():
    running = running_sum(SOUND)
    np.testing.assert_allclose(running, np.r_[0.0, np.cumsum(SOUND, dtype=np.float64)], atol=1e-9)
    expected = np.convolve(SOUND, np.r_[np.ones(7), -np.ones(7)] / 7, "valid")
    np.testing.assert_allclose(edge_response(running, 7)[7:-7], expected[:-1], atol=1e-5)
    assert not edge_response(running[:15], 7).any()


@pytest.mark.published("scipy.ndimage.uniform_filter1d and scipy.signal.find_peaks")
def test_peaks_above_their_surroundings():
    above = above_around(SOUND, 6)
    around = uniform_filter1d(SOUND.astype(np.float64), 12)
    np.testing.assert_allclose(above[6:-6], (SOUND - around)[6:-6], atol=1e-5)
    np.testing.assert_array_equal(above[:6], SOUND[:6])
    np.testing.assert_array_equal(peaks_above(above, np.float32(1.5)), find_peaks(above, 1.5 + 1e-7)[0])


@pytest.mark.published("numpy.partition")
@pytest.mark.parametrize("size", [1, 7, 4800])
def test_the_kth_smallest(size):
    values = np.abs(RNG.standard_normal(size)).astype(np.float32) ** 3
    values[: size // 3] = 0.0
    for k in {0, size // 5, size // 2, size - 1}:
        assert kth_smallest(values, k) == np.partition(values, k)[k]


@pytest.mark.published("scipy.stats.skew and kurtosis")
def test_moments():
    centred = SOUND - SOUND.mean()
    assert moments(centred) == pytest.approx((skew(centred), kurtosis(centred, fisher=False)), abs=1e-5)
    assert scatter(SOUND + np.float32(5)) == pytest.approx(np.std(SOUND), rel=1e-5)
    loud = np.r_[SOUND, np.float32(1000.0)]
    assert moments(loud)[0] == pytest.approx((np.clip(loud / loud.std(), -20, 20) ** 3).mean(), rel=1e-4)
    np.testing.assert_allclose(thin_samples(SOUND[:4803], 4), SOUND[:4800].reshape(-1, 4).mean(1), rtol=1e-5, atol=1e-7)


@pytest.mark.published("the sum of turned harmonics by NumPy")
def test_scores_of_phase_lines():
    lines = RNG.standard_normal((16, 40)) + 1j * RNG.standard_normal((16, 40))
    along, weights, orders = np.linspace(-0.5, 0.5, 16), RNG.uniform(0.5, 2, 40), np.arange(1, 41)
    found = phase_line_scores(lines, along, weights, -0.7, 0.004, 351)
    spins = np.exp(-2j * np.pi * (-0.7 + 0.004 * np.arange(351))[:, None, None] * along[:, None] * orders)
    np.testing.assert_allclose(found, (np.abs((lines * spins).sum(1)) ** 2 * weights).sum(1), rtol=1e-10)


@pytest.mark.published("places and signs found by numpy.flatnonzero")
def test_what_is_beyond_a_threshold_is_found_wherever_it_lies():
    quiet = 0.9 * RNG.uniform(-1, 1, 1000).astype(np.float32)
    for place in (1, 62, 63, 64, 65, 127, 500, 990):
        one = quiet.copy()
        one[place], one[place + 5] = 1.5, -1.5
        starts, ends, heights = pair_edges(one, 1.0, 2, 100)
        assert (starts[0], ends[0], heights[0]) == (place, place + 5, 1.5) and starts.size == 1
        places, dips = box_peaks(one, 1.0, 4)
        assert (list(places), dips) == ([place], 1) == (list(np.flatnonzero(one > 1)), np.count_nonzero(one < -1))
    assert pair_edges(quiet, 1.0, 2, 100)[0].size == 0 and box_peaks(quiet, 1.0, 4)[0].size == 0


@pytest.mark.published("sklearn's rule as told in its guide: left where the number is at most the threshold")
def test_leaves_of_trees():
    feature, threshold = np.array([0, -1, 1, -1, -1]), np.array([0.5, 0.0, -1.0, 0.0, 0.0])
    left, right = np.array([1, -1, 3, -1, -1]), np.array([2, -1, 4, -1, -1])
    roots = np.array([0, 2])
    for numbers, expected in (((0.5, 0.0), (1, 4)), ((0.6, -1.0), (3, 3)), ((0.6, 0.0), (4, 4))):
        assert tuple(leaves(np.array(numbers), feature, threshold, left, right, roots)) == expected
