"""Columns of a table over frequency: a receiver's trace, levels by band, or factors of an antenna or cable."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from roomfield.table_files.column_mapping import ColumnMapping, ColumnScheme
from roomfield.table_files.headings import plain_heading
from roomfield.table_files.kind_words import KIND_WORDS

FREQUENCY_UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}
"""Units of frequency and how many hertz each is."""
INPUT_UNITS = ("dBm", "dBuV")
"""Units of what a receiver shows at its input; a field follows with the factors of antenna and cable."""
FACTOR_UNITS = ("dB/m", "dBi", "dB")


class SpectrumColumn(StrEnum):
    """What a column of a table of levels over frequency holds."""

    FREQUENCY = "frequency"
    LOW = "low"
    HIGH = "high"
    BAND = "band"
    PLACE = "place"
    STATE = "radio_state"
    KIND = "kind"
    PEAK = "peak"
    HIGHEST_HELD = "highest_held"
    AVERAGE = "average"
    VALUE = "value"
    UNIT = "unit"
    FACTOR = "factor"
    LOSS = "loss"
    STD = "std"
    NOTE = "note"
    UNUSED = "unused"


_WORDS = {
    SpectrumColumn.FREQUENCY: "frequency|f|freq|centre frequency|center frequency|frequenz|mittenfrequenz|fréquence",
    SpectrumColumn.LOW: "low|from|start|lower|lower edge|f low|f min|von|untere frequenz|de|début|frequency from",
    SpectrumColumn.HIGH: "high|to|stop|upper|upper edge|f high|f max|bis|obere frequenz|à|fin|frequency to",
    SpectrumColumn.BAND: "band|service|name|channel|dienst|funkdienst|kanal|bande|canal",
    SpectrumColumn.PLACE: "place|location|spot|point|measuring point|ort|messpunkt|messort|platz|lieu|emplacement",
    SpectrumColumn.STATE: "radio state|state|funkzustand|zustand|état radio|état",
    SpectrumColumn.KIND: "kind|type|detector|trace|trace mode|art|detektor|genre",
    SpectrumColumn.VALUE: "value|level|amplitude|field strength|power density|density|power|voltage|e|s|wert|pegel|"
    "feldstärke|leistungsflussdichte|valeur|niveau|champ|intensité de champ",
    SpectrumColumn.UNIT: "unit|units|einheit|unité",
    SpectrumColumn.FACTOR: "factor|antenna factor|af|antenna|gain|antennenfaktor|gewinn|facteur d antenne|facteur",
    SpectrumColumn.LOSS: "loss|cable|cable loss|attenuation|dämpfung|kabel|kabeldämpfung|perte|affaiblissement|câble",
    SpectrumColumn.STD: "std|uncertainty|standard uncertainty|u|unsicherheit|incertitude",
    SpectrumColumn.NOTE: "note|notes|remark|comment|bemerkung|notiz|remarque",
}
LEVELS = frozenset(
    {SpectrumColumn.PEAK, SpectrumColumn.HIGHEST_HELD, SpectrumColumn.AVERAGE, SpectrumColumn.VALUE}
)  # fmt: skip
FREQUENCIES = frozenset({SpectrumColumn.FREQUENCY, SpectrumColumn.LOW, SpectrumColumn.HIGH})
FACTORS = frozenset({SpectrumColumn.FACTOR, SpectrumColumn.LOSS})
_WITH_UNIT = LEVELS | FREQUENCIES | FACTORS | {SpectrumColumn.STD}


def _headings() -> dict[str, StrEnum]:
    known: dict[str, StrEnum] = {
        plain_heading(word): SpectrumColumn(kind) for kind, words in KIND_WORDS.items() for word in words
    }
    return known | {plain_heading(word): column for column, words in _WORDS.items() for word in words.split("|")}


def _unclear_units(mapping: ColumnMapping) -> Iterator[str]:
    for mapped in mapping.columns:
        if mapped.column in FREQUENCIES and mapped.unit not in FREQUENCY_UNITS:
            yield f"column {mapped.header!r} holds frequencies but names no unit: Hz, kHz, MHz or GHz?"
        elif mapped.column is SpectrumColumn.UNUSED and (mapped.unit or mapped.unknown_unit):
            yield f"column {mapped.header!r} has a unit: is it peak, highest held or average, or not to be used?"


def _level_questions(mapping: ColumnMapping) -> Iterator[str]:
    levels = [mapped for mapped in mapping.columns if mapped.column in LEVELS]
    if not levels:
        yield "no column was recognised that holds levels: which is peak, highest held or average, in which unit?"
    for mapped in levels:
        no_level = mapped.unit in FREQUENCY_UNITS or mapped.unit in FACTOR_UNITS
        if no_level or (not mapped.unit and mapping.first(SpectrumColumn.UNIT) is None):
            yield f"column {mapped.header!r} holds values but names no unit: which one is it?"
    yield from _frequency_questions(mapping)
    yield from _unclear_units(mapping)


def _frequency_questions(mapping: ColumnMapping) -> Iterator[str]:
    ends = [mapping.first(end) is not None for end in (SpectrumColumn.LOW, SpectrumColumn.HIGH)]
    if any(ends) and not all(ends):
        yield "only one end of the bands was recognised: which columns hold their lower and upper ends?"
    if not any(ends) and mapping.first(SpectrumColumn.FREQUENCY) is None:
        yield "no column was recognised that holds frequencies: which one is it?"


def _factor_questions(mapping: ColumnMapping) -> Iterator[str]:
    if mapping.first(SpectrumColumn.FREQUENCY) is None:
        yield "no column was recognised that holds frequencies: which one is it?"
    if all(mapping.first(column) is None for column in FACTORS):
        yield "no column was recognised that holds an antenna factor, a gain or a loss: which one is it?"
    for mapped in mapping.columns:
        if mapped.column is SpectrumColumn.FACTOR and mapped.unit not in FACTOR_UNITS[:2]:
            yield f"column {mapped.header!r} names no unit: is it an antenna factor in dB/m or a gain in dBi?"
    yield from _unclear_units(mapping)


def _band_questions(mapping: ColumnMapping) -> Iterator[str]:
    if mapping.first(SpectrumColumn.LOW) is None or mapping.first(SpectrumColumn.HIGH) is None:
        yield "only one end of the bands was recognised: which columns hold their lower and upper ends?"
    yield from _unclear_units(mapping)


SPECTRUM = ColumnScheme(
    meanings=SpectrumColumn,
    words=_headings(),
    values=_WITH_UNIT,
    any_value=SpectrumColumn.VALUE,
    sure_of_headings=LEVELS,
    numbers=_WITH_UNIT,
    dated=frozenset(),
    many=frozenset({SpectrumColumn.NOTE}),
    open_questions=_level_questions,
    more_units=(*FREQUENCY_UNITS, *INPUT_UNITS, *FACTOR_UNITS),
)
"""A trace (frequency and levels), or levels by band (lower and upper end and levels)."""
ANTENNA_OR_CABLE = ColumnScheme(
    meanings=SpectrumColumn,
    words=_headings(),
    values=_WITH_UNIT,
    any_value=SpectrumColumn.FACTOR,
    sure_of_headings=FACTORS,
    numbers=_WITH_UNIT,
    dated=frozenset(),
    many=frozenset({SpectrumColumn.NOTE}),
    open_questions=_factor_questions,
    more_units=(*FREQUENCY_UNITS, *FACTOR_UNITS),
)
"""Factor of an antenna or loss of a cable over frequency, with its standard uncertainty if it is known."""
BANDS = ColumnScheme(
    meanings=SpectrumColumn,
    words=_headings(),
    values=_WITH_UNIT,
    any_value=SpectrumColumn.UNUSED,
    sure_of_headings=frozenset({SpectrumColumn.LOW, SpectrumColumn.HIGH}),
    numbers=_WITH_UNIT,
    dated=frozenset(),
    many=frozenset({SpectrumColumn.NOTE}),
    open_questions=_band_questions,
    more_units=tuple(FREQUENCY_UNITS),
)
"""Bands with their ends, and a name for each."""
