"""Streaming: the same answer as from the whole, soon, in bounded memory."""

import tracemalloc

import numpy as np
import pytest

from roomfield.errors import FormatError, RangeError
from roomfield.signals import StreamingAnalyser, analyse, warm_up
from roomfield.signals.hearing import CLAIM
from roomfield.signals.live import _holds
from roomfield.signals.simulation.audio_scene import compose
from roomfield.signals.simulation.unlisted import UNLISTED

RATE = 48000


def feed(live, samples, chunk=2048):
    return [live.push(samples[i : i + chunk]) for i in range(0, samples.size, chunk)]


def test_streaming_equals_batch(invent):
    samples = invent("dect", seed=4, duration_s=6.0).samples
    live = StreamingAnalyser(RATE)
    answers = feed(live, samples[: RATE * 6], chunk=4800)
    batch = {h.name: h.probability for h in analyse(samples, sample_rate_hz=RATE).technologies}
    assert answers[-1].window_s == pytest.approx(6.0)
    for name, chance in answers[-1].probabilities.items():
        assert chance == pytest.approx(batch[name], abs=1e-9)


def test_five_answers_a_second_and_stable_within_three(invent):
    samples = invent("dect", seed=4, duration_s=6.0).samples
    live = StreamingAnalyser(RATE)
    answers = feed(live, samples, chunk=960)
    fresh = [a for a in answers if a.fresh]
    assert len(fresh) == pytest.approx(5 * (6 - 1), abs=2)
    after = [a.claimed for a in fresh if a.time_s >= 3.0]
    assert set(after) == {("dect",)}
    assert next(a for a in fresh if a.time_s >= 3.0).stable


def test_one_stray_answer_neither_claims_nor_drops():
    assert not _holds(0.9, 0.1, held=False) and _holds(0.9, CLAIM, held=False)
    assert _holds(0.01, 0.9, held=True) and not _holds(0.01, 0.01, held=True)


def test_a_pulse_train_of_no_technology_gets_no_name_live_either():
    """By the forest alone three of these eight would be named."""
    named = 0
    for index in range(8):
        rng = np.random.default_rng([31, index])
        scene = compose(rng, (UNLISTED,), duration_s=5.0, snr_db=26.0, clean=True)
        live = StreamingAnalyser(scene.sample_rate_hz)
        named += bool(feed(live, scene.samples, chunk=scene.sample_rate_hz // 2)[-1].claimed)
    assert named <= 0


def test_sound_that_waits_is_answered_once_a_second(invent):
    samples = invent("dect", seed=4, duration_s=6.0).samples
    live = StreamingAnalyser(RATE)
    fresh = [live.push(samples[i : i + 4800], hurry=True).fresh for i in range(0, RATE * 6, 4800)]
    assert sum(fresh) == 6


def test_noise_claims_nothing():
    live = StreamingAnalyser(RATE)
    answers = feed(live, (0.01 * np.random.default_rng(0).standard_normal(RATE * 5)).astype(np.float32), 4800)
    assert all(a.claimed == () for a in answers)


def test_memory_is_bounded():
    warm_up()
    live = StreamingAnalyser(RATE)
    noise = (0.01 * np.random.default_rng(0).standard_normal(RATE)).astype(np.float32)
    for _ in range(8):
        live.push(noise)
    tracemalloc.start()
    for _ in range(3):
        live.push(noise)
    first = tracemalloc.get_traced_memory()[0]
    for _ in range(12):
        live.push(noise)
    last, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert last - first < 2e6
    assert peak < 80e6


def test_bad_input_is_refused():
    with pytest.raises(RangeError, match="sample rate"):
        StreamingAnalyser(10.0)
    with pytest.raises(FormatError, match="not numbers"):
        StreamingAnalyser(RATE).push(np.array([0.0, np.nan]))
