"""Places as every page shows them: the number on the plan with its shade, and the card that says what it means."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from roomfield.report.document import ReportContent
from roomfield.show.findings import Contribution, Level, PlaceLevel
from roomfield.show.page_drawings import LEFT, RIGHT, axis_x, tone_of
from roomfield.show.shown_place import ShownPlace
from roomfield.show.words import Words, load_words
from roomfield.show.words.sentences import category_text, level_median, level_range, place_sentence, verdict_short
from roomfield.survey import Censoring

"""Shades of the one scale; each stands for ten decibels, and for the same level on every storey, visit and page."""


@dataclass(frozen=True)
class BedNumber:
    """What stands at one place of the plan.

    Parameters
    ----------
    words : str
        The number in µW/m², with its bound if the meter showed none.
    tone : int
        Shade of the scale, 1 to 6.
    title : str
        Level, interval and verdict as one sentence, for a hand that touches it.
    cause : str
        Who makes the largest part; empty if the model was not asked.
    """

    words: str
    tone: int
    title: str
    cause: str = ""


@dataclass(frozen=True)
class LevelBar:
    """One level on the card's axis and in its table.

    Parameters
    ----------
    x_low, x_middle, x_high : float
        Places on the drawing [drawing unit].
    """

    kind: str
    level: str
    span: str
    x_low: float
    x_middle: float
    x_high: float


@dataclass(frozen=True)
class PlaceCard:
    """One place: level, what it means, and room for its cause.

    Parameters
    ----------
    sleeping : bool
        True for beds and cots, which come first.
    marks : tuple of (float, str, str)
        Place on the drawing, English word and class of aim and limit.
    levels : tuple of LevelBar
        Every kind in the state that is shown, the one that answers first.
    """

    id: str
    name: str
    sleeping: bool
    tone: int
    kind: str
    level: str
    span: str
    aim: str
    aim_more: str
    law: str
    bar: LevelBar | None
    marks: tuple[tuple[float, str, str], ...]
    levels: tuple[LevelBar, ...]


def bed_numbers(content: ReportContent, language: str) -> dict[str, BedNumber]:
    """Numbers by place.

    Parameters
    ----------
    content : ReportContent
        The answer.
    language : str
        ``en`` or ``de``.
    """
    words = load_words(language)
    return {one.place.id: _number(one, one.level, words) for one in content.shown if one.level is not None}


def place_cards(content: ReportContent, language: str) -> tuple[PlaceCard, ...]:
    """One card for each place that was measured, where people sleep first, then by level.

    Parameters
    ----------
    content : ReportContent
        The answer.
    language : str
        ``en`` or ``de``.
    """
    words = load_words(language)
    known = [(one, one.level) for one in content.shown if one.level is not None]
    known.sort(key=lambda pair: (not pair[0].place.sleeping, -_height(pair[1].level)))
    return tuple(_card(one, level, words) for one, level in known)


def cause_words(part: Contribution | None, words: Words) -> str:
    """Who makes the largest part of a level, with its share; empty if nobody knows."""
    if part is None or part.share is None:
        return ""
    low, high = part.share_low or 0.0, part.share_high or 1.0
    return f"{part.source}, {words.say('front.part_of_level', share=part.share, low=low, high=high)}"


def _number(one: ShownPlace, level: PlaceLevel, words: Words) -> BedNumber:
    return BedNumber(
        level_median(level.level, words),
        tone_of(_height(level.level)),
        place_sentence(one, words),
        cause_words(one.largest, words),
    )


def _card(one: ShownPlace, answering: PlaceLevel, words: Words) -> PlaceCard:
    here = [item for item in one.place.levels if item.state_id == one.frame.state_id]
    bar = _bar(answering, words)
    return PlaceCard(
        one.place.id,
        one.place.name,
        one.place.sleeping,
        tone_of(_height(answering.level)),
        bar.kind,
        bar.level,
        bar.span,
        verdict_short(one.aim, words) if one.aim else "",
        category_text(one.aim, words) if one.aim else "",
        verdict_short(one.law, words),
        bar,
        tuple(_marks(one)),
        tuple(_bar(item, words) for item in sorted(here, key=lambda item: item is not answering)),
    )


def _marks(one: ShownPlace) -> Iterable[tuple[float, str, str]]:
    if one.aim is not None and one.held_against_aim:
        yield axis_x(one.aim.bound_w_m2), "aim", "guide"
    if one.law is not None:
        yield axis_x(one.law.bound_w_m2), "limit", "law"


def _bar(item: PlaceLevel, words: Words) -> LevelBar:
    level = item.level
    exact = level.censoring is Censoring.NONE
    low = LEFT if level.censoring is Censoring.BELOW or level.low_w_m2 <= 0.0 else axis_x(level.low_w_m2)
    high = RIGHT if level.censoring is Censoring.ABOVE else axis_x(level.high_w_m2)
    span = level_range(level, words) if exact else ""
    kind = words.say(f"kind.{item.kind.value}")
    return LevelBar(kind, level_median(level, words), span, low, axis_x(level.median_w_m2), high)


def _height(level: Level) -> float:
    return level.low_w_m2 if level.censoring is Censoring.ABOVE else level.median_w_m2
