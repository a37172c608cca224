"""A user's own limits, read from a TOML file of a published form (`docs/references.md`)."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError, RejectedRows, RowFault
from roomfield.references.limit_sets import LimitLaw, LimitSet
from roomfield.references.limits import limit_sets
from roomfield.references.own_files import STATED, toml_document, toml_text
from roomfield.references.source import Authority
from roomfield.references.table import SOURCE_COLUMNS, data_text, rows_from_mappings

SCHEMA_NAME = "roomfield-limits/1"
_SET_DEFAULTS: dict[str, object] = {
    "jurisdiction": "user",
    "tier": "general_public",
    "scope": "whole_body",
    "kind": "limit",
    "standing": str(Authority.STATED_BY_USER),
    "how": STATED,
    "in_force": True,
    "default": True,
    "spot_testable": True,
}
_LEVEL_DEFAULTS: dict[str, object] = {"exponent": 0.0, "frequency_unit": "MHz", "averaging_exponent": 0.0}
_HEADER = re.compile(r"^\s*\[\[\s*(set(?:\.level)?)\s*\]\]")


def schema_text() -> str:
    """The published JSON Schema of the file."""
    return data_text("schema", "user-limits.schema.json")


def load_user_limits(path: str | Path) -> tuple[LimitSet, ...]:
    """Read a user's own limits.

    Parameters
    ----------
    path : str or Path
        TOML file.

    Returns
    -------
    tuple of LimitSet
        Sets that `limits.select` and the comparisons take like those of the reference data.

    Raises
    ------
    InputError
        If the file cannot be opened.
    FormatError
        If it is not TOML, or not of this form.
    RejectedRows
        If any value is refused; lists every fault of the file.
    """
    name = str(path)
    text = toml_text(path)
    document = toml_document(text, SCHEMA_NAME, name)
    tables = _tables(document, name)
    set_lines, level_lines = _header_lines(text)
    return _sets(tables, set_lines, level_lines, name)


def _tables(document: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    tables = document.get("set")
    if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
        raise FormatError("the file has no [[set]].", where=name, mend="Add at least one [[set]] with levels.")
    return tables


def _header_lines(text: str) -> tuple[list[int], list[list[int]]]:
    """Line of each [[set]], and of each [[set.level]] under it."""
    set_lines: list[int] = []
    level_lines: list[list[int]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        found = _HEADER.match(line)
        if found and found[1] == "set":
            set_lines.append(number)
            level_lines.append([])
        elif found and level_lines:
            level_lines[-1].append(number)
    return set_lines, level_lines


def _line(lines: Sequence[int], index: int) -> int:
    return lines[index] if index < len(lines) else 1


def _sets(
    tables: list[dict[str, Any]], set_lines: list[int], level_lines: list[list[int]], name: str
) -> tuple[LimitSet, ...]:
    faults: list[RowFault] = []
    sets: list[LimitSet] = []
    for index, table in enumerate(tables):
        line = _line(set_lines, index)
        lines = level_lines[index] if index < len(level_lines) else []
        levels = _level_tables(table, line, faults)
        head = {"edition_key": table.get("edition"), **_SET_DEFAULTS, **table}
        head.pop("level", None)
        laws = _collect(LimitLaw, _levels(levels, head, lines), name, faults)
        faults.extend(_range_faults(laws, lines))
        sets += [replace(item, laws=laws) for item in _collect(LimitSet, [(line, head)], name, faults)]
    faults.extend(_name_faults(sets, set_lines))
    if faults:
        first = faults[0]
        raise RejectedRows(faults, where=name, mend=f"First: line {first.line}, {first.reason}.")
    return tuple(sets)


def _level_tables(table: Mapping[str, Any], line: int, faults: list[RowFault]) -> list[dict[str, Any]]:
    levels = table.get("level", [])
    if not isinstance(levels, list) or not all(isinstance(level, dict) for level in levels):
        faults.append(RowFault(line, "level", "", "level is not a list of tables; write [[set.level]]"))
        return []
    if not levels:
        faults.append(RowFault(line, "level", "", "the set has no [[set.level]]"))
    return levels


def _levels(
    levels: list[dict[str, Any]], head: Mapping[str, Any], lines: list[int]
) -> list[tuple[int, Mapping[str, object]]]:
    inherited = {key: head.get(key) for key in SOURCE_COLUMNS} | {"set": head.get("id")}
    return [(_line(lines, i), {**_LEVEL_DEFAULTS, **inherited, **level}) for i, level in enumerate(levels)]


def _collect(row_type: Any, rows: Any, name: str, faults: list[RowFault]) -> tuple[Any, ...]:
    try:
        return rows_from_mappings(row_type, rows, where=name)
    except RejectedRows as refused:
        faults.extend(refused.faults)
        return ()


def _range_faults(laws: Sequence[LimitLaw], lines: list[int]) -> list[RowFault]:
    faults = []
    for i, law in enumerate(laws):
        if law.f_low_hz > law.f_high_hz:
            faults.append(
                RowFault(_line(lines, i), "f_low_mhz", f"{law.f_low_hz / 1e6:g}", "f_low_mhz is above f_high_mhz")
            )
    for quantity in {law.quantity for law in laws}:
        ordered = sorted((law for law in laws if law.quantity == quantity), key=lambda law: law.f_low_hz)
        for lower, upper in pairwise(ordered):
            if upper.f_low_hz < lower.f_high_hz:
                line = _line(lines, laws.index(upper))
                reason = "f_low_mhz lies inside the range of another level of the same quantity"
                faults.append(RowFault(line, "f_low_mhz", f"{upper.f_low_hz / 1e6:g}", reason))
    return faults


def _name_faults(sets: Sequence[LimitSet], lines: list[int]) -> list[RowFault]:
    taken = {item.set_id for item in limit_sets(superseded=True)}
    faults = []
    for i, item in enumerate(sets):
        if item.set_id in taken:
            faults.append(RowFault(_line(lines, i), "id", item.set_id, "id is already the name of another set"))
        taken.add(item.set_id)
    return faults
