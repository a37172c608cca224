"""Gain of an emitter over direction, and far emitters known only by their bearing."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.survey.emitter import AntennaPattern

Array = NDArray[np.float64]
FAR_M = 5000.0
"""Distance at which an emitter that is known only by its bearing is placed [m]."""


def relative_gain(pattern: AntennaPattern, vertical: ArrayLike) -> Array:
    """Gain of an antenna over its greatest.

    Parameters
    ----------
    pattern : AntennaPattern
        Shape of the radiation.
    vertical : array_like
        Vertical part of the unit vector of departure (sine of the elevation).

    Notes
    -----
    Half-wave dipole: (cos(pi/2 cos a) / sin a)² with a from the axis (standard antenna theory).
    """
    v = np.asarray(vertical, dtype=np.float64)
    if pattern is AntennaPattern.ISOTROPIC:
        return np.ones_like(v)
    level = np.maximum(1.0 - v * v, 1e-12)
    return np.asarray(np.cos(0.5 * np.pi * v) ** 2 / level)


def far_position(bearing_deg: float, centre: ArrayLike, elevation_deg: float = 2.0) -> Array:
    """Where to place an emitter that is known only by its direction [m].

    Parameters
    ----------
    bearing_deg : float
        Degrees clockwise from plan north, towards the emitter.
    centre : array_like, shape (3,)
        Middle of the dwelling [m].
    elevation_deg : float
        Elevation of the emitter above the horizon.

    Returns
    -------
    ndarray, shape (3,)
        At `FAR_M`; there a spherical wave is plane over a home to within a few centimetres.
    """
    bearing, elevation = np.radians(bearing_deg), np.radians(elevation_deg)
    level = np.cos(elevation)
    towards = np.array([np.sin(bearing) * level, np.cos(bearing) * level, np.sin(elevation)])
    return np.asarray(np.asarray(centre, dtype=np.float64) + FAR_M * towards)


def per_incident_density(density_per_watt: ArrayLike, distance_m: float = FAR_M) -> Array:
    """Density per watt EIRP into density per unit of undisturbed density at the dwelling.

    Parameters
    ----------
    density_per_watt : array_like
        From `roomfield.field.propagation.unit_density` for an emitter at `far_position` [1/m²].
    distance_m : float
        Distance of that emitter [m].
    """
    return np.asarray(np.asarray(density_per_watt, dtype=np.float64) * 4.0 * np.pi * distance_m**2)
