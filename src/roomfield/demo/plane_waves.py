"""Fields of plane waves in a small volume: what a hand meets that scans there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.constants import SPEED_OF_LIGHT_M_S

F64 = NDArray[np.float64]

TILT_RAD = (0.03, 0.5)
"""Spread of the polarisation of a source's waves about its own: cross-polar ratios of some 30 dB (few, plain
reflections) to 6 dB; 3GPP TR 38.901, Table 7.5-6, gives 10 to 11 dB, spread 3 to 4 dB, for indoor offices (from memory)
[rad]."""
FEW_SHARE = 0.5
"""Part of the sources that come by a few paths only, as through a window or within a room; our judgement [1]."""
UPRIGHT_SHARE = 0.8
"""Part of the sources whose antenna stands upright or nearly so; the others hang at any tilt; our judgement [1]."""


@dataclass(frozen=True)
class PlaneWaves:
    """The field of one source in a small volume.

    Attributes
    ----------
    wave_numbers : ndarray, shape (n, 3)
        [rad/m]
    amplitudes : ndarray, shape (n, 3), complex
        Electric field of each wave in units whose square is a power density.
    """

    wave_numbers: F64
    amplitudes: NDArray[np.complex128]

    def field(self, points: F64) -> NDArray[np.complex128]:
        """Electric field, shape (m, 3), at points of shape (m, 3) [m]."""
        return np.asarray(np.exp(-1j * (points @ self.wave_numbers.T)) @ self.amplitudes)

    def covariance(self, points: F64) -> F64:
        """Power density by directions, shape (m, 3, 3): an antenna of one axis u shows u' C u."""
        field = self.field(points)
        return np.asarray(np.einsum("ni,nj->nij", field, field.conj()).real)


def drawn_waves(rng: np.random.Generator, frequency_hz: float, power: float) -> PlaneWaves:
    """A field of some waves, mostly level, one of which may stand out (Rice factor).

    Parameters
    ----------
    power : float
        Mean over the volume, in the unit that the field's square shall have.
    """
    count = int(rng.integers(3, 9) if rng.random() < FEW_SHARE else rng.integers(9, 40))
    azimuth = rng.uniform(0, 2 * np.pi, count)
    elevation = rng.normal(0, np.radians(rng.uniform(8, 35)), count)
    way = np.column_stack([np.cos(azimuth) * np.cos(elevation), np.sin(azimuth) * np.cos(elevation), np.sin(elevation)])
    up = np.column_stack(
        [-np.cos(azimuth) * np.sin(elevation), -np.sin(azimuth) * np.sin(elevation), np.cos(elevation)]
    )
    side = np.cross(way, up)
    own = rng.normal(0.0, 0.1) if rng.random() < UPRIGHT_SHARE else rng.uniform(0.0, np.pi)
    tilt = rng.normal(own, np.exp(rng.uniform(*np.log(TILT_RAD))), count)
    polarisation = np.cos(tilt)[:, None] * up + np.sin(tilt)[:, None] * side
    share = rng.exponential(1.0, count) * 10 ** (rng.normal(0, 4, count) / 10)
    rice = 10 ** (rng.uniform(-12, 12) / 10)
    share = share / share[1:].sum()
    share[0] = rice
    share *= power / share.sum()
    phase = np.exp(1j * rng.uniform(0, 2 * np.pi, count))
    amplitudes = (np.sqrt(share) * phase)[:, None] * polarisation
    return PlaneWaves(2 * np.pi * frequency_hz / SPEED_OF_LIGHT_M_S * way, amplitudes)
