"""The first page of a follow-up: what changed at each place, whether the aim is met, what was done."""

from __future__ import annotations

from roomfield.report.compose.answer import law_sentence
from roomfield.report.compose.blocks import Block, Cell, Column, Paragraph, Row, Table
from roomfield.report.document import ReportContent
from roomfield.show.chapters import BeforeAfter, Verification
from roomfield.show.words import Words
from roomfield.show.words.sentences import level_median, level_range, outcome_word
from roomfield.survey.observation import Censoring


def follow_up_lead(content: ReportContent, words: Words) -> tuple[str, ...]:
    """What came of the work first, then what was done, then the law."""
    check = content.verification
    if check is None:
        return ()
    done = "; ".join(words.text(one) for one in check.done)
    told = [words.text(check.statement), *([words.say("answer.done", done=done)] if done else [])]
    return (" ".join(t for t in told if t), law_sentence(content, words))


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
    note = words.say("verification.caption")
    if check.target_w_m2 is not None:
        note += " " + words.say("verification.target", target=check.target_w_m2)
    return [Table(columns, rows), Paragraph(note, "small")]


def _row(row: BeforeAfter, words: Words) -> Row:
    outcome = outcome_word(row.target_outcome, words) if row.target_outcome else words.say("remedy.asked_not")
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
            Cell(outcome),
        )
    )
