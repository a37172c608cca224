"""Audit of the reference data: `python -m roomfield.references.check` lists rows without a source.

Exit code 0 if every row of every table names its document, edition, clause and how it is known, every
evidence identifier is in the register, and every typed table loads; 1 otherwise.
"""

from __future__ import annotations

import csv
import io
import sys
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TextIO

from roomfield.errors import RoomfieldError
from roomfield.references import (
    catalogue,
    cautions,
    films,
    guidelines,
    limits,
    materials,
    rules,
    shielding,
    technologies,
)
from roomfield.references.source import Knowledge, Source
from roomfield.references.table import SOURCE_COLUMNS, data_files, data_text

_REGISTER = ("evidence", "evidence.csv")
_TIMING = "technologies"
_KNOWN = {
    "seen": Knowledge.CONFIRMED,
    "code": Knowledge.CONFIRMED,
    "memory": Knowledge.MEMORY,
    "measured": Knowledge.MEASURED,
}
"""The timing tables write ``known`` in one word, and name clause and edition with the document."""


@dataclass(frozen=True)
class SourceFault:
    """One row that does not say where it comes from.

    Parameters
    ----------
    table : str
        Folder and name of the file.
    row : int
        Line of a CSV table, ordinal of a TOML table.
    reason : str
        What is missing.
    """

    table: str
    row: int
    reason: str


@dataclass(frozen=True)
class Audit:
    """Result of the audit.

    Parameters
    ----------
    rows : int
        Rows looked at.
    by_knowledge : mapping of Knowledge to int
        How many rows are known in which way.
    faults : tuple of SourceFault
        Rows without a source.
    """

    rows: int
    by_knowledge: Mapping[Knowledge, int]
    faults: tuple[SourceFault, ...]


def _toml_tables(content: Any, inherited: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Every array-of-tables entry; an entry inherits the source of what encloses it."""
    own = {key: content[key] for key in SOURCE_COLUMNS if key in content}
    known = {**inherited, **own}
    for value in content.values():
        if isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
            for item in value:
                yield {**known, **item}
                yield from _toml_tables(item, known)
        elif isinstance(value, dict):
            yield from _toml_tables(value, known)


def _rows(folder: str, name: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    text = data_text(folder, name)
    if name.endswith(".csv"):
        reader = csv.DictReader(io.StringIO(text))
        yield from ((reader.line_num, row) for row in reader)
    else:
        yield from enumerate(_toml_tables(tomllib.loads(text), {}), start=1)


def _timing_rows(folder: str, name: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    """Every rate and width, with the document of its technology."""
    number = 0
    for technology in tomllib.loads(data_text(folder, name)).get("technology", []):
        for item in (*technology.get("rates", []), *technology.get("widths", [])):
            number += 1
            yield number, {"document": technology.get("document"), **item}


def _timing_faults(table: str, number: int, row: Mapping[str, Any]) -> list[SourceFault]:
    missing = [] if str(row.get("document") or "").strip() else ["document"]
    missing += [] if row.get("known") in _KNOWN else ["known"]
    return [SourceFault(table, number, f"{', '.join(missing)} missing")] if missing else []


def _row_faults(table: str, number: int, row: Mapping[str, Any], known_ids: set[str]) -> list[SourceFault]:
    blank = [name for name in SOURCE_COLUMNS if not str(row.get(name) or "").strip()]
    if blank:
        return [SourceFault(table, number, f"{', '.join(blank)} missing")]
    source = Source(*(str(row[name]) for name in SOURCE_COLUMNS))
    faults = []
    if source.knowledge is Knowledge.UNCLEAR:
        faults.append(SourceFault(table, number, f"how {source.how!r} says neither confirmed, memory nor computed"))
    unknown = [item for item in source.evidence_ids if item not in known_ids]
    if unknown:
        faults.append(SourceFault(table, number, f"evidence {', '.join(unknown)} is not in the register"))
    return faults


_LOADERS: tuple[Callable[[], object], ...] = (
    limits.jurisdictions,
    lambda: limits.limit_sets(superseded=True),
    lambda: guidelines.guideline_sets(superseded=True),
    lambda: [materials.materials(edition) for edition in materials.editions()],
    catalogue.emitters,
    catalogue.service_bands,
    catalogue.published_levels,
    catalogue.mainstream_positions,
    catalogue.practice_rules,
    catalogue.extrapolations,
    cautions.cautions,
    shielding.shielding_parts,
    films.loss_films,
    shielding.shielding_standards,
    rules.decision_rules,
    technologies.technologies,
    lambda: [catalogue.scheme_points(name) for name in ("single", "three", "six", "twenty")],
    lambda: catalogue.time_variability("dect"),
)


def _load_faults() -> list[SourceFault]:
    faults = []
    for load in _LOADERS:
        try:
            load()
        except RoomfieldError as error:
            faults.append(SourceFault("typed table", 0, error.sentence()))
    return faults


def _knowledge(row: Mapping[str, Any], timing: bool) -> Knowledge:
    if timing:
        return _KNOWN.get(str(row.get("known")), Knowledge.UNCLEAR)
    return Source("", "", "", str(row.get("how") or "")).knowledge


def audit() -> Audit:
    """Look at every row of the reference data."""
    known_ids = set(catalogue.evidence())
    faults: list[SourceFault] = []
    counts: Counter[Knowledge] = Counter()
    total = 0
    for folder, name in data_files():
        if (folder, name) == _REGISTER or not name.endswith((".csv", ".toml")):
            continue
        timing = folder == _TIMING
        for number, row in _timing_rows(folder, name) if timing else _rows(folder, name):
            total += 1
            counts[_knowledge(row, timing)] += 1
            table = f"{folder}/{name}"
            faults += _timing_faults(table, number, row) if timing else _row_faults(table, number, row, known_ids)
    return Audit(total, dict(counts), tuple(faults + _load_faults()))


def main(out: TextIO = sys.stdout) -> int:
    """Print the audit; return the exit code."""
    result = audit()
    out.write(f"{result.rows} rows of reference data.\n")
    for kind in Knowledge:
        if result.by_knowledge.get(kind):
            out.write(f"  {result.by_knowledge[kind]:4d} {kind}\n")
    for fault in result.faults:
        out.write(f"{fault.table}, row {fault.row}: {fault.reason}\n")
    out.write(f"{len(result.faults)} rows without a source.\n")
    return 1 if result.faults else 0


if __name__ == "__main__":
    sys.exit(main())
