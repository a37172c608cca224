"""Risks of a conformity decision, specific and global (JCGM 106:2012, clauses 7 and 9).

A global risk belongs to a population and needs a prior; a householder's report is about one place and states
the specific risk only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from scipy import integrate, optimize, stats

Prior = Callable[[float], float]
_REACH = 8.0


@dataclass(frozen=True)
class Tolerance:
    """Interval of conforming values; an open end is infinite."""

    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True)
class GlobalRisks:
    """Probabilities over a population.

    Parameters
    ----------
    consumer : float
        That an item is accepted and does not conform.
    producer : float
        That an item is rejected and conforms.
    """

    consumer: float
    producer: float


def conformance_probability(estimate: float, std: float, tolerance: Tolerance) -> float:
    """Probability that the true value conforms, normal and with a flat prior (JCGM 106, 7.3 and 7.5)."""
    upper = stats.norm.cdf((tolerance.high - estimate) / std)
    lower = stats.norm.cdf((tolerance.low - estimate) / std)
    return float(upper - lower)


def rejection_threshold(limit: float, relative_std: float, confidence: float) -> float:
    """Reading above which the limit is exceeded with a confidence, for a relative uncertainty.

    JCGM 106, 8.3.3: guarded rejection; y - z u_rel y = limit, z the normal quantile.
    """
    return limit / (1.0 - float(stats.norm.ppf(confidence)) * relative_std)


def global_risks(
    density: Prior, support: tuple[float, float], std: float, tolerance: Tolerance, acceptance: Tolerance
) -> GlobalRisks:
    """Consumer's and producer's risk with a prior (JCGM 106, equations 17 to 20).

    Parameters
    ----------
    density : callable
        Prior probability density of the true value.
    support : (float, float)
        Range outside which the density is negligible.
    std : float
        Standard uncertainty of the measurement, normal.
    tolerance : Tolerance
        Conforming true values.
    acceptance : Tolerance
        Accepted measured values.
    """

    def accepted(true: float) -> float:
        high = stats.norm.cdf((acceptance.high - true) / std)
        return float(high - stats.norm.cdf((acceptance.low - true) / std))

    def wrong_accept(true: float) -> float:
        return density(true) * accepted(true)

    def wrong_reject(true: float) -> float:
        return density(true) * (1.0 - accepted(true))

    low, high = max(support[0], tolerance.low), min(support[1], tolerance.high)
    consumer = _integral(wrong_accept, support[0], low, std) + _integral(wrong_accept, high, support[1], std)
    return GlobalRisks(consumer, _integral(wrong_reject, low, high, std))


def _integral(function: Callable[[float], float], start: float, end: float, std: float) -> float:
    if end <= start:
        return 0.0
    # The integrand turns within a few standard uncertainties of an edge: cut there.
    cuts = sorted({start, end, *(x for x in (start + _REACH * std, end - _REACH * std) if start < x < end)})
    parts = [integrate.quad(function, a, b, epsabs=1e-12, limit=200)[0] for a, b in pairwise(cuts)]
    return float(sum(parts))


def acceptance_limit_for_risk(
    density: Prior, support: tuple[float, float], std: float, upper_tolerance: float, consumer_risk: float
) -> float:
    """Upper acceptance limit that holds the global consumer's risk (JCGM 106, 9.5.4)."""

    def excess(limit: float) -> float:
        tolerance, acceptance = Tolerance(high=upper_tolerance), Tolerance(high=limit)
        return global_risks(density, support, std, tolerance, acceptance).consumer - consumer_risk

    span = 6.0 * std
    return float(optimize.brentq(excess, upper_tolerance - span, upper_tolerance + span, xtol=1e-10))
