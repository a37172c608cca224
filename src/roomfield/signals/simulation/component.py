"""One transmitter's received power against time, with its truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.simulation.box_kernels import add_boxes

FloatArray = NDArray[np.float32]


@dataclass(frozen=True)
class Component:
    """What one transmitter puts on the antenna.

    Attributes
    ----------
    technology : str
        Name from the table of technologies.
    variant : str
        What exactly, for a reader.
    power : ndarray of float32, shape (n,)
        Received power while on is about 1 [relative].
    rates_hz : tuple of float
        True primary repetition rates, clock error included [Hz]; empty for sporadic emitters.
    starts_s, widths_s : ndarray
        Burst schedule [s]; empty for continuous signals.
    """

    technology: str
    variant: str
    power: FloatArray
    rates_hz: tuple[float, ...] = ()
    starts_s: NDArray[np.float64] = None  # type: ignore[assignment]
    widths_s: NDArray[np.float64] = None  # type: ignore[assignment]


@dataclass(frozen=True)
class Bench:
    """Where a component is made: the generator of random numbers, the grid and the length."""

    rng: np.random.Generator
    rate_hz: float
    duration_s: float

    @property
    def samples(self) -> int:
        """Number of samples on the grid."""
        return round(self.rate_hz * self.duration_s)

    def clock_error(self, spread_ppm: float = 20.0) -> float:
        """Relative error of a transmitter's crystal: normal, limited to 2.5 spreads."""
        return float(np.clip(self.rng.normal(0, spread_ppm / 2), -2.5 * spread_ppm, 2.5 * spread_ppm)) * 1e-6


def boxes(
    bench: Bench,
    starts_s: NDArray[np.float64],
    widths_s: NDArray[np.float64] | float,
    heights: NDArray[np.float64] | float = 1.0,
) -> FloatArray:
    """Power of rectangular bursts, each sample the mean power over its own time.

    Parameters
    ----------
    bench : Bench
    starts_s, widths_s : ndarray, shape (m,)
        Burst starts and widths [s].
    heights : ndarray or float
        Power while on [relative].
    """
    power = np.zeros(bench.samples, np.float32)
    starts = np.ascontiguousarray(starts_s, dtype=np.float64)
    add_boxes(
        power,
        starts * bench.rate_hz,
        np.broadcast_to(np.asarray(widths_s, float), starts.shape) * bench.rate_hz,
        np.ascontiguousarray(np.broadcast_to(np.asarray(heights, float), starts.shape)),
    )
    return power


def noise_like(bench: Bench, power: FloatArray, bandwidth_hz: float) -> FloatArray:
    """Multiply by the fluctuation of a noise-like carrier averaged over one sample.

    The mean of bandwidth x time independent exponential variates is a gamma variate of that shape;
    above a shape of about 4 a clipped normal is close enough and five times quicker.
    """
    shape = max(bandwidth_hz / bench.rate_hz, 0.5)
    if shape > 4:
        wobble = bench.rng.standard_normal(power.size, dtype=np.float32) * np.float32(shape**-0.5)
        return np.asarray(power * np.clip(1 + wobble, 0.02, None), np.float32)
    return np.asarray(power * bench.rng.gamma(shape, 1 / shape, power.size), np.float32)


def frame_starts(bench: Bench, period_s: float) -> NDArray[np.float64]:
    """Starts of a periodic event at a random phase, from one period before zero [s]."""
    count = int(bench.duration_s / period_s) + 2
    return np.asarray((np.arange(count) - 1 + bench.rng.random()) * period_s, np.float64)
