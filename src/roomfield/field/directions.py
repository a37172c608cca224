"""What a figure-of-eight antenna on a given axis picks up of each emitter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.field.observations import Observations
from roomfield.field.propagation import paths
from roomfield.field.scene import Scene
from roomfield.field.sources import Radiators
from roomfield.survey import Emitter

Array = NDArray[np.float64]
AXIS_MODEL_STD_DEG = 8.0
"""How far walls and objects that are not on the plan turn what arrives (our judgement)."""
LEAST_PICKUP = 0.03
"""Scattered waves fill a null to this at least (our judgement)."""
UNKNOWN_PICKUP = 0.5
"""Of an emitter whose position is not known: the mean over all directions in plan."""


def pickup(scene: Scene, radiators: Radiators, emitters: tuple[Emitter, ...], observed: Observations) -> Array:
    """Share of each emitter's power on the axis of each reading [1], shape (r, k); 1 where no axis is noted.

    Parameters
    ----------
    radiators : Radiators
        Emitters with the positions taken for those of unknown position.
    emitters : tuple of Emitter
        As recorded.
    observed : Observations
        The readings.
    """
    rows, share = observed.levels, np.ones((len(observed.levels), len(emitters)))
    aimed = np.flatnonzero(~np.isnan(rows.axis_deg))
    if not len(aimed):
        return share
    used, site = np.unique(rows.site[aimed], return_inverse=True)
    found = paths(scene, radiators.positions, radiators.frequencies_hz, radiators.patterns, observed.sites[used],
                  polarisation=radiators.polarisations, order=2)  # fmt: skip
    arrival = found.arrival[site] / np.maximum(found.density[site], 1e-30)[..., None, None]
    share[aimed] = on_axis(arrival, rows.axis_deg[aimed], np.hypot(rows.axis_std_deg[aimed], AXIS_MODEL_STD_DEG))
    unknown = np.array([e.position is None and e.bearing_deg is None for e in emitters])
    share[np.ix_(aimed, np.flatnonzero(unknown))] = UNKNOWN_PICKUP
    return share


def on_axis(arrival: Array, axis_deg: Array, std_deg: Array) -> Array:
    """Mean of ``aᵀ arrival a`` over level axes ``a`` scattered normally about ``axis_deg``.

    Parameters
    ----------
    arrival : ndarray, shape (b, k, 3, 3)
        Sum over waves of share times direction times direction, x east, y north.
    axis_deg, std_deg : ndarray, shape (b,)
        Axis, clockwise from north, and its standard deviation [deg].

    Returns
    -------
    ndarray, shape (b, k)
        With the mean of cos of a normal angle, exp(-variance / 2), applied to twice the angle.
    """
    double, damped = 2.0 * np.deg2rad(axis_deg)[:, None], np.exp(-2.0 * np.deg2rad(std_deg) ** 2)[:, None]
    east, north, mixed = arrival[..., 0, 0], arrival[..., 1, 1], arrival[..., 0, 1]
    turned = (north - east) * np.cos(double) + 2.0 * mixed * np.sin(double)
    return np.maximum(0.5 * (east + north + damped * turned), LEAST_PICKUP)
