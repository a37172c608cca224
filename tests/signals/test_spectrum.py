"""Whitened spectrum and combs against SciPy and Astropy on the same data."""

import numpy as np
import pytest
from astropy.timeseries import LombScargle
from scipy import signal

from roomfield.signals.combs import Comb, mask_comb, weigh_comb
from roomfield.signals.spectrum import PADDING, local_floor, white_spectrum

RATE = 48000.0


def pulses(rate_hz: float, width_s: float, duration_s: float, noise: float, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.arange(int(duration_s * RATE)) / RATE
    x = ((t * rate_hz) % 1.0 < width_s * rate_hz).astype(float)
    return (x - x.mean() + noise * rng.standard_normal(t.size)).astype(np.float32)


@pytest.mark.published("scipy.signal.periodogram, window 'hann', on the same data")
def test_power_equals_scipys_periodogram():
    x = pulses(100.0, 368e-6, 2.0, 0.1)
    ours = white_spectrum(x, RATE)
    length = PADDING * x.size
    assert ours.bins_per_hz == pytest.approx(length / RATE)
    window = np.hanning(x.size)
    _, theirs = signal.periodogram(x.astype(float), RATE, window=window, nfft=length, detrend=False, scaling="density")
    scaled = ours.white * ours.floor / (RATE * np.sum(window**2)) * 2
    inside = slice(10, 60000)
    np.testing.assert_allclose(scaled[inside], theirs[inside], rtol=2e-2, atol=1e-6 * theirs.max())


@pytest.mark.published("astropy.timeseries.LombScargle on the same data")
def test_comb_offset_agrees_with_lomb_scargle():
    true_hz = 97.3 * (1 + 40e-6)
    x = pulses(true_hz, 400e-6, 4.0, 0.3)
    found = weigh_comb(white_spectrum(x, RATE), Comb("c", 97.3, top_hz=5000.0))
    ours = 97.3 * (1 + found.offset_ppm * 1e-6)
    coarse = x[: x.size // 8 * 8].reshape(-1, 8).mean(1)
    t = (np.arange(coarse.size) + 0.5) * 8 / RATE
    grid = true_hz * (1 + np.linspace(-600e-6, 600e-6, 121))
    power = LombScargle(t, coarse, nterms=10, normalization="standard").power(grid, method="chi2")
    theirs = grid[np.argmax(power)]
    assert ours == pytest.approx(theirs, rel=60e-6)
    assert ours == pytest.approx(true_hz, rel=15e-6)


def test_white_noise_has_unit_mean_whatever_its_colour():
    rng = np.random.default_rng(3)
    pink = signal.lfilter([1.0], [1, -0.95], rng.standard_normal(480000)).astype(np.float32)
    white = white_spectrum(pink, RATE).white
    for low, high in ((2000, 20000), (100000, 200000), (300000, 470000)):
        assert white[low:high].mean() == pytest.approx(1.0, abs=0.08)


@pytest.mark.calculated("median of the exponential distribution is ln 2 of its mean")
def test_local_floor_is_the_mean_of_exponential_power():
    power = np.random.default_rng(5).exponential(7.0, 100000).astype(np.float32)
    assert np.median(local_floor(power, 2000)) == pytest.approx(7.0, rel=0.05)


def test_masking_takes_a_comb_out_and_leaves_another():
    x = pulses(100.0, 368e-6, 4.0, 0.02) + pulses(266.6666, 300e-6, 4.0, 0.02, seed=1)
    spectrum = white_spectrum(x, RATE)
    white = spectrum.white.copy()
    mask_comb(white, spectrum, 100.0, 0.0)
    rest = type(spectrum)(white, spectrum.floor, spectrum.bins_per_hz, spectrum.duration_s)
    assert weigh_comb(rest, Comb("a", 100.0)).score < 3
    assert weigh_comb(rest, Comb("b", 800 / 3, (3,))).score > 50


def test_noise_scores_stay_low():
    scores = []
    for seed in range(20):
        noise = np.random.default_rng(seed).standard_normal(96000).astype(np.float32)
        scores.append(weigh_comb(white_spectrum(noise, RATE), Comb("c", 100.0)).score)
    assert max(scores) < 6.0
