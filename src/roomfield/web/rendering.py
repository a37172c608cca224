"""From a page's context to HTML: one environment, one set of filters, the reader's language."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import cache, partial
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.requests import Request
from starlette.responses import HTMLResponse

from roomfield.web import formats
from roomfield.web.contexts import STEPS, STRETCH_NAMES, Context
from roomfield.web.help import explain
from roomfield.web.page_texts import NAMES, preferred, say, told, tongue

FURNITURE = frozenset({
    "_", "language", "languages", "form_key", "path", "steps", "stretch_names", "show", "explain", "told", "tongue",
    "preparing",
})  # fmt: skip
"""Names that every template may use besides the fields of its context."""


@cache
def environment() -> Environment:
    """The template environment; undefined names are errors."""
    made = Environment(
        loader=PackageLoader("roomfield.web", "templates"),
        autoescape=select_autoescape(["html", "svg"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.policies["json.dumps_kwargs"] = {"ensure_ascii": False, "sort_keys": False}
    return made


def language_of(request: Request) -> str:
    """The reader's language for this request."""
    return preferred(request.cookies.get("language", ""), request.headers.get("accept-language", ""))


def html_of(context: Context, language: str, form_key: str = "", path: str = "/", preparing: bool = False) -> str:
    """A page as text.

    Parameters
    ----------
    context : Context
        What the page shows.
    language : str
        ``en`` or ``de``.
    form_key : str
        Secret that the page's forms send back.
    path : str
        Where the page stands, for coming back to it.
    preparing : bool
        True while loops are being compiled, which the page then says.
    """
    translate: Callable[..., str] = partial(say, language)
    return (
        environment()
        .get_template(context.template)
        .render(
            {field.name: getattr(context, field.name) for field in fields(context)}
            | {
                "_": translate,
                "language": language,
                "form_key": form_key,
                "path": path,
                "steps": STEPS,
                "stretch_names": STRETCH_NAMES,
                "show": formats.Show(language),
                "explain": explain,
                "told": partial(told, language),
                "tongue": partial(tongue, language),
                "preparing": preparing,
                "languages": NAMES,
            }
        )
    )


def render(request: Request, context: Context, *, status: int = 200) -> HTMLResponse:
    """Answer a request with a page.

    Parameters
    ----------
    request : Request
        Decides language and form key.
    context : Context
        What the page shows.
    status : int
        HTTP status.
    """
    key: Any = getattr(request.state, "form_key", "")
    preparing: Any = request.app.state.first_compile.running
    text = html_of(context, language_of(request), str(key), request.url.path, bool(preparing))
    return HTMLResponse(text, status_code=status)
