"""From the course of a scan to a distribution of what is missing: a quantile regression forest.

Each leaf of each tree keeps the histogram of the shortfalls of the simulated scans that fell into it; the mean of the
leaves' histograms is the distribution for a new scan (Meinshausen, Quantile Regression Forests, Journal of Machine
Learning Research 7, 2006). The parameters are a data file made from simulated scans by ``benchmarks.coach_maker``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

EDGES_DB = np.concatenate(
    [[-4.0, -1.0, -0.5], np.arange(0.0, 4.0, 0.25), np.arange(4.0, 8.0, 0.5), np.arange(8.0, 26.0)]
)
"""Bins of the shortfall [dB]; below 0 only where rare transmissions lifted the highest above the usual."""
ENOUGH_GAP_DB = 1.5
"""A scan is enough once so little is missing [dB]."""
TRIFLE_DB = 0.3
"""Where so little may be missing, "nothing" is not excluded [dB]."""
HABITS = ("whole", "speed_m_s", "back")


@dataclass(frozen=True)
class ScanShortfall:
    """How far the highest value so far lies under the largest there is.

    Attributes
    ----------
    chance : ndarray, shape (len(EDGES_DB) - 1,)
        Probability of each bin of `EDGES_DB`.
    turned, whole, back : float
        Probability that the antenna was turned, that all of the volume was meant to be visited, and that the hand has
        gone back to the loudest spots.
    speed_m_s : float
        Expected speed of the hand [m/s].
    sure_from, sure_to : ndarray, shape (k,)
        What a share of the leaves was worth on scans that were left out: calibrated probabilities, both rising.
    """

    chance: F64
    turned: float
    whole: float
    speed_m_s: float
    back: float
    sure_from: F64
    sure_to: F64

    def quantile_db(self, share: float) -> float:
        """Shortfall that is not exceeded with this probability [dB]."""
        return float(np.interp(share, np.concatenate([[0.0], np.cumsum(self.chance)]), EDGES_DB))

    @property
    def interval_db(self) -> tuple[float, float]:
        """Ends of the 90 % interval [dB]: equal tails; where hardly anything may be missing, from 0 up to the 90 % quantile."""
        low = self.quantile_db(0.05)
        return (low, self.quantile_db(0.95)) if low > TRIFLE_DB else (0.0, max(0.0, self.quantile_db(0.9)))

    def within(self, gap_db: float) -> float:
        """Part of the leaves' scans in which at most this much was missing [1]."""
        return float(np.interp(gap_db, EDGES_DB, np.concatenate([[0.0], np.cumsum(self.chance)])))

    @property
    def enough_chance(self) -> float:
        """Probability that at most `ENOUGH_GAP_DB` are missing: the part of the leaves, calibrated [1]."""
        return float(np.interp(self.within(ENOUGH_GAP_DB), self.sure_from, self.sure_to))


@dataclass(frozen=True)
class ShortfallForest:
    """Trees in flat arrays.

    Attributes
    ----------
    feature, low, high : ndarray of int, shape (nodes,)
        Number that is asked (-1 at a leaf), next node if it is not above the threshold, and else; a leaf's ``low`` is
        its row in the tables of leaves.
    threshold : ndarray, shape (nodes,)
    roots : ndarray of int, shape (trees,)
    chance : ndarray, shape (leaves, 2, bins)
        Shares of the scans in the leaf, without and with turning the antenna; each leaf sums to 1.
    habits : ndarray, shape (leaves, len(HABITS))
    odds : ndarray, shape (2,)
        What a scan of the simulation counts while nobody said whether the antenna is turned, without and with turning:
        even odds of both, whatever their shares in the simulation [1].
    sure_from, sure_to : ndarray, shape (k,)
        See `ScanShortfall`.
    """

    feature: NDArray[np.int64]
    threshold: F64
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    roots: NDArray[np.int64]
    chance: F64
    habits: F64
    odds: F64
    sure_from: F64
    sure_to: F64

    def shortfall(self, numbers: F64, turns: bool | None = None) -> ScanShortfall:
        """Distribution for the numbers of one scan, as `course_numbers` gives them.

        Parameters
        ----------
        turns : bool or None
            Whether the antenna is known to be turned; leaves then count by how many such scans fell into them. Nothing
            known: even odds before anything was heard.
        """
        node = self.roots.copy()
        while (inner := self.feature[node] >= 0).any():
            go_low = numbers[np.maximum(self.feature[node], 0)] <= self.threshold[node]
            node = np.where(inner, np.where(go_low, self.low[node], self.high[node]), node)
        leaf = self.low[node]
        held = self.chance[leaf].mean(axis=0) * self.odds[:, None]
        chance = held.sum(axis=0) if turns is None or held[int(turns)].sum() <= 0 else held[int(turns)]
        turned = float(held[1].sum() / held.sum()) if turns is None else float(turns)
        whole, speed, back = (float(v) for v in self.habits[leaf].mean(axis=0))
        return ScanShortfall(chance / chance.sum(), turned, whole, speed, back, self.sure_from, self.sure_to)


@cache
def shortfall_forest(*, marked: bool = False) -> ShortfallForest:
    """A forest that comes with the package.

    Parameters
    ----------
    marked : bool
        The one that is also given the numbers of the search, for scans whose loud spots the person marks.
    """
    with resources.files("roomfield.signals.data").joinpath("scan_shortfall.npz").open("rb") as file:
        packed = np.load(file)
        begin = "marked_" if marked else "heard_"
        held = {name.removeprefix(begin): packed[name] for name in packed.files if name.startswith(begin)}
    counts = held["chance"].astype(np.float64)
    whole = {key: held[key].astype(np.int64) for key in ("feature", "low", "high", "roots")}
    real = {key: held[key].astype(np.float64) for key in ("threshold", "habits", "odds", "sure_from", "sure_to")}
    return ShortfallForest(chance=counts / counts.sum(axis=(1, 2), keepdims=True), **whole, **real)
