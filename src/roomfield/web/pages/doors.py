"""Small pages at the door: language, one-time code, help, and the API for people."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from roomfield.web.access_code import Gate
from roomfield.web.contexts import Call, HelpPage, ProgramsPage, UnlockPage
from roomfield.web.dependencies import Form
from roomfield.web.help import explanations
from roomfield.web.rendering import render
from roomfield.web.security_middleware import PASS_COOKIE
from roomfield.web.words import LANGUAGES

router = APIRouter(include_in_schema=False)
YEAR_S = 365 * 24 * 3600


@router.post("/language")
def choose_language(form: Form) -> Response:
    """Remember the reader's language."""
    back = form.text("back", "/")
    safe = back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/"
    answer = RedirectResponse(safe, status_code=303)
    if form.text("language") in LANGUAGES:
        answer.set_cookie("language", form.text("language"), max_age=YEAR_S, samesite="strict")
    return answer


@router.get("/unlock")
def ask_code(request: Request) -> Response:
    """Ask another device for the code."""
    return render(request, UnlockPage())


@router.post("/unlock")
def enter_code(request: Request, form: Form) -> Response:
    """Let a device in that knows the code."""
    gate: Gate = request.app.state.gate
    key = gate.enter(form.text("code"))
    if not key:
        return render(request, UnlockPage(refused=True), status=403)
    answer = RedirectResponse("/", status_code=303)
    encrypted: bool = request.app.state.settings.encrypted
    answer.set_cookie(PASS_COOKIE, key, httponly=True, samesite="strict", secure=encrypted)
    return answer


@router.get("/help")
def show_help(request: Request) -> Response:
    """Every explained term."""
    return render(request, HelpPage(explanations()))


@router.get("/api")
def show_programs(request: Request) -> Response:
    """The HTTP API in words."""
    paths: dict[str, dict[str, dict[str, str]]] = request.app.openapi()["paths"]
    calls = tuple(
        Call(verb.upper(), path, call.get("description", ""))
        for path, verbs in paths.items()
        for verb, call in verbs.items()
    )
    return render(request, ProgramsPage(calls))
