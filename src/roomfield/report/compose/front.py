"""The first page: what was found, against law and guideline, how sure, and the next three steps."""

from __future__ import annotations

from dataclasses import dataclass

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
from roomfield.report.document import ReportContent
from roomfield.show.evidence import ReferenceEntry
from roomfield.show.findings import Level, Outcome, PlaceFinding, Verdict
from roomfield.show.words import Words
from roomfield.show.words.sentences import leading_level, level_median, level_range, verdict_short
from roomfield.survey.observation import Censoring

MAX_PLACES = 5
_NAMES = 4
_LONGEST = 56


@dataclass(frozen=True)
class Links:
    """Section numbers by part, for references on the first page."""

    numbers: dict[Part, int]

    def section(self, part: Part) -> str:
        """Number of a section; a dash if this report has been cut down and lacks it."""
        return str(self.numbers.get(part, "–"))


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
    lead = tuple(s for s in (law_sentence(content, words), guideline_sentence(content, words)) if s)
    blocks: list[Block] = [*_places_table(content, words, links)]
    blocks += [Heading(words.say("front.sure")), Paragraph(_sure(content, words, links))]
    blocks += _steps(content, words)
    blocks += [Paragraph(_standing(content, words, links) + " " + words.say("front.medical"), "note")]
    return Front(_facts(content, words), lead, tuple(blocks))


def _facts(content: ReportContent, words: Words) -> tuple[tuple[str, str], ...]:
    parties = content.parties
    visited = ", ".join(dict.fromkeys(words.numbers.date(v.started_at[:10]) for v in content.visits))
    by = ", ".join(p for p in (parties.assessor, parties.organisation) if p)
    pairs = [
        ("front.prepared_for", parties.client),
        ("front.address", parties.address),
        ("front.prepared_by", by),
        ("front.visited", visited),
        ("front.question", parties.question),
    ]
    return tuple((words.say(key), value) for key, value in pairs if value)


def verdict_of(content: ReportContent, place: PlaceFinding, reference_id: str) -> Verdict | None:
    """The comparison of a place in the headline state with one reference."""
    found = (v for v in content.verdicts if v.place_id == place.id and v.reference_id == reference_id)
    return next((v for v in found if v.state_id == content.state_id), None)


def level_of(place: PlaceFinding, verdict: Verdict) -> Level | None:
    """The level that a comparison rests on."""
    same = (lv for lv in place.levels if lv.state_id == verdict.state_id and lv.kind == verdict.kind)
    return next((lv.level for lv in same), None)


def _names(content: ReportContent, verdicts: list[Verdict], words: Words) -> str:
    return _joined([content.place_name(v.place_id) for v in verdicts], words)


def _compared(content: ReportContent, reference_id: str) -> list[Verdict]:
    found = (verdict_of(content, p, reference_id) for p in content.places)
    return [v for v in found if v is not None and v.outcome is not Outcome.NOT_COMPARABLE]


def law_sentence(content: ReportContent, words: Words) -> str:
    """How the levels in the headline state stand against the law.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    words : Words
        Language.
    """
    entry = content.reference(content.law_id)
    verdicts = _compared(content, content.law_id)
    if entry is None or not verdicts:
        return words.say("front.law_none")
    named = {"label": words.text(entry.label), "limit": limit_noun(entry, words), "standing": ""}
    parts = _above_and_doubtful(content, verdicts, words, "front.law_some_above", named)
    if not parts:
        parts.append(words.say("front.law_all_below", n=len(verdicts), **named))
        ratio = _smallest_ratio(content, verdicts)
        if ratio is not None and ratio >= 2:
            parts.append(words.say("front.law_all_below_ratio", ratio=ratio))
    return " ".join([*parts, *_left_out(content, verdicts, words)])


def _above_and_doubtful(
    content: ReportContent, verdicts: list[Verdict], words: Words, key: str, named: dict[str, str]
) -> list[str]:
    """Sentences for every outcome but a clear "below"; empty if all are clearly below."""
    groups = {o: [v for v in verdicts if v.outcome is o] for o in Outcome}
    parts = []
    if groups[Outcome.ABOVE]:
        above = groups[Outcome.ABOVE]
        parts.append(words.say(key, n=len(above), total=len(verdicts), places=_names(content, above, words), **named))
    for outcome in (Outcome.LIKELY_ABOVE, Outcome.UNDECIDED, Outcome.LIKELY_BELOW):
        if groups[outcome]:
            name = "group" if parts else "group_first"
            parts.append(
                words.say(f"front.{name}_{outcome.value}", places=_names(content, groups[outcome], words), **named)
            )
    if parts and groups[Outcome.BELOW]:
        parts.append(words.say("front.rest_below", n=len(groups[Outcome.BELOW])))
    return parts


def limit_noun(entry: ReferenceEntry | None, words: Words) -> str:
    """What an official limit is called: a recommendation is not called law."""
    return words.say(f"limit.{entry.standing.value if entry else 'law'}")


def _left_out(content: ReportContent, verdicts: list[Verdict], words: Words) -> list[str]:
    """Names the places that could not be compared, so that nobody takes silence for a pass."""
    done = {v.place_id for v in verdicts}
    names = [p.name for p in content.places if p.id not in done]
    if not names:
        return []
    return [words.say("front.not_compared", n=len(names), places=_joined(names, words))]


def _short(name: str) -> str:
    """A name cut for the first page; the sections give it in full."""
    return name if len(name) <= _LONGEST else name[: _LONGEST - 1].rstrip() + "…"


def _joined(names: list[str], words: Words) -> str:
    listed = ", ".join(_short(name) for name in names[:_NAMES])
    rest = len(names) - _NAMES
    return words.say("front.and_more", names=listed, n=rest) if rest > 0 else listed


def _smallest_ratio(content: ReportContent, verdicts: list[Verdict]) -> float | None:
    places = {p.id: p for p in content.places}
    ratios = []
    for verdict in verdicts:
        level = level_of(places[verdict.place_id], verdict)
        if level is None or level.censoring is Censoring.OVERLOAD:
            return None
        ratios.append(verdict.bound_w_m2 / level.high_w_m2 if level.high_w_m2 > 0 else float("inf"))
    return min(ratios, default=None)


def guideline_sentence(content: ReportContent, words: Words) -> str:
    """How the levels in the headline state stand against the chosen guideline.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    words : Words
        Language.
    """
    entry = content.reference(content.guideline_id) if content.guideline_id else None
    if entry is None:
        return words.say("front.guide_none_chosen")
    verdicts = _compared(content, entry.id)
    if not verdicts:
        return words.say("front.guide_not_compared", label=words.text(entry.label))
    return _guideline_counts(content, entry, verdicts, words)


def _guideline_counts(content: ReportContent, entry: ReferenceEntry, verdicts: list[Verdict], words: Words) -> str:
    named = {
        "label": words.text(entry.label),
        "standing": words.say(f"standing.{entry.standing.value}"),
        "limit": words.say("front.guideline_noun"),
    }
    parts = _above_and_doubtful(content, verdicts, words, "front.guide_above", named)
    if not parts:
        parts.append(words.say("front.guide_all_below", n=len(verdicts), **named))
    return " ".join([*parts, *_left_out(content, verdicts, words)])


def first_places(content: ReportContent) -> list[PlaceFinding]:
    """Places for the first page: where people sleep first, then by level, at most :data:`MAX_PLACES`."""

    def order(place: PlaceFinding) -> tuple[bool, float]:
        leading = leading_level(place.levels, content.state_id)
        return (not place.sleeping, -(leading.level.high_w_m2 if leading else 0.0))

    return sorted(content.places, key=order)[:MAX_PLACES]


def _places_table(content: ReportContent, words: Words, links: Links) -> list[Block]:
    chosen = first_places(content)
    if not chosen:
        return []
    columns = [
        Column(words.say("front.place"), weight=1.4),
        Column(words.say("front.level"), weight=1.2),
        Column(
            words.say("front.against_law", limit=limit_noun(content.reference(content.law_id), words)),
            weight=1.5,
        ),
    ]
    guideline = content.reference(content.guideline_id) if content.guideline_id else None
    if guideline:
        columns.append(Column(words.say("front.against_guideline"), weight=1.5))
    rows = [_place_row(content, place, guideline, words) for place in chosen]
    if any(c.share is not None for c in content.contributions):
        columns.append(Column(words.say("front.largest_part"), weight=1.4))
        rows = [Row((*row.cells, _largest_part(content, p, words))) for row, p in zip(rows, chosen, strict=True)]
    note = words.say("front.state_note", state=content.state_name(content.state_id), coverage=content.rules.coverage)
    rest = len(content.places) - len(chosen)
    if rest:
        note += " " + words.say("front.more_places", n=rest, section=links.section(Part.LEVELS))
    return [Table(tuple(columns), tuple(rows)), Paragraph(note, "small")]


def _place_row(content: ReportContent, place: PlaceFinding, guideline: ReferenceEntry | None, words: Words) -> Row:
    leading = leading_level(place.levels, content.state_id)
    level = Cell(words.say("levels.no_levels"))
    if leading is not None:
        text = f"{level_median(leading.level, words)}\u00a0{words.say('level.unit')}"
        span = f" ({level_range(leading.level, words)})" if leading.level.censoring is Censoring.NONE else ""
        level = Cell(text, small=f"{words.say(f'kind.{leading.kind.value}')}{span}", strong=True)
    cells = [
        Cell(_short(place.name), small=_short(place.room)),
        level,
        _verdict_cell(content, place, content.law_id, words),
    ]
    if guideline:
        cells.append(_verdict_cell(content, place, guideline.id, words))
    return Row(tuple(cells))


def _largest_part(content: ReportContent, place: PlaceFinding, words: Words) -> Cell:
    """Who makes the largest part of a level, as the model of the dwelling sees it."""
    shares = [(c.share, c) for c in content.contributions if c.place_id == place.id and c.share is not None]
    if not shares:
        return Cell(words.say("document.nothing"))
    share, largest = max(shares, key=lambda pair: pair[0])
    low, high = largest.share_low or 0.0, largest.share_high or 1.0
    return Cell(largest.source, small=words.say("front.part_of_level", share=share, low=low, high=high))


def _verdict_cell(content: ReportContent, place: PlaceFinding, reference_id: str, words: Words) -> Cell:
    verdict = verdict_of(content, place, reference_id)
    level = level_of(place, verdict) if verdict else None
    small = words.term(words.text(verdict.category)) if verdict else ""
    return Cell(verdict_short(verdict, level, words), small=small)


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
    if Part.REFERENCES in links.numbers and content.positions:
        return words.say("front.standing_note", law=law, section=links.section(Part.REFERENCES))
    return words.say("front.standing_note_short", law=law)
