"""The choice of a plan as plain values, for commands and programs."""

from __future__ import annotations

from typing import Any

from roomfield.remedy.branch_and_bound import Progress
from roomfield.remedy.choice import LevelPoint, PlanPoint
from roomfield.survey import Survey
from roomfield.workbench.plan.plan_choice import PlanTerms, choice_of, offer, prediction_of


def offered(
    survey: Survey, visit_id: str, terms: PlanTerms, language: str = "en", progress: Progress | None = None
) -> dict[str, Any]:
    """Every plan that no other beats, the one suggested, and what it would bring; densities in W/m².

    Parameters
    ----------
    language : str
        Of the sentences, ``en`` or ``de``.
    progress : callable, optional
        Called with the share of the work done, 0 to 1.

    Raises
    ------
    TooEarlyError
        If there is no action or nothing to infer from.
    InputError
        If target, confidence or budget cannot be, or there are too many actions.
    """
    chosen = choice_of(survey, visit_id, terms, progress)
    found = offer(survey, visit_id, terms, language, chosen)
    names = {action.id: action.name for action in survey.actions}
    return {
        "target_w_m2": terms.target_w_m2,
        "kind": terms.kind,
        "confidence": terms.confidence,
        "budget": terms.budget,
        "currency": found.currency,
        "asked_place_ids": list(terms.place_ids) or [outcome.place_id for _, outcome in _once(found.places)],
        "reachable": chosen.reachable,
        "statement": chosen.statement,
        "reach": list(found.reach),
        "plans": [_plain(point, names) for point in chosen.curve],
        "suggested": _plain(found.suggested.plan, names) if found.suggested else None,
        "shown": _plain(found.shown.plan, names),
        "lowest": [_plain_level(point, names) for point in chosen.lowest],
        "prediction": prediction_of(survey, visit_id, found.shown.plan.action_ids, terms).to_dict(),
    }


def _once(places: tuple[tuple[str, Any], ...]) -> list[tuple[str, Any]]:
    """Each place once, whatever the number of its periods."""
    return list({outcome.place_id: (name, outcome) for name, outcome in places}.values())


def _plain(plan: PlanPoint, names: dict[str, str]) -> dict[str, Any]:
    return plan.to_dict() | {"names": [names[name] for name in plan.action_ids]}


def _plain_level(point: LevelPoint, names: dict[str, str]) -> dict[str, Any]:
    return point.to_dict() | {"names": [names[name] for name in point.plan.action_ids]}
