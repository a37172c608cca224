"""From what a frequency-selective receiver shows to a field: antenna factor, cable, and the width of its filter.

A receiver shows the power or voltage at its input. With the antenna factor AF [dB/m] and the loss a of the cable [dB]
the field is E [dBµV/m] = U [dBµV] + AF + a (definition of the antenna factor, CISPR 16-1-6; ECC Recommendation (02)04).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.constants import FREE_SPACE_IMPEDANCE_OHM, SPEED_OF_LIGHT_M_S

Array = NDArray[np.float64]

RECEIVER_OHM = 50.0
"""Input impedance of receivers and their antennas."""
GAUSSIAN_NOISE_BANDWIDTH = float(np.sqrt(np.pi / (4.0 * np.log(2.0))))
"""Noise bandwidth of a filter of Gaussian shape over its width at -3 dB: 1.064 (closed form)."""
NOISE_BANDWIDTHS = (1.0, 1.13)
"""The same from a rectangular filter to one of four synchronously tuned circuits: the range in use (1.05 to 1.13 for
the near-Gaussian filters of swept receivers, makers' manuals; 1 by definition for a rectangle)."""
LOG_AVERAGE_SHORTFALL_DB = float(10.0 / np.log(10.0) * np.euler_gamma)
"""How far the mean of decibels of noise lies under the mean of its power: 2.51 dB (the mean logarithm of an exponential
variable is minus Euler's constant)."""


def voltage_level_from_power_level(level_dbm: ArrayLike, impedance_ohm: float = RECEIVER_OHM) -> Array:
    """Level of the voltage at the input [dBµV] from that of the power [dBm]; 107 dB more at 50 ohm.

    Parameters
    ----------
    level_dbm : array_like
        Power at the input [dBm].
    impedance_ohm : float
        Of the input [ohm].

    Examples
    --------
    >>> round(float(voltage_level_from_power_level(-107.0)), 2)
    -0.01
    """
    return np.asarray(np.asarray(level_dbm, dtype=np.float64) + 10.0 * np.log10(impedance_ohm) + 90.0)


def antenna_factor_from_gain(
    gain_dbi: ArrayLike, frequency_hz: ArrayLike, impedance_ohm: float = RECEIVER_OHM
) -> Array:
    """Antenna factor [dB/m] of a matched antenna from its gain [dBi].

    Parameters
    ----------
    gain_dbi : array_like
        Gain over an isotropic antenna [dBi].
    frequency_hz : array_like
        Frequency [Hz].
    impedance_ohm : float
        Of the receiver [ohm].

    Notes
    -----
    The antenna takes S g wavelength² / (4 pi) from the field, and hands it to the receiver: AF² = 4 pi Z0 / (R g
    wavelength²), which is 20 log10(f in MHz) - gain - 29.79 dB at 50 ohm.
    """
    wavelength_m = SPEED_OF_LIGHT_M_S / np.asarray(frequency_hz, dtype=np.float64)
    isotropic = 4.0 * np.pi * FREE_SPACE_IMPEDANCE_OHM / (impedance_ohm * wavelength_m**2)
    return np.asarray(10.0 * np.log10(isotropic) - np.asarray(gain_dbi, dtype=np.float64))


def power_in_band(
    frequency_hz: ArrayLike, density_w_m2: ArrayLike, low_hz: float, high_hz: float, noise_bandwidth_hz: float
) -> float:
    """Power density of a band from the trace of a receiver that is narrower than the band [W/m²].

    Parameters
    ----------
    frequency_hz : array_like, shape (n,)
        Points of the trace [Hz], rising.
    density_w_m2 : array_like, shape (n,)
        What the receiver shows at each, its factors applied [W/m²].
    low_hz, high_hz : float
        Ends of the band [Hz].
    noise_bandwidth_hz : float
        Noise bandwidth of the receiver's filter [Hz].

    Notes
    -----
    Each point stands for the spectrum half-way to its neighbours, clipped to the band; over the noise bandwidth of the
    filter that is what the point shows of a spectral density: S = sum of S_i df_i / B (the channel power of swept
    receivers). A carrier is met by all points within the filter's width, which add to its power where they are at most
    half that width apart.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    edges = np.concatenate(([f[0]], (f[1:] + f[:-1]) / 2.0, [f[-1]])) if len(f) > 1 else np.array([f[0], f[0]])
    if len(f) > 1:
        edges[0] -= (f[1] - f[0]) / 2.0
        edges[-1] += (f[-1] - f[-2]) / 2.0
    width = np.clip(np.minimum(edges[1:], high_hz) - np.maximum(edges[:-1], low_hz), 0.0, None)
    return float(np.asarray(density_w_m2, dtype=np.float64) @ width / noise_bandwidth_hz)
