"""Columns of a table of readings: the words of their headings in several languages, and what must be settled."""

from __future__ import annotations

from collections.abc import Iterator

from roomfield.survey.reading_columns import FIELD_SHEET, ReadingColumn
from roomfield.table_files.column_mapping import ColumnMapping, ColumnScheme, MappedColumn
from roomfield.table_files.headings import plain_heading, split_unit
from roomfield.table_files.kind_words import KIND_WORDS

_WORDS: dict[ReadingColumn, str] = {
    ReadingColumn.PLACE: "place|location|spot|measuring point|measurement point|point|messpunkt|messort|"
    "ort|platz|lieu|emplacement|luogo|punto|lugar|plaats",
    ReadingColumn.ROOM: "room|raum|zimmer|pièce|chambre|stanza|habitación|kamer",
    ReadingColumn.USE: "use|used as|used for|use of place|nutzung|verwendung|usage|utilisation",
    ReadingColumn.STATE: "radio state|state|status|switch state|funkzustand|zustand|schaltzustand|etat|état"
    "|état radio|stato|estado",
    ReadingColumn.METER: "meter|instrument|device|messgerät|gerät|appareil|strumento|medidor|meter id",
    ReadingColumn.KIND: "kind|type|quantity|mode|detector|art|messart|größe|genre|tipo|soort",
    ReadingColumn.VALUE: "value|reading|level|power density|field strength|density|s|e|wert|messwert|"
    "ablesung|pegel|leistungsflussdichte|feldstärke|valeur|lecture|niveau|densité de puissance|valore|valor|waarde",
    ReadingColumn.UNIT: "unit|units|einheit|unité|unità|unidad|eenheid",
    ReadingColumn.FLAG: "flag|flags|merker|kennung|marke|censoring|censored|drapeau",
    ReadingColumn.ORIENTATION: "orientation|axis|ausrichtung|achse|axe|asse|eje",
    ReadingColumn.SCAN: "scan|scan type|abtastung|balayage",
    ReadingColumn.REPLICATE: "replicate|repeat|repetition|run|scan no|wiederholung|durchgang|répétition",
    ReadingColumn.SECONDS: "seconds|s held|held s|watched s|watched|duration|hold time|sekunden|haltezeit|dauer"
    "|secondes|durée",
    ReadingColumn.HEIGHT: "height above floor|height above the floor|höhe über boden|höhe über fußboden|messhöhe"
    "|hauteur au dessus du sol",
    ReadingColumn.DISTANCE: "distance from body|distance from the body|body distance|körperabstand|abstand vom körper"
    "|distance au corps",
    ReadingColumn.ACCESSORY: "accessory|in front|attenuator|zubehör|vorsatz|dämpfungsglied|accessoire",
    ReadingColumn.DATE: "date|day|datum|tag|jour|data|fecha",
    ReadingColumn.TIME: "time|clock|uhrzeit|zeit|heure|ora|hora",
    ReadingColumn.MOMENT: "date time|datetime|timestamp|taken at|moment|zeitpunkt|datum zeit|datum uhrzeit|horodatage"
    "|date heure",
    ReadingColumn.X: "x|x m|east|ost|est",
    ReadingColumn.Y: "y|y m|north|nord",
    ReadingColumn.Z: "z|z m|height|höhe|hauteur",
    ReadingColumn.NOTE: "note|notes|remark|remarks|comment|comments|bemerkung|bemerkungen|notiz|anmerkung"
    "|remarque|nota",
}
VALUE_COLUMNS = frozenset({ReadingColumn.PEAK, ReadingColumn.HIGHEST_HELD, ReadingColumn.AVERAGE, ReadingColumn.VALUE})


def _known_headings() -> dict[str, ReadingColumn]:
    known = {plain_heading(word): column for column, words in _WORDS.items() for word in words.split("|")}
    known |= {plain_heading(word): ReadingColumn(kind) for kind, words in KIND_WORDS.items() for word in words}
    for sheet_column in FIELD_SHEET:
        for _, header in sheet_column.headers:
            known[plain_heading(split_unit(header)[0])] = sheet_column.column
    return known


def _questions(mapping: ColumnMapping) -> Iterator[str]:
    values = [mapped for mapped in mapping.columns if mapped.column in VALUE_COLUMNS]
    if not values:
        yield "no column was recognised that holds values: which is peak, highest held or average, in which unit?"
    has_unit_column = mapping.first(ReadingColumn.UNIT) is not None
    for mapped in mapping.columns:
        if mapped.unknown_unit and mapped.column in VALUE_COLUMNS | {ReadingColumn.UNUSED}:
            yield f"column {mapped.header!r} has the unknown unit {mapped.unknown_unit!r}: which one is it?"
        elif mapped.column in VALUE_COLUMNS and not mapped.unit and not has_unit_column:
            yield f"column {mapped.header!r} holds values but names no unit: which one is it?"
        elif mapped.column is ReadingColumn.UNUSED and mapped.unit:
            yield f"column {mapped.header!r} has a unit: is it peak, highest held or average, or not to be used?"
    yield from _questions_about_form(mapping, values)


def _questions_about_form(mapping: ColumnMapping, values: list[MappedColumn]) -> Iterator[str]:
    long_form = any(mapped.column is ReadingColumn.VALUE for mapped in values)
    wide_form = any(mapped.column is not ReadingColumn.VALUE for mapped in values)
    if long_form and wide_form:
        yield "there are columns for peak, highest held or average and one for any value: which are to be used?"
    if long_form and mapping.first(ReadingColumn.KIND) is None:
        yield "no column says whether a value is peak, highest held or average: which is it?"
    if mapping.first(ReadingColumn.PLACE) is None and mapping.first(ReadingColumn.X) is None:
        yield "no column names the place: which one is it?"


READINGS = ColumnScheme(
    meanings=ReadingColumn,
    words=_known_headings(),
    values=frozenset(VALUE_COLUMNS),
    any_value=ReadingColumn.VALUE,
    sure_of_headings=frozenset(VALUE_COLUMNS),
    numbers=frozenset(VALUE_COLUMNS),
    dated=frozenset({ReadingColumn.DATE, ReadingColumn.MOMENT}),
    many=frozenset({ReadingColumn.NOTE}),
    open_questions=_questions,
)
