"""Reference-source checks as a control chart: is the meter drifting?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from roomfield.survey import Meter

MOVING_RANGE_DIVISOR = 1.128
"""d2 for ranges of two (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2)."""
RUN_LENGTH = 8
"""So many in a row on one side call for a cause (NIST/SEMATECH e-Handbook, 6.3.2, Western Electric rules)."""
FEWEST_FOR_LIMITS = 4
DRIFT_SIGNIFICANCE = 0.01


@dataclass(frozen=True)
class IndividualsChart:
    """Individuals chart of reference checks.

    Parameters
    ----------
    values_db : tuple of float
        Deviations in order of time [dB].
    centre_db, lower_db, upper_db : float
        Mean and three-sigma limits [dB].
    outside : tuple of int
        Positions beyond the limits.
    runs : tuple of int
        Positions at which eight in a row lay on one side of the centre.
    slope_db_per_check : float
        Trend [dB per check].
    slope_p_value : float
        Probability of a trend this strong by chance.
    """

    values_db: tuple[float, ...]
    centre_db: float
    lower_db: float
    upper_db: float
    outside: tuple[int, ...]
    runs: tuple[int, ...]
    slope_db_per_check: float
    slope_p_value: float

    @property
    def drifting(self) -> bool:
        """True if any rule calls for a cause."""
        return bool(self.outside or self.runs or self.slope_p_value < DRIFT_SIGNIFICANCE)


def individuals_chart(values_db: ArrayLike) -> IndividualsChart:
    """Individuals chart from the mean moving range.

    Parameters
    ----------
    values_db : array_like, shape (n,)
        Deviations in order of time [dB]; at least four.

    Notes
    -----
    Limits: mean plus or minus 3 times the mean moving range over 1.128
    (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2).
    """
    values = np.asarray(values_db, dtype=np.float64)
    centre = float(values.mean())
    reach = 3.0 * float(np.abs(np.diff(values)).mean()) / MOVING_RANGE_DIVISOR
    outside = tuple(int(i) for i in np.flatnonzero(np.abs(values - centre) > reach))
    trend = stats.linregress(np.arange(len(values)), values)
    return IndividualsChart(
        tuple(float(v) for v in values),
        centre,
        centre - reach,
        centre + reach,
        outside,
        _runs(np.sign(values - centre)),
        float(trend.slope),
        float(trend.pvalue),
    )


def _runs(signs: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> tuple[int, ...]:
    found, length = [], 0
    for position, sign in enumerate(signs):
        same = position > 0 and sign == signs[position - 1] and sign != 0
        length = length + 1 if same else 1
        if length >= RUN_LENGTH:
            found.append(position)
    return tuple(found)


def meter_chart(meter: Meter) -> IndividualsChart | None:
    """Control chart of a meter's checks in order of time; None with fewer than four.

    Parameters
    ----------
    meter : Meter
        With its reference checks.
    """
    ordered = sorted(meter.checks, key=lambda check: check.at)
    if len(ordered) < FEWEST_FOR_LIMITS:
        return None
    return individuals_chart([check.deviation_db for check in ordered])
