"""The document: content as values, figures as SVG, rendering to PDF, HTML and tables."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from roomfield.report.document import ReportContent

if TYPE_CHECKING:
    from roomfield.report.compose.blocks import Part
    from roomfield.report.render.field_sheet import field_sheet
    from roomfield.report.render.html import render_html
    from roomfield.report.render.pdf import render_pdf
    from roomfield.report.render.tables import write_tables
    from roomfield.show.words import LANGUAGES, load_words

__all__ = [
    "LANGUAGES",
    "Part",
    "ReportContent",
    "field_sheet",
    "load_words",
    "render_html",
    "render_pdf",
    "write_tables",
]

_HOMES = {
    "LANGUAGES": "roomfield.show.words",
    "Part": "roomfield.report.compose.blocks",
    "field_sheet": "roomfield.report.render.field_sheet",
    "load_words": "roomfield.show.words",
    "render_html": "roomfield.report.render.html",
    "render_pdf": "roomfield.report.render.pdf",
    "write_tables": "roomfield.report.render.tables",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
