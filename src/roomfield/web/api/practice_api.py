"""Practising, as calls: a scan in an invented home, the order of switching and the plan, each with its score."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request

from roomfield.show.words.message_catalogue import load_words
from roomfield.web.rendering import language_of
from roomfield.workbench.practice import practice_scan
from roomfield.workbench.practice.practice_scan import PracticeMoves, PracticeScans, PracticeScore, PracticeStart

router = APIRouter(prefix="/api/v1/practice", tags=["practice"])


@router.get("/{seed}")
def read_home(seed: int) -> practice_scan.PracticeSheet:
    """Places and transmitters of the home of a seed; no levels."""
    return practice_scan.practice_sheet(seed)


@router.post("/scans", status_code=201)
def begin_scan(request: Request, start: PracticeStart) -> dict[str, str]:
    """Begin a scan at a place."""
    return {"id": _scans(request).begin(start)}


@router.post("/scans/{scan_id}/moves")
def move(request: Request, scan_id: str, moves: PracticeMoves) -> dict[str, Any]:
    """What the meter shows after these moves, how loud it sounds, and what the coach says."""
    shown, words = _scans(request).scan(scan_id).move(moves), load_words(language_of(request))
    said = " ".join(words.text(sentence) for sentence in shown.scan.sentences())
    return {**vars(shown), "scan": vars(shown.scan), "said": said}


@router.get("/scans/{scan_id}/score")
def score_scan(request: Request, scan_id: str) -> PracticeScore:
    """How far the highest value found lies under the largest there is."""
    return _scans(request).scan(scan_id).score()


@router.get("/{seed}/order")
def score_order(seed: int, place: str, name: Annotated[list[str], Query()]) -> PracticeScore:
    """How good an order of switching off is."""
    return practice_scan.order_score(seed, place, tuple(name))


@router.get("/{seed}/plan")
def score_plan(seed: int, name: Annotated[list[str], Query()]) -> PracticeScore:
    """How good it is to do without these transmitters, against the best choice of as many."""
    return practice_scan.plan_score(seed, tuple(name))


def _scans(request: Request) -> PracticeScans:
    found: PracticeScans = request.app.state.practice
    return found
