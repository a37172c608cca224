"""The first page: the answer, the places with what they are held against, what to do, how sure, what it is worth."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.report.compose.answer import answered_places, lead, limit_noun, short_name
from roomfield.report.compose.blocks import (
    Block,
    Cell,
    Column,
    Front,
    Heading,
    Item,
    Listing,
    Paragraph,
    Part,
    Row,
    Table,
)
from roomfield.report.compose.follow_up import follow_up_lead, follow_up_table
from roomfield.report.document import ReportContent
from roomfield.show.chapters import PlacePrediction
from roomfield.show.findings import PlaceLevel
from roomfield.show.place import ShownPlace
from roomfield.show.words import Words
from roomfield.show.words.sentences import category_text, level_median, level_range, verdict_short
from roomfield.survey.observation import Censoring

MAX_PLACES = 7


@dataclass(frozen=True)
class Links:
    """Names of sections by part, such as "section 4" or "annex C", for references on the first page."""

    names: dict[Part, str]

    def section(self, part: Part) -> str:
        """What a section is called in running text; a dash if this report has been cut down and lacks it."""
        return self.names.get(part, "–")


def front(content: ReportContent, words: Words, links: Links) -> Front:
    """The first page.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    words : Words
        Language.
    links : Links
        Section numbers.
    """
    blocks: list[Block] = []
    if content.verification is not None:
        blocks += follow_up_table(content.verification, words)
        sentences = follow_up_lead(content, words)
    else:
        blocks += _places_table(content, words, links)
        sentences = lead(content, words)
    blocks += _steps(content, words)
    blocks += [Heading(words.say("front.sure")), Paragraph(_sure(content, words, links))]
    blocks += [Paragraph(_standing(content, words, links), "note")]
    return Front(_facts(content, words), sentences, tuple(blocks))


def _facts(content: ReportContent, words: Words) -> tuple[tuple[str, str], ...]:
    parties = content.parties
    visited = ", ".join(dict.fromkeys(words.numbers.date(v.started_at[:10]) for v in content.visits))
    by = ", ".join(p for p in (parties.assessor, parties.organisation) if p)
    pairs = [
        ("front.prepared_for", ", ".join(p for p in (parties.client, parties.address) if p)),
        ("front.prepared_by", by),
        ("front.visited", visited),
        ("front.question", parties.question),
    ]
    return tuple((words.say(key), value) for key, value in pairs if value)


def first_places(content: ReportContent) -> list[ShownPlace]:
    """Places for the first page: those asked about, then where people sleep, then by level."""
    first = {p.place.id for p in answered_places(content)}

    def order(shown: ShownPlace) -> tuple[bool, bool, float]:
        high = shown.level.level.high_w_m2 if shown.level else 0.0
        return shown.place.id not in first, not shown.place.sleeping, -high

    return sorted(content.shown, key=order)[:MAX_PLACES]


def _places_table(content: ReportContent, words: Words, links: Links) -> list[Block]:
    chosen = first_places(content)
    if not chosen:
        return []
    limit = limit_noun(content.reference(content.law_id), words)
    columns = [Column(words.say("front.place"), weight=1.25), Column(words.say("front.level"), weight=1.25)]
    if content.guideline_id:
        columns.append(Column(words.say("front.against_aim"), weight=1.45))
    columns.append(Column(words.say("front.average_against_law", limit=limit), weight=1.5))
    if any(p.largest for p in chosen):
        columns.append(Column(words.say("front.largest_part"), weight=1.2))
    planned = _by_place(content)
    if planned:
        columns.append(Column(words.say("front.with_plan"), weight=1.1))
    rows = tuple(_place_row(content, p, planned, words) for p in chosen)
    note = words.say("front.state_note", state=content.state_name(content.state_id), coverage=content.rules.coverage)
    rest = len(content.places) - len(chosen)
    if rest:
        note += " " + words.say("front.more_places", n=rest, section=links.section(Part.LEVELS))
    return [Table(tuple(columns), rows), Paragraph(note, "small")]


def _by_place(content: ReportContent) -> dict[str, PlacePrediction]:
    """What the plan should bring at each place, in the period in which it is least."""
    found: dict[str, PlacePrediction] = {}
    for one in content.remedy.predictions if content.remedy else ():
        if one.place_id not in found or one.after.median_w_m2 > found[one.place_id].after.median_w_m2:
            found[one.place_id] = one
    return found


def _place_row(content: ReportContent, shown: ShownPlace, planned: dict[str, PlacePrediction], words: Words) -> Row:
    cells = [Cell(short_name(shown.place.name), small=short_name(shown.place.room)), level_cell(shown.level, words)]
    if content.guideline_id:
        cells.append(aim_cell(shown, words))
    cells.append(law_cell(shown, words))
    if any(p.largest for p in content.shown):
        cells.append(_largest_part(shown, words))
    if planned:
        cells.append(_planned(planned.get(shown.place.id), words))
    return Row(tuple(cells))


def level_cell(item: PlaceLevel | None, words: Words, *, strong: bool = True) -> Cell:
    """A level with its kind and interval."""
    if item is None:
        return Cell(words.say("levels.no_levels"))
    text = f"{level_median(item.level, words)}\u00a0{words.say('level.unit')}"
    span = f", {level_range(item.level, words)}" if item.level.censoring is Censoring.NONE else ""
    return Cell(text, small=f"{words.say(f'kind.{item.kind.value}')}{span}", strong=strong)


def aim_cell(shown: ShownPlace, words: Words) -> Cell:
    """How a level stands against the aim, and its category."""
    if shown.aim is None:
        return Cell(words.say("aim.not_for_this_place"))
    return Cell(verdict_short(shown.aim, words), small=category_text(shown.aim, words))


def law_cell(shown: ShownPlace, words: Words) -> Cell:
    """How the average stands against the law; the average itself stands with it."""
    average = shown.average
    if average is None:
        return Cell(verdict_short(shown.law, words), small=words.say("front.no_average"))
    span = level_range(average.level, words)
    text = level_median(average.level, words)
    small = text if average.level.censoring is not Censoring.NONE else f"{text} ({span})"
    return Cell(verdict_short(shown.law, words), small=words.say("front.average", level=small))


def _largest_part(shown: ShownPlace, words: Words) -> Cell:
    """Who makes the largest part of a level, as the model of the dwelling sees it."""
    part = shown.largest
    if part is None or part.share is None:
        return Cell(words.say("document.nothing"))
    low, high = part.share_low or 0.0, part.share_high or 1.0
    return Cell(part.source, small=words.say("front.part_of_level", share=part.share, low=low, high=high))


def _planned(found: PlacePrediction | None, words: Words) -> Cell:
    if found is None:
        return Cell(words.say("document.nothing"))
    return Cell(level_median(found.after, words), small=level_range(found.after, words))


def _sure(content: ReportContent, words: Words, links: Links) -> str:
    section = links.section(Part.METHOD)
    if not content.meters:
        return words.say("front.sure_text_no_meter", section=section)
    tolerance = max(m.tolerance_db for m in content.meters)
    text = words.say("front.sure_text", tolerance=tolerance, factor=10 ** (tolerance / 10), section=section)
    if any(m.calibration_overdue for m in content.meters):
        text += " " + words.say("instrument.overdue")
    return text


def _steps(content: ReportContent, words: Words) -> list[Block]:
    steps = content.steps[:3]
    if not steps:
        return [Heading(words.say("front.next_one")), Paragraph(words.say("front.next_none"))]
    heading = words.say("front.next" if len(steps) == 3 else "front.next_one" if len(steps) == 1 else "section.steps")
    items = tuple(Item(words.text(s.reason), title=words.text(s.title)) for s in steps)
    return [Heading(heading), Listing(items, numbered=True)]


def _standing(content: ReportContent, words: Words, links: Links) -> str:
    entry = content.reference(content.law_id)
    law = words.say(f"standing_sentence.{entry.standing.value if entry else 'law'}")
    return f"{law} {words.say('front.neutral')}"
