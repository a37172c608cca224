"""Decisions that more measuring could change, as a table of what each option costs in each draw of the posterior."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError, TooEarlyError
from roomfield.field.contributions import switches_of
from roomfield.field.information import best_option, regret_left
from roomfield.field.posterior import Posterior, levels_at
from roomfield.quantities import Kind
from roomfield.remedy.branch_and_bound import clash, middle_cost
from roomfield.remedy.evaluator import Evaluator
from roomfield.survey import Emitter, Place
from roomfield.survey.emitter import Control

Array = NDArray[np.float64]
MOST_PLANS = 128
LEAST_STAKE = 100.0
"""What a missed target is worth at least, if the actions cost little or nothing (our judgement) [currency]."""


@dataclass(frozen=True, eq=False)
class OpenDecision:
    """An open decision.

    Parameters
    ----------
    options : tuple of str or tuple of tuple of str
        What can be decided.
    loss : ndarray, shape (n_draws, options)
        What each option costs in each draw, in money.
    """

    options: tuple[tuple[str, ...], ...]
    loss: Array

    @property
    def best(self) -> tuple[str, ...]:
        """The option of least expected cost."""
        return self.options[best_option(self.loss)]

    @cached_property
    def contending(self) -> Array:
        """Costs of the options that are better than each other one in some draw, shape (n_draws, fewer options)."""
        kept: list[int] = []
        for option in np.argsort(self.loss.mean(axis=0), kind="stable"):
            cost = self.loss[:, option]
            if not any(np.all(self.loss[:, better] <= cost) for better in kept):
                kept.append(int(option))
        return np.asarray(self.loss[:, sorted(kept)])

    @property
    def regret_left(self) -> float:
        """What perfect knowledge would be worth."""
        return regret_left(self.loss)


def which_plan(evaluator: Evaluator, target_w_m2: float, *, stake: float) -> OpenDecision:
    """Which plan to carry out: its price, and the stake by the chance in each draw that it misses the target.

    Parameters
    ----------
    evaluator : Evaluator
        Of the places where the target is asked for.
    stake : float
        What the client would pay for the target to be met, see `stake_of`.

    Raises
    ------
    InputError
        If the stake is not over 0.
    """
    _check(stake)
    plans = plans_of(evaluator)
    price = {a.id: middle_cost(a) for a in evaluator.actions}
    loss = [sum(price[name] for name in ids) + stake * evaluator.chance_over(target_w_m2, ids) for ids in plans]
    return OpenDecision(plans, np.stack(loss, axis=1))


def plans_of(evaluator: Evaluator) -> tuple[tuple[str, ...], ...]:
    """Plans from the actions, nothing first, then by their number of actions, as far as `MOST_PLANS` reach."""
    found: list[tuple[str, ...]] = []
    actions = evaluator.actions
    for size in range(len(actions) + 1):
        for some in itertools.combinations(actions, size):
            if len(found) < MOST_PLANS and not any(clash(a, b) for a, b in itertools.combinations(some, 2)):
                found.append(tuple(a.id for a in some))
    return tuple(found)


def stake_of(evaluator: Evaluator, confidence: float) -> float:
    """What meeting the target must be worth to somebody who asks for it with this confidence.

    All actions together, if they met it with just that confidence, would just be worth their price.
    """
    dearest = sum(middle_cost(a) for a in evaluator.actions)
    return max(dearest / confidence, LEAST_STAKE)


def aim_met(
    posterior: Posterior, places: Sequence[Place], target_w_m2: float, kind: Kind, *, stake: float
) -> OpenDecision:
    """Whether the target is met everywhere as found; a wrong answer costs the stake."""
    _check(stake)
    level = levels_at(posterior, _points(places), kind=kind).density_w_m2
    missed = np.any(level > target_w_m2, axis=1)
    return OpenDecision((("met",), ("missed",)), stake * np.column_stack([missed, ~missed]).astype(np.float64))


def main_source(posterior: Posterior, place: Place, kind: Kind, *, stake: float) -> OpenDecision:
    """Which switch makes the largest part at a place; a wrong answer costs the stake."""
    _check(stake)
    table = levels_at(posterior, _points([place]), kind=kind).by_emitter_w_m2[:, :, 0]
    switches = switches_of(posterior)
    parts = np.stack([table[:, members].sum(axis=1) for members in switches.values()], axis=1)
    largest = np.argmax(parts, axis=1)[:, None] == np.arange(len(switches))
    return OpenDecision(tuple((name,) for name in switches), stake * (1.0 - largest.astype(np.float64)))


OWN, OTHERS = "own", "others"


def whose(posterior: Posterior, place: Place, kind: Kind, *, stake: float) -> OpenDecision:
    """Whether the client's own transmitters or others' make the larger part at a place; the stake if wrong."""
    _check(stake)
    table = levels_at(posterior, _points([place]), kind=kind).by_emitter_w_m2[:, :, 0]
    own = np.array([is_own(e) for e in posterior.survey.emitters])
    larger = table[:, own].sum(axis=1) >= table[:, ~own].sum(axis=1)
    return OpenDecision(((OWN,), (OTHERS,)), stake * np.column_stack([~larger, larger]).astype(np.float64))


def is_own(emitter: Emitter) -> bool:
    """Whether the client decides about a transmitter: as noted, else by whether it stands in the dwelling."""
    if emitter.control is Control.UNKNOWN:
        return not emitter.outdoor
    return emitter.control is Control.CLIENT


def _points(places: Sequence[Place]) -> Array:
    found = [p.position for p in places if p.position is not None]
    if len(found) < len(places) or not found:
        raise TooEarlyError("a place has no position, so nothing can be decided there.", mend="Put it on the plan.")
    return np.asarray(found, dtype=np.float64)


def _check(stake: float) -> None:
    if not (np.isfinite(stake) and stake > 0.0):
        raise InputError(f"a stake of {stake:g} cannot be.", mend="Say what the right decision is worth, over 0.")
