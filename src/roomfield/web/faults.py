"""What went wrong, as HTTP: one translation for pages and for programs."""

from __future__ import annotations

import logging

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from roomfield.errors import (
    ConflictError,
    IntegrityError,
    KindMismatchError,
    RightsError,
    RoomfieldError,
    StoreError,
    TooEarlyError,
    UnknownNameError,
)
from roomfield.web.contexts import FaultPage
from roomfield.web.page_texts import told
from roomfield.web.rendering import language_of, render
from roomfield.web.security_middleware import BodyTooLarge

STATUS: tuple[tuple[type[RoomfieldError], int], ...] = (
    (BodyTooLarge, 413),
    (UnknownNameError, 404),
    (TooEarlyError, 409),
    (KindMismatchError, 409),
    (IntegrityError, 422),
    (RightsError, 403),
    (StoreError, 409),
    (RoomfieldError, 422),
)
_HEADINGS = {
    403: "This is not allowed",
    404: "There is nothing here",
    405: "That does not work this way",
    409: "Not now",
    413: "Too large",
    500: "Something broke on our side",
}
_log = logging.getLogger("roomfield.web")


def install(app: FastAPI) -> None:
    """Let every error of the application be told by this module."""
    app.add_exception_handler(RoomfieldError, _known)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(OSError, _system)
    app.add_exception_handler(RequestValidationError, _misshapen)
    app.add_exception_handler(Exception, _unforeseen)


def status_of(error: RoomfieldError) -> int:
    """HTTP status that says what kind of fault it is.

    Parameters
    ----------
    error : RoomfieldError
        The fault.
    """
    return next(status for kind, status in STATUS if isinstance(error, kind))


def _known(request: Request, error: Exception) -> Response:
    if not isinstance(error, RoomfieldError):
        return _unforeseen(request, error)
    if isinstance(error, ConflictError) and not _wants_page(request):
        plain = {"what": error.what, "where": error.where, "mend": error.mend, "conflict": True}
        return JSONResponse({**plain, "found": error.found, "changed": error.changed}, status_code=409)
    return _tell(request, status_of(error), error.what, error.where, error.mend)


def _http(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    what = "There is no such page." if status == 404 else "The request cannot be answered like this."
    return _tell(request, status, what, "", "Go back to the list of surveys.")


def _system(request: Request, error: Exception) -> Response:
    """The operating system refused: no room, no right, no folder."""
    words = (error.strerror if isinstance(error, OSError) else None) or type(error).__name__
    what = f"The computer refused: {words}."
    return _tell(request, 507, what, "", "Check the free space and the rights of the folder, then try again.")


def _misshapen(request: Request, error: Exception) -> Response:
    details = error.errors() if isinstance(error, RequestValidationError) else []
    first = details[0] if details else {"loc": ("request",), "msg": "The request is not of the right form"}
    where = " > ".join(str(part) for part in first["loc"] if part not in {"body", "query", "path"})
    return _tell(request, 422, f"{first['msg']}.", where, "Correct this entry and send it again.")


def _unforeseen(request: Request, error: Exception) -> Response:
    _log.error("unforeseen fault at %s", request.url.path, exc_info=error)
    return _tell(
        request, 500, "The program met a fault that nobody foresaw. What was saved before is still there.", "",
        "Load the page again; if it comes back, report it with the last lines of the server's output.",
    )  # fmt: skip


def _wants_page(request: Request) -> bool:
    return "text/html" in request.headers.get("accept", "") and not request.url.path.startswith("/api/")


def _tell(request: Request, status: int, what: str, where: str, mend: str) -> Response:
    language = language_of(request)
    what, mend = told(language, what), told(language, mend)
    if not _wants_page(request):
        return JSONResponse({"what": what, "where": where, "mend": mend}, status_code=status)
    page = FaultPage(heading=_HEADINGS.get(status, "That cannot be done like this"), what=what, where=where, mend=mend)
    return render(request, page, status=status)
