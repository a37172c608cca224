"""Pulsed emitters that stand in no table: exact rates, any width. They have no name, and must be given none."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.simulation.component import Bench, Component, boxes, noise_like

UNLISTED = "unlisted"
ROUND_HZ = (
    4.0, 5.0, 6.0, 7.5, 8.0, 10.0, 10.0, 12.0, 12.5, 15.0, 20.0, 20.0, 24.0, 30.0, 100 / 3, 40.0, 45.0, 60.0, 62.5, 70.0,
    75.0, 80.0, 90.0, 110.0, 120.0, 125.0, 150.0, 160.0, 180.0, 240.0, 250.0, 300.0, 320.0, 1000 / 3, 350.0, 450.0, 600.0,
    625.0, 700.0, 750.0, 900.0, 1200.0, 1250.0,
)  # fmt: skip
LISTED_HZ = (
    1e6 / 307200, 1e6 / 204800, 1e6 / 102400, 50 / 3, 3 / 0.17, 25.0, 50.0, 12 / 0.17, 100.0, 400 / 3, 200.0, 26 / 0.12,
    800 / 3, 400.0, 500.0, 800.0, 1000.0, 1500.0, 1600.0, 208 / 0.12, 2000.0,
)  # fmt: skip
TOO_NEAR = 400e-6


def is_listed(rate_hz: float) -> bool:
    """Whether a rate lies so near to one of the table that no clock could tell them apart."""
    return any(abs(rate_hz / listed - 1) < TOO_NEAR for listed in LISTED_HZ)


def unlisted_rate(rng: np.random.Generator) -> float:
    """A round rate, any rate, or one just beside a rate of the table [Hz]."""
    while True:
        kind = rng.random()
        if kind < 0.45:
            rate = float(rng.choice(ROUND_HZ)) * (1 + float(rng.normal(0, 10e-6)))
        elif kind < 0.8:
            rate = float(np.exp(rng.uniform(np.log(3), np.log(1300))))
        else:
            rate = float(rng.choice(LISTED_HZ)) * (
                1 + float(rng.choice([-1, 1])) * 10 ** float(rng.uniform(-3.4, -1.7))
            )
        if not is_listed(rate):
            return rate


def _periods(bench: Bench, rate_hz: float) -> NDArray[np.float64]:
    """Starts of the periods, some left out: single ones, or whole spells."""
    rng = bench.rng
    starts = (np.arange(int(bench.duration_s * rate_hz) + 2) - 1 + rng.random()) / rate_hz
    kind = rng.random()
    if kind < 0.1:
        return np.asarray(starts[rng.random(starts.size) > rng.uniform(0.02, 0.3)], np.float64)
    if kind < 0.2:
        edges = np.cumsum(rng.exponential(1.0, int(bench.duration_s * 4) + 8))
        spells = np.asarray(starts[np.searchsorted(edges, starts) % 2 == 0], np.float64)
        return spells if spells.size > 4 else np.asarray(starts, np.float64)
    return np.asarray(starts, np.float64)


def unlisted(bench: Bench) -> Component:
    """A train of pulses, or of small groups of pulses, at an exact rate outside the table."""
    rng = bench.rng
    rate = unlisted_rate(rng)
    begin = _periods(bench, rate)
    widest = min(9e-3, 0.45 / rate)
    width = float(np.exp(rng.uniform(np.log(20e-6), np.log(max(widest, 40e-6)))))
    pulses = int(rng.choice([1, 1, 1, 1, 2, 3]))
    places = np.sort(rng.random(pulses)) * 0.8 / rate
    starts = (begin[:, None] + places).ravel()
    if rng.random() < 0.1:
        starts = starts + rng.normal(0, 10 ** rng.uniform(-5, -3.5), starts.size)
    heights = np.tile(np.r_[1.0, 10 ** (rng.uniform(-10, 0, pulses - 1) / 10)], begin.size)
    if rng.random() < 0.15:
        heights = heights * 10 ** (rng.normal(0, 2, heights.size) / 10)
    power = boxes(bench, starts, width, heights / heights.max())
    if rng.random() < 0.4:
        power = noise_like(bench, power, 10 ** float(rng.uniform(4.5, 7)))
    return Component(UNLISTED, f"{rate:.4g} Hz", power, (rate,), starts, np.full(starts.size, width))
