"""Search and refinement of repetitions: bounds, false alarms, mixtures."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import logsumexp

from roomfield.signals.periodicity import find_periods, log10_gamma_tail, refine_rate
from roomfield.signals.spectrum import white_spectrum

RATE = 16000.0


def sinusoids(amplitudes: list[float], rate_hz: float, duration_s: float, noise: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.arange(int(duration_s * RATE)) / RATE
    x = noise * rng.standard_normal(t.size)
    for k, a in enumerate(amplitudes, 1):
        x += a * np.cos(2 * np.pi * (k * rate_hz * t + rng.random()))
    return x.astype(np.float32)


@pytest.mark.published(
    "Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591, bound for one tone; summed over harmonics"
)
def test_refined_rate_reaches_the_cramer_rao_bound():
    amplitudes, true_hz, duration, noise = [1.0, 0.8, 0.6, 0.5, 0.4], 123.456, 2.0, 3.0
    n = int(duration * RATE)
    weight = sum(k**2 * a**2 for k, a in enumerate(amplitudes, 1))
    bound = np.sqrt(24 * noise**2 / (weight * n**3)) * RATE / (2 * np.pi)
    errors, stated = [], []
    for seed in range(60):
        x = sinusoids(amplitudes, true_hz, duration, noise, seed)
        spectrum = white_spectrum(x, RATE)
        got = refine_rate(x, RATE, true_hz + 0.02, spectrum, top_hz=650.0, span_cycles=0.5)
        errors.append(got.frequency_hz - true_hz)
        stated.append(got.std_hz)
    spread = float(np.sqrt(np.mean(np.square(errors))))
    assert 0.75 * bound < spread < 1.35 * bound
    assert np.median(stated) == pytest.approx(bound, rel=0.2)
    assert abs(np.mean(errors)) < 3 * bound / np.sqrt(60)


@pytest.mark.published("scipy.stats.gamma.sf")
def test_gamma_tail_against_scipy_and_beyond_its_underflow():
    for total, shape in ((5.0, 1), (60.0, 32), (300.0, 32)):
        assert log10_gamma_tail(total, shape) == pytest.approx(np.log10(stats.gamma.sf(total, shape)), abs=1e-6)
    exact = logsumexp(stats.poisson.logpmf(np.arange(32), 1280.0)) / np.log(10)
    assert log10_gamma_tail(1280.0, 32) == pytest.approx(exact, rel=1e-3)


def test_false_alarm_rate_holds_under_noise():
    found = 0
    for seed in range(60):
        x = np.random.default_rng(seed).standard_normal(int(2 * RATE)).astype(np.float32)
        found += len(find_periods(x, RATE, white_spectrum(x, RATE), false_alarm=0.05))
    assert found <= 9  # binomial(60, 0.05) exceeds 9 with chance below 0.2 %


def train(rate_hz: float, width_s: float, duration_s: float, level: float) -> np.ndarray:
    t = np.arange(int(duration_s * RATE)) / RATE
    return level * ((t * rate_hz) % 1.0 < width_s * rate_hz)


def test_unknown_rate_is_found_without_being_told():
    rng = np.random.default_rng(1)
    x = (train(23.4, 1.2e-3, 6.0, 1.0) + 0.5 * rng.standard_normal(int(6 * RATE))).astype(np.float32)
    x -= x.mean()
    found = find_periods(x, RATE, white_spectrum(x, RATE))
    assert found[0].frequency_hz == pytest.approx(23.4, abs=5 * found[0].std_hz + 1e-4)
    assert found[0].log10_false_alarm < -20


def test_search_again_after_cleaning_finds_the_second_comb():
    rng = np.random.default_rng(2)
    x = train(100.0005, 368e-6, 6.0, 1.0) + train(17.647, 10e-3, 6.0, 0.4) + 0.1 * rng.standard_normal(int(6 * RATE))
    x = (x - x.mean()).astype(np.float32)
    rates = [p.frequency_hz for p in find_periods(x, RATE, white_spectrum(x, RATE))]
    assert min(abs(r / 100.0005 - 1) for r in rates) < 1e-5
    assert min(abs(r / 17.647 - 1) for r in rates) < 3e-5
