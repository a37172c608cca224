"""A channel full of packets is a transmitter of a kind not told; noise, hum and voices are none."""

import numpy as np
import pytest

from roomfield.signals import analyse
from roomfield.signals.classifier import DOUBT, SLOPE_LOST, on_narrow_paths, shipped_forest
from roomfield.signals.conditioning import condition
from roomfield.signals.crowded_channel import crowded_chance
from roomfield.signals.features import gather, vector
from roomfield.signals.simulation import audio_scene, packets
from roomfield.signals.simulation.audio_scene import SimulatedMeter, compose, negative_scene


def crowded(seed: int, monkeypatch) -> audio_scene.AudioScene:
    monkeypatch.setitem(audio_scene.SOURCES, "saturated", packets.saturated_channel)
    meter = SimulatedMeter("square", 20.0, 20000.0)
    rng = np.random.default_rng([4, seed])
    return compose(rng, ("saturated",), duration_s=8.0, snr_db=22.0, meter=meter, clean=True)


def numbers(scene: audio_scene.AudioScene) -> dict[str, float]:
    return vector(gather(condition(scene.samples, scene.sample_rate_hz)))


def test_a_saturated_channel_is_told_as_a_transmitter_and_given_no_foreign_name(monkeypatch):
    told = 0
    for seed in range(8):
        scene = crowded(seed, monkeypatch)
        hearing = analyse(scene.samples, sample_rate_hz=scene.sample_rate_hz)
        told += hearing.transmitter >= 0.5
        assert {h.name for h in hearing.claimed} <= {"wifi_data", "wifi_beacon"}
    assert told >= 6


def test_nothing_without_a_transmitter_is_taken_for_a_crowd():
    """Of a seed that no fit has seen."""
    assert not [i for i in range(24) if crowded_chance(numbers(negative_scene(i, 515151))) >= 0.5]


def test_a_narrow_band_leaves_it_open(monkeypatch):
    found = numbers(crowded(1, monkeypatch))
    assert crowded_chance(found) > 0.5
    assert crowded_chance(found | {"band.top": float(np.log10(4000.0))}) == 0.0


def test_names_are_doubted_where_the_band_is_narrow_and_left_where_it_is_whole():
    forest = shipped_forest()
    odds = np.full(len(forest.names), 2.0)
    whole = on_narrow_paths(odds, {"band.top": float(np.log10(12000.0))}, forest)
    assert whole == pytest.approx(odds)
    narrow = on_narrow_paths(odds, {"band.top": float(np.log10(4000.0))}, forest)
    names = np.array([name != "any transmitter" for name in forest.names])
    assert narrow[names] == pytest.approx((1 - SLOPE_LOST) * 2.0 - DOUBT)
    assert narrow[~names] == pytest.approx(2.0)
