"""Content to one HTML file that needs nothing else: no script, no outside resource, one hashed style."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Collection
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from roomfield.report.compose import compose
from roomfield.report.document import ReportContent
from roomfield.report.render.pdf import sheet_data, write_whole
from roomfield.show.words import load_words

_CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


def printable(text: str) -> str:
    """Text without characters that HTML and XML forbid; each is named by its code point instead.

    Parameters
    ----------
    text : str
        Any text.
    """
    return _CONTROLS.sub(lambda found: f"[U+{ord(found.group()):04X}]", text)


def render_html(
    content: ReportContent,
    path: str | Path | None = None,
    *,
    language: str,
    parts: Collection[str] | None = None,
) -> str:
    """The report as one self-contained HTML file.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    path : str or Path, optional
        Where to write it; nothing is written if left out.
    language : str
        For example ``en`` or ``de``.
    parts : collection of str, optional
        Names of parts to keep.

    Returns
    -------
    str
        The HTML text.

    Raises
    ------
    UnknownNameError
        If there is no such language.
    StoreError
        If the file cannot be written.
    """
    words = load_words(language)
    extra = {"author": content.parties.assessor, "running": content.title, "found": words.say("front.found")}
    data = sheet_data(compose(content, words, parts), extra, printable)
    style = _template_text("report.css")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    text: str = _template().render(doc=data, style=_safe(style), style_hash=f"sha256-{digest}")
    if path is not None:
        write_whole(Path(path), text.encode("utf-8"))
    return text


def _template_text(name: str) -> str:
    return (resources.files("roomfield.report") / "templates" / name).read_text(encoding="utf-8")


def _safe(style: str) -> Any:
    from markupsafe import Markup

    return Markup(style)


@lru_cache(maxsize=1)
def _template() -> Any:
    from jinja2 import Environment, StrictUndefined

    room = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return room.from_string(_template_text("report.html"))
