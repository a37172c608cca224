"""A recorded hand scan from the command line, kept with the reading that it belongs to."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from benchmarks.hand_scans import hand_scan

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.quantities.kind import Kind
from roomfield.store.repository import open_store


@pytest.fixture
def scan(tmp_path):
    """Sound of a meter with a square law while a simulated hand scans: noise-like bursts as high as the level."""
    power = hand_scan(930_004).power_w_m2
    rng = np.random.default_rng(0)
    sound = np.repeat(power / power.max(), 160) * rng.uniform(0.98, 1.0, 160 * len(power))
    path = tmp_path / "scan.flac"
    soundfile.write(path, 0.5 * sound, 8000)
    return path


@pytest.fixture
def home(tmp_path) -> str:
    path = tmp_path / "home.sqlite"
    with open_store(path) as store:
        store.create(demo_survey())
    return str(path)


def test_what_the_scan_is_worth_goes_with_the_reading(say, home, scan):
    place = demo_survey().places[0].name
    words = ("--place", place, "--visit", FIRST.id, "--held", 3100, "--average", 90, "--record", home)
    said = say("coach", scan, "--turned", *words)
    assert said.code == 0, said.err
    assert f"2 numbers kept at {place}" in said.out
    with open_store(home) as store:
        held, average = store.load(demo_survey().id).survey.readings[-2:]
    assert (held.kind, held.value_w_m2) == (Kind.HIGHEST_HELD, pytest.approx(3.1e-3))
    assert held.listened == average.listened and held.listened is not None
    assert held.listened.low_db <= held.listened.shortfall_db <= held.listened.high_db
    assert held.listened.seconds == pytest.approx(soundfile.info(scan).duration, abs=0.2)


def test_a_place_that_is_not_there_and_an_entry_without_a_number_are_refused(say, home, scan):
    place = demo_survey().places[0].name
    nothing = say("coach", scan, "--place", place, "--visit", FIRST.id, "--record", home)
    assert nothing.code != 0 and "value" in nothing.err
    attic = say("coach", scan, "--place", "Attic", "--visit", FIRST.id, "--held", 3100, "--record", home)
    assert attic.code != 0 and "Attic" in attic.err
