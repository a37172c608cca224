"""The answer to the client's question as values: every place with its one level, and the sentences that begin."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from roomfield.quantities.level import HALF_WIDTH
from roomfield.report.compose.answer import figures_of, lead, sorted_places
from roomfield.report.document import ReportContent
from roomfield.show.place_cells import PlaceCells, place_cells
from roomfield.show.words import Words, load_words
from roomfield.survey import Survey
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.model.joint_model import can_be_modelled, posterior_of
from roomfield.workbench.publish.files import report_content
from roomfield.workbench.publish.whole_report import with_model


@lru_cache(maxsize=16)
def answer(survey: Survey, visit_id: str, *, modelled: bool = False) -> ReportContent:
    """What a visit says about its places.

    Parameters
    ----------
    survey : Survey
        The survey that is open.
    visit_id : str
        The visit; empty for the first one.
    modelled : bool
        True to add who makes how much of each level, which takes the model of the dwelling.

    Raises
    ------
    TooEarlyError
        If there is no reading yet.
    """
    if not modelled:
        return report_content(assess(survey, visit_id or None))
    content = answer(survey, visit_id)
    if can_be_modelled(survey, visit_id or None):
        content = with_model(content, posterior_of(survey, visit_id or None), survey)
    return content


def answer_sentences(content: ReportContent, language: str) -> tuple[str, ...]:
    """The sentences that begin: the places asked about, the aim, the law, and who makes it if the model was asked.

    Parameters
    ----------
    content : ReportContent
        From `answer`.
    language : str
        ``en`` or ``de``.
    """
    words: Words = load_words(language)
    return lead(content, words)


def answer_figures(content: ReportContent, language: str) -> str:
    """What the figures on the plan are; empty if none stands there.

    Parameters
    ----------
    content : ReportContent
        From `answer`.
    language : str
        ``en`` or ``de``.
    """
    words = load_words(language)
    told = figures_of(content, words)
    return f"{told} {words.say('plan_figures.interval', coverage=content.rules.coverage)}" if told else ""


def answer_cells(content: ReportContent, language: str) -> tuple[PlaceCells, ...]:
    """Every place in short texts, the places asked about first, then those where people sleep.

    Parameters
    ----------
    content : ReportContent
        From `answer`, or `roomfield.workbench.publish.files.report_content`.
    language : str
        ``en`` or ``de``.
    """
    words = load_words(language)
    return tuple(place_cells(shown, words) for shown in sorted_places(content))


@dataclass(frozen=True)
class TouchMap:
    """Levels between the places of one storey, to be asked for by touch.

    Parameters
    ----------
    x_m, y_m : tuple of float
        Grid coordinates, rising [m].
    level_w_m2 : tuple of rows
        Low end, median and high end of the level [W/m²] for each x, one row per y; None outside the dwelling.
    """

    storey_id: str
    x_m: tuple[float, ...]
    y_m: tuple[float, ...]
    level_w_m2: tuple[tuple[tuple[float, float, float] | None, ...], ...]


def touch_maps(survey: Survey, content: ReportContent) -> tuple[TouchMap, ...]:
    """Levels between the places, storey by storey; empty if the model was not asked.

    Parameters
    ----------
    survey : Survey
        The survey that is open.
    content : ReportContent
        From `answer` with the model.
    """
    storeys = survey.dwelling.storeys
    drawn = [one.id for one in storeys if len(one.outline) >= 3 or len(storeys) == 1]
    if len(drawn) != len(content.maps):
        return ()
    return tuple(
        TouchMap(
            storey_id,
            grid.x_m,
            grid.y_m,
            tuple(
                tuple(_ends(level, std) for level, std in zip(levels, stds, strict=True))
                for levels, stds in zip(grid.level_db, grid.std_db, strict=True)
            ),
        )
        for storey_id, grid in zip(drawn, content.maps, strict=True)
        if grid.std_db
    )


def _ends(level_db: float, std_db: float) -> tuple[float, float, float] | None:
    """Ends and middle [W/m²] of a level [dB re 1 µW/m²]; None where there is none."""
    if not math.isfinite(level_db):
        return None
    low, middle, high = (1e-6 * 10.0 ** ((level_db + step * HALF_WIDTH * std_db) / 10.0) for step in (-1.0, 0.0, 1.0))
    return low, middle, high
