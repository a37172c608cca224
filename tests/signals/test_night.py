"""Level by second from the sound of a meter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from roomfield.errors import FormatError, InputError, TooEarlyError
from roomfield.signals.night.display import DisplayReading, display_reading
from roomfield.signals.night.display_calibration import DRIFT_ODDS, calibrate
from roomfield.signals.night.hum import without_hum
from roomfield.signals.night.level_by_second import night_series
from roomfield.signals.night.second_gatherer import NightAudio
from roomfield.signals.night.shares import TELEGRAM_SENDERS
from roomfield.signals.night.sparse_hearing import PIECES, night_pieces
from roomfield.signals.night.voltage import Law, VoltageCourse, power_of
from roomfield.signals.recording import AudioSource

RATE = 24_000.0
SECONDS = 16
SCALE = 3e-3
"""Power density of one unit of the synthetic power [W/m2]."""


def power_course(seed: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Bursts of a cordless base every 10 ms (ETSI EN 300 175-2: 416 us of a slot) and beacons every 102.4 ms (IEEE Std 802.11)."""
    rng = np.random.default_rng(seed)
    moment = np.arange(int(SECONDS * RATE)) / RATE
    wander = np.interp(moment, np.arange(0, SECONDS + 2, 2.0), rng.normal(0, 1.5, SECONDS // 2 + 1))
    base = (np.mod(moment + 0.003, 0.010) < 416e-6) * 10 ** (wander / 10)
    beacons = (np.mod(moment + 0.02, 0.1024) < 2e-3) * 0.3
    return base + beacons, {"dect": base, "wifi_beacon": beacons}


def sound_of(power: np.ndarray, law: str, coupling_hz: float, seed: int) -> np.ndarray:
    """Detector laws as in textbooks (square-law diode, linear envelope detector, logarithmic amplifier); first-order coupling."""
    rng = np.random.default_rng(seed)
    volts = {"square": power, "linear": np.sqrt(power), "log": np.log10(1 + power * 10**3.5) / 3.5}[law]
    if coupling_hz:
        pole = np.exp(-2 * np.pi * coupling_hz / RATE)
        volts = lfilter([1.0, -1.0], [1.0, -pole], volts) * pole
    volts = 0.2 * volts / np.abs(volts).max() + 2e-4 * rng.standard_normal(len(volts))
    return np.round(volts * 32767) / 32767


def by_second(power: np.ndarray) -> np.ndarray:
    return power.reshape(SECONDS, -1).mean(axis=1) * SCALE


def displayed(power: np.ndarray, *ends_s: float) -> list[DisplayReading]:
    def part(a: float, b: float) -> np.ndarray:
        return power[int(max(a, 0) * RATE) : int(b * RATE)] * SCALE

    return [
        DisplayReading(
            t, part(t - 5, t).max(), part(0, t).max(), part(t - 1.25, t).mean(), max(t - 5, 0), 0.0, t - 1.25
        )
        for t in ends_s
    ]


@pytest.mark.parametrize("coupling_hz", [0.0, 20.0])
@pytest.mark.parametrize("law", list(Law))
def test_law_scale_and_levels_are_found_from_the_display(law, coupling_hz):
    power, parts = power_course(3)
    sound = sound_of(power, law.value, coupling_hz, 3)
    found = night_series(
        sound, displayed(power, 6.0, 15.0), ("dect", "wifi_beacon"), NightAudio(coupling_hz), sample_rate_hz=RATE
    )
    assert found.calibration.law is law
    error = 10 * np.log10(found.average.level_w_m2 / by_second(power))
    assert np.sqrt(np.mean(error[1:] ** 2)) < 1.0
    truth = by_second(power)
    inside = (truth >= found.average.low_w_m2) & (truth <= found.average.high_w_m2)
    assert inside[1:].mean() > 0.8
    for name, part in parts.items():
        wrong = 10 * np.log10(found.technologies[name].level_w_m2 / by_second(part))
        assert np.sqrt(np.mean(wrong[1:] ** 2)) < 2.0, name


def test_intervals_hold_over_many_displays_misread_by_a_third_of_a_decibel():
    power, _ = power_course(5)
    sound = sound_of(power, "square", 0.0, 5)
    truth, held = by_second(power), []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        misread = []
        for r in displayed(power, 6.0, 15.0):
            values = np.array([r.average_w_m2, r.peak_w_m2, r.held_w_m2]) * 10 ** (0.03 * rng.standard_normal(3))
            values = np.maximum.accumulate(values)
            misread.append(
                DisplayReading(r.at_s, values[1], values[2], values[0], r.peak_from_s, 0.0, r.average_from_s)
            )
        found = night_series(sound, misread, (), NightAudio(0.0, Law.SQUARE), sample_rate_hz=RATE).average
        held.append(np.mean((truth >= found.low_w_m2) & (truth <= found.high_w_m2)))
    assert np.mean(held) > 0.85


def test_a_meter_that_stops_transmitting_is_silent_from_then_on():
    power, parts = power_course(7)
    power = power.copy()
    power[int(8 * RATE) :] -= parts["dect"][int(8 * RATE) :]
    found = night_series(
        sound_of(power, "square", 0.0, 7), displayed(power, 6.0, 15.0), ("dect", "wifi_beacon"), NightAudio(),
        sample_rate_hz=RATE,
    )  # fmt: skip
    base = found.technologies["dect"].level_w_m2
    assert base[10:].max() < 0.05 * base[:7].min()


def test_hum_is_taken_off_and_pulses_at_a_harmonic_are_kept():
    moment = np.arange(int(RATE)) / RATE
    pulses = (np.mod(moment, 0.010) < 4e-4).astype(float)
    hum = 0.2 * np.sin(2 * np.pi * 50 * moment + 1.0) + 0.05 * np.sin(2 * np.pi * 150 * moment)
    noise = 0.002 * np.random.default_rng(0).standard_normal(len(moment))
    left = without_hum(pulses + hum + noise, RATE) - pulses
    assert left.std() < 0.1 * hum.std()
    quiet = pulses + noise
    assert np.abs(without_hum(quiet, RATE) - quiet).max() < 0.02


def test_overdriven_seconds_are_lower_bounds():
    power, _ = power_course(1)
    sound = sound_of(power, "square", 0.0, 1)
    sound[int(3.2 * RATE)] = 1.0
    found = night_series(sound, displayed(power, 15.0), (), NightAudio(0.0, Law.SQUARE), sample_rate_hz=RATE)
    assert np.flatnonzero(found.clipped).tolist() == [3]
    assert np.isinf(found.average.high_w_m2[3])


def test_logarithmic_law_is_linear_in_decibels():
    volts = np.array([0.5, 0.6])
    assert np.diff(10 * np.log10(power_of(volts, Law.LOG, 40.0)))[0] == pytest.approx(40.0, abs=1e-6)


def test_coupling_is_undone():
    step = np.zeros(int(RATE))
    step[5000:5100] = 0.5
    pole = np.exp(-2 * np.pi * 100 / RATE)
    out = lfilter([1.0, -1.0], [1.0, -pole], step) * (1 + pole) / 2
    restored, _ = VoltageCourse(RATE, 100.0)(out)
    assert np.abs(restored - step).max() < 0.01


def test_refusals_say_what_to_do():
    sound = sound_of(power_course(1)[0], "square", 0.0, 1)
    with pytest.raises(TooEarlyError, match="off the display"):
        night_series(sound, [], sample_rate_hz=RATE)
    with pytest.raises(InputError, match="average is above the peak"):
        DisplayReading(5.0, peak_w_m2=1e-5, average_w_m2=2e-5)
    with pytest.raises(FormatError, match="cannot be understood"):
        display_reading({"peak_w_m2": 1.0})


def test_the_droop_behind_a_capacitor_is_not_taken_for_hum():
    power, _ = power_course(9)
    sound = sound_of(power, "square", 40.0, 9)
    course = VoltageCourse(RATE, 40.0)
    means = [course(sound[int(k * RATE) : int((k + 1) * RATE)])[0].mean() for k in range(SECONDS)]
    error = 10 * np.log10(np.array(means) / by_second(power))
    assert np.ptp(error) < 0.3


def test_a_telegram_that_fills_whole_cells_is_kept_behind_a_capacitor():
    power = np.full(int(SECONDS * RATE), 1e-6)
    power[int(5.2 * RATE) : int(5.26 * RATE)] = 1.0
    course = VoltageCourse(RATE, 20.0)
    sound = sound_of(power, "square", 20.0, 11)
    tops = [course(sound[int(k * RATE) : int((k + 1) * RATE)])[0] for k in range(SECONDS)]
    assert tops[5].mean() == pytest.approx(0.06 * 0.2, rel=0.1)


@pytest.mark.calculated(
    "subframes of 1 ms of which one in eight is empty (3GPP TS 36.211): the mean of the power drawn"
)
@pytest.mark.parametrize("law", list(Law))
def test_a_downlink_that_pauses_an_eighth_of_the_time_keeps_its_level_behind_a_capacitor(law):
    rng = np.random.default_rng(31)
    busy = np.repeat(rng.random(SECONDS * 1000) < 0.875, int(RATE / 1000))
    power = lfilter(np.ones(4) / 4, [1.0], busy * rng.exponential(1.0, len(busy)))
    course = VoltageCourse(RATE, 40.0)
    sound = sound_of(power, law, 40.0, 31).astype(np.float32)
    voltage = np.concatenate([course(sound[int(k * RATE) : int((k + 1) * RATE)])[0] for k in range(SECONDS)])
    truth = {"square": power, "linear": np.sqrt(power), "log": np.log10(1 + power * 10**3.5) / 3.5}[law]
    assert voltage.mean() / voltage.std() == pytest.approx(truth.mean() / truth.std(), rel=0.04)


def test_a_number_spoilt_by_a_thump_counts_little():
    power, _ = power_course(13)
    sound = sound_of(power, "square", 0.0, 13)
    clean = displayed(power, 6.0, 10.0, 15.0)
    spoilt = [replace(clean[0], average_w_m2=clean[0].average_w_m2 / 2), *clean[1:]]
    right, wrong = (night_series(sound, shown, sample_rate_hz=RATE).average.level_w_m2 for shown in (clean, spoilt))
    assert np.abs(10 * np.log10(wrong / right)).max() < 0.4


def test_a_highest_held_of_the_whole_night_gives_the_scale_without_the_sound_in_memory():
    power = np.tile(power_course(15)[0], 9)
    sound = sound_of(power, "square", 0.0, 15)
    seconds = len(power) / RATE
    shown = DisplayReading(seconds, held_w_m2=float(power.max()) * SCALE, held_from_s=0.0)
    audio = NightAudio(0.0, Law.SQUARE)
    found = night_series(sound, [shown], (), audio, sample_rate_hz=RATE)
    mean = power.reshape(-1, int(RATE)).mean(axis=1) * SCALE
    assert seconds > 120
    assert np.abs(10 * np.log10(found.average.level_w_m2 / mean)).max() < 1.5
    assert ((mean >= found.average.low_w_m2) & (mean <= found.average.high_w_m2)).all()


def test_of_a_long_recording_nineteen_pieces_at_most_are_heard():
    samples = np.tile([1.0, -0.5, -0.5], 4_000_000).astype(np.float32) * np.linspace(
        0.1, 1, 12_000_000, dtype=np.float32
    )
    long = AudioSource("night", 4000.0, len(samples), None, samples)
    pieces = night_pieces(long)
    assert PIECES // 2 <= len(pieces) <= PIECES
    assert len({b - a for a, b in pieces}) == 1
    assert pieces[0][0] == 0
    assert pieces[-1][1] > 0.99 * long.frames
    assert len(night_pieces(AudioSource("short", 8000.0, 8000 * 60, None, np.zeros(8000 * 60, np.float32)))) == 4


def test_telegrams_that_the_ear_did_not_name_are_told_with_all_that_send_so():
    power = power_course(17)[0].copy()
    for second in (2, 5, 9, 12):
        power[int((second + 0.31) * RATE) : int((second + 0.37) * RATE)] += 0.8
    found = night_series(
        sound_of(power, "square", 0.0, 17), displayed(power, 7.0, 15.0), ("dect", "wifi_beacon"), sample_rate_hz=RATE
    )
    told = found.technologies["+".join(TELEGRAM_SENDERS)].level_w_m2 / SCALE
    assert told[[2, 5, 9, 12]] == pytest.approx(0.06 * 0.8, rel=0.2)
    assert told[[0, 3, 7, 10]].max() < 0.01
    quiet = night_series(
        sound_of(power_course(17)[0], "square", 0.0, 17), displayed(power_course(17)[0], 7.0, 15.0), ("dect",),
        sample_rate_hz=RATE,
    )  # fmt: skip
    assert set(quiet.technologies) == {"dect"}


class HeldSound:
    """Sound of a square law whose voltage is the same in every part, but for a gain that changes in between."""

    def __init__(self, later_gain: float = 1.0) -> None:
        self.later_gain = later_gain

    def voltage(self, begin_s: float, end_s: float) -> np.ndarray:
        return np.full(100, 0.5 * (self.later_gain if end_s > 3600.0 else 1.0), np.float32)

    def top(self, begin_s: float, end_s: float) -> float:
        return float(self.voltage(begin_s, end_s).max())


def evening_and_morning() -> list[DisplayReading]:
    moments = (30.0, 60.0, 90.0, 28_740.0, 28_770.0, 28_800.0)
    return [DisplayReading(at, average_w_m2=1e-6, average_from_s=at - 1.25) for at in moments]


def test_readings_that_agree_narrow_the_scale_between_them_and_readings_that_do_not_widen_it():
    midnight = np.array([14_400.0])
    agree = calibrate(evening_and_morning(), HeldSound(), Law.SQUARE)
    differ = calibrate(evening_and_morning(), HeldSound(10**0.2), Law.SQUARE)
    assert agree.drift.scale_db(midnight)[1][0] < 0.75 * differ.drift.scale_db(midnight)[1][0]
    assert agree.drift.weights[0] > DRIFT_ODDS[0]
    assert differ.drift.weights[-1] > DRIFT_ODDS[-1]


@pytest.mark.calculated("law of total variance, against draws from the mixture")
def test_the_spread_of_a_mixture_of_processes_is_that_of_draws_from_it():
    found = calibrate(evening_and_morning(), HeldSound(10**0.05), Law.SQUARE).drift
    at, rng = np.array([9_000.0]), np.random.default_rng(5)
    chosen = rng.choice(len(found.parts), 200_000, p=found.weights)
    means, stds = np.array([[v[0] for v in part.scale_db(at)] for part in found.parts]).T
    draws = rng.normal(means[chosen], stds[chosen])
    mean, std = found.scale_db(at)
    assert mean[0] == pytest.approx(draws.mean(), abs=0.01)
    assert std[0] == pytest.approx(draws.std(), rel=0.01)


def test_a_law_that_the_readings_leave_possible_widens_the_level_where_the_laws_differ():
    """One height that is read off leaves square and linear alike; a second half as high in voltage tells how they differ."""
    rng = np.random.default_rng(3)
    time_s = np.arange(40 * RATE) / RATE
    on = np.mod(time_s, 0.01) < 384e-6
    sound = 0.5 * on * np.where(time_s < 20.0, 1.0, 0.5) + rng.normal(0.0, 1e-4, len(time_s))
    reading = DisplayReading(15.0, peak_w_m2=1e-5, average_w_m2=1e-5 * 384e-4, peak_from_s=10.0, average_from_s=13.75)
    found = night_series(sound.astype(np.float32), [reading], sample_rate_hz=RATE)
    width_db = 10.0 * np.log10(found.average.high_w_m2 / found.average.low_w_m2)
    assert {rival.law for rival in found.calibration.rivals} | {found.calibration.law} >= {Law.SQUARE, Law.LINEAR}
    assert sum(rival.weight for rival in found.calibration.rivals) < 1.0
    assert width_db[30] > width_db[14] + 1.0
