"""Decision rules of conformity statements, as named by JCGM 106 and ILAC-G8."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from roomfield.errors import UnknownNameError
from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, load_csv


@dataclass(frozen=True)
class DecisionRule:
    """One rule.

    Parameters
    ----------
    rule_id : str
        Name, such as "simple", "guard-U", "three-way".
    guard_band_in_u : float
        Guard band as a multiple of the expanded uncertainty U (k = 2); negative: it lies above the limit.
    risk_bound : str
        Risk of a wrong statement at the limit, as the document states it.
    """

    rule_id: str = column("id")
    title: str = column()
    wording: str = column("rule")
    guard_band_in_u: float = column()
    risk_bound: str = column()
    source: Source = SOURCE


@cache
def decision_rules() -> dict[str, DecisionRule]:
    """All rules by name."""
    return {rule.rule_id: rule for rule in load_csv(DecisionRule, "decision-rules", "rules.csv")}


def decision_rule(rule_id: str) -> DecisionRule:
    """One rule by its name.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    if rule_id not in decision_rules():
        raise UnknownNameError("decision rule", rule_id, decision_rules())
    return decision_rules()[rule_id]
