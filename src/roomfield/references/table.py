"""Load a table whole: every row becomes a typed value, or every fault is reported together."""

from __future__ import annotations

import csv
import dataclasses
import io
import types
import typing
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from importlib import resources
from typing import Any, TypeVar

from roomfield.errors import RejectedRows, RowFault
from roomfield.references.source import Source

Row = TypeVar("Row")
_Plan = tuple[tuple[str, "ColumnRule", Any], ...]
SOURCE_COLUMNS = ("document", "edition", "clause", "how")
_TRUE, _FALSE = ("true", "yes"), ("false", "no")


@dataclass(frozen=True)
class ColumnRule:
    """What a column of a table must hold."""

    name: str = ""
    scale: float = 1.0
    low: float | None = None
    high: float | None = None
    blank: bool = False
    choices: tuple[str, ...] = ()


def column(
    name: str = "",
    *,
    scale: float = 1.0,
    low: float | None = None,
    high: float | None = None,
    blank: bool = False,
    choices: Sequence[str] = (),
) -> Any:
    """Describe the column that fills a field of a row type.

    Parameters
    ----------
    name : str
        Column in the file; the field's own name if empty.
    scale : float
        Factor from the file's unit to SI.
    low, high : float, optional
        Allowed range, both ends included [file unit].
    blank : bool
        True if the column may be left out or empty.
    choices : sequence of str
        The only values allowed.
    """
    return dataclasses.field(metadata={"rule": ColumnRule(name, scale, low, high, blank, tuple(choices))})


SOURCE: Any = column()
"""Default of a field of type `Source`, filled from the four source columns."""
STANDING: Any = column()
"""Default of a field of type `Standing`."""


class _Fault(ValueError):
    """The reason why one cell is refused."""


def _text(value: object, rule: ColumnRule) -> str:
    if not isinstance(value, str):
        raise _Fault("must be text")
    if rule.choices and value not in rule.choices:
        raise _Fault(f"must be one of: {', '.join(rule.choices)}")
    return value.strip()


def _number(value: object, rule: ColumnRule) -> float:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise _Fault("is not a number") from None
    if isinstance(value, bool) or number != number or number in (float("inf"), float("-inf")):
        raise _Fault("is not a finite number")
    if rule.low is not None and number < rule.low:
        raise _Fault(f"must be at least {rule.low:g}")
    if rule.high is not None and number > rule.high:
        raise _Fault(f"must be at most {rule.high:g}")
    # Dividing keeps round decimals round: 10 µW/m² becomes 1e-05, where multiplying gives 9.999...e-06.
    return number * rule.scale if rule.scale >= 1.0 else number / round(1.0 / rule.scale)


def _boolean(value: object, rule: ColumnRule) -> bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.lower() in _TRUE + _FALSE:
        return value.lower() in _TRUE
    raise _Fault("must be true or false")


def _texts(value: object, rule: ColumnRule) -> tuple[str, ...]:
    if not isinstance(value, Sequence) or isinstance(value, str):
        raise _Fault("must be a list of texts")
    return tuple(_text(item, rule) for item in value)


def _member(kind: type[StrEnum]) -> Callable[[object, ColumnRule], StrEnum]:
    def convert(value: object, rule: ColumnRule) -> StrEnum:
        try:
            return kind(str(value))
        except ValueError:
            raise _Fault(f"must be one of: {', '.join(kind)}") from None

    return convert


def _converter(hint: Any) -> tuple[Callable[[object, ColumnRule], object], object]:
    """The function that reads a cell of this type, and the value of a blank one."""
    if isinstance(hint, types.UnionType):
        inner = next(part for part in typing.get_args(hint) if part is not type(None))
        return _converter(inner)[0], None
    if typing.get_origin(hint) is tuple:
        return _texts, ()
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return _member(hint), None
    simple: dict[Any, tuple[Callable[[object, ColumnRule], object], object]] = {
        str: (_text, ""),
        float: (_number, None),
        bool: (_boolean, False),
    }
    return simple[hint]


def _plan(row_type: Any) -> _Plan:
    hints = typing.get_type_hints(row_type)
    plan = []
    for field in dataclasses.fields(row_type):
        if not field.metadata.get("row", True):
            continue
        rule = field.metadata.get("rule", ColumnRule())
        plan.append((field.name, dataclasses.replace(rule, name=rule.name or field.name), hints[field.name]))
    return tuple(plan)


def columns_of(row_type: type) -> tuple[str, ...]:
    """Names of all columns of a row type, in the order of its fields."""
    return _names(_plan(row_type))


def _names(plan: _Plan) -> tuple[str, ...]:
    names: list[str] = []
    for _, rule, hint in plan:
        names.extend(SOURCE_COLUMNS if hint is Source else (rule.name,))
    return tuple(names)


def _cell(mapping: Mapping[str, object], rule: ColumnRule, hint: Any) -> object:
    value = mapping.get(rule.name)
    convert, empty = _converter(hint)
    if value is None or (isinstance(value, str) and not value.strip()):
        if rule.blank:
            return empty
        raise _Fault("is empty")
    return convert(value, rule)


def _source(mapping: Mapping[str, object], line: int, faults: list[RowFault]) -> Source | None:
    parts: dict[str, str] = {}
    for name in SOURCE_COLUMNS:
        try:
            parts[name] = str(_cell(mapping, ColumnRule(name), str))
        except _Fault as fault:
            reason = f"{name} {fault}; every row names its source"
            faults.append(RowFault(line, name, str(mapping.get(name, "")), reason))
    return Source(**parts) if len(parts) == len(SOURCE_COLUMNS) else None


def _values(plan: _Plan, mapping: Mapping[str, object], line: int, faults: list[RowFault]) -> dict[str, object]:
    values: dict[str, object] = {}
    for field_name, rule, hint in plan:
        if hint is Source:
            values[field_name] = _source(mapping, line, faults)
            continue
        try:
            values[field_name] = _cell(mapping, rule, hint)
        except _Fault as fault:
            faults.append(RowFault(line, rule.name, str(mapping.get(rule.name, "")), f"{rule.name} {fault}"))
    for name in sorted(set(mapping) - set(_names(plan))):
        faults.append(RowFault(line, name, str(mapping[name]), f"{name} is not a column of this table"))
    return values


def rows_from_mappings(
    row_type: type[Row], mappings: Iterable[tuple[int, Mapping[str, object]]], *, where: str
) -> tuple[Row, ...]:
    """Turn mappings into rows.

    Parameters
    ----------
    row_type : type
        A dataclass whose fields are described with `column`.
    mappings : iterable of (int, mapping)
        Line number and content of each row.
    where : str
        Name of the file, for the message.

    Returns
    -------
    tuple
        One value of ``row_type`` for each mapping.

    Raises
    ------
    RejectedRows
        If any cell is refused; lists every fault of the whole table.
    """
    faults: list[RowFault] = []
    plan = _plan(row_type)
    rows = [_values(plan, mapping, line, faults) for line, mapping in mappings]
    if faults:
        first = faults[0]
        raise RejectedRows(
            faults, where=where, mend=f"First: line {first.line}, {first.reason}; value {first.value!r}."
        )
    return tuple(row_type(**values) for values in rows)


def rows_from_csv(row_type: type[Row], text: str, *, where: str) -> tuple[Row, ...]:
    """Read a CSV table; parameters and errors as `rows_from_mappings`."""
    reader = csv.DictReader(io.StringIO(text))
    header = list(reader.fieldnames or ())
    optional = {rule.name for _, rule, _ in _plan(row_type) if rule.blank}
    missing = [name for name in columns_of(row_type) if name not in header and name not in optional]
    if missing:
        faults = [RowFault(1, name, "", f"column {name} is missing") for name in missing]
        raise RejectedRows(faults, where=where, mend=f"First: line 1, {faults[0].reason}.")
    return rows_from_mappings(row_type, ((reader.line_num, _named(row)) for row in reader), where=where)


def _named(row: Mapping[str | None, Any]) -> dict[str, object]:
    """A row whose surplus cells (DictReader's None key) carry a name that no table has."""
    return {"(surplus cells)" if key is None else key: "" if v is None else v for key, v in row.items()}


def data_files(suffix: str = "") -> tuple[tuple[str, str], ...]:
    """Folder and name of every file of the reference data, sorted.

    Parameters
    ----------
    suffix : str
        How the name ends, for example "guideline-sets.toml".
    """
    root = resources.files("roomfield.references") / "data"
    found = [
        (folder.name, item.name)
        for folder in root.iterdir()
        if folder.is_dir()
        for item in folder.iterdir()
        if item.is_file() and item.name.endswith(suffix)
    ]
    return tuple(sorted(found))


def data_text(folder: str, name: str) -> str:
    """Text of one file of the reference data."""
    return (resources.files("roomfield.references") / "data" / folder / name).read_text(encoding="utf-8")


def load_csv(row_type: type[Row], folder: str, name: str) -> tuple[Row, ...]:
    """Read one table of the reference data; errors as `rows_from_mappings`."""
    return rows_from_csv(row_type, data_text(folder, name), where=f"{folder}/{name}")
