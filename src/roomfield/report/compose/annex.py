"""Sections that keep the record: amendments and the data annex."""

from __future__ import annotations

from roomfield.report.compose.blocks import (
    Align,
    Block,
    Cell,
    Column,
    Facts,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
)
from roomfield.report.document import ReportContent, SignedStep
from roomfield.show.evidence import AmendmentEntry, ChecklistEntry, ReadingEntry
from roomfield.show.words import Words
from roomfield.show.words.sentences import shown_text


def amendments_section(content: ReportContent, words: Words) -> Section:
    """Every correction with its reason; says so if there is none."""
    blocks: list[Block] = [Paragraph(words.say("amendments.none"))]
    if content.amendments:
        columns = (
            Column(words.say("amendments.target"), weight=1.1),
            Column(words.say("amendments.change"), weight=2.2),
            Column(words.say("amendments.reason"), weight=2.0),
            Column(words.say("amendments.by"), weight=1.0),
            Column(words.say("amendments.at"), weight=1.3),
        )
        rows = tuple(
            Row(
                (
                    Cell(a.target),
                    Cell(_change(a, words)),
                    Cell(a.reason),
                    Cell(a.by),
                    Cell(words.numbers.moment(a.at)),
                )
            )
            for a in content.amendments
        )
        blocks = [Table(columns, rows, words.say("amendments.caption"))]
    return Section(Part.AMENDMENTS, words.say("section.amendments"), tuple(blocks))


_ID_LENGTH = 6
"""Longest id that has a column of its own; longer ones stand under the place, and rows are counted."""


def _change(amendment: AmendmentEntry, words: Words) -> str:
    """What was changed; a power density in the unit of all tables."""
    field, old, new = amendment.field, amendment.old, amendment.new
    if field == "value_w_m2":
        try:
            old, new = (words.numbers.as_given(float(v) * 1e6) for v in (old, new))
            field = f"{words.say('annex.shown')} ({words.say('level.unit')})"
        except ValueError:
            field = amendment.field
    elif field == "withdrawn":
        return words.say("annex.withdrawn")
    return words.say("amendments.change_value", field=field, old=old, new=new)


def annex_section(content: ReportContent, words: Words) -> Section:
    """Every reading as observed, and the checksum of the survey package."""
    blocks: list[Block] = []
    if content.readings:
        intro = f"{words.say('annex.intro', n=len(content.readings))} {words.say('document.clock_note')}"
        blocks += [Paragraph(intro), _readings(content, words)]
    custody = content.custody
    if custody.package_sha256:
        pairs = [
            (words.say("annex.package"), custody.package_name),
            (words.say("annex.package_hash"), grouped(custody.package_sha256)),
            (words.say("annex.content_hash"), grouped(custody.content_sha256)),
        ]
    else:
        pairs = [(words.say("annex.package"), words.say("annex.no_package"))]
    if custody.chain_sha256:
        pairs.append((words.say("annex.chain_head", n=custody.chain_links), grouped(custody.chain_sha256)))
    pairs += [(words.say(f"stage.step_{one.stage}"), _signed(one, words)) for one in content.signed]
    if custody.software:
        pairs.append((words.say("annex.software"), custody.software))
    blocks.append(Facts(tuple(p for p in pairs if p[1])))
    if content.checklist is not None:
        blocks.append(Paragraph(_seen_to(content.checklist, words), "small"))
    if custody.package_sha256:
        blocks.append(Paragraph(words.say("annex.hash_note"), "small"))
    return Section(Part.ANNEX, words.say("section.annex"), tuple(blocks), new_page=True)


def _signed(step: SignedStep, words: Words) -> str:
    return ", ".join(t for t in (step.by, words.numbers.iso_moment(step.at), step.note) if t)


def _seen_to(checklist: ChecklistEntry, words: Words) -> str:
    """One line on the checklists, with what was left open."""
    said = words.say("annex.checklist", done=checklist.done, total=checklist.total)
    if checklist.open:
        said += " " + words.say("annex.checklist_open", rows="; ".join(words.text(row) for row in checklist.open))
    return said


def grouped(digest: str) -> str:
    """Hexadecimal digits in groups of eight, so that people can compare them."""
    return " ".join(digest[i : i + 8] for i in range(0, len(digest), 8))


def _readings(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("annex.id"), weight=0.7),
        Column(words.say("annex.place"), weight=1.7),
        Column(words.say("annex.state"), weight=1.4),
        Column(words.say("annex.kind"), weight=0.9),
        Column(words.say("annex.shown"), Align.END, 1.0),
        Column(words.say("annex.orientation"), weight=1.0),
        Column(words.say("annex.time"), weight=1.5),
        Column(words.say("annex.note"), weight=1.6),
    )
    named = max(len(r.id) for r in content.readings) > _ID_LENGTH
    rows = tuple(_reading_row(n, r, words, named) for n, r in enumerate(content.readings, start=1))
    return Table(columns, rows, words.say("annex.caption"), compact=True)


def _reading_row(number: int, reading: ReadingEntry, words: Words, named: bool) -> Row:
    marks = []
    if reading.withdrawn:
        marks.append(words.say("annex.withdrawn"))
    elif reading.amended:
        marks.append(words.say("annex.amended"))
    note = " · ".join(t for t in (*marks, reading.note, reading.origin) if t)
    key = f"orientation.{reading.orientation}"
    return Row(
        (
            Cell(str(number) if named else reading.id),
            Cell(reading.place, small=reading.id if named else ""),
            Cell(reading.state),
            Cell(words.say(f"kind.{reading.kind.value}")),
            Cell(shown_text(reading.shown, words)),
            Cell(words.say(key) if words.has(key) else reading.orientation),
            Cell(words.numbers.iso_moment(reading.taken_at)),
            Cell(note),
        )
    )
