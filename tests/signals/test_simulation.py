"""Simulated emitters against the standards' published timing."""

import numpy as np
import pytest

from roomfield.signals.simulation import broadcast, ofdm, packets, room, slotted
from roomfield.signals.simulation.audio_scene import SOURCES, SimulatedMeter, compose, couple, detect, random_scene
from roomfield.signals.simulation.component import Bench, boxes


def bench(seed=0, duration_s=4.0):
    return Bench(np.random.default_rng(seed), 96000.0, duration_s)


def test_boxes_keep_area_whatever_the_grid():
    b = bench()
    power = boxes(b, np.array([0.1000031, 0.2, 0.30000777]), np.array([368.06e-6, 1e-6, 0.01]))
    assert power.sum() / b.rate_hz == pytest.approx(368.06e-6 + 1e-6 + 0.01, rel=1e-4)


@pytest.mark.published("ETSI EN 300 175-2: 10 ms frame, packet of 368 us, crystal within tens of ppm")
def test_dect_schedule():
    for seed in range(6):
        part = slotted.dect(bench(seed))
        assert part.rates_hz[0] == pytest.approx(100.0, rel=50e-6)
        assert np.unique(np.round(part.widths_s * 1e6)).item() in (83, 368)


@pytest.mark.published("3GPP TS 45.002: frame 60/13 ms; one frame of 26 idle for a handset in a call")
def test_gsm_handset_schedule():
    for seed in range(30):
        part = slotted.gsm(bench(seed, 6.0))
        if part.variant == "handset call":
            gaps = np.diff(part.starts_s)
            assert np.median(gaps) == pytest.approx(60e-3 / 13, rel=1e-4)
            assert np.any(np.abs(gaps / (60e-3 / 13) - 2) < 1e-3)
            return
    raise AssertionError("no handset drawn")


@pytest.mark.published("3GPP TS 36.211 clause 4: 140 symbols in 10 ms; time-division layouts of table 4.2-2")
def test_lte_layouts_and_symbol_grid():
    assert ofdm.LTE_SYMBOL_EDGES_S[-1] == pytest.approx(1e-3, rel=1e-9)
    assert ofdm.TDD_LAYOUTS[2] == "DSUDDDSUDD" and ofdm.TDD_LAYOUTS[0] == "DSUUUDSUUU"
    assert ofdm.TDD_LAYOUTS[6] == "DSUUUDSUUD"
    assert all(layout[:3].startswith("DS") and len(layout) == 10 for layout in ofdm.TDD_LAYOUTS.values())


@pytest.mark.published("3GPP TS 36.331 clause 5.2.1.2 (from memory): SIB1 in subframe 5 of frames with an even number")
def test_system_information_comes_every_second_frame():
    seen = 0
    for seed in range(8):
        levels = ofdm._lte_levels(bench(seed), 40, 25, "D" * 10, 0.0)
        even, odd = levels[::2, 5, 8].mean(), levels[1::2, 5, 8].mean()
        assert even >= 0.98 * odd
        seen += even > 1.05 * odd
    assert seen >= 2


def test_a_full_load_leaves_no_block_out():
    assert ofdm._busy(bench(), 1000, 1.0).all()
    shares = [ofdm._busy(bench(seed), 4000, 0.3).mean() for seed in range(40)]
    assert 0.2 < np.mean(shares) < 0.4


def test_broadcast_of_time_division_stays_out_of_uplink_slots():
    levels = np.zeros((400, 14))
    ofdm._nr_broadcast(bench(), levels, 2, "DDDSU")
    assert levels.any() and not levels[4::5].any() and not levels[3::5].any()


@pytest.mark.published(
    "3GPP TS 45.008 clause 7.1 (from memory): a base sends without pause on the carrier of its control channel"
)
def test_some_base_carriers_do_not_fall_silent_between_slots():
    carriers = [
        part for part in (slotted.gsm(bench(seed, 1.0)) for seed in range(60)) if part.variant.endswith("8 slots")
    ]
    least = np.array([part.power.min() / part.power.max() for part in carriers])
    assert (least > 0.01).any() and (least == 0).any()


@pytest.mark.published("IEEE 802.11: beacon at 1 Mbit/s takes 192 us and 8 us per byte; intervals of whole time units")
def test_beacons():
    for seed in range(8):
        part = packets.wifi_beacon(bench(seed, 6.0))
        units = int(part.variant.split()[0])
        assert all(rate == pytest.approx(1 / (units * 1024e-6), rel=60e-6) for rate in part.rates_hz)
        assert part.widths_s.min() > 50e-6 and part.widths_s.max() < 3.4e-3


@pytest.mark.published("Bluetooth Core Vol 6 Part B clause 4.4.2.2: advDelay of 0 to 10 ms per event")
def test_advertising_has_jitter_and_triplets():
    part = packets.bluetooth_le_adv(bench(3, 6.0))
    assert part.starts_s.size % 3 == 0 and part.rates_hz == ()


@pytest.mark.calculated("square law: voltage follows power; linear: its root; logarithmic: decibels")
def test_detector_laws():
    power = np.array([1.0, 0.1, 0.01], np.float32)
    np.testing.assert_allclose(detect(power, SimulatedMeter("square")), power, rtol=1e-6)
    np.testing.assert_allclose(detect(power, SimulatedMeter("linear")), np.sqrt(power), rtol=1e-6)
    np.testing.assert_allclose(detect(power, SimulatedMeter("log", log_range_db=40.0)), [1.0, 0.75, 0.5], atol=1e-5)


@pytest.mark.calculated("one-pole high-pass at f: -3 dB at f")
def test_coupling_corner():
    t = np.arange(96000 * 4) / 96000
    out = couple(np.sin(2 * np.pi * 40 * t), SimulatedMeter("square", 40.0, 60000.0), 96000.0)
    assert out[96000:].std() / np.sin(2 * np.pi * 40 * t).std() == pytest.approx(np.sqrt(0.5), rel=0.01)


def test_scenes_are_repeatable_and_of_the_asked_loudness():
    a, b = random_scene(7, 11), random_scene(7, 11)
    np.testing.assert_array_equal(a.samples, b.samples)
    quiet = compose(np.random.default_rng(1), ["dect"], duration_s=3, snr_db=0, clean=True, meter=SimulatedMeter())
    loud = compose(np.random.default_rng(1), ["dect"], duration_s=3, snr_db=30, clean=True, meter=SimulatedMeter())
    assert np.ptp(loud.samples) / loud.samples.std() > 1.5 * np.ptp(quiet.samples) / quiet.samples.std() or (
        loud.samples.std() / np.abs(loud.samples).max() < quiet.samples.std() / np.abs(quiet.samples).max()
    )


def test_room_sounds_are_finite_and_scaled():
    b = Bench(np.random.default_rng(2), 48000.0, 2.0)
    for maker in (room.voice, room.music, room.handling):
        sound = maker(b)
        assert np.isfinite(sound).all() and np.abs(sound).max() == pytest.approx(1.0, abs=1e-6)
    assert room.hum(b, 50.0).std() == pytest.approx(1.0)


@pytest.mark.parametrize(("name", "least"), [("smart_meter", 0.25), ("lora", 0.2), ("ism_remote", 0.1)])
def test_many_senders_speak_once(name, least):
    """A meter or a button is heard once in most recordings of a few seconds (common practice, no source)."""
    once = 0
    for seed in range(40):
        part = SOURCES[name](Bench(np.random.default_rng(seed), 8000.0, 8.0))
        begins = np.sort(part.starts_s[part.starts_s < 8.0])
        once += begins.size > 0 and np.ptp(begins) < 0.4
    assert once / 40 >= least


@pytest.mark.published(
    "ETSI EN 300 744 clause 4.5.2: the register starts with ones, x^11 + x^2 + 1; scattered pilots 16/9"
)
def test_pilots_of_a_television_multiplex():
    signs = broadcast.pilot_signs(1705)
    assert (signs[:11] == -1).all() and (signs[11:20] == 1).all() and (signs[20:22] == -1).all()
    bits = ((1 - signs) / 2).astype(int)
    assert ((bits[11:] ^ bits[:-11] ^ bits[2:-9]) == 0).all()
    _, share = broadcast.pilot_course(8192, 2048)
    assert share == pytest.approx(0.17, abs=0.02)


@pytest.mark.published(
    "GNU Radio 3.10, DVB-T transmitter of gr-dtv, mean course of four symbols: 0.0090, 0.0095 and 0.0076 of the mean"
)
def test_a_television_multiplex_repeats_as_weakly_as_a_transmitter_made_elsewhere():
    for seed in range(5):
        b = bench(seed)
        part = broadcast.dvbt(b)
        cells = int(4 / part.rates_hz[0] * 48000)
        phase = (np.arange(b.samples) / b.rate_hz * part.rates_hz[0] / 4 % 1 * cells).astype(int)
        course = np.bincount(phase, part.power) / np.bincount(phase)
        assert 0.006 < course.std() / part.power.mean() < 0.018


@pytest.mark.calculated("alone, a sender is as loud over the noise as the scene was asked to be")
@pytest.mark.parametrize("name", ["radar", "dect", "smart_meter"])
@pytest.mark.parametrize("law", ["square", "linear"])
def test_level_of_a_lone_sender_is_that_of_the_scene(name, law):
    meter = SimulatedMeter(law, 0.0, 20000.0)
    for seed in range(4):
        scene = compose(np.random.default_rng(seed), [name], duration_s=6, snr_db=20, clean=True, meter=meter)
        assert scene.snr_db[0] == pytest.approx(20.0, abs=2.0)
