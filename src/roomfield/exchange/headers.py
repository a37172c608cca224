"""What a header says: which column it is, and in which unit its numbers are."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from roomfield.errors import UnknownNameError
from roomfield.quantities.convert import canonical_unit
from roomfield.survey.reading_columns import FIELD_SHEET, ReadingColumn

_WORDS: dict[ReadingColumn, str] = {
    ReadingColumn.PLACE: "place|location|spot|measuring point|measurement point|point|messpunkt|messort|"
    "ort|platz|lieu|emplacement|luogo|punto|lugar|plaats",
    ReadingColumn.ROOM: "room|raum|zimmer|pièce|chambre|stanza|habitación|kamer",
    ReadingColumn.USE: "use|used as|used for|use of place|nutzung|verwendung",
    ReadingColumn.STATE: "radio state|state|status|switch state|funkzustand|zustand|schaltzustand|etat|stato|estado",
    ReadingColumn.METER: "meter|instrument|device|messgerät|gerät|appareil|strumento|medidor|meter id",
    ReadingColumn.PEAK: "peak|peak value|pk|spitze|spitzenwert|crête|valeur de crête|picco|pico|piek",
    ReadingColumn.HIGHEST_HELD: "highest held|held maximum|held|max hold|maxhold|hold|max|maximum|"
    "maximalwert|höchstwert|gehaltener höchstwert|höchstwert gehalten|haltewert|spitzenwert gehalten|maximo|massimo",
    ReadingColumn.AVERAGE: "average|avg|mean|time average|rms|mittelwert|mittel|durchschnitt|moyenne|media|gemiddelde",
    ReadingColumn.KIND: "kind|type|quantity|mode|detector|art|messart|größe|genre|tipo|soort",
    ReadingColumn.VALUE: "value|reading|level|power density|field strength|density|s|e|wert|messwert|"
    "ablesung|pegel|leistungsflussdichte|feldstärke|valeur|valore|valor|waarde",
    ReadingColumn.UNIT: "unit|units|einheit|unité|unità|unidad|eenheid",
    ReadingColumn.FLAG: "flag|flags|merker|kennung|marke|censoring|censored|drapeau",
    ReadingColumn.ORIENTATION: "orientation|axis|ausrichtung|achse|axe|asse|eje",
    ReadingColumn.SCAN: "scan|scan type|abtastung",
    ReadingColumn.REPLICATE: "replicate|repeat|repetition|run|scan no|wiederholung|durchgang",
    ReadingColumn.SECONDS: "seconds|s held|held s|watched s|watched|duration|hold time|sekunden|haltezeit|dauer",
    ReadingColumn.HEIGHT: "height above floor|height above the floor|höhe über boden|höhe über fußboden|messhöhe",
    ReadingColumn.DISTANCE: "distance from body|distance from the body|body distance|körperabstand|abstand vom körper",
    ReadingColumn.ACCESSORY: "accessory|in front|attenuator|zubehör|vorsatz|dämpfungsglied",
    ReadingColumn.DATE: "date|day|datum|tag|jour|data|fecha",
    ReadingColumn.TIME: "time|clock|uhrzeit|zeit|heure|ora|hora",
    ReadingColumn.MOMENT: "date time|datetime|timestamp|taken at|moment|zeitpunkt|datum zeit|datum uhrzeit|horodatage",
    ReadingColumn.X: "x|x m|east|ost",
    ReadingColumn.Y: "y|y m|north|nord",
    ReadingColumn.Z: "z|z m|height|höhe",
    ReadingColumn.NOTE: "note|notes|remark|remarks|comment|comments|bemerkung|bemerkungen|notiz|anmerkung"
    "|remarque|nota",
}
VALUE_COLUMNS = frozenset({ReadingColumn.PEAK, ReadingColumn.HIGHEST_HELD, ReadingColumn.AVERAGE, ReadingColumn.VALUE})
_BRACKETED = re.compile(r"^(?P<name>.*?)[\[(](?P<unit>[^\])]*)[\])]\s*$")


@dataclass(frozen=True)
class HeaderMeaning:
    """What a header was taken to mean.

    Parameters
    ----------
    unit : str
        As ``roomfield.quantities.convert`` spells it; empty if none was found.
    unknown_unit : str
        A unit that stands there but is not known.
    because : str
        From what, in words.
    """

    column: ReadingColumn
    unit: str = ""
    unknown_unit: str = ""
    because: str = ""


def meaning_of(header: str) -> HeaderMeaning:
    """What a header most likely means; ``Column.UNUSED`` if nothing was recognised."""
    name, unit, unknown = _split_unit(header)
    column = _KNOWN.get(_plain(name), ReadingColumn.UNUSED)
    if column is ReadingColumn.UNUSED and unit:
        column = ReadingColumn.VALUE if not _plain(name) else _longest_word(name)
    if column is ReadingColumn.UNUSED:
        return HeaderMeaning(column, unit, unknown, "the header is not known")
    if column not in VALUE_COLUMNS:
        return HeaderMeaning(column, because=f"header {header.strip()!r}")
    said = f", unit {unit}" if unit else ""
    return HeaderMeaning(column, unit, unknown, f"header {header.strip()!r}{said}")


def _longest_word(name: str) -> ReadingColumn:
    """The value column named by a word of a longer header that carries a unit, such as ``bedroom peak``."""
    words = set(_plain(name).split())
    named = {column for word, column in _KNOWN.items() if word in words and column in VALUE_COLUMNS}
    kinds = named - {ReadingColumn.VALUE}
    if len(kinds) == 1:
        return kinds.pop()
    return ReadingColumn.VALUE if named == {ReadingColumn.VALUE} else ReadingColumn.UNUSED


def _split_unit(header: str) -> tuple[str, str, str]:
    bracketed = _BRACKETED.match(header)
    if bracketed:
        name, text = bracketed["name"], bracketed["unit"]
        unit = unit_or_nothing(text)
        return name, unit, "" if unit else text.strip()
    if unit := unit_or_nothing(header):
        return "", unit, ""
    for cut in re.finditer(r"[\s_,:]+", header):
        if unit := unit_or_nothing(header[cut.end() :]):
            name = re.sub(r"\b(in|en)\s*$", "", header[: cut.start()], flags=re.IGNORECASE)
            return name, unit, ""
    return header, "", ""


def unit_or_nothing(text: str) -> str:
    """A unit in our spelling, also from column names such as ``uw_m2``; empty if it is none."""
    plain = unicodedata.normalize("NFKC", text.strip().replace("²", "2")).replace("\u03bc", "u").replace("µ", "u")
    for spelling in (plain, re.sub(r"(?i)^(d?b?[munw]*[wvm])[_ ](per[_ ])?(c?m)", r"\1/\3", plain)):
        try:
            return canonical_unit(spelling)
        except UnknownNameError:
            continue
    return ""


def _plain(name: str) -> str:
    letters = unicodedata.normalize("NFC", name).casefold()
    return " ".join(re.sub(r"[^\w]|_", " ", letters).split())


def _known_headers() -> dict[str, ReadingColumn]:
    known = {_plain(word): column for column, words in _WORDS.items() for word in words.split("|")}
    for sheet_column in FIELD_SHEET:
        for _, header in sheet_column.headers:
            known[_plain(_split_unit(header)[0])] = sheet_column.column
    return known


_KNOWN = _known_headers()
