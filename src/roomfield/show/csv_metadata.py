"""What the columns of a CSV file hold, as CSV on the Web says it: a JSON file beside the table.

W3C Recommendations "Model for Tabular Data and Metadata on the Web" and "Metadata Vocabulary for Tabular Data"
(17 December 2015). The file lies where readers look for it: the name of the table with ``-metadata.json`` behind it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_NAME = re.compile(r"(?!column_)[A-Za-z][A-Za-z0-9_]*")
CONTEXT = "http://www.w3.org/ns/csvw"
ENDING = "-metadata.json"
TEXT, NUMBER, WHOLE, TRUTH, MOMENT = "string", "double", "integer", "boolean", "dateTime"
_BY_UNIT = {
    "_uW_m2": ("µW/m²", "power density"),
    "_db_w_m2": ("dB re 1 W/m²", "level of a power density"),
    "_db": ("dB", "a level or its spread"),
    "_m": ("m", "a length"),
    "_s": ("s", "a duration"),
}
_MEANINGS = {
    "kind": "peak, highest held or average; kinds are never compared with one another",
    "censoring": "none, or below_floor or overload where the value is a bound",
    "shown_censoring": "none, or below_floor or overload where the value is a bound",
    "coverage": "probability that the interval holds the true level",
    "share": "part of the level at the place",
    "outcome": "how the level stands against the reference",
    "sleeping": "true where people sleep",
    "invented": "true for demonstration data",
}
_NUMBERS = frozenset({"coverage", "share", "share_low", "share_high", "probability_below_low", "probability_below_high",
                      "probability_over_bound"})  # fmt: skip
_WHOLES = frozenset({"scans", "order", "replicate"})
_TRUTHS = frozenset({"sleeping", "upper_bound_only", "used", "amended", "withdrawn", "invented"})


@dataclass(frozen=True)
class CsvColumn:
    """One column of a table that goes out.

    Parameters
    ----------
    heading : str
        As it stands in the file.
    datatype : str
        ``string``, ``double``, ``integer``, ``boolean`` or ``dateTime``.
    unit, meaning : str
        Unit of its numbers, and what it holds; empty if there is none.
    """

    heading: str
    datatype: str = TEXT
    unit: str = ""
    meaning: str = ""


def column_of(heading: str) -> CsvColumn:
    """What a heading of our own tables means, by its name and the unit at its end.

    Parameters
    ----------
    heading : str
        Such as ``median_uW_m2``.
    """
    meaning = _MEANINGS.get(heading, "")
    for names, datatype in ((_TRUTHS, TRUTH), (_WHOLES, WHOLE), (_NUMBERS, NUMBER)):
        if heading in names:
            return CsvColumn(heading, datatype, "", meaning)
    for ending, (unit, usual) in _BY_UNIT.items():
        if heading.endswith(ending):
            return CsvColumn(heading, NUMBER, unit, meaning or usual)
    return CsvColumn(heading, TEXT, "", meaning)


def described_csv(file_name: str, title: str, columns: Sequence[CsvColumn]) -> dict[str, Any]:
    """The description of a CSV file.

    Parameters
    ----------
    file_name : str
        Of the table, in the folder of the description.
    title : str
        What the table is.
    columns : sequence of CsvColumn
        In the order of the file.
    """
    return {
        "@context": [CONTEXT, {"@language": "en"}],
        "url": file_name,
        "dc:title": title,
        "dialect": {"header": True, "encoding": "utf-8"},
        "tableSchema": {"columns": [_column(number, one) for number, one in enumerate(columns, start=1)]},
    }


def _column(number: int, one: CsvColumn) -> dict[str, Any]:
    name = one.heading if _NAME.fullmatch(one.heading) else f"column_{number}"
    found: dict[str, Any] = {"name": name, "titles": one.heading, "datatype": one.datatype}
    if one.meaning:
        found["dc:description"] = one.meaning
    if one.unit:
        found["schema:unitText"] = one.unit
    return found


def metadata_path(table: str | Path) -> Path:
    """Where the description of a CSV file lies."""
    path = Path(table)
    return path.with_name(path.name + ENDING)


def metadata_bytes(table: str | Path, title: str, columns: Sequence[CsvColumn]) -> bytes:
    """The description of a CSV file as it is written beside it.

    Parameters
    ----------
    table : str or Path
        The CSV file.
    title : str
        What it is.
    columns : sequence of CsvColumn
        In the order of the file.
    """
    plain = described_csv(Path(table).name, title, columns)
    return (json.dumps(plain, ensure_ascii=False, indent=2) + "\n").encode("utf-8")
