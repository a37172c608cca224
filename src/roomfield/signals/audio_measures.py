"""Quantities from the sound: duty cycle, crest factor, power shares, absolute level.

They hold only if the detector law and the coupling are known. The coupling's one-pole high-pass is undone
by adding back its integral; the floor between bursts is taken as zero power.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from roomfield.errors import InputError, UnknownNameError
from roomfield.signals.hearing import Measured, MeterAudio

F64 = NDArray[np.float64]

LAWS = ("square", "linear", "log")
ON_SHARE = 0.1
PEAK_QUANTILE = 0.999


def check(meter: MeterAudio) -> None:
    """Refuse an instrument description that cannot be used.

    Raises
    ------
    UnknownNameError
        If the detector law has no such name.
    InputError
        If a logarithmic detector's span is missing, or a number is out of range.
    """
    if meter.detector_law not in LAWS:
        raise UnknownNameError("detector law", meter.detector_law, LAWS, where="meter audio")
    if meter.coupling_hz < 0:
        raise InputError("the coupling corner is negative.", where="meter audio", mend="Give 0 for DC coupling.")
    if meter.detector_law == "log" and not meter.log_db_per_full_scale:
        raise InputError(
            "a logarithmic detector needs its span over full scale.", where="meter audio",
            mend="Give log_db_per_full_scale, or leave the meter out.",
        )  # fmt: skip


def restore_coupling(samples: NDArray[np.floating], sample_rate_hz: float, corner_hz: float) -> F64:
    """Undo a one-pole high-pass: the inverse of H(z) = (1 + p)/2 (1 - 1/z) / (1 - p/z), p = exp(-2 pi fc / fs).

    Drift that the integral gathers from noise is taken off as the running lower envelope of one second.
    """
    x = np.asarray(samples, np.float64)
    if corner_hz > 0:
        pole = float(np.exp(-2 * np.pi * corner_hz / sample_rate_hz))
        x = lfilter([1.0, -pole], [1.0, -0.9999995], x) * 2 / (1 + pole)
    return x - _floor(x, int(sample_rate_hz))


def _floor(x: F64, window: int) -> F64:
    """Lower envelope: the tenth quantile of each window, joined by lines."""
    count = max(1, x.size // window)
    rows = x[: count * window].reshape(count, -1)
    levels = np.quantile(rows[:, ::8], 0.1, axis=1)
    return np.interp(np.arange(x.size), (np.arange(count) + 0.5) * window, levels)


def power_course(samples: NDArray[np.floating], sample_rate_hz: float, meter: MeterAudio) -> F64:
    """Received power against time in relative units, zero at the floor."""
    volts = np.clip(restore_coupling(samples, sample_rate_hz, meter.coupling_hz), 0, None)
    if meter.detector_law == "linear":
        return np.asarray(volts**2)
    if meter.detector_law == "log":
        span = meter.log_db_per_full_scale or 0.0
        return np.asarray(10 ** (volts * span / 10) - 1)
    return volts


def measure(
    samples: NDArray[np.floating], sample_rate_hz: float, meter: MeterAudio, shares: dict[str, float]
) -> Measured:
    """Duty cycle, crest factor and, if a level is known, absolute average and peak.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    sample_rate_hz : float
        [Hz]
    meter : MeterAudio
    shares : dict
        Mean power of each folded technology, in the same relative units as the power course.
    """
    check(meter)
    power = power_course(samples, sample_rate_hz, meter)
    mean = float(power.mean()) + 1e-30
    peak = float(np.quantile(power, PEAK_QUANTILE)) + 1e-30
    average, highest = None, None
    if meter.known_level_w_m2 is not None:
        first, last = meter.known_span_s or (0.0, power.size / sample_rate_hz)
        part = power[int(first * sample_rate_hz) : int(last * sample_rate_hz)]
        if part.size == 0 or float(part.mean()) <= 0:
            raise InputError("the span of known level holds no signal.", where="meter audio", mend="Give another span.")
        factor = meter.known_level_w_m2 / float(part.mean())
        average, highest = mean * factor, peak * factor
    return Measured(
        duty_cycle=float((power > ON_SHARE * peak).mean()),
        crest_factor_db=float(10 * np.log10(peak / mean)),
        power_shares={name: min(1.0, value / mean) for name, value in shares.items()},
        average_w_m2=average,
        peak_w_m2=highest,
    )
