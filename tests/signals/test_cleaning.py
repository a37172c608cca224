"""Frames taken off before the next search: what must go and what must stay."""

import numpy as np
import pytest
from scipy.signal import decimate

from roomfield.signals.cleaning import FRAME_LAWS, clean, contrast, take_off
from roomfield.signals.combs import FRAME_COMBS, SLOT_COMBS, weigh_comb
from roomfield.signals.simulation.component import Bench, boxes
from roomfield.signals.spectrum import white_spectrum

RATE = 48000.0
COMBS = {c.name: c for c in FRAME_COMBS}


def gate(times_s, period_s, width_s, start_s=0.0011):
    return (((times_s - start_s) / period_s) % 1.0 < width_s / period_s).astype(float)


def handset(times_s):
    """A call: one burst of 546 us a frame, none in frame 25 of 26."""
    number = np.floor((times_s - 0.0011) / (0.12 / 26))
    return gate(times_s, 0.12 / 26, 546e-6) * (number % 26 != 25)


def line_power(spectrum, name):
    """Mean power on the lines over the floor."""
    lines = COMBS[name].lines_hz(18000.0)
    return float(spectrum.white[np.rint(lines * spectrum.bins_per_hz).astype(int)].mean())


def recording(parts, seconds=8.0, noise=0.03, seed=0):
    times = np.arange(int(seconds * RATE)) / RATE
    total = sum(part(times) for part in parts) if parts else np.zeros(times.size)
    return (total - np.mean(total) + noise * np.random.default_rng(seed).standard_normal(times.size)).astype(np.float32)


@pytest.mark.published("3GPP TS 45.002: 26-multiframe of 120 ms, so that its lines meet every multiple of 50 Hz")
def test_handset_puts_lines_on_fifty_hertz_that_cleaning_removes():
    samples = recording([handset])
    first = white_spectrum(samples, RATE)
    before = line_power(first, "50odd")
    after, taken = clean(samples, RATE, first)
    assert [t.name for t in taken] == ["gsm"]
    assert taken[0].period_s == pytest.approx(60e-3 / 13, rel=2e-6)
    assert before > 50
    assert line_power(after, "50odd") < 0.05 * before


@pytest.mark.published("3GPP TS 36.211 clause 6.11: synchronisation every 5 ms")
def test_a_half_frame_signal_survives_the_cleaning_of_a_handset():
    samples = recording([handset, lambda t: 0.25 * gate(t, 0.005, 143e-6, 0.0003)])
    after, taken = clean(samples, RATE, white_spectrum(samples, RATE))
    assert [t.name for t in taken] == ["gsm"]
    low, high = contrast(after, COMBS["200odd"], 0.0, 100.0)
    assert max(low, high) > 0.5
    assert weigh_comb(after, COMBS["200odd"]).score > 100


@pytest.mark.published("ETSI TS 102 361-1: frame of 60 ms, whose every third line is a multiple of 50 Hz")
def test_dmr_is_taken_for_itself_and_not_for_gsm():
    samples = recording([lambda t: gate(t, 0.06, 0.0275)])
    first = white_spectrum(samples, RATE)
    after, taken = clean(samples, RATE, first)
    assert [t.name for t in taken] == ["sixty"]
    assert line_power(after, "50odd") < 0.05 * line_power(first, "50odd")


def test_sixty_milliseconds_are_left_when_a_twenty_millisecond_frame_is_heard_too():
    samples = recording([lambda t: gate(t, 0.06, 0.0275), lambda t: 2 * gate(t, 0.02, 143e-6, 0.004)])
    _, taken = clean(samples, RATE, white_spectrum(samples, RATE))
    assert "sixty" not in [t.name for t in taken]


@pytest.mark.parametrize("seed", range(6))
def test_nothing_is_taken_from_noise(seed):
    samples = recording([], seed=seed)
    first = white_spectrum(samples, RATE)
    after, taken = clean(samples, RATE, first)
    assert taken == () and after is first


@pytest.mark.published("ETSI EN 300 175-2: frame of 10 ms; no frame law here may take it off")
def test_cordless_frame_is_none_of_the_laws():
    samples = recording([lambda t: gate(t, 0.01, 368e-6)])
    _, taken = clean(samples, RATE, white_spectrum(samples, RATE))
    assert taken == ()


def test_each_period_is_taken_off_with_its_own_height():
    times = np.arange(int(8 * RATE)) / RATE
    period = 60e-3 / 13
    heights = np.random.default_rng(1).uniform(0.0, 1.0, int(8 / period) + 2)
    number = np.maximum(np.floor((times - 0.0011) / period), -1).astype(int)
    samples = (gate(times, period, 546e-6) * heights[number]).astype(np.float32)
    power = float((samples**2).mean())
    take_off(samples, RATE, period)
    assert float((samples**2).mean()) < 0.2 * power


def test_contrast_tells_a_comb_from_a_denser_one():
    sparse, dense = (recording([lambda t, p=p: gate(t, p, 3e-4)]) for p in (0.005, 0.01))
    odd = COMBS["200odd"]
    assert min(contrast(white_spectrum(sparse, RATE), odd, 0.0, 100.0)) > 1.0
    assert max(contrast(white_spectrum(dense, RATE), odd, 0.0, 100.0)) < 0.2


@pytest.mark.published("3GPP TS 45.002: eight slots in 60/13 ms; Bluetooth Core Vol 2 Part B: slot of 625 us")
def test_no_slot_line_of_gsm_lies_on_a_comb_of_bluetooth():
    slots = 8 * 13 / 60e-3 * np.arange(1, 12)
    combs = {c.name: c for c in (*FRAME_COMBS, *SLOT_COMBS)}
    for name in ("bt133", "bt266", "bt800", "bt1600"):
        lines = combs[name].lines_hz(19000.0)
        assert lines.size > 5
        assert np.abs(lines[:, None] - slots).min() > 1.0
    for law in FRAME_LAWS:
        if law.name == "bt":
            assert np.abs(law.comb.lines_hz(19000.0)[:, None] - slots).min() > 1.0


@pytest.mark.published("EN 300 392-2: 18 ksymbol/s; 3GPP TS 36.211: reference symbols that repeat at 2 kHz")
def test_a_multiple_of_two_kilohertz_is_no_symbol_line():
    def beside(part):
        spectrum = white_spectrum(recording([part]), RATE)
        comb = {c.name: c for c in FRAME_COMBS}["tetra18k"]
        return [max(contrast(spectrum, comb, 0.0, step)) for step in (100.0, 200.0, 1000.0, 2000.0)]

    assert min(beside(lambda t: 0.2 * np.sin(2 * np.pi * 18000 * t))) > 1.0
    assert min(beside(lambda t: gate(t, 0.5e-3, 71e-6))) < 0.2


def test_a_frame_between_the_samples_leaves_no_lines():
    bench = Bench(np.random.default_rng(5), 4 * RATE, 8.0)
    power = boxes(bench, np.arange(2100) * 3.75e-3 / (1 + 12e-6), 366e-6)
    samples = recording([lambda t: decimate(power.astype(float), 4, ftype="fir")[: t.size]], noise=0.05)
    first = white_spectrum(samples, RATE)
    after, taken = clean(samples, RATE, first)
    assert [t.name for t in taken] == ["bt"]
    high = slice(int(12000 * first.bins_per_hz), int(19000 * first.bins_per_hz))
    assert np.count_nonzero(first.white[high] > 30) > 20
    assert np.count_nonzero(after.white[high] > 30) <= 2


def test_laws_name_periods_that_their_combs_repeat_at():
    for law in FRAME_LAWS:
        cycles = law.comb.base_hz * law.period_s
        assert cycles == pytest.approx(round(cycles), rel=1e-9)
