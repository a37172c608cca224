"""Single telegrams and passing beams after a telephone's line: edges and pulse rates that are left of them."""

import numpy as np
import pytest
from scipy.signal import butter, resample_poly, sosfilt

from roomfield.signals import reasons
from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather
from roomfield.signals.reasons import explain, rates_of
from roomfield.signals.simulation.short_range import lora_airtime_s, telegram_s
from roomfield.signals.telegrams import lone_telegrams, passing_beam, telegram_numbers, thin
from roomfield.signals.verdict import answer_for

RATE, NOISE = 48000.0, 0.02


def line(sound):
    """A telephone's line at 8 kHz, brought back to 48 kHz (band of ITU-T G.712, from memory)."""
    narrow = sosfilt(butter(2, [300.0, 3400.0], "bandpass", fs=RATE, output="sos"), sound)
    return resample_poly(resample_poly(narrow, 1, 6), 6, 1).astype(np.float32)


def telegrams(starts, widths, seed=1, duration_s=6.0):
    rng = np.random.default_rng(seed)
    sound = NOISE * rng.standard_normal(int(duration_s * RATE))
    for start, width in zip(starts, widths, strict=True):
        sound[int(start * RATE) : int((start + width) * RATE)] += 1.0
    return sound.astype(np.float32)


def beams(rate_hz, seed=1, turn_s=4.0, dwell_s=0.028):
    rng = np.random.default_rng(seed)
    sound = NOISE * rng.standard_normal(int(12 * RATE))
    for centre in np.arange(1.3, 12, turn_s):
        times = centre + np.arange(-60, 61) / rate_hz
        sound[np.rint(times * RATE).astype(int)] += np.exp(-2.77 * ((times - centre) / dwell_s) ** 2)
    return sound.astype(np.float32)


@pytest.mark.published("EN 13757-4 (from memory): telegrams of mode T and C of some milliseconds, of S of some ten")
@pytest.mark.parametrize("mode", ["S", "T", "C"])
@pytest.mark.parametrize("path", [np.asarray, line])
def test_one_telegram_keeps_its_length(mode, path):
    width = telegram_s(mode, 40)
    numbers = telegram_numbers(path(telegrams([2.0], [width])), RATE)
    assert np.expm1(numbers["pairs.alone"]) == pytest.approx(1)
    assert 10 ** numbers["pairs.middle"] == pytest.approx(width, abs=0.25e-3)
    assert numbers["pairs.share"] == pytest.approx(1.0) and numbers["pairs.alike"] == -1.0


@pytest.mark.published("airtimes of LoRa at 125 kHz (from memory): the same packet takes the same time")
@pytest.mark.parametrize("path", [np.asarray, line])
def test_packets_of_one_length_are_alike(path):
    width = lora_airtime_s(9, 24)
    numbers = telegram_numbers(path(telegrams([0.7, 2.1, 4.4], [width] * 3)), RATE)
    assert np.expm1(numbers["pairs.alone"]) == pytest.approx(3) and numbers["pairs.alike"] == 1.0
    assert 10 ** numbers["pairs.gap"] == pytest.approx(1.85, abs=0.01)
    unlike = telegram_numbers(path(telegrams([0.7, 2.1, 4.4], [width, 1.3 * width, 0.6 * width])), RATE)
    assert unlike["pairs.alike"] == 0.0


@pytest.mark.published("ITU-R M.1464 family (from memory): some 1000 pulses a second, a turn of 4 s")
@pytest.mark.parametrize("path", [np.asarray, line])
@pytest.mark.parametrize("rate_hz", [415.0, 1015.0, 2100.0])
def test_beam_repeats_itself_at_the_pulse_rate(path, rate_hz):
    numbers = telegram_numbers(path(beams(rate_hz)), RATE)
    step = 10 ** numbers["beam.step"] - 1e-4
    assert step * rate_hz / np.rint(step * rate_hz) == pytest.approx(1.0, abs=0.02)
    assert min(numbers["beam.alike"], numbers["beam.again"]) > 0.4
    assert np.expm1(numbers["beam.same"]) == pytest.approx(3)
    assert 10 ** numbers["beam.turn"] == pytest.approx(4.0, abs=0.01) and numbers["beam.uneven"] < 0.01


def test_noise_has_no_pairs_and_does_not_repeat_itself():
    for path in (np.asarray, line):
        numbers = telegram_numbers(path(telegrams([], [])), RATE)
        assert numbers["pairs.all"] == 0.0 and numbers["pairs.alike"] == -1.0
        assert min(numbers["beam.alike"], numbers["beam.again"]) < 0.3


@pytest.mark.parametrize("rate_hz", [44100.0, 48000.0, 64000.0])
@pytest.mark.parametrize("size", [300, 9000])
def test_any_length_has_finite_numbers(rate_hz, size):
    for sound in (np.zeros(size, np.float32), np.random.default_rng(1).standard_normal(size).astype(np.float32)):
        assert np.isfinite(list(telegram_numbers(sound, rate_hz).values())).all()


@pytest.mark.calculated("a step up makes a triangle of its sign as high as the step")
def test_sudden_changes_have_the_sign_of_the_step():
    sound = thin(telegrams([2.0], [0.01]), RATE)
    up, down = int(np.argmax(sound.edges)), int(np.argmin(sound.edges))
    assert sound.edges[up] == pytest.approx(1.0, abs=0.05) and sound.edges[down] == pytest.approx(-1.0, abs=0.05)
    assert (down - up) / sound.rate_hz == pytest.approx(0.01, abs=1e-4)


@pytest.mark.published("ITU-R M.1464 family (from memory): some 1000 pulses a second, a turn of 4 s")
def test_a_radar_through_a_line_is_told_with_its_own_pulse_rate_and_turn():
    evidence = gather(condition(line(beams(1015.0)), RATE))
    rates = {rate.label: rate for rate in rates_of("radar", evidence)}
    assert rates["pulse rate"].frequency_hz == pytest.approx(
        1015.0, abs=3 * rates["pulse rate"].frequency_std_hz + 0.01
    )
    assert 1 / rates["turn"].frequency_hz == pytest.approx(4.0, rel=0.01)
    texts = [item.text for item in explain("radar", 0.9, evidence, full=True).evidence]
    assert any(text.startswith("3 loud moments that repeat themselves after 98") for text in texts)


def test_every_second_pulse_missed_gives_no_half_rate():
    beam = passing_beam(line(beams(1015.0)), RATE)
    assert beam.passages == 3 and beam.turn_s == pytest.approx(4.0, rel=0.01)
    assert reasons._whole_times(2 / 1015.0, beam) == 2 and reasons._whole_times(1 / 1015.0, beam) == 1
    assert reasons._whole_times(1.37 / 1015.0, beam) == 1


@pytest.mark.published("EN 13757-4 (from memory): 40 bytes of mode T take 5.3 ms")
def test_a_meter_is_told_by_its_telegrams():
    evidence = gather(condition(line(telegrams([1.0, 3.1], [telegram_s("T", 40)] * 2)), RATE))
    texts = [item.text for item in explain("smart_meter", 0.9, evidence, full=True).evidence]
    assert any(text.startswith("2 bursts with nothing near them, 5.") for text in texts)
    assert lone_telegrams(telegrams([], []), RATE).count == 0


@pytest.mark.calculated("two bursts of fifty times the noise are more than noise")
def test_loud_telegrams_through_a_line_are_not_called_noise():
    sound = line(telegrams([1.0, 3.1], [telegram_s("T", 40)] * 2))
    assert answer_for((), (), gather(condition(sound, RATE)), 0.2).kind == "sounds"
    assert answer_for((), (), gather(condition(line(telegrams([], [])), RATE)), 0.2).kind == "nothing"
