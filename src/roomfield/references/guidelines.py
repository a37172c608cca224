"""Precautionary guidelines: voluntary values, their categories or targets, and their standing.

None is a legal limit. A category holds its lower edge, except where the document itself writes "above";
each row states which (``edge_basis``).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from functools import cache

from roomfield.errors import InputError, UnknownNameError
from roomfield.quantities.kind import Kind, require_kind
from roomfield.references.source import Authority, Source
from roomfield.references.table import (
    SOURCE,
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


@cache
def _all_sets() -> dict[str, GuidelineSet]:
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
