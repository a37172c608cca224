"""What if, as calls: levels after a wish, and the wish kept as actions."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request

from roomfield.web.dependencies import Desk, Opened
from roomfield.web.rendering import language_of
from roomfield.workbench.plan import hypothetical_changes
from roomfield.workbench.plan.hypothetical_changes import BenchShelf, WhatIfAnswer, WhatIfRequest
from roomfield.workbench.plan.plan_choice import PlanTerms
from roomfield.workbench.plan.plan_offers import offered
from roomfield.workbench.plan.target_places import asked_places
from roomfield.workbench.record import survey_list
from roomfield.workbench.record.visit_choice import visit_asked_or_first

router = APIRouter(prefix="/api/v1/surveys/{survey_id}/what-if", tags=["what-if"])


@router.post("")
def levels_after(request: Request, records: Desk, survey_id: str, wish: WhatIfRequest, visit: str = "") -> WhatIfAnswer:
    """Levels at every place before and after, and what gets worse: emitters or places moved, radios off, shields."""
    shelf: BenchShelf = request.app.state.benches
    return shelf.bench(records, survey_id, visit).answer(wish, language_of(request))


@router.get("/plans")
def read_plans(
    request: Request,
    opened: Opened,
    target_w_m2: float,
    kind: Literal["peak", "highest_held", "average"] = "peak",
    confidence: Annotated[float, Query(gt=0, lt=1)] = 0.9,
    budget: Annotated[float | None, Query(ge=0, allow_inf_nan=False)] = None,
    at: Annotated[list[str] | None, Query()] = None,
    visit: str = "",
) -> dict[str, Any]:
    """Plans no other beats, the cheapest sure enough, the lowest levels if none is; `at`: all, sleeping, a place."""
    terms = PlanTerms(target_w_m2, kind, confidence, budget, asked_places(opened.survey, at or ()))
    found: dict[str, Any] = offered(
        opened.survey, visit_asked_or_first(opened.survey, visit).id, terms, language_of(request)
    )
    return found


@router.post("/actions", status_code=201)
def keep_as_actions(records: Desk, survey_id: str, wish: WhatIfRequest) -> dict[str, int]:
    """Keep everything of a wish as actions of the survey."""
    return {"revision": survey_list.revise(records, survey_id, partial(hypothetical_changes.with_actions, wish=wish))}
