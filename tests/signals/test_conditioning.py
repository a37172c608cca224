"""A recording of a low rate is read on the same scale of time as any other."""

import numpy as np
import pytest

from roomfield.signals.conditioning import DENSE_RATE_HZ, condition
from roomfield.signals.features import gather

LOW_RATE_HZ = 8000.0
TONE_HZ = 2900.0
FRAME_S, BURST_S = 0.01, 0.75e-3


def bursts_every_ten_ms(rng: np.random.Generator, rate_hz: float, seconds: float) -> np.ndarray:
    """Rectangles averaged over each sample, in step with the samples as with an exact clock, in noise."""
    fine = 24
    at = np.arange(round(rate_hz * seconds) * fine) / (rate_hz * fine)
    box = (at % FRAME_S < BURST_S).astype(float)
    return box.reshape(-1, fine).mean(1) + 0.02 * rng.standard_normal(round(rate_hz * seconds))


@pytest.mark.calculated(
    "Whittaker and Shannon: samples of a band-limited tone prescribe it at every moment between them"
)
def test_a_low_rate_is_read_between_its_samples():
    at = np.arange(16000) / LOW_RATE_HZ
    data = condition(np.sin(2 * np.pi * TONE_HZ * at), LOW_RATE_HZ)
    assert data.sample_rate_hz >= DENSE_RATE_HZ and data.top_hz == LOW_RATE_HZ / 2
    dense = np.arange(data.samples.size) / data.sample_rate_hz
    middle = slice(data.samples.size // 4, 3 * data.samples.size // 4)
    np.testing.assert_allclose(data.samples[middle], np.sin(2 * np.pi * TONE_HZ * dense)[middle], atol=0.02)


@pytest.mark.calculated("rectangles of 0.75 ms every 10 ms: what was put in")
def test_a_burst_in_step_with_a_low_rate_has_its_width():
    evidence = gather(condition(bursts_every_ten_ms(np.random.default_rng(4), LOW_RATE_HZ, 4.0), LOW_RATE_HZ))
    assert evidence.shapes["10ms"].width_s == pytest.approx(BURST_S, abs=6e-5)
    assert evidence.shapes["10ms"].rises <= 2
    assert evidence.spectrum.top_hz <= LOW_RATE_HZ / 2


@pytest.mark.calculated("half of a rate of 96 kHz, and of one that is dense enough")
def test_other_rates_keep_their_samples():
    noise = np.random.default_rng(1).standard_normal(96000)
    assert condition(noise, 96000.0).top_hz == 24000.0
    assert condition(noise, 48000.0).samples.size == noise.size


def test_two_telegrams_are_no_hum():
    """Two short bursts have a smooth spectrum at low frequencies: highest at an edge of what is searched, and no line there."""
    rate = 48000.0
    samples = 1e-4 * np.random.default_rng(3).standard_normal(int(10 * rate))
    for start_s in (2.1, 6.83):
        samples[int(start_s * rate) : int((start_s + 5e-3) * rate)] += 0.5
    assert condition(samples, rate).hum_hz is None
