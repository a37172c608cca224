"""Precautionary guidelines: voluntary values, their categories or targets, and their standing.

None is a legal limit. A category holds its lower edge, except where the document itself writes "above";
each row states which (``edge_basis``).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache

from roomfield.errors import InputError, RejectedRows, RowFault, UnknownNameError
from roomfield.quantities.kind import Kind, require_kind
from roomfield.references.own_files import STATED, OwnTable, own_stamp, own_tables, refuse_taken
from roomfield.references.source import Authority, Source
from roomfield.references.table import (
    SOURCE,
    SOURCE_COLUMNS,
    STANDING,
    column,
    data_files,
    data_text,
    load_csv,
    rows_from_mappings,
)

CATEGORIES, TARGETS = "categories", "targets"
_UW = 1e-6
_SAME = 1e-9  # a reading that went through decibels and back still counts as on the edge


@dataclass(frozen=True)
class GuidelineLevel:
    """One category of a scale, or one target value.

    Parameters
    ----------
    set_id : str
        Guideline it belongs to.
    service : str
        Radio service it is for, such as "dect"; "any" for each service on its own.
    name : str
        Name of the category, or what the target is for ("nighttime").
    lower_w_m2, upper_w_m2 : float
        Ends [W/m²]; no upper end for the highest category.
    lower_edge : str
        "inclusive" or "exclusive".
    edge_basis : str
        Why: the document's own text, or a convention where it leaves the edge open.
    """

    set_id: str = column("set")
    source: Source = SOURCE
    service: str = column()
    service_title: str = column()
    name: str = column("category")
    lower_w_m2: float = column("lower_uw_m2", scale=_UW, low=0.0)
    upper_w_m2: float | None = column("upper_uw_m2", scale=_UW, low=0.0, blank=True)
    lower_edge: str = column(choices=("inclusive", "exclusive"))
    edge_basis: str = column()
    note: str = column(blank=True)

    def begins_at_or_below(self, density_w_m2: float) -> bool:
        """True if the category's lower edge lies at or under a power density [W/m²]."""
        if self.lower_edge == "inclusive":
            return density_w_m2 >= self.lower_w_m2 * (1.0 - _SAME)
        return density_w_m2 > self.lower_w_m2 * (1.0 + _SAME)


@dataclass(frozen=True)
class GuidelineSet:
    """One guideline in one edition.

    Parameters
    ----------
    set_id : str
        Stable name, such as "building-biology-2015".
    form : str
        "categories": a scale without gaps; "targets": values to stay at or under.
    statistic : str
        What the document takes: "peak", "peak hold" or "not stated".
    per_service : bool
        True if it judges each radio service on its own, so that a total is only an upper bound for each.
    standing : Standing
        For all of these: no law.
    conditions : tuple of str
        What the document asks of the reading.
    levels : tuple of GuidelineLevel
        Rows of the table.
    """

    set_id: str = column("id")
    title: str = column()
    source: Source = SOURCE
    place: str = column()
    form: str = column(choices=(CATEGORIES, TARGETS))
    statistic: str = column(choices=("peak", "peak hold", "not stated"))
    per_service: bool = column()
    in_force: bool = column()
    standing: Authority = STANDING
    issuer_kind: str = column()
    standing_note: str = column()
    remark: str = column()
    conditions: tuple[str, ...] = column()
    levels: tuple[GuidelineLevel, ...] = field(default=(), metadata={"row": False})

    @property
    def scope(self) -> str:
        """Places that the document is for: ``sleeping``, ``long_stays`` or ``everywhere``."""
        if self.place == "sleeping areas":
            return "sleeping"
        return "long_stays" if "4 hours a day" in self.place or "long stay" in self.place else "everywhere"

    @property
    def services(self) -> tuple[str, ...]:
        """Services with rows of their own; ("any",) if each service is judged on one scale."""
        return tuple(dict.fromkeys(level.service for level in self.levels))

    def require_kind(self, kind: Kind) -> None:
        """Refuse a level of a kind the document does not take.

        Raises
        ------
        KindMismatchError
            If the document takes highest values and the level is an average.
        """
        if self.statistic != "not stated" and not kind.instantaneous:
            require_kind(kind, Kind.HIGHEST_HELD, f"A comparison with {self.title}")

    def levels_for(self, service: str | None = None) -> tuple[GuidelineLevel, ...]:
        """Categories or targets for one service, lowest first.

        Parameters
        ----------
        service : str, optional
            Needed where the document has rows for each service.

        Raises
        ------
        UnknownNameError
            If the document has no row for the service; none is borrowed from another.
        InputError
            If a service is needed and none was named.
        """
        if self.services == ("any",):
            wanted = "any"
        elif service is None:
            raise InputError(
                f"{self.title} has values for each radio service, and no service was named.",
                mend=f"Name one of: {', '.join(self.services)}.",
            )
        else:
            wanted = service
        if wanted not in self.services:
            raise UnknownNameError("radio service", wanted, self.services, where=self.title)
        rows = [level for level in self.levels if level.service == wanted]
        key = (lambda r: r.lower_w_m2) if self.form == CATEGORIES else (lambda r: r.upper_w_m2 or 0.0)
        return tuple(sorted(rows, key=key))

    def index_of(self, density_w_m2: float, service: str | None = None) -> int:
        """Number of the category (0 is the lowest) that a power density [W/m²] falls into.

        Raises
        ------
        InputError
            If the document has targets, not categories.
        """
        if self.form != CATEGORIES:
            raise InputError(f"{self.title} has targets, not categories.", mend="Compare with each target.")
        rows = self.levels_for(service)
        return max([i for i, row in enumerate(rows) if row.begins_at_or_below(density_w_m2)], default=0)


def _all_sets() -> dict[str, GuidelineSet]:
    """Guidelines that come with the program, then the user's own."""
    return {**_known_sets(), **_own_sets(own_stamp())}


@lru_cache(maxsize=1)
def _own_sets(_stamp: object) -> dict[str, GuidelineSet]:
    tables = own_tables("guideline")
    found = [_own_set(table) for table in tables]
    refuse_taken(((item.set_id, table) for item, table in zip(found, tables, strict=True)), _known_sets(), "id")
    return {item.set_id: item for item in found}


def _own_set(table: OwnTable) -> GuidelineSet:
    """One guideline of the user's, with its levels from the lowest to the highest."""
    levels = table.row.get("level", [])
    if not isinstance(levels, list) or not levels or not all(isinstance(level, dict) for level in levels):
        raise _refused(table, "level", "the guideline has no [[guideline.level]]")
    head = {**_OWN_SET, **{key: value for key, value in table.row.items() if key != "level"}}
    (item,) = rows_from_mappings(GuidelineSet, [(table.line, head)], where=table.where)
    inherited = {key: head[key] for key in SOURCE_COLUMNS} | {"set": item.set_id}
    rows = [(table.line, {**_OWN_LEVEL, **inherited, **level}) for level in levels]
    own = rows_from_mappings(GuidelineLevel, rows, where=table.where)
    if item.form == CATEGORIES:
        _refuse_gaps(table, own)
    elif any(level.upper_w_m2 is None for level in own):
        raise _refused(table, "upper_uw_m2", "a target has no upper_uw_m2")
    return replace(item, levels=own)


def _refuse_gaps(table: OwnTable, levels: tuple[GuidelineLevel, ...]) -> None:
    """Each service's categories begin at nothing, follow each other without a gap, and the last has no upper end."""
    for service in dict.fromkeys(level.service for level in levels):
        own = sorted((level for level in levels if level.service == service), key=lambda level: level.lower_w_m2)
        ends = [level.upper_w_m2 for level in own]
        begins: list[float | None] = [level.lower_w_m2 for level in own]
        if begins[0] != 0.0 or ends[-1] is not None or ends[:-1] != begins[1:]:
            reason = "categories must begin at 0 and follow each other without a gap, the last without upper_uw_m2"
            raise _refused(table, "upper_uw_m2", reason)


def _refused(table: OwnTable, what: str, reason: str) -> RejectedRows:
    name = str(table.row.get("id", ""))
    fault = RowFault(table.line, what, name, reason)
    return RejectedRows([fault], where=table.where, mend=f"First: line {table.line}, {reason}; guideline {name!r}.")


_OWN_SET = {
    "place": "everywhere",
    "form": CATEGORIES,
    "statistic": "peak hold",
    "per_service": False,
    "in_force": True,
    "standing": str(Authority.STATED_BY_USER),
    "issuer_kind": STATED,
    "standing_note": "no legal force unless the parties agreed on it",
    "remark": STATED,
    "conditions": [],
    "how": STATED,
}
_OWN_LEVEL: dict[str, object] = {
    "service": "any",
    "service_title": "all that the meter receives",
    "lower_uw_m2": 0.0,
    "lower_edge": "inclusive",
    "edge_basis": STATED,
}


@cache
def _known_sets() -> dict[str, GuidelineSet]:
    found: dict[str, GuidelineSet] = {}
    for folder, name in data_files("guideline-sets.toml"):
        tables = tomllib.loads(data_text(folder, name))["set"]
        levels = load_csv(GuidelineLevel, folder, "guideline-levels.csv")
        for item in rows_from_mappings(GuidelineSet, enumerate(tables, start=1), where=f"{folder}/{name}"):
            own = tuple(level for level in levels if level.set_id == item.set_id)
            found[item.set_id] = replace(item, levels=own)
    return found


def guideline_sets(*, superseded: bool = False) -> tuple[GuidelineSet, ...]:
    """All guidelines; with ``superseded`` also those replaced or of historical interest."""
    return tuple(item for item in _all_sets().values() if superseded or item.in_force)


def guideline_set(set_id: str) -> GuidelineSet:
    """One guideline by its name.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    if set_id not in _all_sets():
        raise UnknownNameError("guideline", set_id, _all_sets())
    return _all_sets()[set_id]


def categories(set_id: str, service: str | None = None) -> tuple[GuidelineLevel, ...]:
    """Categories or targets of a guideline, lowest first; parameters and errors as `GuidelineSet.levels_for`.

    Examples
    --------
    >>> [level.name for level in categories("building-biology-2015")]
    ['no anomaly', 'slight anomaly', 'severe anomaly', 'extreme anomaly']
    """
    return guideline_set(set_id).levels_for(service)
