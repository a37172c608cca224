"""A level against a bound: probability, guard band, decision (JCGM 106:2012; ILAC-G8:09/2019)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.errors import RangeError
from roomfield.quantities import Censoring, Interval, Kind, ProbabilityRange, UncertainLevel, require_kind
from roomfield.quantities.convert import decibels_from_ratio, ratio_from_decibels
from roomfield.references.limit_sets import LimitValue
from roomfield.references.rules import DecisionRule, decision_rule

COVERAGE_FACTOR = 2.0
"""Factor k of the expanded uncertainty U = k u that guard bands are multiples of."""
UNCERTAINTY_CEILING_DB = 4.0
"""Above this U a result serves orientation, not conformity (IEC 62232, EN 50492; from memory)."""
DEFAULT_RULE = "three-way"
PENALTY_RULE = "iec-62311"
PENALTY_FROM = 0.3
"""Relative expanded uncertainty from which IEC 62311 lowers the limit (from memory)."""
_ROUNDING_DB = 1e-9


class Decision(StrEnum):
    """What a rule makes of a level and a bound."""

    BELOW = "below"
    ABOVE = "above"
    UNDECIDED = "undecided"
    NOT_SHOWN_BELOW = "not_shown_below"
    NOT_SHOWN_ABOVE = "not_shown_above"
    NOT_TESTABLE = "not_testable"


class Remark(StrEnum):
    """What a report must add to a verdict."""

    UNCERTAINTY_CEILING = "uncertainty_above_ceiling"
    FROM_MEMORY = "limit_from_memory"
    SMALLEST_IN_BAND = "smallest_limit_in_band"
    BAND_UNCOVERED = "band_partly_without_limit"
    EQUIVALENT = "plane_wave_equivalent"
    BOUND_ONLY = "level_is_only_a_bound"
    NOT_SPOT_TESTABLE = "spot_reading_cannot_test_it"


@dataclass(frozen=True)
class Bound:
    """A bound that is not a row of the limit tables, such as a guideline's target.

    Parameters
    ----------
    value_w_m2 : float
        Power density [W/m²]; the bound itself carries no uncertainty.
    kind : Kind
        Kind of level it is for.
    label : str
        Name for the report.
    """

    value_w_m2: float
    kind: Kind
    label: str


@dataclass(frozen=True)
class ReferenceVerdict:
    """Outcome of one comparison.

    Parameters
    ----------
    level : UncertainLevel
        What was compared.
    bound : Bound
        With what.
    probability_below : ProbabilityRange
        That the true level lies below the bound (flat prior in dB); a range if the level is only a bound.
    decision : Decision
        By ``rule``.
    rule : DecisionRule
        The rule used; a statement of conformity must name it (ISO/IEC 17025:2017, 7.8.6).
    expanded_db : float
        U = 2 u [dB].
    guard_band_db : float
        w [dB].
    acceptance_limit_w_m2, rejection_limit_w_m2 : float or None
        Readings at or under the first show "below", at or over the second "above"; None if the rule has none.
    remarks : tuple of Remark
        What must be said with it.
    limit : LimitValue or None
        The limit with its citation, if it is one.
    """

    level: UncertainLevel
    bound: Bound
    probability_below: ProbabilityRange
    decision: Decision
    rule: DecisionRule
    expanded_db: float
    guard_band_db: float
    acceptance_limit_w_m2: float | None
    rejection_limit_w_m2: float | None
    remarks: tuple[Remark, ...] = ()
    limit: LimitValue | None = None

    @property
    def interval(self) -> Interval:
        """95 % coverage interval of the level."""
        return self.level.interval()

    @property
    def quotient(self) -> float:
        """Median level (or bound) over the limit."""
        return self.level.median_w_m2 / self.bound.value_w_m2

    @property
    def margin_db(self) -> float:
        """Limit over level [dB]; positive if the level is the lower one."""
        return -float(decibels_from_ratio(self.quotient))

    @property
    def risk(self) -> tuple[float, float]:
        """Range of the probability that the statement is wrong; (0, 1) where nothing is stated."""
        low, high = self.probability_below.low, self.probability_below.high
        if self.decision is Decision.BELOW:
            return 1.0 - high, 1.0 - low
        if self.decision is Decision.ABOVE:
            return low, high
        return 0.0, 1.0


def judge(level: UncertainLevel, bound: LimitValue | Bound, rule: str = DEFAULT_RULE) -> ReferenceVerdict:
    """Compare a level with a bound.

    Parameters
    ----------
    level : UncertainLevel
        Of the kind that the bound is for; a legal limit takes a time average (see `limit_kind`).
    bound : LimitValue or Bound
        From `limits.lookup`, or a bound of your own.
    rule : str
        "simple", "guard-0.83U", "guard-U", "guard-1.5U", "guard-3U", "guarded-rejection", "three-way" or
        "iec-62311".

    Returns
    -------
    Verdict
        With the probability, the decision and what must be said with it.

    Raises
    ------
    KindMismatchError
        If the level is of another kind; convert it with a stated model first (`metrics`).
    UnknownNameError
        If there is no such rule.
    RangeError
        If the bound is not positive.

    Notes
    -----
    Guard bands are applied in dB, where the error of a level is symmetric, and once, to the measurement only:
    accept if y <= L - w with w = r U (JCGM 106, 8.3.2). For a level whose error is bounded the risk is lower
    than for a normal one.
    """
    limit = bound if isinstance(bound, LimitValue) else None
    plain = _plain(bound)
    require_kind(level.kind, plain.kind, f"A comparison with {plain.label}")
    if not plain.value_w_m2 > 0.0:
        raise RangeError("bound", plain.value_w_m2, (0.0, float("inf")), "W/m²", where=plain.label)
    chosen = decision_rule(rule)
    expanded_db = COVERAGE_FACTOR * level.std_db
    guard_db = _guard_db(chosen, expanded_db)
    accept_db, reject_db = _edges_db(chosen, float(decibels_from_ratio(plain.value_w_m2)), guard_db)
    return ReferenceVerdict(
        level=level,
        bound=plain,
        probability_below=level.probability_below(plain.value_w_m2),
        decision=_decide(level, limit, chosen, accept_db, reject_db),
        rule=chosen,
        expanded_db=expanded_db,
        guard_band_db=guard_db,
        acceptance_limit_w_m2=None if accept_db is None else float(ratio_from_decibels(accept_db)),
        rejection_limit_w_m2=None if reject_db is None else float(ratio_from_decibels(reject_db)),
        remarks=_remarks(level, limit, expanded_db),
        limit=limit,
    )


def limit_kind(scope: str) -> Kind:
    """Kind of level that a legal limit takes.

    A whole-body limit takes the mean over time and body. A local limit takes the time average at the largest
    spot, which no reading of this class shows: peak and highest held are upper bounds of it, and a mean over a scan
    is none (see `takes_mean_over_scan`).
    """
    return Kind.AVERAGE


def takes_mean_over_scan(scope: str) -> bool:
    """True for a whole-body limit; the time average at the largest spot (local) may lie above a scan's mean."""
    return scope != "local"


def pulse_bound(limit: LimitValue) -> Bound | None:
    """Bound for the mean over a pulse, an extra condition of some documents; None if there is none.

    ICNIRP 1998 and 1999/519/EC: above 10 MHz at most 1000 times the reference level of the average.

    Parameters
    ----------
    limit : LimitValue
        Row of a limit; its condition on pulses is in W/m².
    """
    if limit.pulse_w_m2 is None:
        return None
    return Bound(limit.pulse_w_m2, Kind.PEAK, f"{limit.source.citation()}, pulses")


def _plain(bound: LimitValue | Bound) -> Bound:
    if isinstance(bound, Bound):
        return bound
    return Bound(bound.value_w_m2, limit_kind(bound.scope), f"{bound.source.citation()}, {bound.kind}")


def _guard_db(rule: DecisionRule, expanded_db: float) -> float:
    """Guard band [dB]; that of IEC 62311 follows from its penalty L_m <= L / (0.7 + U / L_m) above 30 %."""
    if rule.rule_id != PENALTY_RULE:
        return abs(rule.guard_band_in_u) * expanded_db
    relative = float(ratio_from_decibels(expanded_db)) - 1.0
    return float(decibels_from_ratio(1.0 - PENALTY_FROM + relative)) if relative > PENALTY_FROM else 0.0


def _edges_db(rule: DecisionRule, limit_db: float, guard_db: float) -> tuple[float | None, float | None]:
    """Largest accepted and smallest rejected level [dB] of a rule."""
    if rule.rule_id == "three-way":
        return limit_db - guard_db, limit_db + guard_db
    if rule.rule_id == "guarded-rejection":
        return None, limit_db + guard_db
    return limit_db - guard_db, None


def _decide(
    level: UncertainLevel,
    limit: LimitValue | None,
    rule: DecisionRule,
    accept_db: float | None,
    reject_db: float | None,
) -> Decision:
    if limit is not None and not limit.spot_testable:
        return Decision.NOT_TESTABLE
    fits = accept_db is not None and level.level_db <= accept_db + _ROUNDING_DB
    over = reject_db is not None and level.level_db >= reject_db - _ROUNDING_DB
    if fits and level.censoring is not Censoring.ABOVE:
        return Decision.BELOW
    if over and level.censoring is not Censoring.BELOW:
        return Decision.ABOVE
    if rule.rule_id == "simple" and not fits and level.censoring is not Censoring.BELOW:
        return Decision.ABOVE
    if rule.rule_id in ("three-way", "simple"):
        return Decision.UNDECIDED
    return Decision.NOT_SHOWN_ABOVE if accept_db is None else Decision.NOT_SHOWN_BELOW


def _remarks(level: UncertainLevel, limit: LimitValue | None, expanded_db: float) -> tuple[Remark, ...]:
    found = {
        Remark.UNCERTAINTY_CEILING: limit is not None and expanded_db > UNCERTAINTY_CEILING_DB,
        Remark.FROM_MEMORY: limit is not None and limit.from_memory,
        Remark.SMALLEST_IN_BAND: limit is not None and limit.is_smallest_in_band,
        Remark.BAND_UNCOVERED: limit is not None and bool(limit.uncovered_hz),
        Remark.EQUIVALENT: limit is not None and limit.equivalent,
        Remark.BOUND_ONLY: level.censoring is not Censoring.NONE,
        Remark.NOT_SPOT_TESTABLE: limit is not None and not limit.spot_testable,
    }
    return tuple(remark for remark, applies in found.items() if applies)
