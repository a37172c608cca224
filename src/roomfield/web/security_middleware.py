"""The doorkeeper: one pure ASGI layer that looks at every request before a page does.

Refuses foreign hosts and origins, forged forms, oversized bodies and unknown devices, and puts the
security headers on every answer.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from contextlib import nullcontext
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlsplit

from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response

from roomfield.errors import InputError
from roomfield.web.access_code import Gate
from roomfield.web.connections import OTHER, OWN, UNKNOWN
from roomfield.web.page_texts import preferred, told
from roomfield.web.settings import Settings
from roomfield.workbench.record.authorship import acting_as, present_identity

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

CSRF_COOKIE = "roomfield_form"
PASS_COOKIE = "roomfield_pass"
CSRF_HEADER = "x-roomfield-form"
CLIENT_HEADER = "x-roomfield-client"
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
START_COOKIE = "roomfield_start"
OPEN_PATHS = ("/static/", "/unlock", "/start", "/worker.js")
PEEK_BYTES = 8192

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; media-src 'self' blob:; font-src 'self'; worker-src 'self'; "
    "frame-src 'self'; object-src 'none'; form-action 'self'; frame-ancestors 'self'; base-uri 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"microphone=(self), camera=(), geolocation=()"),
)
_FORM_FIELD = re.compile(rb'name="form_key"\r\n\r\n([\w-]{20,80})\r\n|(?:^|&)form_key=([\w-]{20,80})(?:&|$)')


@dataclass(frozen=True)
class Caller:
    """What the doorkeeper reads off a request.

    Parameters
    ----------
    headers : dict
        Lower-case names to values.
    cookies : dict
        Names to values.
    """

    method: str
    path: str
    headers: dict[str, str]
    cookies: dict[str, str]

    @classmethod
    def of(cls, scope: Scope) -> Caller:
        """The caller behind an ASGI scope."""
        headers = {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope["headers"]}
        cookies = _cookies(headers.get("cookie", ""))
        method = "GET" if scope["type"] == "websocket" else str(scope["method"])
        return cls(method, str(scope["path"]), headers, cookies)


def _cookies(header: str) -> dict[str, str]:
    """Names to values; cookies that other programs on this computer set may be of any form (RFC 6265, section 5.4)."""
    pairs = (pair.strip().partition("=") for pair in header.split(";"))
    return {name: value.strip('"') for name, sign, value in reversed(list(pairs)) if sign and name}


class Guard:
    """Wraps the application; nothing reaches a page that has not passed here.

    Parameters
    ----------
    app : ASGI application
        The pages behind the door.
    settings : Settings
        Allowed hosts, size limit, access code.
    gate : Gate
        Knows the devices that were let in.
    """

    def __init__(self, app: App, settings: Settings, gate: Gate) -> None:
        self._app, self._settings, self._gate = app, settings, gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one connection."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
            return
        caller = Caller.of(scope)
        scope.setdefault("state", {}).setdefault("account", UNKNOWN)
        refusal = self._refusal(caller, scope["state"]["account"])
        if scope["type"] == "websocket":
            await (self._close(receive, send) if refusal else self._app(scope, receive, send))
            return
        body = _Body(receive, self._settings.upload_limit_bytes)
        if refusal is None and caller.method not in SAFE_METHODS:
            refusal = await self._forgery(caller, body)
        answer = refusal or self._app
        key = caller.cookies.get(CSRF_COOKIE) or secrets.token_urlsafe(24)
        scope["state"]["form_key"] = key
        seal = _Sealed(send, key, new=CSRF_COOKIE not in caller.cookies, secure=scope.get("scheme") == "https")
        device = self._gate.device_of(caller.cookies.get(PASS_COOKIE, ""))
        if device is not None:
            self._gate.note_seen(caller.cookies[PASS_COOKIE])
        with acting_as(replace(present_identity(), device=device.name)) if device else nullcontext():
            await answer(scope, body.receive, seal)

    def _refusal(self, caller: Caller, account: str) -> Response | None:
        if caller.headers.get("host", "") not in self._settings.allowed_hosts:
            return _refuse(caller, 421, "This address is not one that the server answers to.")
        origin = caller.headers.get("origin")
        if origin is not None and urlsplit(origin).netloc not in self._settings.allowed_hosts:
            return _refuse(caller, 403, "The request came from another site and was refused.")
        if self._is_foreign(caller):
            return _refuse(caller, 403, "The request came from another site and was refused.")
        length = caller.headers.get("content-length") or "0"
        if not length.isdecimal() or int(length[:19]) > self._settings.upload_limit_bytes:
            return _refuse(caller, 413, _too_large(self._settings.upload_limit_bytes))
        return self._stranger(caller, account)

    def _is_foreign(self, caller: Caller) -> bool:
        """Whether another site's page asks; a link on one may lead to the list of surveys and no farther."""
        site, referer = caller.headers.get("sec-fetch-site"), caller.headers.get("referer", "")
        if site is None:
            foreign = bool(referer) and urlsplit(referer).netloc not in self._settings.allowed_hosts
        else:
            foreign = site not in {"none", "same-origin"}
        navigates = caller.headers.get("sec-fetch-mode", "navigate") == "navigate"
        is_list = caller.method in SAFE_METHODS and caller.path in {"/", "/start"} and navigates
        return foreign and not is_list

    def _stranger(self, caller: Caller, account: str) -> Response | None:
        asks = self._settings.access_code or self._settings.own_account_only
        if not asks or account == OWN or caller.path.startswith(OPEN_PATHS):
            return None
        if account == OTHER:
            return _refuse(caller, 403, "Only the account that started roomfield on this computer is answered.")
        if self._has_pass(caller):
            return None
        if not self._settings.access_code:
            return _refuse(caller, 401, "Open roomfield by the address that it printed when it was started.")
        if caller.path.startswith("/api/"):
            return _refuse(caller, 401, "Enter the one-time code in a browser on this device first.")
        # A removed device is told at /unlock to forget what it holds.
        return RedirectResponse("/unlock", status_code=303)

    def _has_pass(self, caller: Caller) -> bool:
        given = caller.cookies.get(START_COOKIE, "") or caller.headers.get("authorization", "").removeprefix("Bearer ")
        start = self._settings.start_key
        if start and secrets.compare_digest(given.encode("utf-8", "replace"), start.encode()):
            return True
        return self._gate.device_of(caller.cookies.get(PASS_COOKIE, "")) is not None

    async def _forgery(self, caller: Caller, body: _Body) -> Response | None:
        expected = caller.cookies.get(CSRF_COOKIE, "")
        if caller.path.startswith("/api/") and CLIENT_HEADER in caller.headers:
            return None  # a header of our own makes a foreign page ask first, and it is never answered
        given = caller.headers.get(CSRF_HEADER, "")
        if not given and "form" in caller.headers.get("content-type", ""):
            match = _FORM_FIELD.search(await body.peek(PEEK_BYTES))
            given = (match[1] or match[2]).decode() if match else ""
        if expected and secrets.compare_digest(given, expected):
            return None
        return _refuse(caller, 403, "The form is out of date. Load the page again and repeat the entry.")

    @staticmethod
    async def _close(receive: Receive, send: Send) -> None:
        await receive()
        await send({"type": "websocket.close", "code": 4403})


class BodyTooLarge(InputError):
    """The body grew past the limit while it was read."""


class _Body:
    """The request body: can be looked into from the front, and counts what passes."""

    def __init__(self, receive: Receive, limit_bytes: int) -> None:
        self._receive, self._limit, self._seen = receive, limit_bytes, 0
        self._kept: list[Message] = []

    async def peek(self, size_bytes: int) -> bytes:
        front, more = b"", True
        while more and len(front) < size_bytes:
            message = await self._take()
            self._kept.append(message)
            front += message.get("body", b"")
            more = message["type"] == "http.request" and bool(message.get("more_body"))
        return front

    async def receive(self) -> Message:
        return self._kept.pop(0) if self._kept else await self._take()

    async def _take(self) -> Message:
        message = await self._receive()
        self._seen += len(message.get("body", b""))
        if self._seen > self._limit:
            raise BodyTooLarge(_too_large(self._limit))
        return message


class _Sealed:
    """Puts the security headers, and once the form cookie, on the answer."""

    def __init__(self, send: Send, key: str, *, new: bool, secure: bool) -> None:
        self._send, self._key, self._new, self._secure = send, key, new, secure

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            present = {name.lower() for name, _ in message.get("headers", [])}
            added = [pair for pair in HEADERS if pair[0] not in present]
            if b"cache-control" not in present:
                added.append((b"cache-control", b"no-store"))
            if self._new:
                cookie = f"{CSRF_COOKIE}={self._key}; Path=/; SameSite=Strict; HttpOnly{'; Secure' * self._secure}"
                added.append((b"set-cookie", cookie.encode()))
            message = {**message, "headers": [*message.get("headers", []), *added]}
        await self._send(message)


def _too_large(limit_bytes: int) -> str:
    return f"The file is larger than {limit_bytes >> 20} MB. Split it, or import it from the command line."


def _refuse(caller: Caller, status: int, english: str) -> Response:
    language = preferred(caller.cookies.get("language", ""), caller.headers.get("accept-language", ""))
    sentence = told(language, english)
    if caller.path.startswith("/api/"):
        return JSONResponse({"what": sentence, "where": "", "mend": ""}, status_code=status)
    return PlainTextResponse(sentence, status_code=status)
