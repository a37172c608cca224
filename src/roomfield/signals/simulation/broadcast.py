"""Terrestrial television: carriers of which the pilots alone are the same every four symbols.

Pilots follow ETSI EN 300 744 clause 4.5 (scattered every twelfth carrier, shifted by three each symbol; continual ones of
table 7, from memory; power 16/9 of a data carrier; signs by the generator x^11 + x^2 + 1). What repeats is small: the power of
the pilots among themselves, about 1 % of the mean as a detector of some ten microseconds sees it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.simulation.component import Bench, Component, noise_like

Array = NDArray[np.float64]

CARRIERS = {2048: 1705, 8192: 6817}
CONTINUAL_2K = (
    0, 48, 54, 87, 141, 156, 192, 201, 255, 279, 282, 333, 432, 450, 483, 525, 531, 618, 636, 714, 759, 765, 780, 804, 873,
    888, 918, 939, 942, 969, 984, 1050, 1101, 1107, 1110, 1137, 1140, 1146, 1206, 1269, 1323, 1377, 1491, 1683, 1704,
)  # fmt: skip
PILOT_AMPLITUDE = 4 / 3
ELEMENT_S = 7e-6 / 64


@lru_cache(maxsize=2)
def pilot_signs(carriers: int) -> Array:
    """Signs of the reference sequence: a shift register of eleven ones, taps after the ninth and eleventh."""
    register, out = [1] * 11, np.zeros(carriers)
    for i in range(carriers):
        out[i] = 1 - 2 * register[-1]
        register = [register[-1] ^ register[8], *register[:-1]]
    return out


@lru_cache(maxsize=8)
def pilot_course(size: int, guard: int) -> tuple[Array, float]:
    """Power of the pilots alone over four symbols, mean one, at the elementary period, and their share of all power.

    Parameters
    ----------
    size : int
        Length of the Fourier transform: 2048 or 8192.
    guard : int
        Guard interval [elementary periods].
    """
    carriers = CARRIERS[size]
    signs = pilot_signs(carriers)
    repeats = (carriers - 1) // 1704
    continual = np.unique([at + 1704 * n for at in CONTINUAL_2K for n in range(repeats)])
    rows, count = [], 0
    for symbol in range(4):
        pilots = np.union1d(continual, np.arange(3 * symbol, carriers, 12))
        spectrum = np.zeros(size, complex)
        spectrum[pilots] = PILOT_AMPLITUDE * signs[pilots]
        power = np.abs(np.fft.ifft(spectrum)) ** 2
        rows.append(np.concatenate([power[size - guard :], power]))
        count += pilots.size
    course = np.concatenate(rows)
    pilot_power = count / 4 * PILOT_AMPLITUDE**2
    return course / course.mean(), pilot_power / (pilot_power + carriers - count / 4)


def dvbt(bench: Bench) -> Component:
    """A broadcast multiplex: noise, with pilots that repeat every four symbols."""
    rng = bench.rng
    size = int(rng.choice([8192, 8192, 8192, 2048]))
    guard = size // int(rng.choice([4, 8, 16, 32]))
    element = ELEMENT_S * float(rng.choice([1, 1, 8 / 7]))
    symbol = (size + guard) * element
    scale = 1 + bench.clock_error(1)
    course, share = pilot_course(size, guard)
    cells = round(4 * symbol * bench.rate_hz)
    edges = np.linspace(0, course.size, cells + 1)
    total = np.interp(edges, np.arange(course.size + 1), np.concatenate([[0.0], np.cumsum(course)]))
    shape = np.diff(total) * cells / course.size
    phase = (np.arange(bench.samples) * (scale / (bench.rate_hz * 4 * symbol)) + rng.random()) % 1.0
    mean = 1 - share + share * shape[(phase * cells).astype(int)]
    dip = float(rng.choice([0.0, 0.0, rng.uniform(0, 0.03)]))
    edge = np.where(phase * 4 % 1.0 * symbol * bench.rate_hz < 1.0, 1 - dip, 1.0)
    power = noise_like(bench, (mean * edge).astype(np.float32), CARRIERS[size] / (size * element))
    return Component("dvbt", f"symbol {symbol * 1e6:.0f} us", power, (scale / symbol,))
