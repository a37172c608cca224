"""Senders of one kind told apart by their clocks: access points by single beacons, cordless bases by the drift of bursts."""

import numpy as np
import pytest
from scipy import stats

from roomfield.signals.base_clocks import told_apart
from roomfield.signals.beacon_times import beacon_lines
from roomfield.signals.bursts import BurstTable
from roomfield.signals.simulation.audio_scene import SimulatedMeter, compose

TU_HZ = 1e6 / 1024
NOMINAL_HZ = TU_HZ / 100


def table(starts: np.ndarray) -> BurstTable:
    starts = np.sort(starts)
    ones = np.ones(starts.size)
    return BurstTable(starts, 1e-3 * ones, ones, ones.astype(int), ones, (0.1,) * 5, ones, ones)


def network(
    rng, rate_hz: float, duration_s: float, deferred: float, scatter_s: float = 8e-6
) -> tuple[np.ndarray, np.ndarray]:
    due = np.arange(1, int(duration_s * rate_hz) - 1) / rate_hz + rng.random() * 0.05
    late = np.where(rng.random(due.size) < deferred, rng.exponential(400e-6, due.size), 0.0)
    return due + late + scatter_s * rng.standard_normal(due.size), late == 0


@pytest.mark.published("least squares by scipy.stats.linregress over the beacons that were not deferred")
def test_a_beacon_clock_comes_near_to_the_fit_that_knows_which_were_deferred():
    errors, stated, best = [], [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        true_hz = NOMINAL_HZ * (1 + rng.normal(0, 15e-6))
        starts, on_time = network(rng, true_hz, 12.0, 0.4)
        line = beacon_lines(table(starts), 12.0, NOMINAL_HZ)[0]
        order = np.rint((starts - starts[0]) * true_hz)
        oracle = stats.linregress(order[on_time], starts[on_time])
        errors.append((line.frequency_hz / true_hz - 1) * 1e6)
        stated.append(line.frequency_std_hz / true_hz * 1e6)
        best.append((1 / oracle.slope / true_hz - 1) * 1e6)
    spread = np.sqrt(np.mean(np.square(errors)))
    assert spread < 1.5 * np.sqrt(np.mean(np.square(best)))
    within = np.abs(errors) / np.array(stated)
    assert 0.58 < np.mean(within < 1) < 0.9
    assert np.mean(within < 2) > 0.9


def test_two_access_points_have_two_clocks_and_deferred_beacons_are_no_third():
    rng = np.random.default_rng(3)
    rates = NOMINAL_HZ * (1 + 4e-6), NOMINAL_HZ * (1 - 9e-6)
    starts = np.concatenate([network(rng, hz, 12.0, 0.4)[0] for hz in rates])
    lines = beacon_lines(table(starts), 12.0, NOMINAL_HZ)
    assert len(lines) == 2
    for line in lines:
        assert min(abs(line.frequency_hz - hz) for hz in rates) < 3.5 * line.frequency_std_hz
        assert line.frequency_std_hz / NOMINAL_HZ < 1e-6


def test_bursts_at_random_are_no_beacons():
    rng = np.random.default_rng(4)
    assert not any(beacon_lines(table(rng.uniform(0, 12, 1500)), 12.0, NOMINAL_HZ) for _ in range(5))


def bases(seed: int, count: int):
    rng = np.random.default_rng([77, seed, count])
    meter = SimulatedMeter("square", 20.0, 20000.0)
    return compose(rng, ("dect",) * count, duration_s=12.0, snr_db=26.0, clean=True, meter=meter)


def test_one_cordless_base_is_one_clock():
    for seed in range(6):
        scene = bases(seed, 1)
        found = told_apart(scene.samples - scene.samples.mean(), 48000.0, "dect", scene.components[0].rates_hz[0])
        assert len(found) == 1
        assert abs(found[0].frequency_hz / scene.components[0].rates_hz[0] - 1) < 0.5e-6


def test_two_cordless_bases_are_told_apart_and_each_clock_is_right():
    apart, tried = 0, 0
    for seed in range(8):
        scene = bases(seed, 2)
        rates = [part.rates_hz[0] for part in scene.components]
        if abs(rates[0] / rates[1] - 1) < 2e-6:
            continue
        tried += 1
        found = told_apart(scene.samples - scene.samples.mean(), 48000.0, "dect", float(np.mean(rates)))
        assert all(min(abs(f.frequency_hz / hz - 1) for hz in rates) < 1.2e-6 for f in found)
        apart += len(found) == 2
    assert tried >= 4
    assert apart >= 0.7 * tried


def test_kinds_whose_bases_keep_one_clock_are_not_told_apart():
    assert told_apart(np.zeros(480000, np.float32), 48000.0, "gsm", 26 / 0.12) == ()
