"""Loss behind a single edge: the half-plane without a reflection of its own."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fresnel

from roomfield.constants import SPEED_OF_LIGHT_M_S
from roomfield.errors import InputError


def edge_loss_db(
    frequency_hz: ArrayLike, height_m: ArrayLike, from_source_m: ArrayLike, to_point_m: ArrayLike
) -> NDArray[np.float64]:
    """Loss of power density behind a straight edge over free space, such as that of a wall or a metal screen.

    Parameters
    ----------
    frequency_hz : array_like
        Frequency [Hz].
    height_m : array_like
        How far the edge reaches over the straight line from source to point [m]; negative where it does not reach it.
    from_source_m, to_point_m : array_like
        From the source to the edge, and from the edge to the point [m]; large against the height.

    Returns
    -------
    ndarray
        Loss [dB], of the shape that all broadcast to; 6.02 where the edge just touches the line.

    Raises
    ------
    InputError
        If a frequency or distance is not above 0.

    Notes
    -----
    ITU-R P.526, single knife-edge obstacle: v = h sqrt(2 (1/d1 + 1/d2) / wavelength), and the complex Fresnel
    integral of v (numbers of the equations not seen).

    Examples
    --------
    >>> import roomfield as rf
    >>> rf.edge_loss_db([900e6, 2.45e9], 0.5, 3.0, 2.0).round(1)
    array([14.6, 18.4])
    """
    f, d1, d2 = (np.asarray(one, dtype=np.float64) for one in (frequency_hz, from_source_m, to_point_m))
    if not all((one > 0.0).all() for one in (f, d1, d2)):
        raise InputError("a frequency or distance is not above 0.", mend="Give hertz and metres above 0.")
    v = np.asarray(height_m, dtype=np.float64) * np.sqrt(2.0 * (1.0 / d1 + 1.0 / d2) * f / SPEED_OF_LIGHT_M_S)
    s, c = fresnel(v)
    return np.asarray(-10.0 * np.log10(((1.0 - c - s) ** 2 + (c - s) ** 2) / 4.0))
