"""Rotating radars: a chirp of pulses while the beam passes (families of ITU-R M.1464, M.1849 and M.1313, from memory)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.simulation.component import Bench, Component, boxes

Array = NDArray[np.float64]

LEAST_PULSES = 7
TURN_S = (2.0, 12.0)
RATE_HZ = (280.0, 3000.0)
DWELL_S = (5e-3, 60e-3)


def _steps(bench: Bench, rate_hz: float, count: int) -> Array:
    """Times between the pulses of one passage [s]: even, staggered over two to eight values, or paired."""
    rng = bench.rng
    kind = rng.choice(["even", "two", "several", "pairs"], p=[0.72, 0.13, 0.1, 0.05])
    steps = np.full(count, 1 / rate_hz)
    if kind == "two":
        spread = float(rng.choice([0.04, 0.08, 0.15]))
        return np.asarray(steps * np.where(np.arange(count) % 2, 1 - spread, 1 + spread))
    if kind == "several":
        pattern = rng.uniform(0.88, 1.12, int(rng.integers(3, 9)))
        return np.asarray(steps * np.resize(pattern / pattern.mean(), count))
    if kind == "pairs":
        near = rng.uniform(0.12, 0.35)
        return np.asarray(steps * np.where(np.arange(count) % 2, 2 * (1 - near), 2 * near))
    return steps


def _pattern(bench: Bench, offsets: Array, side_db: float) -> Array:
    """One-way gain of the antenna at offsets from its main beam [half-power widths], side lobes included [relative]."""
    main = np.exp(-2.77 * offsets**2)
    lobes = np.sin(np.pi * 1.39 * offsets) ** 2 / np.maximum((np.pi * 1.39 * offsets) ** 2, 1.0)
    away = np.abs(offsets) > 1.0
    return np.asarray(np.where(away, np.minimum(10 ** (side_db / 10) * 20 * lobes, 0.05), main))


def radar(bench: Bench) -> Component:
    """A rotating beam: a train of pulses for one beam width each turn; in a short recording it passes once."""
    rng = bench.rng
    turn = float(rng.uniform(*TURN_S)) if rng.random() < 0.5 else rng.uniform(1.5, max(2.0, 0.45 * bench.duration_s))
    rate = float(np.exp(rng.uniform(*np.log(RATE_HZ))))
    beam = float(np.clip(turn * rng.uniform(0.7, 3.0) / 360, max(DWELL_S[0], LEAST_PULSES / rate), DWELL_S[1]))
    first = rng.uniform(0.02, min(turn, 0.9 * bench.duration_s))
    sharp, side_db = float(rng.choice([1.0, 2.0])), float(rng.uniform(-38, -22))
    lit = 10 ** rng.uniform(-3.5, -0.7)
    switched = rng.random() < 0.1
    rates = [rate * (rng.uniform(0.75, 1.3) if switched and index else 1.0) for index in range(2)]
    state = rng.bit_generator.state
    starts, heights = [], []
    for passage, centre in enumerate(np.arange(first, bench.duration_s, turn)):
        one = rates[passage % 2]
        rng.bit_generator.state = state
        times = centre - 4 * beam + np.cumsum(_steps(bench, one, int(8 * beam * one) + 2))
        gain = _pattern(bench, (times - centre) / beam, side_db) ** sharp
        starts.append(times[gain > lit])
        heights.append(gain[gain > lit])
    flat, height = np.concatenate(starts), np.concatenate(heights)
    width = 10 ** rng.uniform(-6.3, -4.3) if rng.random() < 0.9 else rng.uniform(50e-6, 100e-6)
    samples_long = width * bench.rate_hz
    power = boxes(bench, flat, width, height / samples_long if samples_long < 1 else height)
    name = f"turn {turn:.2f} s PRF {rate:.0f} Hz"
    return Component("radar", name, power, (1 / turn, rate), flat, np.full(flat.size, width))
