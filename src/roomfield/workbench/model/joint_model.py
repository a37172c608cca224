"""The joint posterior of a visit, as every door asks for it."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace
from functools import lru_cache

from roomfield.errors import TooEarlyError, UnknownNameError
from roomfield.field.emitter_states import receives
from roomfield.field.inference import infer
from roomfield.field.posterior import Posterior
from roomfield.field.powers import EmitterPower as EmitterPower
from roomfield.field.powers import emitter_powers as emitter_powers
from roomfield.field.priors import FAR_M as FAR_M
from roomfield.field.ranges import Range as Range
from roomfield.field.updating import updated
from roomfield.quantities import Kind
from roomfield.quantities.level import COVERAGE as COVERAGE
from roomfield.remedy.as_built import with_work_done
from roomfield.survey import Place, Survey
from roomfield.workbench.model.unlisted_source import with_unlisted
from roomfield.workbench.record.visit_choice import visit_asked_or_first

SEED, DRAWS = 0, 500


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
    visit = visit_asked_or_first(survey, visit_id)
    return _inferred(_home(survey, visit.id), visit.id, seed, draws)


@dataclass(frozen=True, eq=False)
class SoonPosterior:
    """A posterior that is at hand at once.

    Parameters
    ----------
    exact : bool
        True if it is what `posterior_of` gives; False if the one before some more readings was moved to them.
    """

    posterior: Posterior
    exact: bool


def posterior_soon(survey: Survey, visit_id: str | None = None) -> SoonPosterior | None:
    """The joint posterior of a visit in a tenth of a second, while readings come in.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str, optional
        The visit; the first one if left out.

    Returns
    -------
    SoonPosterior or None
        None if only `posterior_of` can answer.
    """
    visit = visit_asked_or_first(survey, visit_id)
    home = _home(survey, visit.id)
    known = _LATEST.get((home.id, visit.id))
    if known is None:
        return None
    if known[0] == home:
        return SoonPosterior(known[1], exact=True)
    found = updated(known[1], home)
    return None if found is None else SoonPosterior(found.posterior, exact=False)


def _home(survey: Survey, visit_id: str) -> Survey:
    """What is inferred from: the home as a visit finds it, without what is only planned."""
    if survey.readings and not placed(survey) and all(r.position is None for r in survey.readings):
        raise _nowhere(survey)
    home = with_unlisted(with_work_done(survey, visit_id), visit_id)
    # Nothing of these enters the model; left in, each photo would make it be reckoned anew.
    return replace(
        home, actions=(), adopted_plan=None, media=(), photographs=(), hot_spots=(), ticks=(), archived=False, note=""
    )


_LATEST: OrderedDict[tuple[str, str], tuple[Survey, Posterior]] = OrderedDict()
_KEPT = 8


@lru_cache(maxsize=_KEPT)
def _inferred(home: Survey, visit_id: str, seed: int, draws: int) -> Posterior:
    found = infer(home, visit_id=visit_id, seed=seed, draws=draws)
    if (seed, draws) == (SEED, DRAWS):
        _LATEST[(home.id, visit_id)] = (home, found)
        _LATEST.move_to_end((home.id, visit_id))
        while len(_LATEST) > _KEPT:
            _LATEST.popitem(last=False)
    return found


def emitter_names(survey: Survey, visit_id: str | None = None) -> dict[str, str]:
    """Names of all transmitters that the model of a visit reckons with, by id."""
    return {emitter.id: emitter.name for emitter in posterior_of(survey, visit_id).survey.emitters}


def can_be_modelled(survey: Survey, visit_id: str | None = None) -> bool:
    """Whether there is enough to ask the model of a visit: an emitter that is received, and a reading on the plan.

    Parameters
    ----------
    visit_id : str, optional
        The visit; the first one if left out.
    """
    if not survey.visits or not survey.emitters:
        return False
    on_plan = {place.id for place in placed(survey)}
    readings = survey.current_readings(visit_asked_or_first(survey, visit_id).id)
    used = {r.meter_id for r in readings if r.position is not None or r.place_id in on_plan}
    meters = [meter for meter in survey.meters if meter.id in used]
    return any(receives(meter, emitter) for meter in meters for emitter in survey.emitters)


def placed(survey: Survey) -> tuple[Place, ...]:
    """Places with a position on the plan."""
    return tuple(p for p in survey.places if p.position is not None)


def _nowhere(survey: Survey) -> TooEarlyError:
    return TooEarlyError("no place has a position yet.", where=survey.title, mend="Put them on the plan.")


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
