"""Columns of a table of masts; the same words are read from the properties of points in GeoJSON and GPX."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from roomfield.table_files.column_mapping import ColumnMapping, ColumnScheme
from roomfield.table_files.headings import plain_heading
from roomfield.table_files.spectrum_scheme import FREQUENCY_UNITS

POWER_UNITS = ("W", "mW", "kW", "dBm", "dBW")
HEIGHT_UNITS = ("m",)


class MastColumn(StrEnum):
    """What a column of a table of masts holds."""

    NAME = "name"
    OPERATOR = "operator"
    TECHNOLOGY = "technology"
    LATITUDE = "latitude"
    LONGITUDE = "longitude"
    HEIGHT = "height"
    FREQUENCY = "frequency"
    EIRP = "eirp"
    ERP = "erp"
    UNUSED = "unused"


_WORDS = {
    MastColumn.NAME: "name|title|site|id|standort|bezeichnung|nom",
    MastColumn.OPERATOR: "operator|provider|betreiber|exploitant",
    MastColumn.TECHNOLOGY: "technology|technologie|service",
    MastColumn.LATITUDE: "lat|latitude|breite|y",
    MastColumn.LONGITUDE: "lon|lng|long|longitude|lange|länge|x",
    MastColumn.HEIGHT: "height|antenna height|hohe|höhe|ele|hauteur",
    MastColumn.FREQUENCY: "frequency|frequenz|fréquence|frequence",
    MastColumn.EIRP: "eirp",
    MastColumn.ERP: "erp",
}
UNITS_OF = {
    MastColumn.HEIGHT: HEIGHT_UNITS,
    MastColumn.FREQUENCY: tuple(FREQUENCY_UNITS),
    MastColumn.EIRP: POWER_UNITS,
    MastColumn.ERP: POWER_UNITS,
}
"""Columns that have a unit, and which it may be."""
NUMBERS = frozenset({MastColumn.LATITUDE, MastColumn.LONGITUDE, *UNITS_OF})


def taken_as(column: StrEnum, unit: str) -> MastColumn:
    """What a column is read as: one whose heading is nothing but a unit is a frequency only if the unit is of one."""
    no_frequency = column == MastColumn.FREQUENCY and unit and unit not in FREQUENCY_UNITS
    return MastColumn.UNUSED if no_frequency else MastColumn(column)


def wrong_unit(column: StrEnum, unit: str, unknown: str) -> str:
    """The unit that a heading names and that its column cannot have; empty if all is well."""
    may_be = UNITS_OF.get(taken_as(column, unit), ())
    return (unknown or (unit if unit not in ("", *may_be) else "")) if may_be else ""


def unit_question(header: str, column: StrEnum, wrong: str) -> str:
    """What is asked, or said against a feature, where a heading names a unit that its column cannot have."""
    return f"{header!r} is in {wrong!r}, which is none of {', '.join(UNITS_OF[MastColumn(column)])}"


def _questions(mapping: ColumnMapping) -> Iterator[str]:
    for mapped in mapping.columns:
        if wrong := wrong_unit(mapped.column, mapped.unit, mapped.unknown_unit):
            yield f"{unit_question(mapped.header, mapped.column, wrong)}: which one is it?"


MASTS = ColumnScheme(
    meanings=MastColumn,
    words={plain_heading(word): column for column, words in _WORDS.items() for word in words.split("|")},
    values=frozenset(UNITS_OF),
    any_value=MastColumn.FREQUENCY,
    sure_of_headings=frozenset({MastColumn.LATITUDE, MastColumn.LONGITUDE}),
    numbers=NUMBERS,
    dated=frozenset(),
    many=frozenset(),
    open_questions=_questions,
    more_units=(*FREQUENCY_UNITS, *POWER_UNITS, *HEIGHT_UNITS),
)
"""Masts with latitude and longitude, and whatever else a register says of them."""
