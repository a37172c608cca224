"""What to do next while readings come in: at once from the draws there are, then from the full inference."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.errors import InputError, TooEarlyError
from roomfield.show.phrase import phrase
from roomfield.show.words import load_words
from roomfield.survey import Place, Survey
from roomfield.workbench.assess.place_use import is_for_sleeping
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import can_be_modelled, placed, posterior_soon
from roomfield.workbench.plan.next_measurement import Advice, Deciding, asked_question, measure_next_for
from roomfield.workbench.record.visit_choice import visit_asked_or_latest

MOST_LIVE_PATHS = 600
"""Places times transmitters up to which it is worked out unasked; 72 take 0.3 s of processor time, 600 some 3 s."""


@dataclass(frozen=True)
class LiveAdvice:
    """What to do next, as one sentence and what stands behind it.

    Parameters
    ----------
    sentence : str
        What to do next, that enough was measured and why, or how to begin.
    settled : bool
        False if the full inference is still to be asked.
    advice : Advice or None
        The ranking behind it; None before there is a model.
    """

    sentence: str
    settled: bool
    advice: Advice | None = None


@in_turn
def advice_now(survey: Survey, visit_id: str, language: str, *, soon: bool = False) -> LiveAdvice | None:
    """What to do next for what is open in the record.

    Parameters
    ----------
    visit_id : str
        The visit; the latest if none of that name is there.
    soon : bool
        True: what can be said at once, from the draws there are; not settled where that is not the full inference.

    Returns
    -------
    LiveAdvice or None
        None where nothing can be advised: no visit, or no place on the plan.
    """
    visit = visit_asked_or_latest(survey, visit_id)
    if visit is None or not placed(survey):
        return None
    try:
        if not can_be_modelled(survey, visit.id):
            return _begin(survey, visit.id, language)
        if len(placed(survey)) * len(survey.emitters) > MOST_LIVE_PATHS:
            return LiveAdvice(load_words(language).text(phrase("next.large")), settled=True)
        known = posterior_soon(survey, visit.id) if soon else None
        if soon and known is None:
            return LiveAdvice("", settled=False)
        question = asked_question(survey, Deciding.OPEN, None)
        found = measure_next_for(survey, visit.id, question, language, known.posterior if known else None)
    except (TooEarlyError, InputError):
        return None
    return LiveAdvice(found.sentence, known is None or known.exact, found)


def _begin(survey: Survey, visit_id: str, language: str) -> LiveAdvice | None:
    """The first bed that nothing was read at; without transmitters on record nothing more can be said."""
    first = _first_unread(survey, visit_id)
    if first is None:
        return None
    return LiveAdvice(load_words(language).text(phrase("next.begin", place=first.name)), settled=True)


def _first_unread(survey: Survey, visit_id: str) -> Place | None:
    read = {reading.place_id for reading in survey.current_readings(visit_id)}
    left = [place for place in placed(survey) if place.id not in read]
    return min(left, key=lambda place: not is_for_sleeping(place), default=None)


def advised_order(survey: Survey, visit_id: str, language: str) -> tuple[str, ...]:
    """What is worth measuring next, most worth first, each with its reason; that enough was measured; or nothing."""
    found = advice_now(survey, visit_id, language)
    if found is None:
        return ()
    left = found.advice is not None and not found.advice.stop
    rows = [row.sentence for row in found.advice.rows] if left and found.advice else []
    return tuple(dict.fromkeys((found.sentence, *rows)))
