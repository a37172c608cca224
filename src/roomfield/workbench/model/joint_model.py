"""Questions put to the joint posterior: levels anywhere, who contributes what, how strong each source is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import TooEarlyError, UnknownNameError
from roomfield.field.inference import infer
from roomfield.field.posterior import LevelDraws, Posterior, levels_at
from roomfield.field.priors import FAR_M as FAR_M
from roomfield.quantities import Kind
from roomfield.remedy.as_built import with_work_done
from roomfield.survey import Place, Survey
from roomfield.workbench.model.unlisted_source import with_unlisted

Array = NDArray[np.float64]
SEED, DRAWS = 0, 500


@dataclass(frozen=True)
class Range:
    """Median and 90 % interval of draws."""

    low: float
    median: float
    high: float

    @staticmethod
    def of(draws: Array, coverage: float = 0.9) -> Range:
        """Quantiles of draws, shape (n,)."""
        tail = (1.0 - coverage) / 2.0
        low, median, high = np.quantile(draws, [tail, 0.5, 1.0 - tail])
        return Range(float(low), float(median), float(high))


@dataclass(frozen=True)
class ModelledLevel:
    """Level at a place as the model of the dwelling sees it, all readings considered [W/m²]."""

    place_id: str
    kind: Kind
    state_id: str
    level_w_m2: Range


@dataclass(frozen=True)
class EmitterShare:
    """What one emitter makes at one place.

    Parameters
    ----------
    level_w_m2 : Range
        Its power density: local mean, while on air for a peak, over time otherwise [W/m²].
    share : Range
        Its part of the sum, 0 to 1.
    probability_largest : float
        Probability that it is the largest contributor there.
    """

    place_id: str
    emitter_id: str
    kind: Kind
    level_w_m2: Range
    share: Range
    probability_largest: float


@dataclass(frozen=True)
class EmitterPower:
    """Radiated power of one emitter, EIRP while transmitting [W], and its share of time on air."""

    emitter_id: str
    eirp_w: Range
    duty: Range


def posterior_of(survey: Survey, visit_id: str | None = None, seed: int = SEED, draws: int = DRAWS) -> Posterior:
    """The joint posterior of a visit, in the home as that visit finds it.

    The same home and readings are not inferred twice; what could be done and what was agreed play no part in it.
    Where something is read with every listed transmitter off, one that is not on the list is reckoned with.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str, optional
        The visit; the first one if left out, because a later one may follow changes.

    Raises
    ------
    TooEarlyError
        If there is no visit, emitter or reading yet, or nothing that was read has a position.
    """
    if not survey.visits:
        raise TooEarlyError("the survey has no visit yet.", where=survey.title, mend="Enter a visit first.")
    if survey.readings and not placed(survey) and all(r.position is None for r in survey.readings):
        raise _nowhere(survey)
    visit = survey.visit(visit_id) if visit_id else survey.visits[0]
    home = with_unlisted(with_work_done(survey, visit.id), visit.id)
    found = replace(home, actions=(), adopted_plan=None)
    return _inferred(found, visit.id, seed, draws)


@lru_cache(maxsize=8)
def _inferred(home: Survey, visit_id: str, seed: int, draws: int) -> Posterior:
    return infer(home, visit_id=visit_id, seed=seed, draws=draws)


def emitter_names(survey: Survey, visit_id: str | None = None) -> dict[str, str]:
    """Names of all transmitters that the model of a visit reckons with, by id."""
    return {emitter.id: emitter.name for emitter in posterior_of(survey, visit_id).survey.emitters}


def can_be_modelled(survey: Survey) -> bool:
    """Whether there is enough to ask the model: emitters, readings and a place on the plan."""
    return bool(survey.emitters and survey.readings and placed(survey))


def placed(survey: Survey) -> tuple[Place, ...]:
    """Places with a position on the plan."""
    return tuple(p for p in survey.places if p.position is not None)


def _nowhere(survey: Survey) -> TooEarlyError:
    return TooEarlyError("no place has a position yet.", where=survey.title, mend="Put them on the plan.")


def draws_at_places(posterior: Posterior, kind: Kind, state_id: str | None = None) -> LevelDraws:
    """Draws of the level at every placed place, in their order.

    Raises
    ------
    TooEarlyError
        If no place has a position.
    """
    places = placed(posterior.survey)
    if not places:
        raise _nowhere(posterior.survey)
    return levels_at(posterior, [p.position or (0.0, 0.0, 0.0) for p in places], kind=kind, state=state_id)


def modelled_levels(posterior: Posterior, kind: Kind, state_id: str) -> tuple[ModelledLevel, ...]:
    """Levels at all places in one radio state.

    Parameters
    ----------
    posterior : Posterior
        From `posterior_of`.
    kind : Kind
        Peak, highest held or average.
    state_id : str
        Radio state of the visit.
    """
    drawn = draws_at_places(posterior, kind, state_id).density_w_m2
    return tuple(
        ModelledLevel(place.id, kind, state_id, Range.of(drawn[:, column]))
        for column, place in enumerate(placed(posterior.survey))
    )


def emitter_shares(posterior: Posterior, kind: Kind) -> tuple[EmitterShare, ...]:
    """Who contributes what at every place, with everything on.

    Parameters
    ----------
    posterior : Posterior
        From `posterior_of`.
    kind : Kind
        Peak weighs each emitter while on air, the others by its time average.
    """
    drawn = draws_at_places(posterior, kind)
    parts = drawn.by_emitter_w_m2
    shares = parts / parts.sum(axis=1, keepdims=True)
    largest = np.argmax(parts, axis=1)
    return tuple(
        EmitterShare(
            place.id,
            name,
            kind,
            Range.of(parts[:, row, column]),
            Range.of(shares[:, row, column]),
            float(np.mean(largest[:, column] == row)),
        )
        for column, place in enumerate(placed(posterior.survey))
        for row, name in enumerate(drawn.emitter_ids)
    )


def kind_named(name: str) -> Kind:
    """A kind by its name.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    if name not in set(Kind):
        raise UnknownNameError("kind", name, [k.value for k in Kind])
    return Kind(name)


def shares_of(survey: Survey, visit_id: str | None, kind: Kind, place_id: str = "") -> tuple[EmitterShare, ...]:
    """Who contributes what, at one place or at all of them.

    Parameters
    ----------
    place_id : str
        Id of a place; all if empty.
    """
    if place_id:
        survey.place(place_id)
    found = emitter_shares(posterior_of(survey, visit_id), kind)
    return tuple(s for s in found if place_id in ("", s.place_id))


def emitter_powers(posterior: Posterior) -> tuple[EmitterPower, ...]:
    """Radiated power of every emitter."""
    return tuple(
        EmitterPower(
            name,
            Range.of(10.0 ** (posterior.eirp_db[:, row] / 10.0)),
            Range.of(np.minimum(10.0 ** (posterior.duty_db[:, row] / 10.0), 1.0)),
        )
        for row, name in enumerate(posterior.emitter_ids)
    )
