"""The compiled loops say what NumPy and SciPy say."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from roomfield.signals.audio_kernels import (
    above_around,
    edge_response,
    fold_blocks,
    fold_nodes,
    peaks_above,
    running_sum,
)

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


@pytest.mark.published("numpy.bincount of the nodes before and after each sample, weighted by nearness")
def test_folding_at_nodes():
    at = np.arange(SOUND.size) / 221.537 % 1.0 * 443
    low, part = at.astype(int), at % 1.0
    sums, weights = fold_nodes(SOUND, 1 / 221.537, 443)
    both = np.r_[low, (low + 1) % 443]
    np.testing.assert_allclose(weights, np.bincount(both, np.r_[1 - part, part], 443), atol=1e-6)
    np.testing.assert_allclose(sums, np.bincount(both, np.r_[(1 - part) * SOUND, part * SOUND], 443), atol=1e-5)


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
