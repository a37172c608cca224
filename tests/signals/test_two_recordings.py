"""Two recordings held against each other: clocks, activity, what came and went."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from roomfield.show.words.message_catalogue import load_words
from roomfield.signals import analyse
from roomfield.signals.hearing import Heard, Periodicity
from roomfield.signals.simulation.audio_scene import SimulatedMeter, compose
from roomfield.signals.two_recordings import SAME_CRYSTAL_PPM, compare, recorder_shift
from roomfield.workbench.record.sound_questions import plain_comparison

METER = SimulatedMeter("square", 20.0, 20000.0)


def scene(names: tuple[str, ...], seed: int, clock_ppm: float = 0.0):
    made = compose(
        np.random.default_rng(seed), names, duration_s=10.0, snr_db=28.0, meter=METER, clean=True, clock_ppm=clock_ppm
    )
    return made, analyse(made.samples, sample_rate_hz=48000.0)


def told(name: str, hz: float, ppm: float, std_ppm: float) -> Heard:
    rate = Periodicity(hz * (1 + ppm * 1e-6), hz * std_ppm * 1e-6, 100.0, -50.0, 20, (name,), "frame")
    return Heard(name, name, 0.99, (), (), "", (rate,), None)


@pytest.fixture(scope="module")
def base():
    return scene(("dect",), 5)[1]


def test_the_same_base_heard_by_a_recorder_whose_clock_moved_is_the_same_where_a_mobile_base_tells(base):
    heard = [told("dect", 100.0, 4.0, 0.05), told("gsm", 26 / 0.12, 0.0, 0.02)]
    later = [told("dect", 100.0, 13.2, 0.05), told("gsm", 26 / 0.12, 9.0, 0.02)]
    found = compare(replace(base, technologies=tuple(heard)), replace(base, technologies=tuple(later)))
    assert found.recorder.told_by == ("gsm",)
    assert found.recorder.ppm == pytest.approx(9.0, abs=0.1)
    (clock,) = found.clocks
    assert clock.difference_ppm == pytest.approx(0.2, abs=0.15)
    assert clock.verdict == "same"
    without = compare(replace(base, technologies=tuple(heard[:1])), replace(base, technologies=tuple(later[:1])))
    assert without.clocks[0].verdict == "other"
    free = compare(
        replace(base, technologies=tuple(heard[:1])), replace(base, technologies=tuple(later[:1])), one_recorder=False
    )
    assert free.clocks[0].verdict == "open"


@pytest.mark.published("Bayes factor of two normal distributions, written out with scipy.stats.norm")
def test_odds_are_the_bayes_factor_of_one_crystal_against_two(base):
    pair = [replace(base, technologies=(told("dect", 100.0, ppm, 0.1),)) for ppm in (0.0, 6.0)]
    found = compare(*pair).clocks[0]
    one = np.sqrt(2 * 0.1**2 + 2.0**2 + SAME_CRYSTAL_PPM**2)
    other = np.hypot(one, 5.0 * np.sqrt(2))
    assert found.odds == pytest.approx(stats.norm(0, one).pdf(6.0) / stats.norm(0, other).pdf(6.0), rel=1e-3)
    low, high = found.interval_ppm
    assert (high - low) / 2 == pytest.approx(1.96 * one, rel=1e-3)


def test_the_recorder_is_believed_less_where_two_mobile_bases_disagree():
    pairs = [(told("gsm", 26 / 0.12, 0, 0.02), told("gsm", 26 / 0.12, 5.0, 0.02)), (
        told("lte_fdd", 200.0, 0, 0.02), told("lte_fdd", 200.0, 7.0, 0.02))]  # fmt: skip
    assert recorder_shift(pairs, True).std_ppm > 0.9
    assert recorder_shift(pairs[:1], True).std_ppm < 0.1


def test_two_bases_from_sound_are_two_and_one_is_one():
    first, one = scene(("dect", "gsm"), 11)
    same_scene = compose(
        np.random.default_rng(11),
        ("dect", "gsm"),
        duration_s=10.0,
        snr_db=24.0,
        meter=METER,
        clean=True,
        clock_ppm=22.0,
    )
    same = compare(one, analyse(same_scene.samples, sample_rate_hz=48000.0))
    assert [c.verdict for c in same.clocks if c.name == "dect"] == ["same"]
    other_scene, other = scene(("dect", "gsm"), 15)
    apart = abs(other_scene.components[0].rates_hz[0] / first.components[0].rates_hz[0] - 1) * 1e6
    assert apart > 8
    assert [c.verdict for c in compare(one, other).clocks if c.name == "dect"] == ["other"]


def test_what_came_and_went_and_the_sentences_in_two_languages(base):
    lte = told("lte_fdd", 200.0, 0.0, 0.05)
    found = compare(base, replace(base, technologies=(*base.technologies, lte)))
    assert (found.gone, found.new) == ((), ("lte_fdd",))
    for language, word in (("en", "second recording only"), ("de", "zweiten Aufnahme")):
        assert any(word in line for line in plain_comparison(found, load_words(language))["sentences"])


@pytest.mark.published("interval of a ratio of two means by the log of Poisson counts, numpy")
def test_more_traffic_is_told_with_an_interval_that_holds():
    rng = np.random.default_rng(0)
    heard = told("wifi_data", 1e6 / 102400, 0.0, 0.5)
    inside = 0
    for _ in range(200):
        rows = []
        for rate in (20.0, 40.0):
            starts = np.sort(rng.uniform(0, 10, rng.poisson(10 * rate)))
            bursts = SimpleNamespace(starts_s=starts, widths_s=np.full(starts.size, 3e-4), count=starts.size)
            rows.append(SimpleNamespace(claimed=(heard,), bursts=bursts, duration_s=10.0, span_s=10.0, profiles=()))
        (change,) = compare(*rows).activity
        inside += change.low < 2.0 < change.high
    assert 0.9 < inside / 200 <= 1.0
    assert change.verdict == "risen"
