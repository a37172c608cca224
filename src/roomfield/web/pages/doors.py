"""Small pages at the door: language, one-time code, help, and the API for people."""

from __future__ import annotations

import math
import secrets
from importlib.resources import files
from pathlib import Path

from fastapi import APIRouter, Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response

from roomfield.errors import InputError
from roomfield.web.access_code import PASS_LASTS_S, WAIT, Gate
from roomfield.web.contexts import AwayPage, Call, DevicesPage, HelpPage, ProgramsPage, UnlockPage
from roomfield.web.dependencies import Form
from roomfield.web.help import explanations
from roomfield.web.page_texts import LANGUAGES
from roomfield.web.pairing import pairing_of
from roomfield.web.rendering import render
from roomfield.web.security_middleware import PASS_COOKIE, START_COOKIE
from roomfield.web.settings import Settings

router = APIRouter(include_in_schema=False)
WORKER = Path(str(files("roomfield.web"))) / "static" / "js" / "worker.js"
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
    """Ask another device for the code; one that was removed is told to forget what it holds."""
    gate: Gate = request.app.state.gate
    gone = gate.was_removed(request.cookies.get(PASS_COOKIE, ""))
    answer = render(request, UnlockPage(gone=gone, has_root=bool(request.app.state.settings.root)))
    if gone:
        answer.headers["clear-site-data"] = '"cache", "storage"'  # W3C Clear Site Data; works over TLS alone
        answer.delete_cookie(PASS_COOKIE, samesite="strict")
    return answer


@router.post("/unlock")
def enter_code(request: Request, form: Form) -> Response:
    """Let a device in that knows the code."""
    gate: Gate = request.app.state.gate
    address = request.client.host if request.client else ""
    entered = gate.enter(form.text("code"), address, form.text("device"))
    if not entered.key:
        page = UnlockPage(entered.refusal, math.ceil(entered.wait_s), has_root=bool(request.app.state.settings.root))
        return render(request, page, status=429 if entered.refusal == WAIT else 403)
    answer = RedirectResponse("/", status_code=303)
    encrypted = request.url.scheme == "https"
    answer.set_cookie(
        PASS_COOKIE, entered.key, max_age=int(PASS_LASTS_S), httponly=True, samesite="strict", secure=encrypted
    )
    return answer


@router.get("/start")
def start(request: Request, key: str = "") -> Response:
    """Let this computer's user in, who has the key from where roomfield was started."""
    settings = request.app.state.settings
    if not settings.start_key or not secrets.compare_digest(key.encode(), settings.start_key.encode()):
        raise InputError("this is not the address that roomfield printed.", mend="Copy it again from there.")
    # A redirect would still count as coming from outside, and the browser would keep the new cookie back.
    answer = PlainTextResponse("roomfield", headers={"refresh": "0; url=/"})
    answer.set_cookie(
        START_COOKIE, key, max_age=YEAR_S, httponly=True, samesite="strict", secure=request.url.scheme == "https"
    )
    return answer


@router.get("/devices")
def show_devices(request: Request) -> Response:
    """Devices that were let in, and a code for one more."""
    gate = _own_gate(request)
    settings: Settings = request.app.state.settings
    pairing = pairing_of(settings, gate.secret())
    return render(request, DevicesPage(gate.devices(), bool(settings.access_code), gate.code(), pairing))


@router.get("/devices/state")
def devices_state(request: Request) -> Response:
    """Which devices there are and whether the code is still good, for the page that waits for a phone."""
    gate = _own_gate(request)
    return JSONResponse({"devices": [one.id for one in gate.devices()], "open": bool(gate.code())})


@router.get("/unlock/root.crt")
def read_root(request: Request) -> Response:
    """The root that a phone can be told to trust; it holds nothing that is secret."""
    settings: Settings = request.app.state.settings
    if not settings.root:
        raise InputError("there is no certificate of this computer's own.", mend="Start with --phone.")
    headers = {"content-disposition": 'attachment; filename="roomfield.crt"'}
    return Response(settings.root, media_type="application/x-x509-ca-cert", headers=headers)


@router.post("/devices/code")
def new_code(request: Request) -> Response:
    """A new one-time code."""
    _own_gate(request).fresh_code()
    return RedirectResponse("/devices", status_code=303)


@router.post("/devices/{device_id}/remove")
def remove_device(request: Request, device_id: str) -> Response:
    """Let a device in no longer."""
    _own_gate(request).remove(device_id)
    return RedirectResponse("/devices", status_code=303)


def _own_gate(request: Request) -> Gate:
    gate: Gate = request.app.state.gate
    if gate.device_of(request.cookies.get(PASS_COOKIE, "")) is not None:
        raise InputError("devices are let in and removed at the computer itself.", mend="Open this page there.")
    return gate


@router.get("/worker.js")
def read_worker() -> Response:
    """The script that keeps the walk for when this computer sleeps; from here, so that it answers for every page."""
    headers = {"cache-control": "no-cache"}
    return FileResponse(WORKER, media_type="text/javascript", headers=headers)


@router.get("/kept/away")
def show_away(request: Request) -> Response:
    """What a phone shows in place of any other page while this computer sleeps; it keeps a copy."""
    return render(request, AwayPage())


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
