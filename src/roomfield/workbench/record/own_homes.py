"""A user's own templates of homes: plans that were kept to begin other surveys from."""

from __future__ import annotations

import json
import os
import re
import unicodedata
from dataclasses import replace
from pathlib import Path

from roomfield.errors import FormatError, InputError, RoomfieldError
from roomfield.survey import Survey
from roomfield.user_folder import settings_folder
from roomfield.workbench.record.plan_document import PlanSheet, plan_faults, plan_of, read_plan, write_plan
from roomfield.workbench.record.plan_templates import Starter

SCHEMA_NAME = "roomfield-home/1"
PREFIX = "own-"
MOST_HOMES = 50
LONGEST_NAME = 80


def keep_home(survey: Survey, name: str) -> str:
    """Keep the plan of a survey as a template: walls, rooms and places, without transmitters, pictures and readings.

    Returns
    -------
    str
        Key to begin a survey with.

    Raises
    ------
    InputError
        If the name is empty, or nothing is drawn yet, or there are too many.
    """
    words = " ".join(name.split())[:LONGEST_NAME]
    if not words:
        raise InputError("a template needs a name.", where="template", mend="For example: flat in the new estate.")
    if not survey.dwelling.rooms and not survey.dwelling.walls:
        raise InputError("nothing is drawn on this plan yet.", where="template", mend="Draw it first.")
    path = home_folder() / f"{_slug(words)}.json"
    if not path.exists() and len(_files()) >= MOST_HOMES:
        raise InputError(f"there are {MOST_HOMES} templates already.", where="template", mend="Remove one first.")
    sheet = plan_of(survey)
    bare = PlanSheet(replace(sheet.dwelling, plan_images=(), north_deg=None), sheet.places)
    whole = {"schema": SCHEMA_NAME, "name": words, "plan": json.loads(write_plan(bare))}
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    beside = path.with_suffix(".new")
    with os.fdopen(os.open(beside, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600), "w", encoding="utf-8") as file:
        json.dump(whole, file, ensure_ascii=False, indent=1)
    beside.replace(path)
    return PREFIX + path.stem


def forget_home(key: str) -> None:
    """Remove a template; nothing happens if it is gone."""
    if key.startswith(PREFIX):
        (home_folder() / f"{_slug(key.removeprefix(PREFIX))}.json").unlink(missing_ok=True)


def own_homes() -> tuple[Starter, ...]:
    """Templates that can be read, by name; a damaged file is left out here and refused by name when asked for."""
    found = []
    for path in _files():
        try:
            found.append(_read(path))
        except RoomfieldError:
            continue
    return tuple(sorted(found, key=lambda one: one.name.casefold()))


def home_or_none(key: str) -> Starter | None:
    """The template with this key; None if the key is none of ours.

    Raises
    ------
    FormatError
        If its file is damaged.
    """
    path = home_folder() / f"{_slug(key.removeprefix(PREFIX))}.json"
    return _read(path) if key.startswith(PREFIX) and path.exists() else None


def home_folder() -> Path:
    """Folder of the templates; it need not exist."""
    return settings_folder() / "homes"


def _files() -> list[Path]:
    return sorted(home_folder().glob("*.json")) if home_folder().is_dir() else []


def _read(path: Path) -> Starter:
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        if said["schema"] != SCHEMA_NAME:
            raise ValueError(said["schema"])
        name, plan = str(said["name"]), json.dumps(said["plan"])
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise FormatError(
            f"it is no template of a home ({fault}).", where=str(path), mend="Remove this file."
        ) from None
    sheet = read_plan(plan)
    faults = next(plan_faults(sheet), "")
    if faults:
        raise FormatError(f"{faults}.", where=str(path), mend="Remove this file.")
    return Starter(PREFIX + path.stem, name, "A template of your own.", sheet)


def _slug(words: str) -> str:
    plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "home"
