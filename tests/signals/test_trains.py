"""Groups of bursts with others in between, against the published spacing."""

import numpy as np
import pytest

from roomfield.signals.bursts import LATTICE_WIDTHS_S, crisp_long, find_bursts, lattice
from roomfield.signals.features import _lattice_numbers, slot_leads
from roomfield.signals.trains import answer_score, find_trains, triplet_score

RATE = 48000.0


def sound(starts_s, widths_s, seconds=8.0, noise=0.01, heights=1.0, seed=0):
    rng = np.random.default_rng(seed)
    out = np.zeros(int(seconds * RATE))
    for start, width, height in np.broadcast(starts_s, widths_s, heights):
        a, b = start * RATE, (start + width) * RATE
        if b >= out.size - 1:
            continue
        first, last = int(a), int(b)
        if first == last:
            out[first] += height * (b - a)
            continue
        out[first] += height * (first + 1 - a)
        out[first + 1 : last] += height
        out[last] += height * (b - last)
    return (out + noise * rng.standard_normal(out.size)).astype(np.float32)


def scattered(rng, count, seconds=8.0):
    """Bursts at random as a busy network sends them."""
    return np.sort(rng.uniform(0, seconds, count)), rng.uniform(60e-6, 900e-6, count)


@pytest.mark.published("Rec. ITU-R M.1464: pulse repetition of hundreds to some thousand hertz, one burst per turn")
@pytest.mark.parametrize("prf_hz", [330.0, 1015.0, 1900.0])
def test_radar_trains_give_the_pulse_rate_and_the_turn(prf_hz):
    centres = np.array([1.0, 3.5, 6.0])
    pulses = np.concatenate([c + np.arange(14) / prf_hz for c in centres])
    found = find_trains(sound(pulses, 20e-6, heights=0.12), RATE)
    assert found.count == 3
    assert 1 / found.step_s == pytest.approx(prf_hz, rel=2e-3)
    assert found.rate_hz == pytest.approx(prf_hz, rel=1e-3)
    assert found.spacing_s == pytest.approx(2.5, rel=0.01)


def test_pulse_clock_that_runs_on_between_turns_is_known_to_parts_in_a_hundred_thousand():
    prf_hz = 1015.0
    numbers = np.concatenate([np.arange(round(c * prf_hz), round(c * prf_hz) + 20) for c in (1.0, 3.5, 6.0)])
    found = find_trains(sound(numbers / prf_hz, 20e-6, heights=0.3), RATE)
    assert found.rate_hz == pytest.approx(prf_hz, rel=30e-6)


def test_a_missed_pulse_does_not_break_a_train():
    pulses = 1.0 + np.delete(np.arange(14), [4, 9]) / 900.0
    found = find_trains(sound(pulses, 20e-6, heights=0.2), RATE)
    assert found.count == 1 and found.pulses == 12


@pytest.mark.parametrize("seed", range(5))
def test_noise_and_random_clicks_hold_no_train(seed):
    rng = np.random.default_rng(seed)
    assert find_trains(sound(np.sort(rng.uniform(0, 8, 400)), 30e-6, seed=seed), RATE).count == 0


@pytest.mark.published("Bluetooth Core Vol 6 Part B clause 4.4.2: three packets per advertising event")
def test_triplets_are_found_among_random_bursts():
    rng = np.random.default_rng(2)
    events = np.sort(rng.uniform(0.1, 7.8, 40))
    triplets = (events[:, None] + np.arange(3) * 720e-6).ravel()
    others, widths = scattered(rng, 250)
    starts, all_widths = np.r_[triplets, others], np.r_[np.full(120, 300e-6), widths]
    hits, score = triplet_score(find_bursts(sound(starts, all_widths), RATE))
    bare_hits, bare_score = triplet_score(find_bursts(sound(others, widths), RATE))
    assert hits >= 20 and score > 10
    assert bare_hits <= 3 and bare_score < 3


@pytest.mark.published("IEEE 802.15.4: acknowledgement of 11 bytes (352 us) a turnaround of 192 us after the frame")
def test_answers_are_found_among_random_bursts():
    rng = np.random.default_rng(3)
    frames = np.arange(0.1, 7.8, 0.2)
    starts = np.r_[frames, frames + 1.6e-3 + 192e-6]
    widths = np.r_[np.full(frames.size, 1.6e-3), np.full(frames.size, 352e-6)]
    others, other_widths = scattered(rng, 250)
    hits, score = answer_score(find_bursts(sound(np.r_[starts, others], np.r_[widths, other_widths]), RATE))
    assert hits >= 20 and score > 10
    assert answer_score(find_bursts(sound(others, other_widths), RATE))[1] < 3


@pytest.mark.published("Bluetooth Core Vol 2 Part B clause 2.2: slots of 625 us")
def test_music_link_lies_on_the_slot_lattice_and_network_traffic_does_not():
    rng = np.random.default_rng(4)
    slots = np.cumsum(rng.integers(6, 14, 900))
    slots = slots[slots * 625e-6 < 7.9]
    mean, score = lattice(find_bursts(sound(slots * 625e-6 + 0.01, 2.6e-3), RATE), 625e-6)
    assert mean > 0.9 and score > 20
    others, widths = scattered(rng, 600)
    assert abs(lattice(find_bursts(sound(others, widths), RATE), 625e-6)[1]) < 5


@pytest.mark.published("Semtech LoRa time-on-air formula: a packet of spreading factor 9 lasts some tenths of a second")
def test_a_flat_packet_is_crisp_and_two_clicks_are_not():
    packets = find_bursts(sound(np.array([1.0, 3.0, 5.0]), 0.185), RATE)
    assert crisp_long(packets, 0.15, 2.5)[0] == 3
    clicks = find_bursts(sound(np.array([1.0, 1.2, 3.0, 3.2]), 100e-6, heights=np.array([1.0, -1.0, 1.0, -1.0])), RATE)
    assert crisp_long(clicks, 0.15, 2.5)[0] == 0


@pytest.mark.published("Bluetooth Core Vol 2 Part B: slot of 625 us, five-slot packets of up to 2871 us")
def test_slots_of_wide_bursts_stand_out_among_short_traffic():
    rng = np.random.default_rng(7)
    slots = np.cumsum(6 + 2 * rng.integers(0, 9, 400))
    wide = slots[slots * 625e-6 < 7.9] * 625e-6 + 0.001
    busy, _ = scattered(rng, 1200)
    samples = sound(np.r_[wide, busy], np.r_[np.full(wide.size, 2.6e-3), np.full(busy.size, 1e-4)], noise=0.03)
    table = find_bursts(samples, RATE)
    among_all, among_wide = lattice(table, 625e-6)[1], lattice(table, 625e-6, LATTICE_WIDTHS_S["wide"])[1]
    assert among_wide > 8 and among_wide > 2 * among_all
    assert _leads(table)["slots.both"] > 2.0
    random = find_bursts(sound(np.sort(rng.uniform(0, 7.9, 150)), np.full(150, 2.6e-3), noise=0.03), RATE)
    assert abs(lattice(random, 625e-6, LATTICE_WIDTHS_S["wide"])[1]) < 4


@pytest.mark.published(
    "3GPP TS 38.211 clause 4.3: slots of 0.5 ms; a pattern of five lasts 2.5 ms, four Bluetooth slots"
)
def test_a_pattern_of_new_radio_has_no_lead_of_bluetooth_slots():
    rng = np.random.default_rng(8)
    starts = np.flatnonzero(rng.random(3000) < 0.25) * 2.5e-3 + 0.001
    table = find_bursts(sound(starts, np.full(starts.size, 1.5e-3), noise=0.03), RATE)
    assert lattice(table, 625e-6, LATTICE_WIDTHS_S["wide"])[1] > 8
    assert _leads(table)["slots.both"] < 0.5


def _leads(table):
    numbers = {}
    _lattice_numbers(numbers, table)
    return slot_leads(numbers)
