"""A night's recording from the command line, kept with the survey."""

from __future__ import annotations

import json

import numpy as np
import pytest
import soundfile

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.store.repository import open_store

RATE, SCALE_UW = 8000, 1e3


@pytest.fixture
def night(tmp_path):
    """Bursts of 2 ms every 100 ms through a square law; the tenth second is the highest."""
    moment = np.arange(20 * RATE) / RATE
    samples = (np.mod(moment, 0.1) < 2e-3) * np.where(moment.astype(int) == 9, 0.5, 0.2)
    samples += 2e-4 * np.random.default_rng(2).standard_normal(len(moment))
    path = tmp_path / "night.wav"
    soundfile.write(path, samples, RATE, subtype="PCM_16")
    read = samples[int(16.75 * RATE) : 18 * RATE]
    return path, f"at=18 held=500 average={read.mean() * SCALE_UW:.5g}"


@pytest.fixture
def home(tmp_path) -> str:
    path = tmp_path / "home.sqlite"
    with open_store(path) as store:
        store.create(demo_survey())
    return str(path)


@pytest.mark.calculated("the tenth second of the invented sound is made the highest")
def test_a_night_is_kept_as_two_logs_and_says_when_the_highest_came(say, home, night):
    path, shown = night
    place = demo_survey().places[0].name
    words = ("night", path, "--shown", shown, "--coupling", "0", "--law", "square", "--keep", "--place", place)
    said = say(*words, "--visit", FIRST.id, "--record", home, "--began", "2026-11-28T22:00:00+01:00", "--json")
    assert said.code == 0, said.err
    told = json.loads(said.out)
    assert (told["hold"]["at_s"], told["hold"]["rivals"]) == (9.0, 0)
    assert any("at 22:00:09 (0:00:09 after the start)" in one for one in told["sentences"])
    with open_store(home) as store:
        logs = store.load(demo_survey().id).survey.current_logs()[-2:]
    assert [one.id for one in logs] == told["logs"]
    assert [one.kind.value for one in logs] == ["average", "peak"]


def test_a_night_without_its_beginning_is_not_kept(say, home, night):
    place = demo_survey().places[0].name
    said = say("night", night[0], "--shown", night[1], "--keep", "--place", place, "--record", home)
    assert said.code == 3
    assert "--began" in said.err
