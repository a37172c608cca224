"""Pulse trains outside the table: they sit in nobody's comb, and a listed emitter beside them keeps its name."""

import numpy as np
import pytest

from roomfield.signals import analyse
from roomfield.signals.bursts import BurstTable
from roomfield.signals.combs import weigh_comb
from roomfield.signals.conditioning import condition
from roomfield.signals.features import COMBS
from roomfield.signals.periodicity import FoundPeriod
from roomfield.signals.simulation.audio_scene import compose
from roomfield.signals.simulation.unlisted import is_listed as near_the_table
from roomfield.signals.simulation.unlisted import unlisted_rate
from roomfield.signals.spectrum import white_spectrum
from roomfield.signals.strangers import burst_rate, earned, fast_burst_rate, is_listed, strangers

RATE = 48000


def pulses(rate_hz, width_s, *, seconds=8, seed=0, noise=0.01):
    t = np.arange(RATE * seconds) / RATE
    train = ((t * rate_hz) % 1.0 < rate_hz * width_s) * 0.2
    return train + noise * np.random.default_rng(seed).standard_normal(t.size)


@pytest.mark.parametrize(
    ("rate_hz", "width_s"),
    [(5.0, 3e-4), (10.0, 3e-4), (12.5, 3e-4), (20.0, 2e-3), (30.0, 2e-3), (10.0, 1.5e-3), (40.0, 5e-4)],
)
def test_a_round_rate_outside_the_table_gets_no_famous_name(rate_hz, width_s):
    hearing = analyse(pulses(rate_hz, width_s), sample_rate_hz=RATE)
    assert not hearing.claimed
    assert hearing.answer.kind == "pulsed"
    assert hearing.answer.rates_hz[0] == pytest.approx(rate_hz, rel=2e-6)
    assert hearing.verdict == f"unknown pulsed signal at {rate_hz:.4g} Hz"


def test_a_base_beside_a_stranger_keeps_its_name(invent):
    scene = invent("dect", seed=4, duration_s=8.0)
    both = scene.samples + pulses(12.5, 4e-4, noise=0.0)[: scene.samples.size] * float(np.abs(scene.samples).max()) * 4
    hearing = analyse(both, sample_rate_hz=RATE)
    assert [h.name for h in hearing.claimed] == ["dect"]
    assert hearing.answer.rates_hz[0] == pytest.approx(12.5, rel=1e-5)
    assert hearing.verdict.endswith("unknown pulsed signal at 12.5 Hz")


def found(hz, lines=32, chance=-100.0):
    return FoundPeriod(hz, hz * 1e-7, 100.0, chance, lines)


@pytest.mark.published("3GPP TS 45.002 clause 4.3: 26 frames in 120 ms; ETSI EN 300 175-2: 10 ms; IEEE 802.11: 1024 us")
def test_rates_of_the_standards_are_no_strangers():
    for hz in (100.0, 26 / 0.12, 1 / 0.12, 13 / 0.12, 1e6 / 102400, 200.02, 99.99, 50.0, 60.1):
        assert is_listed(found(hz))
    for hz in (5.0, 10.0, 12.5, 20.0, 30.0, 101.0, 216.0, 9.8):
        assert not is_listed(found(hz))


def test_side_lines_of_a_listed_rate_and_uncertain_ones_are_no_strangers():
    assert strangers([found(50.0), found(275.0), found(125.0)]) == ()
    assert strangers([found(12.5, chance=-5.0)]) == () == strangers([found(12.5, lines=2)])
    assert [p.frequency_hz for p in strangers([found(12.5), found(50.0)])] == [12.5]


def test_invented_trains_keep_off_the_table():
    rng = np.random.default_rng(3)
    rates = [unlisted_rate(rng) for _ in range(300)]
    assert not any(near_the_table(rate) for rate in rates)
    assert min(rates) >= 3 and max(rates) < 2100
    scene = compose(rng, ("unlisted",), duration_s=2.0, clean=True)
    assert scene.components[0].rates_hz[0] > 0


def burst_table(starts_s):
    n = starts_s.size
    ones = np.ones(n)
    return BurstTable(starts_s, 1e-4 * ones, ones, np.zeros(n, int), ones, (0.01,) * 5, ones, ones)


def test_few_bursts_in_step_and_fast_ones_are_told_from_bursts_at_random():
    rng = np.random.default_rng(1)
    few = np.sort(rng.choice(60, 16, replace=False)) / 12.0
    assert burst_rate(burst_table(few)) == pytest.approx(12.0, rel=0.01)
    paused = np.arange(1600) / 203.8
    paused = paused[(paused % 3.0) < 1.1]
    assert fast_burst_rate(burst_table(paused)) == pytest.approx(203.8, rel=1e-3)
    for seed in range(20):
        at_random = np.sort(np.random.default_rng(seed).uniform(0, 8.0, 300))
        assert burst_rate(burst_table(at_random)) == 0.0 == fast_burst_rate(burst_table(at_random))


@pytest.mark.parametrize("rate_hz", [250.0, 1000 / 3, 125.0])
def test_lines_of_a_stranger_alone_earn_no_comb(rate_hz):
    """Every multiple of 1 kHz is a line of 250 and 333.3 Hz, and of 500 Hz one of 125: no base is needed for them."""
    data = condition(pulses(rate_hz, 2e-4).astype(np.float32), float(RATE))
    spectrum = white_spectrum(data.raw, data.sample_rate_hz, data.top_hz)
    comb = COMBS["1000odd"]
    assert weigh_comb(spectrum, comb).score > 50
    assert not earned(comb, spectrum, [found(rate_hz)])
    base = condition((pulses(rate_hz, 2e-4) + pulses(1000.0, 7e-5, noise=0.0)).astype(np.float32), float(RATE))
    assert earned(COMBS["2000"], white_spectrum(base.raw, float(RATE), base.top_hz), [found(7.3)])


def test_short_pulses_at_sixty_hertz_are_no_oven():
    hearing = analyse(pulses(60.0004, 8.7e-4, noise=0.02), sample_rate_hz=RATE)
    assert "microwave_oven" not in {h.name for h in hearing.claimed}
