"""Ways from the socket to the file: what each does to a known sound."""

import numpy as np
import pytest
from benchmarks.signals_codecs import NARROW_SHARES, disguise, disguises, draw_narrow

from roomfield.signals import analyse
from roomfield.signals.simulation import paths

RATE = 48000.0
T = np.arange(2 * int(RATE)) / RATE


def level_at(samples, rate, hz):
    t = np.arange(samples.size) / rate
    return 2 * abs(np.mean(samples * np.exp(-2j * np.pi * hz * t)))


def tone(hz, level=0.3):
    return (level * np.sin(2 * np.pi * hz * T)).astype(np.float32)


@pytest.mark.parametrize("name", [n for n in disguises() if n])
def test_every_path_keeps_length_and_the_middle_of_the_band(name):
    if name in ("aac", "speech"):
        pytest.importorskip("av")
    changed, rate, stretch = disguise(name, tone(1000.0), RATE)
    assert changed.dtype == np.float32 and np.isfinite(changed).all()
    assert changed.size / rate == pytest.approx(2.0, abs=0.15)
    assert level_at(changed, rate, 1000.0 * stretch) > 0.5 * np.sqrt(2) * changed.std()


def test_gain_riding_brings_loud_and_soft_together():
    stepped = tone(1000.0) * np.where(T < 1, 1.0, 0.1).astype(np.float32)
    even, _ = paths.gain_riding(stepped, RATE, release_s=0.1, strength=1.0)
    late = slice(int(1.8 * RATE), None)
    assert stepped[late].std() / stepped[: int(0.9 * RATE)].std() == pytest.approx(0.1, rel=0.01)
    assert even[late].std() / even[: int(0.9 * RATE)].std() > 0.7


def test_a_slow_clock_raises_every_rate():
    changed, _ = paths.clock(tone(1000.0), RATE, 100.0)
    assert level_at(changed, RATE, 1000.1) > 0.29
    assert level_at(changed, RATE, 1000.1) > level_at(changed, RATE, 1000.0)


def test_a_narrow_band_loses_lows_and_highs():
    for hz, kept in ((30.0, 0.1), (1000.0, 1.0), (15000.0, 0.05)):
        changed, rate = paths.band(tone(hz), RATE)
        assert level_at(changed, rate, hz) / 0.3 == pytest.approx(kept, abs=0.1)


@pytest.mark.published(
    "ITU-T G.712: a telephone channel ends at 3.4 kHz; rates of at most 12 kHz end at 6 kHz (Shannon)"
)
def test_narrow_paths_leave_less_than_six_kilohertz():
    pytest.importorskip("av")
    noise = (0.1 * np.random.default_rng(2).standard_normal(3 * 48000)).astype(np.float32)
    drawn = [draw_narrow(np.random.default_rng(seed), noise, 48000.0) for seed in range(14)]
    assert {name for _, _, name in drawn} == set(NARROW_SHARES)
    for samples, rate_hz, _ in drawn:
        assert samples.size / rate_hz == pytest.approx(3.0, abs=0.1)
        density = np.abs(np.fft.rfft(samples)) ** 2
        above = density[int(6000 * samples.size / rate_hz) :].sum()
        assert above < 0.02 * density.sum()


@pytest.mark.published("EN 300 175-2: a frame of 10 ms, a packet of 424 bits at 1152 kbit/s")
@pytest.mark.parametrize("path", ["8k", "call"])
@pytest.mark.parametrize("noise", [0.002, 0.005])
def test_an_idle_cordless_base_is_named_through_a_telephone(path, noise):
    """So clean a comb of so few lines was called a tone at 2 kHz, with the packet's width among the reasons."""
    fine, rate_hz = 8, 48000.0
    time_s = np.arange(int(8 * rate_hz) * fine) / (fine * rate_hz)
    on = (time_s * 100.0007 % 1.0 < 424 / 1.152e6 * 100).reshape(-1, fine).mean(1)
    sound = 0.1 * (on - on.mean()) + noise * np.random.default_rng(1).standard_normal(on.size)
    samples, low_hz = paths.PATHS[path](sound.astype(np.float32), rate_hz)
    heard = analyse(samples, sample_rate_hz=low_hz)
    assert [h.name for h in heard.claimed] == ["dect"]
