"""What if, as calls: levels after a wish, and the wish kept as actions."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter, Request

from roomfield.web.desk import Desk
from roomfield.web.rendering import language_of
from roomfield.workbench import surveys, whatif
from roomfield.workbench.whatif import Answer, BenchShelf, Wish

router = APIRouter(prefix="/api/v1/surveys/{survey_id}/what-if", tags=["what-if"])


@router.post("")
def levels_after(request: Request, records: Desk, survey_id: str, wish: Wish, visit: str = "") -> Answer:
    """Levels at every place before and after, and what gets worse: emitters or places moved, radios off, shields."""
    shelf: BenchShelf = request.app.state.benches
    return shelf.bench(records, survey_id, visit).answer(wish, language_of(request))


@router.post("/actions", status_code=201)
def keep_as_actions(records: Desk, survey_id: str, wish: Wish) -> dict[str, int]:
    """Keep everything of a wish as actions of the survey."""
    return {"revision": surveys.revise(records, survey_id, partial(whatif.with_actions, wish=wish))}
