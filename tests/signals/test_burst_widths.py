"""Widths of bursts as they are told: on narrow paths, behind high-passes and in rooms, and where a band shows none."""

import numpy as np
import pytest
from scipy.signal import butter, fftconvolve, sosfilt

from roomfield.signals.burst_widths import folded_width
from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather
from roomfield.signals.reasons import explain
from roomfield.signals.simulation import paths
from roomfield.signals.simulation.audio_scene import compose

RATE = 48000.0
# Bursts and their periods [s]: ETSI EN 300 175-2 (packet P32 in a frame of 10 ms), 3GPP TS 45.002 (148 bits of 48/13 us in a
# frame of 120/26 ms), ETSI EN 300 392-2 (one slot of four less its guard), IEEE 802.11 (a beacon of 258 bytes at 1 Mbit/s).
PUBLISHED = {
    "dect": (368e-6, 0.01),
    "gsm": (546e-6, 0.12 / 26),
    "tetra": (13.5e-3, 0.17 / 3),
    "beacon": (2256e-6, 0.1024),
}


def train(width_s: float, period_s: float, seed: int = 1, duration_s: float = 8.0, noise: float = 0.1) -> np.ndarray:
    """Bursts with edges between samples, by the mean over each sample."""
    edges = np.arange(int(duration_s * RATE) + 1) / RATE
    whole, part = np.divmod(edges, period_s)
    covered = whole * width_s + np.minimum(part, width_s)
    return np.diff(covered) * RATE + noise * np.random.default_rng(seed).standard_normal(edges.size - 1)


@pytest.mark.published("EN 300 175-2, TS 45.002, EN 300 392-2, IEEE 802.11, from memory")
@pytest.mark.parametrize("name", PUBLISHED)
def test_widths_survive_a_telephones_band(name):
    width_s, period_s = PUBLISHED[name]
    sound = train(width_s, period_s)
    sound = sosfilt(butter(2, 300.0, "highpass", fs=RATE, output="sos"), sound)
    sound = sosfilt(butter(4, 3400.0, fs=RATE, output="sos"), sound).astype(np.float32)
    found = folded_width(sound, RATE, period_s, top_hz=4000.0, widest_reach_s=3e-4)
    assert found is not None
    assert not found.at_most
    assert abs(found.width_s - width_s) < 3 * found.std_s
    assert found.std_s < 0.06 * width_s


def test_a_room_makes_no_burst_longer():
    width_s, period_s = PUBLISHED["beacon"]
    echo = np.random.default_rng(2).standard_normal(24000) * np.exp(-np.arange(24000) / 2500.0)
    echo *= 0.5 / np.sqrt((echo**2).sum())
    echo[0] += 1.0
    sound = sosfilt(butter(1, 400.0, "highpass", fs=RATE, output="sos"), train(width_s, period_s))
    sound = fftconvolve(sound, echo)[: sound.size].astype(np.float32)
    found = folded_width(sound, RATE, period_s, top_hz=12000.0, widest_reach_s=3e-4)
    assert found is not None
    assert found.width_s == pytest.approx(width_s, rel=0.02)


def test_what_the_band_cannot_part_is_at_most():
    sound = sosfilt(butter(6, 3400.0, fs=RATE, output="sos"), train(83.3e-6, 0.01)).astype(np.float32)
    found = folded_width(sound, RATE, 0.01, top_hz=3400.0, widest_reach_s=6e-5)
    assert found is not None
    assert found.at_most
    assert found.width_s >= 83.3e-6


def test_noise_has_no_width():
    sound = np.random.default_rng(3).standard_normal(int(8 * RATE)).astype(np.float32)
    assert folded_width(sound, RATE, 0.01, top_hz=20000.0, widest_reach_s=6e-5) is None


@pytest.mark.parametrize("path", ["call", "loudspeaker", "8k"])
def test_the_told_width_holds_on_paths(path):
    told = 0
    for name, seed in (("tetra", 3), ("dmr", 4), ("dect", 5)):
        scene = compose(np.random.default_rng(seed), (name,), duration_s=8.0, snr_db=28.0, clean=True)
        samples, rate = paths.PATHS[path](scene.samples, float(scene.sample_rate_hz))
        heard = explain(name, 1.0, gather(condition(samples, rate)), full=True)
        if heard.burst_width_s is None:
            continue
        told += 1
        truth = float(np.median(scene.components[0].widths_s))
        assert abs(heard.burst_width_s - truth) < max(4 * heard.burst_width_std_s, 0.05 * truth)
    assert told >= 2
