"""The answer to the client's question as values: every place with its one level, and the sentences that begin."""

from __future__ import annotations

from functools import lru_cache

from roomfield.report.compose.answer import lead, sorted_places
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
    content = report_content(assess(survey, visit_id or None))
    if modelled and can_be_modelled(survey):
        content = with_model(content, posterior_of(survey, visit_id or survey.visits[0].id), survey)
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
