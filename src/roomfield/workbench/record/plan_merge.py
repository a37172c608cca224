"""A plan changed item by item: two devices that change different items both win, and the same item is asked about."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from typing import Any

from roomfield.errors import ConflictError, InputError
from roomfield.survey import Emitter, FurnitureBox, Place, PlanImage, Room, Slab, Storey, Survey, Wall
from roomfield.survey.json_codec import from_json, to_json
from roomfield.workbench.record.plan_document import LARGEST_SHEET, PlanSheet, plan_of, with_plan
from roomfield.workbench.record.survey_list import MOST_TRIES, Records, opened

IN_DWELLING: dict[str, Any] = {
    "storeys": Storey, "rooms": Room, "walls": Wall, "slabs": Slab, "furniture": FurnitureBox,
}  # fmt: skip
BESIDE: dict[str, Any] = {"places": Place, "emitters": Emitter}
WHOLE: dict[str, Any] = {"plan_images": tuple[PlanImage, ...], "north_deg": float | None}
"""Fields of the dwelling that are changed as one; they have no id."""
Item = Any


@dataclass(frozen=True)
class ItemChange:
    """One item as it was where the change began, and as it shall be.

    Parameters
    ----------
    kind : str
        ``storeys``, ``rooms``, ``walls``, ``slabs``, ``furniture``, ``places``, ``emitters``; or ``plan_images`` and
        ``north_deg``, which are changed as one.
    id : str
        Id of the item; empty for what is changed as one.
    before, after : value of JSON
        None for an item that was not there, or shall not be.
    """

    kind: str
    id: str
    before: Any = None
    after: Any = None


@dataclass(frozen=True)
class ItemConflict:
    """An item that somebody else changed as well; it was left as they made it.

    Parameters
    ----------
    theirs : value of JSON
        The item as it stands; None if it was taken out.
    """

    kind: str
    id: str
    name: str
    theirs: Any


@dataclass(frozen=True)
class Merged:
    """What came of a change.

    Parameters
    ----------
    revision : int
        The survey's revision now.
    plan : PlanSheet or None
        The whole plan if it holds more than the sender knows; None if it is what was sent.
    conflicts : tuple of ItemConflict
        Items that were not taken.
    """

    revision: int
    plan: PlanSheet | None
    conflicts: tuple[ItemConflict, ...]


def change_plan(records: Records, survey_id: str, revision: int, changes: tuple[ItemChange, ...]) -> Merged:
    """Change items of the plan; everything that does not contradict somebody else's change is kept.

    Parameters
    ----------
    revision : int
        Revision that the sender knows the plan of.
    changes : tuple of ItemChange
        At most as many as a plan has items.

    Raises
    ------
    InputError
        If a kind is unknown, or the plan would not be sound.
    FormatError
        If an item is not of its kind's form.
    ConflictError
        If others kept changing the survey meanwhile.
    """
    if len(changes) > LARGEST_SHEET:
        raise InputError(f"{len(changes)} items in one change; at most {LARGEST_SHEET} are taken.", where="plan")
    parsed = tuple(_parsed(change) for change in changes)
    for _ in range(MOST_TRIES - 1):
        try:
            return _changed(records, survey_id, revision, parsed)
        except ConflictError:
            continue  # somebody else wrote in between; the change is made on what stands now
    return _changed(records, survey_id, revision, parsed)


def _changed(records: Records, survey_id: str, revision: int, changes: tuple[ItemChange, ...]) -> Merged:
    stored = opened(records, survey_id)
    sheet, conflicts = merged(plan_of(stored.survey), changes)
    parts = _changed_parts(stored.survey, with_plan(stored.survey, sheet))
    now = records.update(survey_id, stored.revision, **parts)
    if stored.revision == revision and not conflicts:
        return Merged(now, None, ())
    return Merged(now, plan_of(opened(records, survey_id).survey), conflicts)


def merged(sheet: PlanSheet, changes: tuple[ItemChange, ...]) -> tuple[PlanSheet, tuple[ItemConflict, ...]]:
    """A plan with changes made on it, and those that contradict what stands.

    Parameters
    ----------
    sheet : PlanSheet
        As it stands.
    changes : tuple of ItemChange
        With items of the plan in place of values of JSON.
    """
    conflicts = []
    for change in changes:
        standing = _standing(sheet, change)
        if _same(standing, change.after):
            continue
        if not _same(standing, change.before):
            conflicts.append(_conflict(change, standing))
            continue
        sheet = _with_item(sheet, change, standing)
    return sheet, tuple(conflicts)


def _parsed(change: ItemChange) -> ItemChange:
    form = {**IN_DWELLING, **BESIDE, **WHOLE}.get(change.kind)
    if form is None:
        raise InputError(f"{change.kind!r} is no kind of item of a plan.", where="plan")
    before, after = (_read(value, form, change.kind) for value in (change.before, change.after))
    if change.kind not in WHOLE and any(one is not None and one.id != change.id for one in (before, after)):
        raise InputError(f"the item {change.id!r} has another id inside.", where=f"plan {change.kind}")
    return replace(change, before=before, after=after)


def _read(value: Any, form: Any, kind: str) -> Any:
    if value is None:
        return () if kind == "plan_images" else None
    return from_json(json.dumps(value), form, where=f"plan {kind}")


def _standing(sheet: PlanSheet, change: ItemChange) -> Item:
    if change.kind in WHOLE:
        return getattr(sheet.dwelling, change.kind)
    return next((item for item in _items(sheet, change.kind) if item.id == change.id), None)


def _items(sheet: PlanSheet, kind: str) -> tuple[Item, ...]:
    found: tuple[Item, ...] = getattr(sheet.dwelling if kind in IN_DWELLING else sheet, kind)
    return found


def _same(one: Item, other: Item) -> bool:
    """Whether two items are alike; the outline of a storey is drawn by us around its rooms and is nobody's change."""
    if isinstance(one, Storey) and isinstance(other, Storey):
        return replace(one, outline=()) == replace(other, outline=())
    return bool(one == other)


def _with_item(sheet: PlanSheet, change: ItemChange, standing: Item) -> PlanSheet:
    if change.kind in WHOLE:
        return replace(sheet, dwelling=replace(sheet.dwelling, **{change.kind: change.after}))
    after = change.after
    if isinstance(after, Storey) and isinstance(standing, Storey):
        after = replace(after, outline=standing.outline)
    items = _items(sheet, change.kind)
    if standing is None:
        items = (*items, after)
    else:
        items = tuple(after if item.id == change.id else item for item in items if after or item.id != change.id)
    put: dict[str, Any] = {change.kind: items}
    return replace(sheet, **put) if change.kind in BESIDE else replace(sheet, dwelling=replace(sheet.dwelling, **put))


def _conflict(change: ItemChange, standing: Item) -> ItemConflict:
    form = {**IN_DWELLING, **BESIDE, **WHOLE}[change.kind]
    theirs = None if standing is None else json.loads(to_json(standing, form, where="plan"))
    named = next((one for one in (standing, change.after, change.before) if getattr(one, "name", "")), None)
    return ItemConflict(change.kind, change.id, named.name if named is not None else "", theirs)


def _changed_parts(before: Survey, after: Survey) -> dict[str, Any]:
    names = ("dwelling", *(field.name for field in fields(PlanSheet) if field.name != "dwelling"))
    return {name: getattr(after, name) for name in names if getattr(after, name) != getattr(before, name)}
