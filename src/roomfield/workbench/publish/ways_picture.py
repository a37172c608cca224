"""What reaches a place, as a picture on its plan, for pages and report alike."""

from __future__ import annotations

from dataclasses import replace

from roomfield.errors import TooEarlyError
from roomfield.report.compose.answer import sorted_places
from roomfield.report.document import ReportContent
from roomfield.show.drawings import PlaceWays
from roomfield.show.figures.ways import ways_figure
from roomfield.show.words import load_words
from roomfield.survey import Survey
from roomfield.workbench.plan.reaching_ways import reaching_ways
from roomfield.workbench.publish.contents.plan_figures import plan_storeys

MOST_PLACES = 2
"""So many places get a picture of their ways in the report."""


def ways_picture(survey: Survey, visit_id: str, place_id: str, language: str = "en") -> str:
    """Bands from the main sources to a place, as SVG.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str
        The visit whose readings are used.
    place_id : str
        A place with a position.
    language : str
        ``en`` or ``de``.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from, or no storey that holds the place.
    UnknownNameError
        If there is no such place with a position.
    """
    found = reaching_ways(survey, visit_id, place_id)
    number = next(n for n, place in enumerate(survey.places, start=1) if place.id == place_id)
    for storey in plan_storeys(survey, survey.places, visit_id):
        if any(place.number == number for place in storey.places):
            return ways_figure(storey, number, found, load_words(language))
    raise TooEarlyError("the place stands on no storey.", mend="Put it on the plan of a storey.")


def with_ways(content: ReportContent, survey: Survey, visit_id: str) -> ReportContent:
    """The content with what reaches the first places where people sleep.

    Parameters
    ----------
    content : ReportContent
        With what the model adds.
    """
    drawn = {place.number for storey in content.storeys for place in storey.places}
    asked = [one.place for one in sorted_places(content) if one.place.sleeping]
    ids = [place.id for place in asked if content.place_number(place.id) in drawn][:MOST_PLACES]
    return replace(content, ways=tuple(PlaceWays(name, reaching_ways(survey, visit_id, name)) for name in ids))
