"""Peak, highest held and average bookkeeping, sums and quotients, limits and guidelines, decision rules."""

from roomfield.exposure.attribution import Attribution, attribute
from roomfield.exposure.decision import Bound, Decision, ReferenceVerdict, Remark, judge, pulse_bound
from roomfield.exposure.differences import PooledDifference, UncertainDifference, difference, pooled_difference
from roomfield.exposure.guideline import GuidelineResult, Scope, compare, compare_with_every_service
from roomfield.exposure.level_sums import mean, total
from roomfield.exposure.quotients import (
    AttributedLevel,
    Quotient,
    SwitchedPart,
    SwitchedQuotient,
    quotient,
    switched_quotient,
)

__all__ = [
    "AttributedLevel",
    "Attribution",
    "Bound",
    "Decision",
    "GuidelineResult",
    "PooledDifference",
    "Quotient",
    "ReferenceVerdict",
    "Remark",
    "Scope",
    "SwitchedPart",
    "SwitchedQuotient",
    "UncertainDifference",
    "attribute",
    "compare",
    "compare_with_every_service",
    "difference",
    "judge",
    "mean",
    "pooled_difference",
    "pulse_bound",
    "quotient",
    "switched_quotient",
    "total",
]
