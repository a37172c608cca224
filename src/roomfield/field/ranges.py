"""Median and interval of draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.quantities.level import COVERAGE

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Range:
    """Median and interval of a quantity."""

    low: float
    median: float
    high: float

    @staticmethod
    def of(draws: Array, coverage: float = COVERAGE) -> Range:
        """Quantiles of draws, shape (n,)."""
        tail = (1.0 - coverage) / 2.0
        low, median, high = np.quantile(draws, [tail, 0.5, 1.0 - tail])
        return Range(float(low), float(median), float(high))

    @staticmethod
    def of_each(draws: Array, coverage: float = COVERAGE) -> list[Range]:
        """Quantiles of each column of draws, shape (n, q)."""
        tail = (1.0 - coverage) / 2.0
        return [Range(*ends) for ends in np.quantile(draws, [tail, 0.5, 1.0 - tail], axis=0).T.tolist()]
