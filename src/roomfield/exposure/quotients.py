"""Exposure quotients: a level over its limit, and the sum over sources of known frequency.

Q = sum of S_i / S_limit(f_i), at most 1 (ICNIRP 2020, simultaneous exposure; ICNIRP 1998, eq. 9 and 10;
47 CFR 1.1307(b); Safety Code 6 (2015), 2.2; clauses from memory). A reading of unknown frequency is held
against the smallest limit in the meter's band, which overstates Q: the safe side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.exposure.decision import DEFAULT_RULE, Bound, ReferenceVerdict, judge, limit_kind
from roomfield.exposure.differences import DRAWS, draw_quantile, reach
from roomfield.exposure.level_sums import total
from roomfield.quantities import Interval, ProbabilityRange, UncertainLevel, joint_draws_w_m2, require_kind
from roomfield.quantities.convert import decibels_from_ratio
from roomfield.references.limit_sets import LimitSet, LimitValue

Array = NDArray[np.float64]


@dataclass(frozen=True)
class AttributedLevel:
    """Part of the exposure that is attributed to a frequency.

    Parameters
    ----------
    name : str
        Source or service.
    level : UncertainLevel
        Time average.
    frequency_hz : float or None
        Frequency [Hz]; None if unknown.
    """

    name: str
    level: UncertainLevel
    frequency_hz: float | None = None


@dataclass(frozen=True)
class QuotientPart:
    """One term of the sum, with the limit it was divided by."""

    name: str
    level: UncertainLevel
    limit: LimitValue

    @property
    def quotient(self) -> float:
        """Median of the term."""
        return self.level.median_w_m2 / self.limit.value_w_m2


@dataclass(frozen=True)
class Quotient:
    """Sum of quotients with its uncertainty.

    Parameters
    ----------
    normalised : UncertainLevel
        The sum as a level whose limit is 1.
    parts : tuple of QuotientPart
        Its terms.
    """

    normalised: UncertainLevel
    parts: tuple[QuotientPart, ...]

    @property
    def value(self) -> float:
        """Median of the sum."""
        return self.normalised.median_w_m2

    @property
    def overstates(self) -> bool:
        """True if a term of unknown frequency was held against the smallest limit in the band."""
        return any(part.limit.is_smallest_in_band for part in self.parts)

    def interval(self, coverage: float = 0.95) -> Interval:
        """Coverage interval of the sum (a pure number, in the fields of a power density).

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        return self.normalised.interval(coverage)

    def probability_below_one(self) -> ProbabilityRange:
        """Probability that the limits hold together."""
        return self.normalised.probability_below(1.0)

    def judge(self, rule: str = DEFAULT_RULE) -> ReferenceVerdict:
        """Decision on the sum against 1, by a rule.

        Parameters
        ----------
        rule : str
            Id of a decision rule.
        """
        label = f"sum of quotients, {self.parts[0].limit.source.citation()}"
        return judge(self.normalised, Bound(1.0, self.normalised.kind, label), rule)


def quotient(parts: Sequence[AttributedLevel], limits: LimitSet, band_hz: tuple[float, float]) -> Quotient:
    """Exposure quotient of one or more levels.

    Parameters
    ----------
    parts : sequence of AttributedLevel
        Time averages; together the whole exposure. A single part without a frequency is a broadband total.
    limits : LimitSet
        The set of limits.
    band_hz : (float, float)
        The meter's band [Hz], for parts of unknown frequency.

    Raises
    ------
    InputError
        If there is no part.
    KindMismatchError
        If a level is not of the kind the limits take (see `decision.limit_kind`).
    RangeError
        If the set gives no limit where one is needed.
    """
    if not parts:
        raise InputError("there is no level to hold against the limits.", mend="Give at least one.")
    terms = tuple(_term(part, limits, band_hz) for part in parts)
    scaled = [term.level.shifted(-float(decibels_from_ratio(term.limit.value_w_m2))) for term in terms]
    return Quotient(total(scaled), terms)


def _term(part: AttributedLevel, limits: LimitSet, band_hz: tuple[float, float]) -> QuotientPart:
    require_kind(part.level.kind, limit_kind(limits.scope), f"A comparison with {limits.title}")
    if part.frequency_hz is None:
        return QuotientPart(part.name, part.level, limits.smallest_in_band(*band_hz))
    return QuotientPart(part.name, part.level, limits.at(part.frequency_hz))


@dataclass(frozen=True)
class SwitchedPart:
    """A source that was switched off: the level without it, and the frequencies it may use.

    Parameters
    ----------
    without : UncertainLevel
        Time average with this source off and all else as found.
    frequencies_hz : tuple of float
        Every frequency it transmits on [Hz]; the strictest limit among them is taken.
    """

    name: str
    without: UncertainLevel
    frequencies_hz: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class SwitchedQuotient:
    """Sum of quotients in which on/off tests tell part of the exposure apart.

    Parameters
    ----------
    limits : tuple of (str, LimitValue)
        Limit that each switched source was held against.
    rest : LimitValue
        Limit that all else was held against: the smallest in the meter's band.
    lower_draws, upper_draws : ndarray, shape (n,)
        Sorted draws of the smallest and largest sum that the readings allow.
    """

    limits: tuple[tuple[str, LimitValue], ...]
    rest: LimitValue
    lower_draws: Array = field(repr=False)
    upper_draws: Array = field(repr=False)

    @property
    def median(self) -> float:
        """Median of the largest sum that the readings allow."""
        return draw_quantile(self.upper_draws, 0.5)

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Coverage interval of the sum.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        tail = 0.5 * (1.0 - coverage)
        return draw_quantile(self.lower_draws, tail), draw_quantile(self.upper_draws, 1.0 - tail)

    def probability_below_one(self) -> ProbabilityRange:
        """Probability that the limits hold together."""
        low, high = (float(np.mean(draws < 1.0)) for draws in (self.upper_draws, self.lower_draws))
        return ProbabilityRange(low, high)


def switched_quotient(
    as_found: UncertainLevel,
    parts: Sequence[SwitchedPart],
    limits: LimitSet,
    band_hz: tuple[float, float],
    *,
    draws: int = DRAWS,
    seed: int = 0,
) -> SwitchedQuotient:
    """Exposure quotient with every switched source held against the limit at its own frequency.

    Parameters
    ----------
    as_found : UncertainLevel
        Time average with everything on.
    parts : sequence of SwitchedPart
        Sources that were switched off one at a time, at the same place with the same meter.
    limits : LimitSet
        Limits of time averages.
    band_hz : (float, float)
        The meter's band [Hz].
    draws, seed : int
        As `difference`.

    Raises
    ------
    InputError
        If no source was switched, or one has no frequency.
    KindMismatchError
        If a level is of another kind.
    RangeError
        If the set gives no limit at a frequency.

    Notes
    -----
    Power densities add, so with S as found, S_i without source i, L_i its limit and L the smallest limit in band,
    Q = sum (S - S_i) / L_i + (S - sum (S - S_i)) / L: common errors drawn once (JCGM 101). A source that is on takes
    nothing away and all of them together add no more than what is there, so every draw keeps S - S_i within 0 and S:
    the refined sum is never above S / L, the comparison that it refines.
    """
    if not parts or not all(part.frequencies_hz for part in parts):
        raise InputError("a switched source has no frequency.", mend="Enter it, or leave the source out.")
    for level in (as_found, *(part.without for part in parts)):
        require_kind(level.kind, limit_kind(limits.scope), f"A comparison with {limits.title}")
    own = [min((limits.at(f) for f in part.frequencies_hz), key=lambda v: v.value_w_m2) for part in parts]
    rest = limits.smallest_in_band(*band_hz)
    # Own limits are never stricter than the smallest in the band, so what a source adds can only lower the sum.
    relief = np.array([1.0 / rest.value_w_m2 - 1.0 / value.value_w_m2 for value in own])
    levels = [as_found, *(part.without for part in parts)]
    table = joint_draws_w_m2(levels, draws, np.random.default_rng(seed)).T
    low, high = (np.array(ends) for ends in zip(*map(reach, levels, table), strict=True))
    # Both with the least that the level as found may be: where that is open above, the sum is too.
    lower = low[0] / rest.value_w_m2 - relief @ _parts_of(low[0], high[0] - low[1:])
    upper = high[0] / rest.value_w_m2 - relief @ _parts_of(low[0], low[0] - high[1:])
    lower, upper = np.sort(lower), np.sort(upper)
    named = tuple((part.name, value) for part, value in zip(parts, own, strict=True))
    return SwitchedQuotient(named, rest, lower, upper)


def _parts_of(whole: Array, parts: Array) -> Array:
    """Draws of what sources add, each at least nothing and together at most the whole; shape (sources, n)."""
    kept = np.clip(parts, 0.0, whole)
    together = kept.sum(axis=0)
    room = np.divide(whole, together, out=np.ones_like(together), where=together > 0.0)
    return np.asarray(kept * np.minimum(1.0, room))
