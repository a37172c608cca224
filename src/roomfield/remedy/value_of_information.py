"""Which measurement to take next for a decision, and when to stop.

Candidates are ranked by the expected regret they avoid per minute, less the standard error of that. As the best of
many looks better than it is, their worths are first drawn towards what all have in common. One alone may be worth
nothing where several are worth their time, so that some together are weighed too before "enough" is said: those that,
by a linear rule, tell most about what parts the options. "Enough" is never said only because few draws leave open what
something is worth: the linear rule then says it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from roomfield.field.foreseen import Foreseen
from roomfield.field.information import (
    Information,
    PredictedObservation,
    gains_of,
    linear_worth,
    shrunk,
    told_together,
    worth_of,
)
from roomfield.field.threads import on_one_thread
from roomfield.remedy.open_decision import OpenDecision

TOGETHER = (1, 2, 3, 5, 8, 16, 32)
"""So many are weighed together; one once more, by the linear rule."""
LEAST_ERRORS = 1.0
"""A worth counts that is more than so many of its standard errors (our judgement)."""


@dataclass(frozen=True, eq=False)
class Ranked:
    """One candidate and what it is worth.

    Parameters
    ----------
    candidate : Foreseen
        What would be done.
    information : Information
        Expected regret avoided, in money, and the chance that the decision changes.
    """

    candidate: Foreseen
    information: Information

    @property
    def per_minute(self) -> float:
        """Expected regret avoided per minute, in money."""
        return self.information.regret_avoided / self.candidate.minutes

    @property
    def surely_per_minute(self) -> float:
        """The same less its standard error."""
        return (self.information.regret_avoided - self.information.standard_error) / self.candidate.minutes


@dataclass(frozen=True, eq=False)
class NextMeasurement:
    """What to do next.

    Parameters
    ----------
    decision : OpenDecision
        What is to be decided.
    ranked : tuple of Ranked
        Candidates, the most worth per minute, less its standard error, first; before them those that are worth
        their time together only, each with what they avoid together, shared out by the minute.
    together : int
        How many of the first must be taken for it to be worth their time; 1 if the first one is; 0: stop.
    best_rate : float
        Regret avoided per minute by those [money/min].
    client_rate : float
        What the client pays for a minute [money/min].
    """

    decision: OpenDecision
    ranked: tuple[Ranked, ...]
    together: int
    best_rate: float
    client_rate: float

    @property
    def stop(self) -> bool:
        """True if nothing more is worth its time."""
        return self.together == 0


@on_one_thread
def next_step(
    decision: OpenDecision, candidates: Iterable[Foreseen], *, client_rate: float, seed: int = 0
) -> NextMeasurement:
    """Rank candidates for a decision.

    Parameters
    ----------
    candidates : iterable of Foreseen
        From `roomfield.field.foreseen.Foresight`, of the same posterior.
    client_rate : float
        What the client pays for a minute of measuring [money/min].
    seed : int
        Of the simulated scatter.
    """
    found = _ranked(decision, list(candidates), seed)
    rate = found[0].per_minute if found else 0.0
    if found and rate > client_rate and _beyond_chance(found[0].information):
        return NextMeasurement(decision, tuple(found), 1, rate, client_rate)
    together, many = _together(decision, found, client_rate, seed)
    if not together:
        return NextMeasurement(decision, tuple(found), 0, rate, client_rate)
    first = [
        replace(r, information=replace(r.information, regret_avoided=many * r.candidate.minutes)) for r in together
    ]
    left = [one for one in found if one not in together]
    return NextMeasurement(decision, (*first, *left), len(together), many, client_rate)


def _ranked(decision: OpenDecision, candidates: Sequence[Foreseen], seed: int) -> list[Ranked]:
    """Candidates, the most worth per minute first."""
    if not candidates:
        return []
    gains, changed = zip(*(gains_of(decision.contending, one.outcome, seed=seed) for one in candidates), strict=True)
    worth = shrunk(np.stack(gains))
    found = [
        Ranked(one, Information(max(mean, 0.0), std, float(np.mean(often))))
        for one, mean, std, often in zip(candidates, worth.mean.tolist(), worth.std.tolist(), changed, strict=True)
    ]
    return sorted(found, key=lambda r: (-r.surely_per_minute, r.candidate.minutes))


def _together(
    decision: OpenDecision, found: Sequence[Ranked], client_rate: float, seed: int
) -> tuple[list[Ranked], float]:
    """The fewest that are worth their time together, none if none are, and what they avoid per minute."""
    order = told_together(
        decision.contending, [r.candidate.outcome for r in found], [r.candidate.minutes for r in found], TOGETHER[-1]
    )
    for count in (n for n in TOGETHER if n <= len(order)):
        some = [found[n] for n in order[:count]]
        minutes = sum(r.candidate.minutes for r in some)
        if decision.regret_left <= minutes * client_rate:
            break
        outcome = PredictedObservation.together([r.candidate.outcome for r in some])
        worth = worth_of(decision.contending, outcome, seed=seed)
        sure = worth.regret_avoided if _beyond_chance(worth) else 0.0
        avoided = max(sure, linear_worth(decision.contending, outcome))
        if avoided / minutes > client_rate:
            return some, avoided / minutes
    return [], 0.0


def _beyond_chance(information: Information) -> bool:
    """Whether a value is more than the finite number of draws makes up (the best of many looks better than it is)."""
    return information.regret_avoided > LEAST_ERRORS * information.standard_error
