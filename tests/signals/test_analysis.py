"""The ear as a whole: negatives, standards' emitters, mixtures, unknown signals, JSON."""

import json

import numpy as np
import pytest
import soundfile

from roomfield.errors import FormatError, InputError
from roomfield.references.technologies import technology
from roomfield.signals import MeterAudio, analyse, analyse_folder
from roomfield.signals.simulation import room
from roomfield.signals.simulation.component import Bench

RATE = 48000


def names(hearing):
    return {h.name for h in hearing.claimed}


@pytest.mark.parametrize("seed", range(4))
def test_noise_holds_nothing(seed):
    noise = 0.01 * np.random.default_rng(seed).standard_normal(RATE * 5)
    hearing = analyse(noise, sample_rate_hz=RATE)
    assert names(hearing) == set()
    assert hearing.verdict == "nothing but noise"


@pytest.mark.parametrize("kind", ["hum50", "hum60", "dimmer", "voice", "music", "handling"])
@pytest.mark.parametrize("seed", [1, 2])
def test_sounds_that_are_no_transmitter(kind, seed):
    bench = Bench(np.random.default_rng(seed), float(RATE), 6.0)
    makers = {
        "hum50": lambda: room.hum(bench, 50.0), "hum60": lambda: room.hum(bench, 60.0),
        "dimmer": lambda: room.dimmer(bench, 50.0), "voice": lambda: room.voice(bench),
        "music": lambda: room.music(bench), "handling": lambda: room.handling(bench),
    }  # fmt: skip
    sound = makers[kind]() * 0.2 + 0.003 * bench.rng.standard_normal(bench.samples)
    assert names(analyse(sound, sample_rate_hz=RATE)) == set()


@pytest.mark.calculated("rates from the standards named in the table of technologies")
@pytest.mark.parametrize(
    ("name", "rate_hz", "ppm"),
    [
        ("dect", 100.0, 60), ("gsm", None, 20), ("tetra", None, 20),
        ("dmr", 50 / 3, 60), ("wifi_beacon", None, 80), ("bluetooth_classic", None, 80), ("lte_fdd", 200.0, 20),
        ("dvbt", None, 20)
    ],
)  # fmt: skip
def test_single_emitters_are_named_with_an_exact_rate(invent, name, rate_hz, ppm):
    scene = invent(name, seed=4, duration_s=8.0)
    hearing = analyse(scene.samples, sample_rate_hz=RATE)
    assert name in names(hearing)
    found = next(h for h in hearing.claimed if h.name == name)
    rate = found.rates[0].frequency_hz
    nominal = [r.hz for r in technology(name).rates]
    assert min(abs(rate / hz - 1) for hz in nominal if rate_hz is None or hz == rate_hz) < ppm * 1e-6
    truth = scene.components[0].rates_hz
    assert min(abs(rate / hz - 1) for hz in truth) < 30e-6 + 0.1 / 8 / rate
    assert any(item.kind == "rate" for item in found.evidence)


def test_mixture_of_cordless_and_beacon(invent):
    hearing = analyse(invent("dect", "wifi_beacon", seed=8, duration_s=10.0).samples, sample_rate_hz=RATE)
    assert names(hearing) == {"dect", "wifi_beacon"}


@pytest.mark.published("ETSI EN 300 175-2: burst of 368 us")
def test_cordless_burst_width(invent):
    scene = invent("dect", seed=4, duration_s=8.0)
    found = next(h for h in analyse(scene.samples, sample_rate_hz=RATE).claimed if h.name == "dect")
    assert found.burst_width_s == pytest.approx(scene.components[0].widths_s[0], rel=0.08)


def test_unknown_pulsed_signal_is_reported_as_such():
    rng = np.random.default_rng(0)
    t = np.arange(RATE * 8) / RATE
    pulses = ((t * 23.4) % 1.0 < 23.4 * 1.5e-3) * 0.2
    hearing = analyse(pulses + 0.01 * rng.standard_normal(t.size), sample_rate_hz=RATE)
    assert names(hearing) == set()
    assert hearing.verdict == "unknown pulsed signal at 23.4 Hz"
    assert hearing.periodicities[0].log10_false_alarm < -10


def test_answer_is_complete_json(invent):
    meter = MeterAudio("square", 40.0, known_level_w_m2=1e-3)
    hearing = analyse(invent("dect").samples, sample_rate_hz=RATE, meter_audio=meter)
    answer = json.loads(json.dumps(hearing.to_dict(), allow_nan=False))
    assert set(answer) >= {
        "technologies", "periodicities", "bursts", "profiles", "spectrum", "duration_s", "excluded", "unknowns",
        "measured", "verdict", "claimed",
    }  # fmt: skip
    assert answer["claimed"] == ["dect"]
    assert answer["measured"]["average_w_m2"] == pytest.approx(1e-3, rel=1e-6)
    assert len(answer["spectrum"]["frequencies_hz"]) == len(answer["spectrum"]["over_floor_db"])
    assert all(0 <= t["probability"] <= 1 for t in answer["technologies"])


def test_without_the_instrument_nothing_is_measured(invent):
    hearing = analyse(invent("dect").samples, sample_rate_hz=RATE)
    assert hearing.measured is None
    assert any("detector law" in u for u in hearing.unknowns)


def test_file_array_and_other_rates_agree(tmp_path, invent):
    scene = invent("gsm", seed=3)
    path = tmp_path / "a.wav"
    soundfile.write(path, scene.samples, RATE, subtype="FLOAT")
    from_file, from_array = analyse(path), analyse(scene.samples, sample_rate_hz=RATE)
    assert from_file.technologies[0].probability == pytest.approx(from_array.technologies[0].probability)
    slower = invent("gsm", seed=3, rate=44100)
    assert names(analyse(slower.samples, sample_rate_hz=44100)) == names(from_array) == {"gsm"}


def test_folder_goes_on_after_a_bad_file(tmp_path, invent):
    soundfile.write(tmp_path / "good.wav", invent("dect").samples, RATE)
    (tmp_path / "bad.wav").write_bytes(b"no sound")
    steps = []
    answers = analyse_folder(tmp_path, processes=1, progress=lambda done, total, a: steps.append((done, total)))
    assert steps == [(1, 2), (2, 2)]
    assert answers[0].error and "not a sound file" in answers[0].error
    assert answers[1].hearing is not None and names(answers[1].hearing) == {"dect"}
    with pytest.raises(InputError, match="no such folder"):
        analyse_folder(tmp_path / "none")


def test_too_short_is_refused():
    with pytest.raises(FormatError, match="too short"):
        analyse(np.zeros(1000), sample_rate_hz=RATE)


@pytest.mark.published(
    "EN 300 175-2: a packet of 368 us in every 10 ms from base and handset, 5 ms apart; between them nothing is sent"
)
def test_the_course_shown_of_a_cordless_call_is_flat_between_its_packets():
    """Its lines fall on those of 50 Hz hum, and were notched with it: the picture rang at 1.2 kHz where nothing is sent."""
    rate, fine = 48000.0, 8
    time_s = np.arange(int(8 * rate) * fine) / (fine * rate)
    on = (time_s * 200.0028 % 1.0 < 368.06e-6 * 200).reshape(-1, fine).mean(1)
    sound = 0.1 * (on - on.mean()) + 0.001 * np.random.default_rng(4).standard_normal(on.size)
    heard = analyse(sound.astype(np.float32), sample_rate_hz=rate)
    assert heard.hum_hz is not None
    (shown,) = [one.levels for one in heard.profiles if one.name == "frame"]
    quiet = np.sort(shown)[: int(0.85 * shown.size)]
    assert np.ptp(quiet) < 0.1 * np.ptp(shown)
