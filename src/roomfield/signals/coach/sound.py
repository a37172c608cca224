"""The sound of a scan as the coach takes it: the highest power of each 20 ms."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.coach.course import RATE_HZ
from roomfield.signals.night.voltage import Law, VoltageCourse, power_of
from roomfield.signals.recording import open_source

F64 = NDArray[np.float64]


def levels_of(
    recording: str | Path | NDArray[np.floating],
    law: Law = Law.SQUARE,
    coupling_hz: float = 0.0,
    *,
    sample_rate_hz: float | None = None,
) -> F64:
    """Highest power of each 20 ms, `RATE_HZ` values a second, in a unit of its own.

    Parameters
    ----------
    recording : path or ndarray, shape (n,) or (n, channels)
        The first channel is taken.
    law : Law
        How the meter's sound follows the received power.
    coupling_hz : float
        Corner of the high-pass between meter and recorder; 0 if there is none [Hz].

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording cannot be used.
    """
    source = open_source(recording, sample_rate_hz)
    data = source.read(0, source.frames)
    course = VoltageCourse(source.sample_rate_hz, coupling_hz)
    second, step = round(source.sample_rate_hz), source.sample_rate_hz / RATE_HZ
    samples = np.asarray(data if data.ndim == 1 else data[:, 0], np.float64)
    power = np.concatenate([power_of(course(samples[a : a + second])[0], law) for a in range(0, len(samples), second)])
    edges = (np.arange(int(len(power) / step)) * step).astype(np.int64)
    return np.maximum(np.maximum.reduceat(power, edges), 0.0)
