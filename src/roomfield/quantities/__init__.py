"""Conversions between the units of the trade, decibel arithmetic and uncertain levels.

Names are loaded when they are first used: the record needs the kinds, and must not load NumPy for them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import RISING, Kind, require_kind

if TYPE_CHECKING:
    from roomfield.quantities.contribution import ErrorContribution, ErrorShape
    from roomfield.quantities.level import (
        Interval,
        ProbabilityRange,
        UncertainLevel,
        UncertainRatio,
        joint_draws_w_m2,
        ratio,
    )

__all__ = [
    "RISING",
    "Censoring",
    "ErrorContribution",
    "ErrorShape",
    "Interval",
    "Kind",
    "ProbabilityRange",
    "UncertainLevel",
    "UncertainRatio",
    "joint_draws_w_m2",
    "ratio",
    "require_kind",
]

_CONTRIBUTION = ("ErrorContribution", "ErrorShape")


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module = "contribution" if name in _CONTRIBUTION else "level"
    value = getattr(import_module(f"{__name__}.{module}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
