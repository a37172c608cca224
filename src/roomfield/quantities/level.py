"""An uncertain level: a distribution in decibels whose shared and independent parts are kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.contribution import (
    ErrorContribution,
    ErrorDistribution,
    combined_std_db,
    draw_errors_db,
    error_distribution,
    merge_shared,
)
from roomfield.quantities.convert import decibels_from_ratio, ratio_from_decibels
from roomfield.quantities.kind import Kind, require_kind

Array = NDArray[np.float64]
COVERAGE = 0.95
"""Probability content of every interval that a reader sees, unless another was asked for."""
HALF_WIDTH = NormalDist().inv_cdf((1.0 + COVERAGE) / 2.0)
"""Half of that interval of a normal distribution [standard deviations]."""


@dataclass(frozen=True)
class Interval:
    """Coverage interval of a power density [W/m²]; an open end is 0 or infinity."""

    low_w_m2: float
    high_w_m2: float
    coverage: float


@dataclass(frozen=True)
class ProbabilityRange:
    """A probability that may be known only between two bounds, as with censored readings."""

    low: float
    high: float


@dataclass(frozen=True)
class UncertainLevel:
    """A power density with everything that is known of its error.

    Parameters
    ----------
    kind : Kind
        Peak, highest held or average.
    level_db : float
        Median level [dB re 1 W/m²]; with ``censor`` the bound.
    contributions : tuple of Contribution
        Causes of error [dB]; the true level is ``level_db`` plus their sum.
    censoring : Censoring
        Below: the true level lies under the bound; above: over it.
    """

    kind: Kind
    level_db: float
    contributions: tuple[ErrorContribution, ...] = ()
    censoring: Censoring = Censoring.NONE

    @staticmethod
    def from_density(
        kind: Kind,
        density_w_m2: float,
        contributions: tuple[ErrorContribution, ...] = (),
        censoring: Censoring = Censoring.NONE,
    ) -> UncertainLevel:
        """Level from a power density [W/m²].

        Parameters
        ----------
        kind : Kind
            Peak, highest held or average.
        density_w_m2 : float
            Power density, or the bound if censored [W/m²].
        contributions : tuple of ErrorContribution
            All that is known of its error.
        censoring : Censoring
            Whether it is a bound.

        Raises
        ------
        InputError
            If the density is not positive and finite.
        """
        if not (density_w_m2 > 0.0 and np.isfinite(density_w_m2)):
            raise InputError(
                f"a level of {density_w_m2:g} W/m² has no logarithm.",
                mend="Enter a reading under the meter's floor as 'below floor', not as zero.",
            )
        return UncertainLevel(kind, float(decibels_from_ratio(density_w_m2)), contributions, censoring)

    @property
    def median_w_m2(self) -> float:
        """Median (or, if censored, bound) [W/m²]."""
        return float(ratio_from_decibels(self.level_db))

    @property
    def std_db(self) -> float:
        """Combined standard uncertainty [dB]."""
        return combined_std_db(merge_shared(self.contributions))

    @property
    def shared_std_db(self) -> float:
        """Standard uncertainty that other readings of the same meter have in common [dB]."""
        return combined_std_db(tuple(c for c in self.contributions if c.shared_key))

    @property
    def independent_std_db(self) -> float:
        """Standard uncertainty of this level alone [dB]."""
        return combined_std_db(tuple(c for c in self.contributions if not c.shared_key))

    def errors(self) -> ErrorDistribution:
        """Distribution of the error about ``level_db``."""
        return error_distribution(merge_shared(self.contributions))

    def quantile_w_m2(self, probability: float) -> float:
        """Power density [W/m²] that the true level (or its bound) stays under with ``probability``.

        Parameters
        ----------
        probability : float
            0 to 1.
        """
        return float(ratio_from_decibels(self.level_db + self.errors().quantile(probability)))

    def interval(self, coverage: float = COVERAGE) -> Interval:
        """Coverage interval, symmetric in probability; one-sided for a censored level.

        Parameters
        ----------
        coverage : float
            Probability content, 0 to 1.
        """
        if self.censoring is Censoring.BELOW:
            return Interval(0.0, self.quantile_w_m2(coverage), coverage)
        if self.censoring is Censoring.ABOVE:
            return Interval(self.quantile_w_m2(1.0 - coverage), float("inf"), coverage)
        tail = (1.0 - coverage) / 2.0
        return Interval(self.quantile_w_m2(tail), self.quantile_w_m2(1.0 - tail), coverage)

    def probability_below(self, bound_w_m2: float) -> ProbabilityRange:
        """Probability that the true level is below a bound [W/m²].

        A censored level only limits it from one side.

        Parameters
        ----------
        bound_w_m2 : float
            Power density [W/m²].
        """
        reach_db = float(decibels_from_ratio(bound_w_m2)) - self.level_db
        probability = float(self.errors().cdf(reach_db))
        if self.censoring is Censoring.BELOW:
            return ProbabilityRange(probability, 1.0)
        if self.censoring is Censoring.ABOVE:
            return ProbabilityRange(0.0, probability)
        return ProbabilityRange(probability, probability)

    def shifted(self, offset_db: float, *added: ErrorContribution) -> UncertainLevel:
        """The level with a correction [dB] applied and its contributions added.

        Parameters
        ----------
        offset_db : float
            What is added to the level [dB].
        """
        return replace(self, level_db=self.level_db + offset_db, contributions=self.contributions + tuple(added))


@dataclass(frozen=True)
class UncertainRatio:
    """A ratio of two levels of one kind, in decibels; what they share has cancelled.

    Parameters
    ----------
    ratio_db : float
        Median of the ratio [dB]; negative if the first level is lower.
    contributions : tuple of Contribution
        What is left of the errors.
    censoring : Censoring
        Below: the true ratio lies under ``ratio_db``; above: over it.
    """

    kind: Kind
    ratio_db: float
    contributions: tuple[ErrorContribution, ...]
    censoring: Censoring = Censoring.NONE

    @property
    def std_db(self) -> float:
        """Combined standard uncertainty [dB]."""
        return combined_std_db(self.contributions)

    def interval_db(self, coverage: float = COVERAGE) -> tuple[float, float]:
        """Coverage interval [dB]; one-sided if a level was censored.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        errors = error_distribution(self.contributions)
        tail = (1.0 - coverage) / 2.0
        if self.censoring is Censoring.BELOW:
            return -float("inf"), self.ratio_db + float(errors.quantile(coverage))
        if self.censoring is Censoring.ABOVE:
            return self.ratio_db + float(errors.quantile(1.0 - coverage)), float("inf")
        low, high = errors.quantile(np.array([tail, 1.0 - tail]))
        return self.ratio_db + float(low), self.ratio_db + float(high)

    def probability_below_db(self, bound_db: float) -> ProbabilityRange:
        """Probability that the true ratio is below a bound [dB].

        Parameters
        ----------
        bound_db : float
            Ratio [dB].
        """
        probability = float(error_distribution(self.contributions).cdf(bound_db - self.ratio_db))
        if self.censoring is Censoring.BELOW:
            return ProbabilityRange(probability, 1.0)
        if self.censoring is Censoring.ABOVE:
            return ProbabilityRange(0.0, probability)
        return ProbabilityRange(probability, probability)


def ratio(first: UncertainLevel, second: UncertainLevel) -> UncertainRatio:
    """First over second, in decibels: errors with the same shared key cancel.

    Parameters
    ----------
    first, second : UncertainLevel
        Of the same kind.

    Raises
    ------
    KindMismatchError
        If the kinds differ.
    InputError
        If both are censored on the same side, for then nothing is known of the ratio.

    Notes
    -----
    Correlated inputs: JCGM 100, 5.2. The error of the ratio in dB is the difference of the errors.
    """
    require_kind(second.kind, first.kind, "a ratio")
    flipped = tuple(replace(c, sensitivity=-c.sensitivity) for c in second.contributions)
    left = merge_shared(first.contributions + flipped)
    return UncertainRatio(
        first.kind, first.level_db - second.level_db, left, _ratio_censor(first.censoring, second.censoring)
    )


def _ratio_censor(first: Censoring, second: Censoring) -> Censoring:
    ends = {first, second.opposite} - {Censoring.NONE}
    if len(ends) == 2:
        raise InputError(
            "both levels are only bounds on the same side, so their ratio is not known.",
            mend="Repeat one of the readings within the meter's range.",
        )
    return ends.pop() if ends else Censoring.NONE


def joint_draws_w_m2(levels: Sequence[UncertainLevel], size: int, rng: np.random.Generator) -> Array:
    """Draws of several levels at once, shared errors drawn once for all.

    Parameters
    ----------
    levels : sequence of UncertainLevel
        The levels; censoring is not applied (a draw is of the bound).
    size : int
        Number of draws.
    rng : numpy.random.Generator
        Where the draws come from.

    Returns
    -------
    ndarray, shape (size, len(levels))
        Power densities [W/m²].
    """
    drawn: dict[tuple[str, str], Array] = {}
    table = np.empty((size, len(levels)))
    for column, level in enumerate(levels):
        total = np.full(size, level.level_db, dtype=np.float64)
        for item in level.contributions:
            total += item.sensitivity * _errors_of(item, drawn, size, rng)
        table[:, column] = ratio_from_decibels(total)
    return table


def _errors_of(
    item: ErrorContribution, drawn: dict[tuple[str, str], Array], size: int, rng: np.random.Generator
) -> Array:
    if not item.shared_key:
        return draw_errors_db(item, size, rng)
    key = (item.shared_key, item.name)
    if key not in drawn:
        drawn[key] = draw_errors_db(replace(item, std_db=1.0), size, rng)
    return drawn[key] * item.std_db
