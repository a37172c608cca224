"""What a page is made of, before it is set: headings, paragraphs, lists, tables and figures, all as text."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias


class Part(StrEnum):
    """Parts of the report, in their order; a report may be cut down to some of them. From ``STATES`` on: annexes."""

    FRONT = "front"
    LETTER = "letter"
    VERIFICATION = "verification"
    PLAN = "plan"
    LEVELS = "levels"
    KINDS = "kinds"
    SOURCES = "sources"
    MAP = "map"
    STEPS = "steps"
    REMEDY = "remedy"
    LISTENING = "listening"
    LOGS = "logs"
    UNDETERMINED = "undetermined"
    CAUTIONS = "cautions"
    STATES = "states"
    SWITCHING = "switching"
    SOUND = "sound"
    PHOTOS = "photos"
    METHOD = "method"
    INSTRUMENT = "instrument"
    BUDGET = "budget"
    REFERENCES = "references"
    AMENDMENTS = "amendments"
    ANNEX = "annex"


ANNEXES = frozenset(list(Part)[list(Part).index(Part.STATES) :])
"""Parts with letters instead of numbers: evidence, tables and data behind the chapters."""


class Align(StrEnum):
    """Alignment of a column."""

    START = "start"
    END = "end"


@dataclass(frozen=True)
class Cell:
    """Text of a table cell with an optional second, smaller line.

    Parameters
    ----------
    strong : bool
        True for emphasis.
    """

    text: str
    small: str = ""
    strong: bool = False


@dataclass(frozen=True)
class Column:
    """A table column.

    Parameters
    ----------
    weight : float
        Share of the width; 0 takes what the content needs.
    """

    head: str
    align: Align = Align.START
    weight: float = 1.0


@dataclass(frozen=True)
class Row:
    """A table row; ``group`` is set for a row that heads those that follow."""

    cells: tuple[Cell, ...]
    group: bool = False


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Running text; ``style`` is ``body``, ``small``, ``note`` or ``address``."""

    text: str
    style: str = "body"


@dataclass(frozen=True)
class Item:
    """A list item with a bold start."""

    text: str
    title: str = ""
    extra: str = ""


@dataclass(frozen=True)
class Listing:
    """A list, numbered or not."""

    items: tuple[Item, ...]
    numbered: bool = False
    start: int = 1


@dataclass(frozen=True)
class Table:
    """A table with its caption."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    caption: str = ""
    compact: bool = False


@dataclass(frozen=True)
class Facts:
    """Names and values in two columns."""

    pairs: tuple[tuple[str, str], ...]
    caption: str = ""


@dataclass(frozen=True)
class Figure:
    """A picture with caption and text alternative."""

    svg: str
    alt: str
    caption: str


Block: TypeAlias = Heading | Paragraph | Listing | Table | Facts | Figure


@dataclass(frozen=True)
class Section:
    """A section.

    Parameters
    ----------
    number : str
        Number of a chapter or letter of an annex, given when the document is put together; a letter to the client has
        none.
    """

    part: Part
    title: str
    blocks: tuple[Block, ...]
    new_page: bool = False
    numbered: bool = True
    number: str = ""


@dataclass(frozen=True)
class Front:
    """The first page."""

    facts: tuple[tuple[str, str], ...]
    lead: tuple[str, ...]
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Sheet:
    """A whole document, ready to be set in any form.

    Parameters
    ----------
    kind : str
        Name of the kind of document.
    banner : str
        What stands on every page of demonstration data; empty otherwise.
    """

    language: str
    kind: str
    title: str
    subtitle: str
    survey: str
    issued: str
    issued_at: str
    banner: str
    description: str
    front: Front | None
    sections: tuple[Section, ...]
    labels: tuple[tuple[str, str], ...]
