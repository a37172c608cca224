"""The first page of a follow-up: what changed at each place, whether the aim is met, what was done."""

from __future__ import annotations

import math

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.level import COVERAGE
from roomfield.report.compose.answer import answered_places, law_sentence
from roomfield.report.compose.blocks import Block, Cell, Column, Paragraph, Row, Table
from roomfield.report.document import ReportContent
from roomfield.show.chapters import BeforeAfter, Verification
from roomfield.show.words import Words
from roomfield.show.words.sentences import level_median, level_range


def follow_up_lead(content: ReportContent, words: Words) -> tuple[str, ...]:
    """Whether it worked at the places asked about, what came of it in all, what was done, and the law."""
    check = content.verification
    if check is None:
        return ()
    asked = [p.place.id for p in answered_places(content)]
    first = [row for place in asked for row in check.rows if row.place_id == place]
    done = "; ".join(words.text(one) for one in check.done)
    told = [words.text(check.statement), *([words.say("answer.done", done=done)] if done else [])]
    sentences = [*(_changed(row, words) for row in first), " ".join(t for t in told if t), law_sentence(content, words)]
    return tuple(s for s in sentences if s)


def _changed(row: BeforeAfter, words: Words) -> str:
    """What changed at one place, and whether the aim is met there now."""
    values = {"place": row.place, "before": level_median(row.before, words), "after": level_median(row.after, words)}
    values |= {"change": words.numbers.decibel(row.reduction_db)}
    values |= {"low": words.numbers.decibel(row.reduction_low_db), "high": words.numbers.decibel(row.reduction_high_db)}
    known = math.isfinite(row.reduction_db) and math.isfinite(row.reduction_low_db + row.reduction_high_db)
    told = words.say("answer.changed" if known else "answer.changed_bound", **values)
    if row.target_outcome is None or row.probability_met is None:
        return told
    return f"{told} {words.say(f'answer.met_{row.target_outcome.value}', chance=row.probability_met)}"


def met_cell(row: BeforeAfter, words: Words) -> Cell:
    """Whether the aim is met now, with its probability."""
    if row.target_outcome is None:
        return Cell(words.say("remedy.asked_not"))
    told = words.say(f"verification.met_{row.target_outcome.value}")
    return Cell(told, small=words.chance(row.probability_met) if row.probability_met else "")


def follow_up_table(check: Verification, words: Words) -> list[Block]:
    """Each place before and after, and whether the aim is met now."""
    columns = (
        Column(words.say("verification.place"), weight=1.4),
        Column(words.say("verification.before"), weight=1.2),
        Column(words.say("verification.after"), weight=1.2),
        Column(words.say("verification.reduction"), weight=1.2),
        Column(words.say("verification.target_met"), weight=1.2),
    )
    rows = tuple(_row(row, words) for row in check.rows)
    note = words.say("verification.caption", coverage=COVERAGE)
    if check.target_w_m2 is not None:
        note += " " + words.say("verification.target", target=check.target_w_m2)
    return [Table(columns, rows), Paragraph(note, "small")]


def _row(row: BeforeAfter, words: Words) -> Row:
    span = words.say("verification.range", low=row.reduction_low_db, high=row.reduction_high_db)
    ranges = [
        "" if level.censoring is not Censoring.NONE else level_range(level, words) for level in (row.before, row.after)
    ]
    return Row(
        (
            Cell(row.place, small=words.say(f"kind.{row.kind.value}")),
            Cell(level_median(row.before, words), small=ranges[0]),
            Cell(level_median(row.after, words), small=ranges[1], strong=True),
            Cell(words.numbers.decibel(row.reduction_db), small=span),
            met_cell(row, words),
        )
    )
