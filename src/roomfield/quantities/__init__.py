"""Conversions between the units of the trade, decibel arithmetic and uncertain levels."""

from roomfield.quantities.contribution import Contribution, Shape
from roomfield.quantities.kind import Kind, require_kind
from roomfield.quantities.level import (
    Censor,
    Interval,
    ProbabilityRange,
    UncertainLevel,
    UncertainRatio,
    joint_draws_w_m2,
    ratio,
)

__all__ = [
    "Censor",
    "Contribution",
    "Interval",
    "Kind",
    "ProbabilityRange",
    "Shape",
    "UncertainLevel",
    "UncertainRatio",
    "joint_draws_w_m2",
    "ratio",
    "require_kind",
]
