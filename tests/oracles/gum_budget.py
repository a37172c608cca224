"""An uncertainty budget: labelled contributions, combined and expanded (JCGM 100:2008, clauses 5 to 8)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import stats

from oracles.gum_propagation import Correlations, Input, Model, covariance, sensitivities
from roomfield.errors import InputError


@dataclass(frozen=True)
class BudgetLine:
    """One line of a budget.

    Parameters
    ----------
    label : str
        Input quantity.
    value : float
        Its estimate.
    std : float
        Its standard uncertainty.
    dof : float
        Degrees of freedom.
    sensitivity : float
        Partial derivative of the result.
    contribution : float
        \\|sensitivity\\| times std, in the unit of the result.
    share : float
        Part of the combined variance, if the inputs are independent.
    """

    label: str
    value: float
    std: float
    dof: float
    sensitivity: float
    contribution: float
    share: float


@dataclass(frozen=True)
class Budget:
    """A result with its budget.

    Parameters
    ----------
    value : float
        Estimate of the result.
    std : float
        Combined standard uncertainty.
    dof : float or None
        Effective degrees of freedom; None if inputs are correlated, for then they are not defined.
    lines : tuple of BudgetLine
        One for each input.
    """

    value: float
    std: float
    dof: float | None
    lines: tuple[BudgetLine, ...]

    def expanded(self, coverage: float = 0.95, *, truncate_dof: bool = False) -> tuple[float, float]:
        """Coverage factor k and expanded uncertainty U = k u (JCGM 100, clause 6 and annex G).

        Parameters
        ----------
        coverage : float
            Level of confidence, 0 to 1.
        truncate_dof : bool
            True to cut the degrees of freedom to the next lower whole number (G.4.1).
        """
        dof = math.inf if self.dof is None else self.dof
        factor = coverage_factor(coverage, math.floor(dof) if truncate_dof and math.isfinite(dof) else dof)
        return factor, factor * self.std


def coverage_factor(coverage: float, dof: float = math.inf) -> float:
    """Coverage factor of the t-distribution (JCGM 100, table G.2), of the normal for infinite dof."""
    tail = 0.5 * (1.0 + coverage)
    return float(stats.norm.ppf(tail) if math.isinf(dof) else stats.t.ppf(tail, dof))


def effective_dof(contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Effective degrees of freedom, Welch-Satterthwaite (JCGM 100, equation G.2b).

    Parameters
    ----------
    contributions : sequence of float
        Uncertainties in the unit of the result, of independent inputs.
    dofs : sequence of float
        Their degrees of freedom.

    Raises
    ------
    InputError
        If the sequences differ in length.
    """
    if len(contributions) != len(dofs):
        raise InputError(f"{len(contributions)} contributions, but {len(dofs)} degrees of freedom.")
    variance = sum(u**2 for u in contributions)
    spread = sum(u**4 / nu for u, nu in zip(contributions, dofs, strict=True) if math.isfinite(nu) and u > 0.0)
    return math.inf if spread == 0.0 else variance**2 / spread


def budget(model: Model, inputs: Sequence[Input], correlations: Correlations | None = None) -> Budget:
    """Budget of a result to first order.

    Parameters
    ----------
    model : callable
        Takes one value per input, in order.
    inputs : sequence of Input
        Labelled inputs.
    correlations : mapping of (label, label) to float, optional
        Coefficients that are not zero.
    """
    slopes = sensitivities(model, inputs)
    std = float(math.sqrt(covariance([model], inputs, correlations)[0, 0]))
    total = sum((c * item.distribution.std) ** 2 for c, item in zip(slopes, inputs, strict=True)) or 1.0
    lines = tuple(_line(item, float(c), total) for c, item in zip(slopes, inputs, strict=True))
    correlated = any((correlations or {}).values())
    dof = None if correlated else effective_dof([x.contribution for x in lines], [x.dof for x in lines])
    return Budget(float(model(*(item.distribution.mean for item in inputs))), std, dof, lines)


def _line(item: Input, sensitivity: float, total_variance: float) -> BudgetLine:
    known = item.distribution
    contribution = abs(sensitivity) * known.std
    share = contribution**2 / total_variance
    return BudgetLine(item.label, known.mean, known.std, known.dof, sensitivity, contribution, share)
