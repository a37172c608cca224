"""Rates and widths as they are told: their uncertainty, and single bursts out of groups of slots."""

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from roomfield.references.technologies import technology
from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather
from roomfield.signals.reasons import FAINT_BESIDE, rates_of
from roomfield.signals.simulation import paths
from roomfield.signals.simulation.audio_scene import compose
from roomfield.signals.width_reasons import one_slot_s


@pytest.mark.published("3GPP TS 45.002 clause 4.3.1: slot 15/26 ms; ETSI EN 300 175-2: slot 10/24 ms")
@pytest.mark.parametrize("slots", [1, 2, 3, 5])
def test_slots_side_by_side_are_not_one_burst(slots):
    for name, slot_s, burst_s in (("gsm", 15e-3 / 26, 546.5e-6), ("dect", 10e-3 / 24, 368e-6)):
        group_s = (slots - 1) * slot_s + burst_s
        assert one_slot_s(name, group_s, technology(name)) == pytest.approx(burst_s, rel=1e-9)
    assert one_slot_s("wifi_beacon", 2e-3, technology("wifi_beacon")) == 2e-3


def test_the_printed_deviation_of_a_rate_holds():
    names, deviations = ("dect", "gsm", "dmr", "lte_fdd", "wifi_beacon", "dvbt"), []
    for seed in range(5):
        for index, name in enumerate(names):
            rng = np.random.default_rng([seed, index, 17])
            scene = compose(rng, (name,), duration_s=6.0, snr_db=float(rng.uniform(14, 30)), clean=True)
            evidence = gather(condition(scene.samples, scene.sample_rate_hz))
            truth = scene.components[0].rates_hz
            rates = [r for r in rates_of(name, evidence) if min(abs(r.frequency_hz / t - 1) for t in truth) < 1e-3]
            if len(truth) == 1 and rates:
                deviations.append(abs(rates[0].frequency_hz - truth[0]) / rates[0].frequency_std_hz)
    inside = np.array(deviations)
    assert inside.size >= 20
    assert 0.5 < np.mean(inside < 1) < 0.9
    assert np.mean(inside < 2.5) > 0.85


def test_the_deviation_covers_what_a_speech_codec_holds_back():
    """A frame 4 ppm off drifts by 32 us in 8 s, a quarter of the codec's sample: full rate (EN 300 961) pulls at it."""
    deviations = []
    for seed, name in enumerate(("dect", "dmr", "nr_tdd", "gsm", "tetra", "dect", "gsm", "nr_tdd")):
        rng = np.random.default_rng([seed, 23])
        scene = compose(rng, (name,), duration_s=8.0, snr_db=26.0, clean=True, clock_ppm=4.0)
        samples, rate = paths.to_rate(scene.samples, float(scene.sample_rate_hz), 8000.0)
        evidence = gather(condition(*paths.through_file(samples, rate, "WAV", "GSM610")))
        for told in rates_of(name, evidence)[:1]:
            near = [hz for hz in scene.components[0].rates_hz if abs(told.frequency_hz / hz - 1) < 1e-4]
            deviations += [abs(told.frequency_hz - hz) / told.frequency_std_hz for hz in near[:1]]
    assert len(deviations) >= 5
    assert np.median(deviations) < 1.5
    assert np.mean(np.array(deviations) < 3) > 0.7


def test_silence_above_a_codecs_band_is_no_clock():
    """Pulses at 100 Hz, band-limited to 5 kHz with next to nothing above: the rate must be the pulses' own."""
    t = np.arange(8 * 48000) / 48000
    rng = np.random.default_rng(4)
    pulses = ((t * 99.99916) % 1.0 < 0.0368) + 0.05 * rng.standard_normal(t.size)
    sound = sosfilt(butter(16, 5000.0, fs=48000, output="sos"), pulses) + 1e-7 * rng.standard_normal(t.size)
    (rate,) = rates_of("dect", gather(condition(sound.astype(np.float32), 48000.0)))
    assert rate.frequency_hz == pytest.approx(99.99916, rel=1e-6)


def test_twice_the_period_needs_lines_of_its_own():
    """20 ms synchronisation with a few faint lines in between, as codecs of frames leave: it stays 20 ms."""
    t = np.arange(8 * 48000) / 48000
    rng = np.random.default_rng(5)
    clicks = ((t * 50.0) % 1.0 < 143e-6 * 50.0) + 0.02 * rng.standard_normal(t.size)
    left = 0.002 * sum(np.cos(2 * np.pi * (25.0 * k * t + rng.random())) for k in range(11, 121, 2))
    evidence = gather(condition((clicks + left).astype(np.float32), 48000.0))
    assert evidence.combs["25odd"].score > FAINT_BESIDE * evidence.combs["50odd"].score
    assert rates_of("nr_tdd", evidence)[0].frequency_hz == pytest.approx(50.0, rel=1e-6)
