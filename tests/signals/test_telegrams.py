"""Simulated senders of single telegrams and rotating radars against published timing."""

import numpy as np
import pytest

from roomfield.signals.simulation import packets, radars, short_range
from roomfield.signals.simulation.audio_scene import SOURCES
from roomfield.signals.simulation.component import Bench


def bench(seed=0, duration_s=12.0):
    return Bench(np.random.default_rng(seed), 96000.0, duration_s)


@pytest.mark.published("airtime tables for LoRaWAN at 125 kHz, coding 4/5, explicit header (from memory)")
@pytest.mark.parametrize(
    ("spreading", "size", "airtime_ms"), [(7, 13, 46.3), (12, 13, 1155.1), (7, 64, 118.0), (12, 64, 2793.5)]
)
def test_lora_airtime(spreading, size, airtime_ms):
    assert short_range.lora_airtime_s(spreading, size) * 1e3 == pytest.approx(airtime_ms, abs=0.06)


@pytest.mark.published(
    "EN 13757-4 (from memory): S 32.768 kchip/s of Manchester, T 100 kchip/s of 3 out of 6, C 100 kchip/s"
)
def test_meter_telegram_of_thirty_bytes():
    assert short_range.telegram_s("S", 30) - short_range.telegram_s("S", 29) == pytest.approx(8 / 16384)
    assert short_range.telegram_s("T", 30) - short_range.telegram_s("T", 28) == pytest.approx(16 / 66667, rel=1e-4)
    assert short_range.telegram_s("C", 30) - short_range.telegram_s("C", 29) == pytest.approx(8 / 100e3)
    assert 3e-3 < short_range.telegram_s("T", 30) < short_range.telegram_s("S", 30, long_header=True) < 40e-3


@pytest.mark.published("EN 300 220 devices (from memory): on-off keying of 0.3 to 10 kbit/s")
def test_marks_of_remotes():
    for seed in range(40):
        starts, marks = short_range.keyed_telegram(bench(seed))
        assert np.all(np.diff(starts) >= marks[:-1] - 1e-12)
        assert marks.min() > 0.09e-3 and starts[-1] + marks[-1] < 0.3


@pytest.mark.published("ITU-R M.1464 family (from memory): 250 to 3000 pulses a second, beam on a place 5 to 60 ms")
def test_radar_passes_once_each_turn():
    for seed in range(30):
        part = radars.radar(bench(seed))
        turn, rate = 1 / part.rates_hz[0], part.rates_hz[1]
        starts = np.sort(part.starts_s)
        assert 250 < rate < 3000 and 1.4 < turn < 12.1
        passages = np.flatnonzero(np.r_[True, np.diff(starts) > 0.5 * turn])
        assert np.all(np.diff(np.r_[passages, starts.size])[1:-1] >= 5)
        assert passages.size <= 12.0 / turn + 1.2


@pytest.mark.parametrize("name", ["smart_meter", "lora", "ism_remote", "radar", "zigbee", "bluetooth_le_adv"])
def test_whoever_is_named_is_heard(name):
    """A sender that the truth names is on the air at least once, however short the recording is."""
    for seed in range(25):
        assert SOURCES[name](bench(seed, 1.0)).power.max() > 0.05


def test_slow_beacons_are_among_the_advertisers():
    gaps = [np.diff(packets.bluetooth_le_adv(bench(seed)).starts_s[::3]) for seed in range(30)]
    assert max(float(gap.max()) for gap in gaps if gap.size) > 1.0
