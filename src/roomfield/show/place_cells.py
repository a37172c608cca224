"""One place in short texts, for a table's row: the same at every door."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.quantities.censoring import Censoring
from roomfield.show.findings import PlaceLevel, Verdict
from roomfield.show.shown_place import ShownPlace
from roomfield.show.words import Words
from roomfield.show.words.sentences import category_text, level_median, level_range, verdict_short


@dataclass(frozen=True)
class LevelCell:
    """A level: kind, number, and interval (empty for a bound), in µW/m² without the unit."""

    kind: str
    number: str
    interval: str

    @property
    def whole(self) -> str:
        """Number with its interval in brackets."""
        return f"{self.number} ({self.interval})" if self.interval else self.number


@dataclass(frozen=True)
class PlaceCells:
    """What a row says of a place.

    Parameters
    ----------
    level, average : LevelCell or None
        The level that answers, and the average; None if nothing was read.
    aim, category, law : str
        How the level stands against the aim, its category, and how the average stands against the limit.
    largest, share : str
        Who makes most of it, and how much; empty if the model was not asked.
    """

    place: str
    room: str
    level: LevelCell | None
    aim: str
    category: str
    average: LevelCell | None
    law: str
    largest: str
    share: str


def place_cells(shown: ShownPlace, words: Words) -> PlaceCells:
    """One place in words.

    Parameters
    ----------
    shown : ShownPlace
        The one answer about a place.
    words : Words
        Language.
    """
    part = shown.largest
    share = ""
    if part is not None and part.share is not None:
        low, high = part.share_low or 0.0, part.share_high or 1.0
        share = words.say("front.part_of_level", share=part.share, low=low, high=high)
    return PlaceCells(
        shown.place.name,
        shown.place.room,
        level_cell(shown.level, words),
        _against_aim(shown.aim, words),
        category_text(shown.aim, words),
        level_cell(shown.average, words),
        verdict_short(shown.law, words),
        part.source if part is not None else "",
        share,
    )


def level_cell(item: PlaceLevel | None, words: Words) -> LevelCell | None:
    """A level in words; None for none."""
    if item is None:
        return None
    interval = level_range(item.level, words) if item.level.censoring is Censoring.NONE else ""
    return LevelCell(words.say(f"kind.{item.kind.value}"), level_median(item.level, words), interval)


def _against_aim(verdict: Verdict | None, words: Words) -> str:
    return words.say("aim.not_for_this_place") if verdict is None else verdict_short(verdict, words)
