"""From sound back to the detector's voltage, and from voltage to power.

Sound behind a capacitor has lost its zero. The one-pole high-pass is undone by its inverse, and zero is where the
voltage rests between transmissions: the lower envelope of cells of 50 ms. What never pauses (a constant carrier, a
fully loaded stream) is taken for zero there, so that levels behind a capacitor are lower bounds for such signals.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from roomfield.signals.night.hum import without_hum

F64 = NDArray[np.float64]

CELL_S = 0.05
REST_QUANTILE = 0.2
_STRIDE = 4
_LEAK = 1.0 - 1e-5


class Law(StrEnum):
    """How the detector's voltage follows the received power."""

    SQUARE = "square"
    LINEAR = "linear"
    LOG = "log"


class VoltageCourse:
    """Undoes the coupling block by block; keeps its state from one block to the next.

    Parameters
    ----------
    sample_rate_hz : float
        [Hz]
    coupling_hz : float
        Corner of the high-pass between meter and recorder; 0 if there is none [Hz].
    """

    def __init__(self, sample_rate_hz: float, coupling_hz: float) -> None:
        self.rate, self.corner = sample_rate_hz, coupling_hz
        self._cell = max(_STRIDE, int(CELL_S * sample_rate_hz))
        pole = float(np.exp(-2 * np.pi * coupling_hz / sample_rate_hz))
        self._taps = (np.array([1.0, -pole]) * 2 / (1 + pole), np.array([1.0, -_LEAK]))
        self._state = np.zeros(1)

    def __call__(self, samples: NDArray[np.floating]) -> tuple[F64, float]:
        """Voltage over rest, shape (n,), and its noise between transmissions (standard deviation)."""
        x = without_hum(np.asarray(samples, np.float64), self.rate)
        if self.corner > 0:
            x, self._state = lfilter(*self._taps, x, zi=self._state)
        cells = max(1, len(x) // self._cell)
        rows = np.sort(x[: cells * self._cell].reshape(cells, -1)[:, ::_STRIDE], axis=1)
        quiet = rows[:, : max(2, int(2 * REST_QUANTILE * rows.shape[1]))]
        rest, noise = quiet.mean(axis=1), _noise(x)
        if self.corner <= 0:
            return x, noise
        middle = (np.arange(cells) + 0.5) * self._cell
        rest = rest + 0.966 * noise
        return x - np.interp(np.arange(len(x)), middle, rest), noise


def _noise(x: F64) -> float:
    """Noise from differences of neighbours in the quieter half of the block."""
    steps = np.sort(np.abs(np.diff(x[: len(x) // 2 * 2])[::_STRIDE]))
    return float(np.sqrt(np.mean(steps[: len(steps) // 2] ** 2) / 2) / 0.378) if len(steps) > 2 else 0.0


def power_of(voltage: F64, law: Law, decades: float = 0.0) -> F64:
    """Received power in units of its own, zero at rest; noise about rest keeps its sign, so that it cancels in means.

    Parameters
    ----------
    voltage : ndarray
        Over rest.
    decades : float
        For a logarithmic detector: decades of power for one unit of voltage, 10**(decades v) - 1.
    """
    if law is Law.SQUARE:
        return voltage
    if law is Law.LINEAR:
        return np.asarray(voltage * np.abs(voltage))
    return np.asarray(np.sign(voltage) * (10 ** (decades * np.abs(voltage)) - 1.0))
