"""Columns of a table of readings: what they mean, and how the printed field sheet heads them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ReadingColumn(StrEnum):
    """What a column of a table of readings holds."""

    PLACE = "place"
    ROOM = "room"
    USE = "use"
    STATE = "radio_state"
    METER = "meter"
    PEAK = "peak"
    HIGHEST_HELD = "highest_held"
    AVERAGE = "average"
    KIND = "kind"
    VALUE = "value"
    UNIT = "unit"
    FLAG = "flag"
    ORIENTATION = "orientation"
    SCAN = "scan"
    REPLICATE = "replicate"
    SECONDS = "watched_s"
    HEIGHT = "height_m"
    DISTANCE = "body_distance_m"
    ACCESSORY = "accessory"
    DATE = "date"
    TIME = "time"
    MOMENT = "moment"
    X = "x"
    Y = "y"
    Z = "z"
    NOTE = "note"
    UNUSED = "unused"


@dataclass(frozen=True)
class SheetColumn:
    """One column of the field sheet.

    Parameters
    ----------
    headers : tuple of (str, str)
        Language and printed header; the import recognises each of them.
    unit : str
        Unit in plain letters as ``roomfield.quantities.convert`` spells it; empty if it has none.
    share : float
        Share of the sheet's width.
    """

    column: ReadingColumn
    headers: tuple[tuple[str, str], ...]
    unit: str = ""
    share: float = 0.1

    def header(self, language: str) -> str:
        """The printed header in a language, with its unit; in English if the language is not there."""
        words = dict(self.headers)
        return words.get(language, words["en"])


FIELD_SHEET: tuple[SheetColumn, ...] = (
    SheetColumn(ReadingColumn.PLACE, (("en", "Place"), ("de", "Ort"), ("fr", "Lieu")), share=0.17),
    SheetColumn(ReadingColumn.STATE, (("en", "Radio state"), ("de", "Funkzustand"), ("fr", "État radio")), share=0.13),
    SheetColumn(
        ReadingColumn.ORIENTATION, (("en", "Orientation"), ("de", "Ausrichtung"), ("fr", "Orientation")), share=0.09
    ),
    SheetColumn(
        ReadingColumn.PEAK,
        (("en", "Peak [µW/m²]"), ("de", "Spitzenwert [µW/m²]"), ("fr", "Crête [µW/m²]")),
        "uW/m2",
        0.11,
    ),
    SheetColumn(
        ReadingColumn.HIGHEST_HELD,
        (("en", "Highest held [µW/m²]"), ("de", "Höchstwert, gehalten [µW/m²]"), ("fr", "Maximum tenu [µW/m²]")),
        "uW/m2",
        0.11,
    ),
    SheetColumn(
        ReadingColumn.AVERAGE,
        (("en", "Average [µW/m²]"), ("de", "Mittelwert [µW/m²]"), ("fr", "Moyenne [µW/m²]")),
        "uW/m2",
        0.11,
    ),
    SheetColumn(ReadingColumn.SECONDS, (("en", "Seconds"), ("de", "Sekunden"), ("fr", "Secondes")), share=0.07),
    SheetColumn(ReadingColumn.FLAG, (("en", "Flag"), ("de", "Merker"), ("fr", "Marque")), share=0.06),
    SheetColumn(ReadingColumn.TIME, (("en", "Time"), ("de", "Uhrzeit"), ("fr", "Heure")), share=0.06),
    SheetColumn(ReadingColumn.NOTE, (("en", "Note"), ("de", "Bemerkung"), ("fr", "Remarque")), share=0.09),
)
"""The field sheet, left to right.

Below the floor one writes ``<0.01`` or the flag FLOOR, in overload ``>2500000`` or the flag OL.
"""
