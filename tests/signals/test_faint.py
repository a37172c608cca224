"""Faint short bursts: boxes against NumPy, against a known schedule, and against noise."""

import numpy as np
import pytest
from scipy.stats import norm

from roomfield.signals.audio_kernels import box_peaks, box_response, refine_boxes, without_overlap
from roomfield.signals.bursts import find_bursts
from roomfield.signals.faint import SCALES, THRESHOLD, faint_numbers, find_faint

RATE = 48000.0


def ticks(starts_s, width_s, height, seconds=8.0, seed=0):
    """Bursts of one width in white noise of standard deviation one."""
    x = np.random.default_rng(seed).standard_normal(int(seconds * RATE))
    for start in starts_s:
        first = round(start * RATE)
        x[first : first + round(width_s * RATE)] += height
    return (x - x.mean()).astype(np.float32)


def heard(table, starts_s):
    return sum(bool(np.any(np.abs(table.starts_s - start) < 70e-6)) for start in starts_s)


@pytest.mark.published("numpy.convolve with the box and its two neighbours")
def test_box_response_is_a_convolution():
    x, width = np.random.default_rng(1).standard_normal(400), 5
    kernel = np.r_[-0.5 * np.ones(width), np.ones(width), -0.5 * np.ones(width)] / width
    expected = np.convolve(x, kernel[::-1], "valid")
    ours = box_response(np.r_[0.0, np.cumsum(x)], width)
    np.testing.assert_allclose(ours[width : 400 - 2 * width], expected[:-1], atol=1e-5)


@pytest.mark.published("ICAO Annex 10 Vol IV (from memory): long squitter of 120 us")
def test_boxes_hear_squitters_that_edges_miss():
    starts = np.sort(np.random.default_rng(2).uniform(0.1, 7.9, 60))
    x = ticks(starts, 125e-6, 2.7)
    table, _ = find_faint(x, RATE)
    assert heard(table, starts) > 1.5 * heard(find_bursts(x, RATE), starts)
    assert heard(table, starts) > 20
    numbers = faint_numbers(table, np.zeros(SCALES, np.int64))
    assert numbers["faint.long"] > 2 * numbers["faint.short"]


@pytest.mark.published(
    "Gaussian tail: places tried times the chance of one value above the threshold bounds false boxes"
)
def test_noise_gives_hardly_any_box():
    found = sum(find_faint(ticks((), 1e-4, 0.0, seed=s), RATE)[0].starts_s.size for s in range(6))
    assert found <= 6 * SCALES * 8 * RATE * norm.sf(THRESHOLD)


def test_the_highest_of_overlapping_boxes_stays():
    starts, widths = np.array([100, 104, 300]), np.array([20, 6, 8])
    kept = without_overlap(starts, widths, np.array([1, 0, 2]), 1000)
    assert kept.tolist() == [1, 2]


def test_peaks_and_dips_are_told_apart():
    response = np.zeros(200, np.float32)
    response[[50, 51, 52]] = 6, 8, 6
    response[[120, 121]] = -7
    places, dips = box_peaks(response, 5.0, 4)
    assert places.tolist() == [51] and dips == 1


def test_refining_finds_start_and_width():
    x = np.zeros(500)
    x[200:217] = 2.0
    first, width, height = refine_boxes(np.r_[0.0, np.cumsum(x)], np.array([198]), np.array([19]))
    assert (first[0], width[0]) == (200, 17) and height[0] == pytest.approx(2.0)


def test_dips_are_counted_as_a_control():
    starts = np.arange(0.1, 7.9, 0.05)
    table, dips = find_faint(-ticks(starts, 2e-4, 9.0), RATE)
    assert dips[3] == starts.size
    assert heard(table, starts) == 0


def test_silence_and_one_short_sound_give_finite_numbers():
    for x in (np.zeros(48000, np.float32), ticks((0.5,), 1e-4, 50.0, seconds=1.0)):
        numbers = faint_numbers(*find_faint(x, RATE))
        assert all(np.isfinite(v) for v in numbers.values())
