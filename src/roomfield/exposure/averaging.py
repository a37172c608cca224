"""Averages over time and over the body."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.quantities import ErrorContribution, Kind, UncertainLevel, require_kind
from roomfield.references.catalogue import time_variability

Array = NDArray[np.float64]


def as_time_average(level: UncertainLevel, service: str, shared_key: str = "") -> UncertainLevel:
    """A spot reading taken for the average over a longer time: adds the service's spread over a day.

    Parameters
    ----------
    level : UncertainLevel
        A time average over the meter's own short window.
    service : str
        "dect", "wifi", "broadcast" or "mobile_downlink".
    shared_key : str
        Name of the variation, if several levels go up and down together.

    Raises
    ------
    KindMismatchError
        If the level is not an average.

    Notes
    -----
    The published spread is taken as the full width of a rectangular distribution; that is our reading of it.
    """
    require_kind(level.kind, Kind.AVERAGE, "a longer time average")
    spread = time_variability(service)
    variation = ErrorContribution.from_half_width("variation in time", 0.5 * spread.spread_db, shared_key=shared_key)
    return level.shifted(0.0, variation)


def covers(duration_s: float, averaging_s: float | None) -> bool:
    """True if an observation lasts a limit's averaging time; any length serves a limit without one."""
    return averaging_s is None or duration_s >= averaging_s
