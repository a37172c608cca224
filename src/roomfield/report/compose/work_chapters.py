"""Chapters on the remedy: work order, before and after, letter; absent unless their content is given."""

from __future__ import annotations

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.level import COVERAGE
from roomfield.report.compose.blocks import (
    Align,
    Block,
    Cell,
    Column,
    Heading,
    Item,
    Listing,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
)
from roomfield.report.compose.follow_up import met_cell
from roomfield.report.compose.picture import picture
from roomfield.report.document import ReportContent
from roomfield.show.chapters import BeforeAfter, Remedy, Verification, WorkItem
from roomfield.show.evidence import Caution
from roomfield.show.figures.bars import PairBar, before_after
from roomfield.show.figures.tradeoff import lowest_levels, trade_off
from roomfield.show.phrase import Text
from roomfield.show.words import Words
from roomfield.show.words.sentences import level_median, level_range


def remedy_section(content: ReportContent, words: Words) -> Section | None:
    """The work order; None if there is no plan."""
    remedy = content.remedy
    if remedy is None:
        return None
    target = words.say(
        "remedy.target",
        kind=words.say(f"kind.{remedy.target_kind.value}"),
        target=remedy.target_w_m2,
        confidence=remedy.confidence,
    )
    blocks: list[Block] = [Paragraph(target)]
    if remedy.asked:
        blocks.append(Paragraph(words.say("remedy.asked", places=", ".join(remedy.asked))))
    told = " ".join(words.text(text) for text in (remedy.statement, *remedy.remains, *remedy.chosen_for) if text)
    if told:
        blocks.append(Paragraph(told))
    if remedy.items:
        blocks += [_work_table(remedy, words), *_observe(remedy, words)]
    if remedy.predictions:
        blocks.append(_prediction_table(remedy, words))
    blocks += _named_list("remedy.worse", remedy.warnings, words)
    if remedy.curve:
        svg = trade_off(remedy.curve, words, currency=remedy.currency, confidence=remedy.confidence)
        blocks.append(picture(svg, words.say("figure.tradeoff.caption")))
    if any(point.actions for point in remedy.curve):
        blocks.append(_curve_table(remedy, words))
    if remedy.lowest:
        svg = lowest_levels(remedy.lowest, words, currency=remedy.currency, target_w_m2=remedy.target_w_m2)
        blocks += [picture(svg, words.say("figure.lowest.caption")), _lowest_table(remedy, words)]
    return Section(Part.REMEDY, words.say("section.remedy"), tuple(blocks), new_page=True)


def _work_table(remedy: Remedy, words: Words) -> Table:
    columns = (
        Column(words.say("remedy.work"), weight=2.6),
        Column(words.say("remedy.quantity"), weight=1.3),
        Column(words.say("remedy.cost", currency=remedy.currency), Align.END, 1.0),
        Column(words.say("remedy.cautions"), weight=2.2),
    )
    rows: list[Row] = []
    group = None
    for number, item in enumerate(remedy.items, start=1):
        if item.group is not group:
            group = item.group
            rows.append(Row((Cell(words.say(f"steps.{group.value}"), strong=True),), group=True))
        rows.append(_work_row(number, item, words))
    low = sum(i.cost_low or 0.0 for i in remedy.items)
    high = sum(i.cost_high or 0.0 for i in remedy.items)
    priced = all(i.cost_low is not None for i in remedy.items)
    total = Cell(
        words.say("remedy.cost_range", low=low, high=high),
        small="" if priced else words.say("remedy.not_all_priced"),
        strong=True,
    )
    rows.append(Row((Cell(words.say("remedy.total"), strong=True), Cell(""), total, Cell(""))))
    return Table(columns, tuple(rows), words.say("remedy.caption_items"))


def _work_row(number: int, item: WorkItem, words: Words) -> Row:
    cost = words.say("remedy.cost_unknown")
    if item.cost_low is not None and item.cost_high is not None:
        cost = words.say("remedy.cost_range", low=item.cost_low, high=item.cost_high)
    return Row(
        (
            Cell(f"{number}\u2002{words.text(item.title)}", small=words.text(item.reason)),
            Cell(words.text(item.quantity)),
            Cell(cost),
            Cell(" · ".join(_topic(c, words) for c in item.cautions)),
        )
    )


def _observe(remedy: Remedy, words: Words) -> list[Block]:
    """Each caution once, with the numbers of the work that it belongs to."""
    numbers: dict[Caution, list[int]] = {}
    for number, item in enumerate(remedy.items, start=1):
        for caution in item.cautions:
            if isinstance(caution, Caution):
                numbers.setdefault(caution, []).append(number)
    if not numbers:
        return []
    items = tuple(
        Item(
            words.translated("caution_text", caution.text),
            title=f"{words.translated('caution_topic', caution.topic)} ({', '.join(map(str, found))})",
        )
        for caution, found in numbers.items()
    )
    return [Heading(words.say("remedy.observe")), Listing(items)]


def _topic(caution: Text | Caution, words: Words) -> str:
    return words.translated("caution_topic", caution.topic) if isinstance(caution, Caution) else words.text(caution)


def _curve_table(remedy: Remedy, words: Words) -> Table:
    """What stands behind each point of the curve."""
    columns = (
        Column(words.say("remedy.cost", currency=remedy.currency), Align.END, 0.8),
        Column(words.say("remedy.met_where_asked" if remedy.asked else "remedy.met_everywhere"), Align.END, 0.9),
        Column(words.say("remedy.plan"), weight=3.6),
    )
    rows = tuple(
        Row(
            (
                Cell(words.numbers.fixed(p.cost, 0)),
                Cell(words.numbers.percent(p.probability)),
                Cell("; ".join(p.actions) or words.say("remedy.nothing"), small=p.label, strong=p.chosen),
            )
        )
        for p in sorted(remedy.curve, key=lambda p: (p.cost, p.probability))
    )
    return Table(columns, rows, words.say("remedy.caption_curve"))


def _lowest_table(remedy: Remedy, words: Words) -> Table:
    """What stands behind each point of the levels that can be had."""
    columns = (
        Column(words.say("remedy.cost", currency=remedy.currency), Align.END, 0.8),
        Column(words.say("remedy.level"), Align.END, 1.0),
        Column(words.say("remedy.fall"), Align.END, 0.9),
        Column(words.say("remedy.plan"), weight=3.4),
    )
    rows = tuple(
        Row(
            (
                Cell(words.numbers.fixed(p.cost, 0)),
                Cell(words.numbers.micro(p.level_w_m2)),
                Cell(words.numbers.decibel(p.reduction_db)),
                Cell("; ".join(p.actions) or words.say("remedy.nothing"), strong=p.chosen),
            )
        )
        for p in remedy.lowest
    )
    return Table(columns, rows, words.say("remedy.caption_lowest"))


def _prediction_table(remedy: Remedy, words: Words) -> Table:
    columns = (
        Column(words.say("remedy.place"), weight=1.7),
        Column(words.say("remedy.before"), Align.END, 1.3),
        Column(words.say("remedy.after"), Align.END, 1.3),
        Column(words.say("remedy.met"), Align.END, 0.9),
        Column(words.say("remedy.limiting"), weight=2.2),
    )
    rows = tuple(
        Row(
            (
                Cell(words.text(p.place)),
                Cell(level_median(p.before, words), small=level_range(p.before, words)),
                Cell(level_median(p.after, words), small=level_range(p.after, words), strong=True),
                Cell(words.numbers.percent(p.probability_met), small="" if p.asked else words.say("remedy.asked_not")),
                Cell(words.text(p.limiting)),
            )
        )
        for p in remedy.predictions
    )
    return Table(columns, rows, words.say("remedy.caption_predictions"))


def verification_section(content: ReportContent, words: Words) -> Section | None:
    """Before and after; None if there was no second visit."""
    check = content.verification
    if check is None:
        return None
    blocks: list[Block] = []
    statement = words.text(check.statement)
    if statement:
        blocks.append(Paragraph(statement))
    blocks += _named_list("verification.done", check.done, words)
    pairs = [
        PairBar(
            f"{r.place}",
            r.before,
            r.after,
            r.reduction_db,
            r.reduction_low_db,
            r.reduction_high_db,
            r.predicted_after,
        )
        for r in check.rows
    ]
    for start in range(0, len(pairs), 14):
        svg = before_after(pairs[start : start + 14], words, target_w_m2=check.target_w_m2)
        blocks.append(picture(svg, words.say("figure.before_after.caption")))
    if check.rows:
        blocks.append(_verification_table(check, words))
    blocks += _named_list("verification.conditions", check.conditions, words)
    blocks += _named_list("verification.surprises", check.surprises, words)
    blocks += _named_list("verification.causes", check.causes, words)
    return Section(Part.VERIFICATION, words.say("section.verification"), tuple(blocks), new_page=True)


def _named_list(key: str, texts: tuple[Text, ...], words: Words) -> list[Block]:
    if not texts:
        return []
    return [Heading(words.say(key)), Listing(tuple(Item(words.text(t)) for t in texts))]


def _verification_table(check: Verification, words: Words) -> Table:
    columns = (
        Column(words.say("verification.place"), weight=1.6),
        Column(words.say("verification.before"), Align.END, 1.2),
        Column(words.say("verification.after"), Align.END, 1.2),
        Column(words.say("verification.reduction"), Align.END, 1.3),
        Column(words.say("verification.target_met"), weight=1.2),
        Column(words.say("verification.prediction"), weight=1.3),
    )
    rows = tuple(_verification_row(r, words) for r in check.rows)
    caption = words.say("verification.caption", coverage=COVERAGE)
    if check.target_w_m2 is not None:
        caption += " " + words.say("verification.target", target=check.target_w_m2)
    return Table(columns, rows, caption)


def _verification_row(row: BeforeAfter, words: Words) -> Row:
    span = words.say("verification.range", low=row.reduction_low_db, high=row.reduction_high_db)
    met, predicted = words.say("document.nothing"), ""
    if row.prediction_met is not None:
        met = words.say("verification.prediction_met" if row.prediction_met else "verification.prediction_missed")
    if row.predicted_after is not None:
        predicted = level_range(row.predicted_after, words)
    return Row(
        (
            Cell(
                row.place,
                small=" · ".join(t for t in (words.say(f"kind.{row.kind.value}"), words.text(row.note)) if t),
            ),
            Cell(
                level_median(row.before, words),
                small=_span(row.before.censoring, level_range(row.before, words)),
            ),
            Cell(
                level_median(row.after, words),
                small=_span(row.after.censoring, level_range(row.after, words)),
            ),
            Cell(words.numbers.decibel(row.reduction_db), small=span, strong=True),
            met_cell(row, words),
            Cell(met, small=predicted),
        )
    )


def _span(censoring: Censoring, text: str) -> str:
    return text if censoring is Censoring.NONE else ""


def letter_section(content: ReportContent, words: Words) -> Section | None:
    """The follow-up letter; None if there is none."""
    letter = content.letter
    if letter is None:
        return None
    blocks: list[Block] = [Paragraph(line, "address") for line in letter.addressee.splitlines() if line.strip()]
    if letter.date:
        blocks.append(Paragraph(words.numbers.date(letter.date), "small"))
    blocks += [Paragraph(words.text(t)) for t in letter.paragraphs]
    if letter.items:
        blocks.append(Listing(tuple(Item(words.text(t)) for t in letter.items)))
    blocks += [Paragraph(words.text(t)) for t in letter.closing]
    if letter.signature:
        blocks.append(Paragraph(letter.signature))
    title = words.text(letter.subject) or words.say("section.letter")
    return Section(Part.LETTER, title, tuple(blocks), new_page=True, numbered=False)
