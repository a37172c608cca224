"""Long recordings: which blocks are heard, and what they say together."""

import numpy as np
import pytest
import soundfile

from roomfield.signals import analyse
from roomfield.signals.long_recordings import DEEP_BLOCKS, BlockAnswer, choose, combine, hear_blocks, sketch
from roomfield.signals.recording import open_source

RATE = 8000


def test_short_lists_are_heard_whole():
    assert choose(np.zeros((5, 3)), 80) == (0, 1, 2, 3, 4)


def test_the_odd_block_is_always_heard():
    sketches = np.random.default_rng(0).normal(0, 0.01, (300, 4))
    sketches[137] += 3.0
    picked = choose(sketches, 40)
    assert 137 in picked and picked[0] == 0 and picked[-1] == 299
    assert len(picked) == 21  # the others only repeat


def test_every_place_is_taken_where_no_block_is_like_another():
    assert len(choose(np.random.default_rng(0).normal(0, 1.0, (300, 12)), 40)) == 40


def test_sketch_tells_pulses_from_noise_and_loud_from_soft():
    rng = np.random.default_rng(0)
    noise = rng.standard_normal(RATE * 4).astype(np.float32) * 0.01
    pulses = noise.copy()
    pulses[::800] += 0.5
    a, b, c = (sketch((0, x.size), open_source(x, RATE)) for x in (noise, pulses, noise * 10))
    assert c[0] - a[0] == pytest.approx(1.0, abs=1e-3)
    assert b[1] > a[1] + 0.3


def answer(chance):
    return BlockAnswer(0.0, 16.0, {"dect": chance}, 0.0, None)


def test_one_block_in_many_is_not_enough_but_one_in_two_is():
    assert combine([answer(0.9), answer(0.1)]).chances["dect"] == 0.9
    assert combine([answer(0.9)] + [answer(0.1)] * 30).chances["dect"] == 0.1
    assert combine([answer(0.9)] * 4 + [answer(0.1)] * 30).chances["dect"] == 0.9


def test_no_more_blocks_than_places_are_heard(tmp_path, monkeypatch):
    path = tmp_path / "long.wav"
    soundfile.write(path, np.random.default_rng(0).normal(0, 0.01, RATE * 40).astype(np.float32), RATE)
    source = open_source(path, None)
    monkeypatch.setattr("roomfield.signals.recording.BLOCK_S", 2.0)
    monkeypatch.setattr("roomfield.signals.long_recordings.DEEP_BLOCKS", 6)
    assert DEEP_BLOCKS > 6 and len(source.cuts()) == 20
    assert len(hear_blocks(source, 1)) == 6


def test_each_claim_is_explained_from_a_block_that_shows_it(invent):
    parts = [invent(name, seed=4, duration_s=16.0).samples for name in ("dect", "tetra")]
    hearing = analyse(np.concatenate([p for p in parts for _ in range(2)]), sample_rate_hz=48000)
    rates = {h.name: h.rates[0].frequency_hz for h in hearing.claimed if h.rates}
    assert rates["dect"] == pytest.approx(100.0, rel=60e-6)
    assert rates["tetra"] == pytest.approx(17.647, rel=60e-6)
