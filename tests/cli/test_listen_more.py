"""listen: two recordings held against each other, and a figure along time."""

import json

import numpy as np
import soundfile
from typer.testing import CliRunner

from roomfield.cli.main import app
from roomfield.signals.simulation.audio_scene import SimulatedMeter, compose


def write(path, seed: int, seconds: float = 8.0) -> str:
    meter = SimulatedMeter("square", 20.0, 20000.0)
    scene = compose(np.random.default_rng(seed), ("dect",), duration_s=seconds, snr_db=28.0, meter=meter, clean=True)
    soundfile.write(path, scene.samples, 48000)
    return str(path)


def test_compare_says_whose_clock_it_is_in_words_and_in_json(tmp_path):
    first, second = write(tmp_path / "a.wav", 5), write(tmp_path / "b.wav", 5)
    said = CliRunner().invoke(app, ["listen", first, "--compare", second])
    assert said.exit_code == 0
    assert "Both recordings hold the same kinds of transmitter." in said.output
    assert "whether it is the same one cannot be told" in said.output  # no mobile base tells the recorder's clock
    told = json.loads(CliRunner().invoke(app, ["listen", first, "--compare", second, "--json"]).output)
    assert told["clocks"][0]["verdict"] == "open"
    assert abs(told["clocks"][0]["difference_ppm"]) < 0.1
    german = CliRunner().invoke(app, ["listen", first, "--compare", second, "--other-recorder", "--language", "de"])
    assert "lässt sich nicht sagen" in german.output


def test_a_figure_is_drawn_for_a_long_recording_and_refused_for_a_short_one(tmp_path):
    target = tmp_path / "when.svg"
    long = CliRunner().invoke(app, ["listen", write(tmp_path / "long.wav", 5, 40.0), "--figure", str(target)])
    assert long.exit_code == 0
    assert target.read_text(encoding="utf-8").startswith("<svg")
    short = CliRunner().invoke(app, ["listen", write(tmp_path / "s.wav", 5, 5.0), "--figure", str(tmp_path / "no.svg")])
    assert short.exit_code != 0
    assert not (tmp_path / "no.svg").exists()
