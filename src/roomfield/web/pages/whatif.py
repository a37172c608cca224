"""What if: try things on the plan, keep them as actions, weigh cost against certainty, agree on a plan."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from roomfield.show.trade_units import MICROWATT_M2, PERCENT
from roomfield.web.contexts import ChoicePart, WhatIfPage
from roomfield.web.dependencies import Form, Opened, amount_in
from roomfield.web.rendering import language_of, render
from roomfield.workbench.model.joint_model import placed
from roomfield.workbench.plan import action_list, hypothetical_changes, plan_choice, target_places
from roomfield.workbench.plan.plan_choice import NamedPlan, Offer, PlanTerms
from roomfield.workbench.record import plan_document, survey_list
from roomfield.workbench.record.visit_choice import visit_asked_or_first, visit_asked_or_first_if_any

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/what-if")
USUAL_TARGET_UW_M2 = 1000.0
MOST_BESIDE = 3
THESE = "these"
"""The places that are ticked."""


@dataclass(frozen=True)
class PlanBeside:
    """One of the plans that are put side by side.

    Parameters
    ----------
    shown : bool
        True for the plan that is shown in full.
    without : tuple of str
        Actions of the others that it leaves out.
    """

    of: NamedPlan
    shown: bool
    without: tuple[str, ...]


@router.get("")
def show(request: Request, opened: Opened, visit: str = "") -> Response:
    """The plan with things that can be tried."""
    survey = opened.survey
    bound = hypothetical_changes.usual_bound_w_m2(survey)
    chosen = visit_asked_or_first_if_any(survey, visit)
    visit_id = chosen.id if chosen else ""
    start = {
        "survey_id": survey.id,
        "visit_id": visit_id,
        "plan": json.loads(plan_document.write_plan(plan_document.plan_of(survey))),
        "bound_w_m2": bound,
    }
    target = MICROWATT_M2.shown(bound) if bound else USUAL_TARGET_UW_M2
    readings = len(survey.current_readings())
    adopted_at = target_places.names_of(survey, target_places.asked_of(survey, survey.adopted_plan))
    page = WhatIfPage(
        opened.head_at(visit_id),
        start,
        survey.actions,
        survey.adopted_plan,
        adopted_at,
        placed(survey),
        target,
        readings,
        action_list.priced_measures(survey),
    )
    return render(request, page)


@router.get("/plans")
def plans_part(
    request: Request,
    opened: Opened,
    target_uw_m2: float,
    confidence: Annotated[float, Query(gt=0, lt=100)] = 90.0,
    budget: str = "",
    at: str = target_places.EVERYWHERE,
    place: Annotated[list[str] | None, Query()] = None,
    visit: str = "",
) -> Response:
    """The trade-off for a target."""
    most = amount_in(budget, "budget") if budget.strip() else None
    places = target_places.asked_places(opened.survey, (place or []) if at == THESE else [at])
    terms = PlanTerms(MICROWATT_M2.si(target_uw_m2), "peak", PERCENT.si(confidence), most, places)
    visit_id = visit_asked_or_first(opened.survey, visit).id
    made = plan_choice.offer(opened.survey, visit_id, terms, language_of(request))
    return render(request, ChoicePart(opened.survey.id, opened.revision, made, side_by_side(made), asdict(terms)))


def side_by_side(offer: Offer) -> tuple[PlanBeside, ...]:
    """The shown plan between the next cheaper and the next surer one, each with what it leaves out of the others.

    Parameters
    ----------
    offer : Offer
        The trade-off; plans without an action are not put side by side.
    """
    plans = [one for one in offer.plans if one.names]
    ids = set(offer.shown.plan.action_ids)
    at = next((n for n, one in enumerate(plans) if set(one.plan.action_ids) == ids), len(plans) - 1)
    first = max(0, min(at - 1, len(plans) - MOST_BESIDE))
    chosen = plans[first : first + MOST_BESIDE]
    everything = dict.fromkeys(name for one in chosen for name in one.names)
    return tuple(
        PlanBeside(
            one, set(one.plan.action_ids) == ids, tuple(name for name in everything if name not in set(one.names))
        )
        for one in chosen
    )


@router.post("/adopt")
def adopt(opened: Opened, form: Form) -> Response:
    """Agree on a plan."""
    places = target_places.asked_places(opened.survey, form.texts.get("place", ()))
    terms = PlanTerms(
        form.number("target_w_m2", 0.0), form.text("kind", "peak"), form.number("confidence", 0.9), place_ids=places
    )
    ids = tuple(form.texts.get("action", ()))
    change = partial(plan_choice.adopted, action_ids=ids, terms=terms)
    survey_list.revise(opened.records, opened.survey.id, change, form.revision())
    return _back(opened.survey.id)


@router.post("/action/{action_id}")
def keep_action(opened: Opened, action_id: str, form: Form) -> Response:
    """Name and price an action by hand or from a measure of the user's own, or take it off the list."""
    if form.text("remove"):
        change = partial(plan_choice.without_action, action_id=action_id)
    elif form.text("measure"):
        change = partial(action_list.with_measure, action_id=action_id, key=form.text("measure"))
    else:
        low = form.amount("low", 0.0)
        high = form.amount("high", low)
        stated = bool(form.text("low") or form.text("high"))
        change = partial(
            plan_choice.with_cost, action_id=action_id, name=form.text("name"), low=low, high=max(low, high),
            stated=stated,
        )  # fmt: skip
    survey_list.revise(opened.records, opened.survey.id, change, form.revision())
    return _back(opened.survey.id)


def _back(survey_id: str) -> Response:
    return RedirectResponse(f"/surveys/{survey_id}/what-if#plans", status_code=303)
