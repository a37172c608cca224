"""A level against a precautionary guideline: probabilities of categories, never a conformity statement."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.errors import InputError
from roomfield.quantities import Censoring, ProbabilityRange, UncertainLevel
from roomfield.quantities.convert import decibels_from_ratio
from roomfield.references.guidelines import CATEGORIES, GuidelineLevel, GuidelineSet, guideline_set

SERVICES_AT_MOST = 10
"""Most services that a total is taken to be made of: as many as the longest guideline lists; our judgement.

The strongest of n services holds at least an n-th of the total, so a total far above a value does show that some
service is above it, and one just above it does not.
"""


class Scope(StrEnum):
    """What a level is a level of, as far as sources go."""

    SINGLE_SERVICE = "single_service"
    """One radio service, attributed."""
    TOTAL = "total"
    """Everything the meter picked up: for each service only an upper bound."""


class GuidelineRemark(StrEnum):
    """What a report must add."""

    UPPER_BOUND_FOR_EACH_SERVICE = "total_is_only_an_upper_bound_for_each_service"
    BOUND_ONLY = "level_is_only_a_bound"
    STATISTIC_NOT_STATED = "document_does_not_state_the_statistic"
    FROM_MEMORY = "guideline_from_memory"
    SEVERAL_CATEGORIES = "interval_spans_several_categories"


@dataclass(frozen=True)
class CategoryProbability:
    """One category or target, and how likely the true level is in it (or at or under it).

    Parameters
    ----------
    row : GuidelineLevel
        The category or target.
    probability : ProbabilityRange
        For a category: that the true level falls into it. For a target: that it is at or under it.
    at_most : ProbabilityRange
        That the true level falls into this category or a lower one.
    """

    row: GuidelineLevel
    probability: ProbabilityRange
    at_most: ProbabilityRange


@dataclass(frozen=True)
class GuidelineResult:
    """Outcome of a comparison with a guideline.

    Parameters
    ----------
    guideline : GuidelineSet
        With its standing and conditions, which a report states beside it.
    service : str or None
        Service whose rows were used.
    scope : Scope
        Single service or total.
    chances : tuple of CategoryChance
        Lowest first.
    remarks : tuple of GuidelineRemark
        What must be said with it.
    """

    guideline: GuidelineSet
    level: UncertainLevel
    service: str | None
    scope: Scope
    chances: tuple[CategoryProbability, ...]
    remarks: tuple[GuidelineRemark, ...]

    @property
    def is_upper_bound(self) -> bool:
        """True if the category says only "at most" for each service."""
        return GuidelineRemark.UPPER_BOUND_FOR_EACH_SERVICE in self.remarks

    @property
    def strongest_share_db(self) -> float:
        """How far the strongest single service may lie under the level [dB]; 0 unless the level is a total."""
        return float(decibels_from_ratio(SERVICES_AT_MOST)) if self.is_upper_bound else 0.0

    def strongest_at_most(self, chance: CategoryProbability) -> ProbabilityRange:
        """Probability that the strongest single service lies at or under the upper end of a row.

        Parameters
        ----------
        chance : CategoryChance
            One of ``chances``.

        Notes
        -----
        For a total the true answer lies between two ends: all of it is one service, or it is shared evenly by
        `SERVICES_AT_MOST`. For a row of one named service nothing but "at most" follows from a total, for that
        service may have no part in it.
        """
        if chance.row.upper_w_m2 is None:
            return chance.at_most
        return self.strongest_under(chance.row.upper_w_m2)

    def strongest_under(self, bound_w_m2: float) -> ProbabilityRange:
        """Probability that the strongest single service lies at or under a bound, see `strongest_at_most`.

        Parameters
        ----------
        bound_w_m2 : float
            Power density [W/m²].
        """
        whole = self.level.probability_below(bound_w_m2)
        if not self.is_upper_bound:
            return whole
        if self.service is not None:
            return ProbabilityRange(whole.low, 1.0)
        shared = self.level.shifted(-self.strongest_share_db).probability_below(bound_w_m2)
        return ProbabilityRange(whole.low, shared.high)

    def strongest_in_each(self) -> tuple[ProbabilityRange, ...]:
        """Probability that the strongest single service falls into each category, whatever its part of the total.

        In the order of ``chances``, of a scale of categories.
        """
        reach, rows = self.strongest_share_db, tuple(c.row for c in self.chances)
        parts = (*map(float, range(int(reach))), reach)
        found = [_category_chances(self.level.shifted(-part), rows) for part in parts]
        return tuple(
            ProbabilityRange(min(c.probability.low for c in each), max(c.probability.high for c in each))
            for each in zip(*found, strict=True)
        )

    def strongest_plausible(self, coverage: float = 0.95) -> tuple[CategoryProbability, ...]:
        """Categories that the strongest single service may fall into; all targets.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        if self.guideline.form != CATEGORIES:
            return self.chances
        least = self.level.shifted(-self.strongest_share_db).interval(coverage)
        first = self.guideline.index_of(least.low_w_m2, self.service)
        last = self.guideline.index_of(self.level.interval(coverage).high_w_m2, self.service)
        return self.chances[first : last + 1]

    @property
    def nominal(self) -> CategoryProbability | None:
        """Category of the median (or bound), for a scale of categories; None for targets."""
        if self.guideline.form != CATEGORIES:
            return None
        return self.chances[self.guideline.index_of(self.level.median_w_m2, self.service)]

    def plausible(self, coverage: float = 0.95) -> tuple[CategoryProbability, ...]:
        """Categories that the coverage interval of the level touches; all targets.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        if self.guideline.form != CATEGORIES:
            return self.chances
        span = self.level.interval(coverage)
        first = self.guideline.index_of(span.low_w_m2, self.service)
        last = self.guideline.index_of(span.high_w_m2, self.service)
        return self.chances[first : last + 1]


def compare(level: UncertainLevel, guideline_id: str, *, scope: Scope, service: str | None = None) -> GuidelineResult:
    """Place a level on a guideline's scale, or hold it against its targets.

    Parameters
    ----------
    level : UncertainLevel
        The highest held, or a peak if that is all there is, for all guidelines that state their statistic.
    guideline_id : str
        Such as "building-biology-2015".
    scope : Scope
        Whether the level is of one service or a broadband total. It has no default: a total must never pass
        for a service.
    service : str, optional
        Needed by guidelines with rows for each service.

    Raises
    ------
    KindMismatchError
        If the guideline takes highest values and the level is an average.
    UnknownNameError
        If there is no such guideline or service.
    InputError
        If the guideline needs a service and none is named.
    """
    chosen = guideline_set(guideline_id)
    chosen.require_kind(level.kind)
    rows = chosen.levels_for(service)
    build = _category_chances if chosen.form == CATEGORIES else _target_chances
    chances = build(level, rows)
    result = GuidelineResult(chosen, level, service, scope, chances, ())
    return GuidelineResult(chosen, level, service, scope, chances, _remarks(result))


def compare_with_every_service(level: UncertainLevel, guideline_id: str) -> tuple[GuidelineResult, ...]:
    """A broadband total against the rows of every service: an upper bound for each; errors as `compare`.

    Parameters
    ----------
    level : UncertainLevel
        The broadband total.
    guideline_id : str
        Id of the guideline.
    """
    services = guideline_set(guideline_id).services
    named: list[str | None] = [None] if services == ("any",) else list(services)
    return tuple(compare(level, guideline_id, scope=Scope.TOTAL, service=name) for name in named)


def _category_chances(level: UncertainLevel, rows: tuple[GuidelineLevel, ...]) -> tuple[CategoryProbability, ...]:
    at_most = [
        ProbabilityRange(1.0, 1.0) if row.upper_w_m2 is None else level.probability_below(row.upper_w_m2)
        for row in rows
    ]
    chances = []
    under = ProbabilityRange(0.0, 0.0)
    for row, reach in zip(rows, at_most, strict=True):
        chances.append(CategoryProbability(row, _between(under, reach), reach))
        under = reach
    return tuple(chances)


def _between(lower: ProbabilityRange, upper: ProbabilityRange) -> ProbabilityRange:
    """Probability between two bounds; with a censored level only its range is known."""
    return ProbabilityRange(max(upper.low - lower.high, 0.0), max(upper.high - lower.low, 0.0))


def _target_chances(level: UncertainLevel, rows: tuple[GuidelineLevel, ...]) -> tuple[CategoryProbability, ...]:
    chances = []
    for row in rows:
        if row.upper_w_m2 is None:
            raise InputError(f"the target {row.name!r} has no value.", where=row.set_id)
        reach = level.probability_below(row.upper_w_m2)
        chances.append(CategoryProbability(row, reach, reach))
    return tuple(chances)


def _remarks(result: GuidelineResult) -> tuple[GuidelineRemark, ...]:
    chosen, level = result.guideline, result.level
    found = {
        GuidelineRemark.UPPER_BOUND_FOR_EACH_SERVICE: chosen.per_service and result.scope is Scope.TOTAL,
        GuidelineRemark.BOUND_ONLY: level.censoring is not Censoring.NONE,
        GuidelineRemark.STATISTIC_NOT_STATED: chosen.statistic == "not stated",
        GuidelineRemark.FROM_MEMORY: any(chance.row.source.from_memory for chance in result.chances),
        GuidelineRemark.SEVERAL_CATEGORIES: chosen.form == CATEGORIES and len(result.plausible()) > 1,
    }
    return tuple(remark for remark, applies in found.items() if applies)
