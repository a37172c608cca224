"""The first page: the answer, the places with what they are held against, what to do, how sure, what it is worth."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.report.compose.answer import lead, limit_noun, short_name, sorted_places
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
from roomfield.show.place_cells import PlaceCells, place_cells
from roomfield.show.shown_place import ShownPlace
from roomfield.show.words import Words
from roomfield.show.words.sentences import level_median, level_range

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
        ("front.stage", stage_text(content, words)),
    ]
    return tuple((words.say(key), value) for key, value in pairs if value)


def stage_text(content: ReportContent, words: Words) -> str:
    """How far the report has come, and by whom; empty if it was never put up for review."""
    last = next(reversed(content.signed), None)
    if not content.stage or last is None:
        return ""
    return words.say(f"stage.{content.stage}", by=last.by, at=words.numbers.iso_moment(last.at))


def first_places(content: ReportContent) -> list[ShownPlace]:
    """Places for the first page."""
    return sorted_places(content)[:MAX_PLACES]


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
    said = place_cells(shown, words)
    cells = [Cell(short_name(said.place), small=short_name(said.room)), _level(said, words)]
    if content.guideline_id:
        cells.append(Cell(said.aim, small=said.category))
    average = words.say("front.average", level=said.average.whole) if said.average else words.say("front.no_average")
    cells.append(Cell(said.law, small=average))
    if any(p.largest for p in content.shown):
        cells.append(Cell(said.largest or words.say("document.nothing"), small=said.share))
    if planned:
        cells.append(_planned(planned.get(shown.place.id), words))
    return Row(tuple(cells))


def _level(said: PlaceCells, words: Words) -> Cell:
    """The level that answers, with its kind and interval."""
    if said.level is None:
        return Cell(words.say("levels.no_levels"))
    small = ", ".join(t for t in (said.level.kind, said.level.interval) if t)
    return Cell(f"{said.level.number}\u00a0{words.say('level.unit')}", small=small, strong=True)


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
    if content.together is not None:
        text += f" {words.text(content.together)} ({links.section(Part.UNDETERMINED)})."
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
