"""The printed form for the visit; its columns are those that the import of readings recognises."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roomfield.report.render.pdf import as_data, set_page, write_whole
from roomfield.show.words import Words, load_words
from roomfield.survey.reading_columns import FIELD_SHEET, ReadingColumn

_BLANK_ROWS = 14
_TIMES_READ, _SCAN_ROWS = 3, 5
_NIGHT = ("reading", "clock", "counter", "peak", "held", "average")
_NIGHT_LINES = ("night_place", "recorder", "began", "reset", "mark_evening", "mark_morning")
_SCAN = ("place", "state", "seconds", "spots", "turned", "missing", "held", "average")
_FIXED_ISSUE = "2000-01-01T00:00:00+00:00"


@dataclass(frozen=True)
class SheetOrder:
    """What is printed in advance on a field sheet.

    Parameters
    ----------
    rows : tuple of (str, str)
        Place and radio state of each row that is to be read, in order of the walk.
    body_distance_m : float
        Distance at which the meter is held from the body [m].
    blank_rows : int
        Empty rows after them.
    issued_at : str
        ISO 8601; time stamp of the PDF.
    advice : tuple of str
        What is worth measuring next, in this order, each with its reason.
    with_sound : bool
        Whether a last page is for what is done with the meter's sound: a night on the cable and coached scans.
    """

    survey_id: str
    title: str
    rows: tuple[tuple[str, str], ...] = ()
    states: tuple[tuple[str, str], ...] = ()
    assessor: str = ""
    meter: str = ""
    body_distance_m: float = 0.3
    blank_rows: int = _BLANK_ROWS
    issued_at: str = _FIXED_ISSUE
    invented: bool = False
    advice: tuple[str, ...] = ()
    with_sound: bool = True


def field_sheet(order: SheetOrder, path: str | Path | None = None, *, language: str) -> bytes:
    """The field sheet as a printable PDF (A4, landscape).

    Parameters
    ----------
    order : SheetOrder
        What is printed in advance.
    path : str or Path, optional
        Where to write it; nothing is written if left out.
    language : str
        For example ``en`` or ``de``.

    Returns
    -------
    bytes
        The PDF file.

    Raises
    ------
    UnknownNameError
        If there is no such language.
    StoreError
        If the file cannot be written.
    """
    words = load_words(language)
    made = set_page("field_sheet.typ", lambda clean: _data(order, words, clean), issued_at=order.issued_at)
    if path is not None:
        write_whole(Path(path), made)
    return made


def sheet_headers(language: str) -> tuple[str, ...]:
    """Printed headers, left to right."""
    return tuple(column.header(language) for column in FIELD_SHEET)


def _data(order: SheetOrder, words: Words, clean: Callable[[str], str]) -> dict[str, Any]:
    keys = (
        "title",
        "survey",
        "date",
        "assessor",
        "meter",
        "conditions",
        "states",
        "hint",
        "before",
        "before_1",
        "before_3",
        "next",
        "night",
        "night_hint",
        "scan",
        "scan_hint",
    )
    labels = {key: words.say(f"sheet.{key}") for key in keys}
    labels["before_2"] = words.say("sheet.before_2", distance=order.body_distance_m)
    labels["page"] = words.say("sheet.page", page="{page}", pages="{pages}")
    places = [c.column for c in FIELD_SHEET]
    rows = [
        [
            ""
            if c not in (ReadingColumn.PLACE, ReadingColumn.STATE)
            else (place if c is ReadingColumn.PLACE else state)
            for c in places
        ]
        for place, state in (*order.rows, *((("", ""),) * order.blank_rows))
    ]
    evening, morning = words.say("sheet.evening"), words.say("sheet.morning")
    parts = [f"{part} {n}" for part in (evening, morning) for n in range(1, _TIMES_READ + 1)]
    data: dict[str, Any] = as_data(order, clean)
    data |= {
        "language": words.language,
        "banner": words.say("document.invented_banner") if order.invented else "",
        "labels": {key: clean(text) for key, text in labels.items()},
        "headers": [clean(h) for h in sheet_headers(words.language)],
        "shares": [c.share for c in FIELD_SHEET],
        "table": [[clean(t) for t in row] for row in rows],
        "night_headers": [clean(words.say(f"sheet.{key}")) for key in _NIGHT],
        "night_parts": [clean(part) for part in parts],
        "night_lines": [clean(words.say(f"sheet.{key}")) for key in _NIGHT_LINES],
        "scan_headers": [clean(words.say(f"sheet.{key}")) for key in _SCAN],
        "scan_rows": _SCAN_ROWS,
    }
    return data
