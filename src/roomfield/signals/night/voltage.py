"""From sound back to the detector's voltage, and from voltage to power.

Sound behind a capacitor has lost its zero. The one-pole high-pass is undone by its inverse, and zero is where the
voltage rests between transmissions: the lower envelope of cells of 50 ms. What never pauses (a constant carrier, a
fully loaded stream) is taken for zero there, so that levels behind a capacitor are lower bounds for such signals.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.night.hum import HumFilter, without_hum
from roomfield.signals.night.night_kernels import lowest_clusters, opened, over_course, undo_high_pass

F32 = NDArray[np.float32]
Precision = TypeVar("Precision", np.float32, np.float64)

CELL_S = 0.05
OPENING_CELLS = 7
REST_SHARE = 0.08
"""Part of a cell's values that has to lie close together to count as rest [1]."""
_STRIDE, _STEPS_STRIDE = 3, 16
_LEAK = 1.0 - 1e-5


class Law(StrEnum):
    """How the detector's voltage follows the received power."""

    SQUARE = "square"
    LINEAR = "linear"
    LOG = "log"


class VoltageCourse:
    """Undoes the coupling second by second; keeps its state from one second to the next.

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
        self._pole = float(np.exp(-2 * np.pi * coupling_hz / sample_rate_hz))
        self._held, self._rest = np.zeros(2), np.full(1, np.nan)
        self._hum = HumFilter(sample_rate_hz)

    def __call__(self, samples: NDArray[np.floating]) -> tuple[F32, float]:
        """Voltage over rest, shape (n,), and its noise between transmissions (standard deviation).

        Parameters
        ----------
        samples : ndarray, shape (n,)
            What follows on the samples before; hum is taken off pieces of a second, so give one at a time.
        """
        x = np.asarray(samples, np.float32)
        if self.corner > 0:
            x = undo_high_pass(x, self._pole, _LEAK, self._held)
        x = self._hum(x) if len(x) == round(self.rate) else without_hum(x, self.rate)
        noise = _noise(x)
        if self.corner <= 0:
            return x, noise
        cells = max(1, len(x) // self._cell)
        rows = np.sort(x[: cells * self._cell].reshape(cells, -1)[:, ::_STRIDE], axis=1)
        rest = lowest_clusters(rows, max(2, int(REST_SHARE * rows.shape[1])), noise, self._rest)
        return over_course(x, _lowered(rest, noise), self._cell), noise


def _lowered(rest: NDArray[np.float64], noise: float) -> NDArray[np.float64]:
    """The rest without steps up that soon go down again: a telegram fills whole cells, the coupling's drift is slow."""
    low = opened(rest, min(OPENING_CELLS, len(rest)))
    return np.where(rest > low + noise, low, rest)


def _noise(x: F32) -> float:
    """Noise from differences of neighbours in the quieter half of the block."""
    count = len(x) // _STEPS_STRIDE * _STEPS_STRIDE
    steps = np.abs(x[1:count:_STEPS_STRIDE] - x[0 : count - 1 : _STEPS_STRIDE])
    half = len(steps) // 2
    quiet = np.partition(steps, half)[:half]
    return float(np.sqrt(quiet @ quiet / (2 * half)) / 0.378) if half > 1 else 0.0


def power_of(voltage: NDArray[Precision], law: Law, decades: float = 0.0) -> NDArray[Precision]:
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
    return np.asarray(np.copysign(np.expm1(voltage.dtype.type(decades * np.log(10.0)) * np.abs(voltage)), voltage))
