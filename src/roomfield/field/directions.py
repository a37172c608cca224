"""What a figure-of-eight antenna picks up of each emitter on the axis where it shows most, or least.

Who turns the meter to the strongest axis and to the null reads the largest and the smallest value there, however
badly he then notes the axis. So the axis of a reading is that on which the sum of all emitters is largest (smallest)
by the model; where the powers do not yet say which that is, the noted axis does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roomfield.field.observation_arrays import LevelRows, Observations
from roomfield.field.path_gains import Radiators
from roomfield.field.propagation import arrivals
from roomfield.field.scene import Scene

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]
POWER_STD_DB, GUESSED_POWER_STD_DB = 4.0, 15.0
"""How well the powers at a place are known once readings are fitted, and before; sets what the noted axis counts."""
LEAST_AXIS_STD_DEG = 2.0
"""The model's axis is never surer than this."""
NULL_FILL, NULL_FILL_STD_DB = 0.0055, 4.3
"""Scattered waves and the antenna's own imperfect null fill it to 0.1 to 3 % (our judgement): middle and standard
deviation of a value that is uniform over the logarithm."""


class Pickup(NamedTuple):
    """What an axis shows.

    Parameters
    ----------
    share : ndarray, shape (..., a, k)
        Part of each emitter's power that is picked up [1].
    std_db : ndarray, shape (..., a)
        Scatter because a null is filled more or less [dB].
    """

    share: Array
    std_db: Array


@dataclass(frozen=True, eq=False)
class Aimed:
    """Readings taken on an axis.

    Parameters
    ----------
    rows : ndarray of int, shape (a,)
        Which readings.
    noted_deg, noted_std_deg : ndarray, shape (a,)
        Noted axis, clockwise from north, and its standard deviation [deg].
    null : ndarray of bool, shape (a,)
        True for what was read at the null, False for the strongest axis.
    arrival : ndarray, shape (a, k, 2, 2)
        Per emitter, sum over waves of share times direction times direction, in plan, x east, y north.
    """

    rows: Indices
    noted_deg: Array
    noted_std_deg: Array
    null: Mask
    arrival: Array

    def pickup(self, power: Array, arrival: Array | None = None, *, power_std_db: float = POWER_STD_DB) -> Pickup:
        """What each axis shows of each emitter.

        Parameters
        ----------
        power : ndarray, shape (..., a, k)
            Of each emitter there, as it counts in the reading, in any unit; 0 if it was off.
        arrival : ndarray, shape (..., a, k, 2, 2), optional
            Other directions than those of the emitters as placed.
        power_std_db : float
            How uncertain these powers are [dB].

        """
        tensor = self.arrival if arrival is None else arrival
        turn, std = self._axis(power, *_double(tensor), power_std_db)
        share = on_axis(tensor, turn, std)
        fill = NULL_FILL * power.sum(axis=-1)
        part = fill / np.maximum(np.sum(power * share, axis=-1) + fill, 1e-300)
        return Pickup(share + NULL_FILL, np.where(self.null, NULL_FILL_STD_DB * part, 0.0))

    def _axis(self, power: Array, cosine: Array, sine: Array, power_std_db: float) -> tuple[Array, Array]:
        """Each axis and its standard deviation [rad], each (..., a): the model's and the noted one by their weights.

        The model's weighs less the farther it lies from what was noted. All is done with twice the angle.
        """
        sign = np.where(self.null, -1.0, 1.0)
        east, north = sign * np.sum(power * sine, axis=-1), sign * np.sum(power * cosine, axis=-1)
        length = np.maximum(np.hypot(east, north), 1e-100)[..., None]
        slope = power * (north[..., None] * sine - east[..., None] * cosine) / length**2
        spread = np.sqrt(np.sum(slope**2, axis=-1)) * power_std_db * np.log(10.0) / 10.0
        noted, std = 2.0 * np.deg2rad(self.noted_deg), 2.0 * np.deg2rad(self.noted_std_deg)
        off = np.arctan2(east, north) - noted
        off = (off + np.pi) % (2.0 * np.pi) - np.pi
        excess = np.maximum(np.abs(off) - 2.0 * std, 0.0)
        trust = 1.0 / (spread**2 + excess**2 + (2.0 * np.deg2rad(LEAST_AXIS_STD_DEG)) ** 2)
        weight = trust / (trust + 1.0 / std**2)
        return 0.5 * (noted + weight * off), 0.5 / np.sqrt(trust + 1.0 / std**2)


def on_axis(arrival: Array, axis: Array, std: Array) -> Array:
    """Mean of ``aᵀ arrival a`` over level axes ``a`` scattered normally about an axis.

    Parameters
    ----------
    arrival : ndarray, shape (..., k, 2, 2)
        Sum over waves of share times direction times direction, x east, y north.
    axis, std : ndarray, shape (...)
        Axis, clockwise from north, and its standard deviation [rad].

    Returns
    -------
    ndarray, shape (..., k)
        With the mean of cos of a normal angle, exp(-variance / 2), applied to twice the angle.
    """
    cosine, sine = _double(arrival)
    double, damped = 2.0 * axis[..., None], np.exp(-2.0 * std[..., None] ** 2)
    turned = cosine * np.cos(double) + sine * np.sin(double)
    share = 0.5 * (arrival[..., 0, 0] + arrival[..., 1, 1] + damped * turned)
    return np.asarray(np.maximum(share, 0.0))


def _double(arrival: Array) -> tuple[Array, Array]:
    """How the pickup goes with cosine and sine of twice the axis."""
    return arrival[..., 1, 1] - arrival[..., 0, 0], 2.0 * arrival[..., 0, 1]


def aimed_at(scene: Scene, radiators: Radiators, observed: Observations, unplaced: Mask | None = None) -> Aimed:
    """The readings taken on an axis, and from where each emitter arrives there.

    Parameters
    ----------
    radiators : Radiators
        Emitters with the positions taken for those of unknown position.
    observed : Observations
        The readings.
    unplaced : ndarray of bool, shape (k,), optional
        Emitters whose direction is not known at all: the mean over all directions in plan.
    """
    rows, aimed = observed.levels, np.flatnonzero(~np.isnan(observed.levels.axis_deg))
    k = len(radiators.positions)
    arrival = plan_arrival(scene, radiators, observed.sites, rows.site[aimed])
    if unplaced is not None:
        arrival[:, unplaced] = 0.5 * np.eye(2)
    return Aimed(aimed, rows.axis_deg[aimed], rows.axis_std_deg[aimed], rows.null[aimed], arrival.reshape(-1, k, 2, 2))


def plan_arrival(scene: Scene, radiators: Radiators, sites: Array, site: Indices, *, order: int = 2) -> Array:
    """Per reading and emitter, sum over waves of share times direction times direction in plan, shape (a, k, 2, 2)."""
    k = len(radiators.positions)
    if not len(site):
        return np.zeros((0, k, 2, 2))
    used, index = np.unique(site, return_inverse=True)
    density, arrival = arrivals(scene, radiators.positions, radiators.frequencies_hz, radiators.patterns, sites[used],
                                polarisation=radiators.polarisations, order=order)  # fmt: skip
    shares = arrival[:, :, :2, :2] / np.maximum(density, 1e-30)[..., None, None]
    return np.asarray(shares[index])


def levelled(rows: LevelRows, aimed: Aimed, pickup: Pickup) -> tuple[Array, Array]:
    """Pickup of all readings, shape (r, k), 1 where no axis is noted; and their scatter beyond that of a scan [dB]."""
    share = np.ones((len(rows), pickup.share.shape[-1]))
    share[aimed.rows] = pickup.share
    added = rows.added_std_db.copy()
    added[aimed.rows] = np.hypot(added[aimed.rows], pickup.std_db)
    return share, added
