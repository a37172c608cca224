"""Beeps start and stop as bursts do, and are no transmitters."""

import numpy as np
import pytest

from roomfield.signals import analyse
from roomfield.signals.spectrum import white_spectrum
from roomfield.signals.tonal_share import tonal_share
from roomfield.signals.tones import TONAL

RATE = 48000


def beeps(tone_hz, on_s, every_s, seconds=8):
    t = np.arange(RATE * seconds) / RATE
    phase = t % every_s
    edge = np.clip(np.minimum(phase, on_s - phase) / 2e-3, 0, 1)
    noise = 0.002 * np.random.default_rng(0).standard_normal(t.size)
    return (0.2 * np.sin(2 * np.pi * tone_hz * t) * edge + noise).astype(np.float32)


@pytest.mark.parametrize(("tone_hz", "on_s", "every_s"), [(987.0, 0.08, 0.25), (2048.5, 0.03, 0.5), (3071.0, 0.1, 0.2)])
def test_a_timer_is_no_remote_and_no_unknown(tone_hz, on_s, every_s):
    sound = beeps(tone_hz, on_s, every_s)
    assert tonal_share(white_spectrum(sound, float(RATE))) > 0.9
    hearing = analyse(sound, sample_rate_hz=RATE)
    assert not hearing.claimed and hearing.answer.kind in ("tone", "sounds", "nothing")


def test_two_tones_hold_nearly_all_power_and_noise_next_to_none():
    t = np.arange(RATE * 2) / RATE
    noise = 0.01 * np.random.default_rng(1).standard_normal(t.size)
    keys = 0.3 * (np.sin(2 * np.pi * 697.3 * t) + np.sin(2 * np.pi * 1208.7 * t))
    assert tonal_share(white_spectrum((keys + noise).astype(np.float32), float(RATE))) > 0.95
    assert tonal_share(white_spectrum(noise.astype(np.float32), float(RATE))) < 0.05


@pytest.mark.parametrize("name", ["dect", "gsm", "lte_fdd", "nr_tdd", "wifi_beacon", "ism_remote", "radar", "tetra"])
def test_transmitters_are_not_tonal(invent, name):
    for seed in range(3):
        scene = invent(name, seed=seed, duration_s=4.0)
        assert tonal_share(white_spectrum(scene.samples, float(RATE))) < TONAL
