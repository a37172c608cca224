"""Folding against SciPy, burst tables against known schedules."""

import numpy as np
import pytest
from scipy import stats
from scipy.signal import resample

from roomfield.signals.audio_kernels import subtract_course
from roomfield.signals.bursts import find_bursts, find_groups, lone_bursts
from roomfield.signals.folding import describe, fold, fold_aligned, frame_shape, nodes, template_shares

RATE = 48000.0


@pytest.mark.published("scipy.stats.binned_statistic on the same phases")
def test_fold_equals_binned_mean():
    x = np.random.default_rng(0).standard_normal(50000).astype(np.float32)
    period = 4.6153846e-3
    phase = (np.arange(x.size) / (RATE * period)) % 1.0
    expected = stats.binned_statistic(phase, x, "mean", 50, (0, 1)).statistic
    ours = fold(x, RATE, period, 50)
    np.testing.assert_allclose(ours, expected - expected.mean(), atol=2e-3)


def schedule(starts, widths, heights, duration_s, noise=0.02, seed=0):
    t = np.arange(int(duration_s * RATE)) / RATE
    x = noise * np.random.default_rng(seed).standard_normal(t.size)
    for a, w, h in zip(
        starts, np.broadcast_to(widths, len(starts)), np.broadcast_to(heights, len(starts)), strict=True
    ):
        x[(t >= a) & (t < a + w)] += h
    return x.astype(np.float32)


@pytest.mark.published("ETSI EN 300 175-2: packet P32 of 424 bits at 1152 kbit/s lasts 368 us")
def test_folded_width_of_a_cordless_burst():
    x = schedule(np.arange(0.001, 3.0, 0.01), 424 / 1152e3, 1.0, 3.0)
    shape = describe(fold(x, RATE, 0.01, 480), 0.01, 6e-5)
    assert shape.width_s == pytest.approx(368e-6, abs=22e-6)
    assert shape.strength > 20 and shape.second < 0.2 and shape.skew > 2
    assert shape.burst_s == shape.width_s


@pytest.mark.published("ETSI EN 300 175-2: in a call both ends send a packet P32, 5 ms apart")
@pytest.mark.parametrize("other", [0.9, 1.0, 1.1])
def test_folded_width_of_one_burst_of_a_call(other):
    starts = np.arange(0.001, 3.0, 0.005)
    x = schedule(starts, 424 / 1152e3, np.where(np.arange(starts.size) % 2, other, 1.0), 3.0)
    shape = describe(fold(x, RATE, 0.01, 480), 0.01, 6e-5)
    assert shape.burst_s == pytest.approx(368e-6, abs=22e-6)
    assert shape.spacing_s == pytest.approx(5e-3, abs=22e-6)


def test_subtracting_the_profile_leaves_noise():
    x = schedule(np.arange(0.001, 3.0, 0.01), 368e-6, 1.0, 3.0)
    x -= x.mean()
    subtract_course(x, 1 / (0.01 * RATE), nodes(x, RATE, 0.01))
    assert x.std() == pytest.approx(0.02, rel=0.05)


@pytest.mark.published("scipy.signal.resample of one period: a frame of 216.667 Hz is no whole number of samples")
def test_a_course_between_the_samples_leaves_nothing_of_a_smooth_frame():
    period_s, seconds = 60e-3 / 13, 4.0
    steps = np.arange(int(seconds * RATE)) / RATE / period_s
    shape = resample(np.random.default_rng(3).standard_normal(40), 8000)
    x = np.interp(steps % 1.0, np.arange(8000) / 8000, shape, period=1.0).astype(np.float32)
    x -= x.mean()
    before = float(x.std())
    subtract_course(x, 1 / (period_s * RATE), nodes(x, RATE, period_s))
    assert x.std() < 0.01 * before


def test_a_frame_of_whole_samples_is_taken_off_exactly():
    row = np.random.default_rng(4).standard_normal(480)
    x = np.tile(row - row.mean(), 300).astype(np.float32)
    subtract_course(x, 1 / 480, nodes(x, RATE, 480 / RATE))
    assert np.abs(x).max() < 1e-4


def test_aligned_folding_follows_a_drifting_source():
    t = np.arange(int(8 * RATE)) / RATE
    phase = np.cumsum(50 + 0.1 * np.sin(2 * np.pi * t / 16)) / RATE
    x = (np.sin(2 * np.pi * phase) > 0.5).astype(np.float32)
    steady = fold(x, RATE, 0.02, 200)
    aligned, drift = fold_aligned(x, RATE, 0.02, 200, 0.5)
    assert np.ptp(aligned) > 1.1 * np.ptp(steady)
    assert drift > 0.01


@pytest.mark.published(
    "3GPP TS 36.211 clause 6.10.1.2: reference symbols 0 and N-3 of each slot (0, 4, 7, 11 of a subframe)"
)
def test_reference_symbols_are_recognised_and_missing_subframes_seen():
    symbol = 1e-3 / 14
    starts = [f * 0.01 + s * 1e-3 + k * symbol for f in range(100) for s in (0, 1, 5, 6) for k in (0, 4, 7, 11)]
    x = schedule(starts, symbol, 1.0, 1.0)
    frame = frame_shape(fold(x, RATE, 0.01, 480))
    assert frame.pattern > 0.8
    assert sum(v < 0.3 for v in frame.subframes) == 6


@pytest.mark.published("3GPP TS 38.213 clause 4.1: blocks of four symbols, 143 us at 30 kHz; EN 300 175-2: 368 us")
def test_templates_tell_synchronisation_from_cordless():
    ssb = template_shares(fold(schedule(np.arange(0.002, 4, 0.02), 143e-6, 1.0, 4.0), RATE, 0.02, 960), 0.02)
    dect = template_shares(fold(schedule(np.arange(0.002, 4, 0.02), 368e-6, 1.0, 4.0), RATE, 0.02, 960), 0.02)
    assert ssb["sync_fdd"] > 2 * ssb["dect"] and ssb["sync_fdd"] > 0.8
    assert dect["dect"] > 1.15 * max(dect["sync_fdd"], dect["broadcast"], dect["ssb15"])


@pytest.mark.parametrize("width_s", [64e-6, 120e-6, 352e-6, 2e-3, 8.7e-3, 0.1])
def test_bursts_of_every_scale_are_found_with_their_width(width_s):
    starts = 0.05 + 0.25 * np.arange(8)
    table = find_bursts(schedule(starts, width_s, 1.0, 2.2), RATE)
    for start in starts:
        near = np.abs(table.starts_s - start) < 60e-6
        assert np.any(near & (np.abs(table.widths_s - width_s) < 45e-6))


@pytest.mark.calculated("first-order high-pass: a step decays as exp(-2 pi f t)")
def test_ac_coupling_does_not_hide_long_bursts():
    from scipy.signal import lfilter

    x = schedule([0.3, 1.1], 27.5e-3, 1.0, 2.0)
    pole = np.exp(-2 * np.pi * 40 / RATE)
    coupled = lfilter([(1 + pole) / 2, -(1 + pole) / 2], [1, -pole], x).astype(np.float32)
    table = find_bursts(coupled, RATE)
    assert np.sum(np.abs(table.widths_s - 27.5e-3) < 0.2e-3) == 2


def test_noise_holds_no_bursts():
    counts = [
        find_bursts(np.random.default_rng(s).standard_normal(480000).astype(np.float32), RATE).starts_s.size
        for s in range(5)
    ]
    assert sum(counts) <= 5


@pytest.mark.published("Bluetooth Core, Vol 6 Part B clause 4.4.2: one packet on each of three channels per event")
def test_advertising_triplets():
    events = np.cumsum(0.1 + np.random.default_rng(0).uniform(0, 0.01, 15))
    starts = (events[:, None] + np.arange(3) * 0.7e-3).ravel()
    assert find_groups(find_bursts(schedule(starts, 300e-6, 1.0, 2.0), RATE)).triplets >= 13


@pytest.mark.published("IEEE 802.15.4, 2.4 GHz: turnaround 192 us, acknowledgement of 11 bytes lasts 352 us")
def test_acknowledged_frames():
    frames = np.arange(0.1, 1.9, 0.2)
    x = schedule(frames, 2e-3, 1.0, 2.0) + schedule(frames + 2e-3 + 192e-6, 352e-6, 0.8, 2.0, noise=0.0)
    assert find_groups(find_bursts(x.astype(np.float32), RATE)).answered == frames.size


def test_pulse_trains_of_a_turning_beam():
    starts = np.concatenate([0.5 + np.arange(25) / 1000.0, 2.5 + np.arange(25) / 1000.0])
    groups = find_groups(find_bursts(schedule(starts, 30e-6, 1.0, 4.0), RATE))
    assert groups.trains == 2
    assert groups.train_rate_hz == pytest.approx(1000, rel=0.05)
    assert groups.turn_s == pytest.approx(2.0, abs=0.01)


def test_keyed_telegrams():
    bits = np.random.default_rng(4).integers(0, 2, 24)
    marks = np.where(bits, 0.9e-3, 0.3e-3)
    offsets = np.concatenate([[0], np.cumsum(np.full(24, 1.2e-3))[:-1]])
    starts = (np.arange(4)[:, None] * 0.08 + 0.2 + offsets).ravel()
    x = schedule(starts, np.tile(marks, 4), 1.0, 1.0)
    assert find_groups(find_bursts(x, RATE)).telegrams == 4


@pytest.mark.published("LoRa modem designer's guide: 2^SF / bandwidth a symbol; preamble 8 + 4.25 of them")
def test_a_telegram_heard_once_is_measured():
    symbol = 2**7 / 125e3
    width = (8 + 4.25 + 28) * symbol  # SF7, a packet of 28 payload symbols: 41.2 ms
    x = schedule([1.0], width, 1.0, 3.0)
    lone = lone_bursts(find_bursts(x, RATE), x, RATE)
    assert lone.count == 1 and lone.alone == 1.0
    assert lone.least_s == lone.most_s == pytest.approx(41.2e-3, abs=1e-4)
    assert lone.flutter == pytest.approx(1.0, abs=0.05)


def test_telegrams_close_together_are_not_alone():
    x = schedule([1.0, 1.02, 2.0], [6e-3, 9e-3, 12e-3], 1.0, 3.0)
    lone = lone_bursts(find_bursts(x, RATE), x, RATE)
    assert lone.count == 3 and lone.alone == pytest.approx(1 / 3)
    assert (lone.least_s, lone.middle_s, lone.most_s) == pytest.approx((6e-3, 9e-3, 12e-3), abs=1e-4)


def test_a_telegram_of_a_noisy_carrier_flutters():
    x = schedule([1.0], 10e-3, 1.0, 3.0)
    inside = slice(round(1.0 * RATE), round(1.01 * RATE))
    x[inside] += 0.1 * np.random.default_rng(3).standard_normal(inside.stop - inside.start).astype(np.float32)
    lone = lone_bursts(find_bursts(x, RATE), x, RATE)
    assert lone.flutter == pytest.approx(np.hypot(0.1, 0.02) / 0.02, rel=0.15)


def test_noise_has_no_telegrams():
    x = schedule([], [], [], 3.0)
    assert lone_bursts(find_bursts(x, RATE), x, RATE).count == 0
