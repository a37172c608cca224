"""Sections on levels: the axis, the tables by place and radio state, the comparisons and the plan."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from roomfield.quantities.kind import Kind
from roomfield.report.compose.answer import figures_of
from roomfield.report.compose.blocks import (
    Align,
    Block,
    Cell,
    Column,
    Figure,
    Heading,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
)
from roomfield.report.compose.picture import picture
from roomfield.report.document import ReportContent
from roomfield.show.band_cells import band_cells, total_sentence
from roomfield.show.drawings import PlanPlace, PlanStorey
from roomfield.show.evidence import ReferenceStanding
from roomfield.show.figures.level_axis import AxisMark, AxisRow, level_axis
from roomfield.show.figures.storey_plan import storey_plan
from roomfield.show.findings import Outcome, PlaceFinding, PlaceLevel, Verdict
from roomfield.show.words import Words
from roomfield.show.words.sentences import (
    KIND_ORDER,
    category_text,
    level_median,
    level_range,
    level_value,
    outcome_word,
    shown_text,
)

ROWS_PER_FIGURE = 30


def levels_section(content: ReportContent, words: Words) -> Section:
    """Levels at all places: figure, table and comparison.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    words : Words
        Language.
    """
    state = content.state_name(content.state_id)
    blocks: list[Block] = [Paragraph(words.say("levels.intro", coverage=content.rules.coverage))]
    figures = axis_figures(content, words)
    if figures:
        blocks += [Heading(words.say("section.axis")), *figures]
        blocks.append(Paragraph(words.say("levels.intro_axis", state=state), "small"))
    return Section(Part.LEVELS, words.say("section.levels"), tuple(blocks), new_page=True)


def states_section(content: ReportContent, words: Words) -> Section | None:
    """Every level in every radio state, and every comparison with a reference; None without levels."""
    if not any(place.levels for place in content.places):
        return None
    blocks: list[Block] = [_levels_table(content, words)]
    if content.verdicts:
        blocks += [Heading(words.say("levels.verdicts")), _verdict_table(content, words)]
    if content.bands:
        blocks += [Heading(words.say("bands.title")), _band_table(content, words)]
        blocks += [Paragraph(total_sentence(one, words)) for one in content.band_totals]
    return Section(Part.STATES, words.say("section.states"), tuple(blocks))


def axis_marks(content: ReportContent, words: Words, kinds: tuple[Kind, ...] = KIND_ORDER) -> list[AxisMark]:
    """The meter's range, and what levels of some kinds are held against: a limit of averages marks averages only."""
    marks = []
    for meter in content.meters[:1]:
        marks.append(AxisMark(meter.floor_w_m2, words.say("figure.axis.floor"), dashed=True))
        if meter.overload_w_m2 is not None:
            marks.append(AxisMark(meter.overload_w_m2, words.say("figure.axis.overload"), dashed=True))
    for entry in content.references:
        if entry.value_w_m2 is not None and entry.used and entry.on_axis and entry.kind in kinds:
            strong = entry.standing is ReferenceStanding.LAW or entry.id == content.law_id
            marks.append(AxisMark(entry.value_w_m2, words.text(entry.label), strong=strong))
    if content.aim is not None and any(p.aim is not None and p.aim.kind in kinds for p in content.shown):
        marks.append(AxisMark(content.aim.value_w_m2, words.say("figure.axis.aim")))
    return sorted(marks, key=lambda m: m.value_w_m2)


def axis_rows(content: ReportContent, words: Words, kinds: tuple[Kind, ...] = KIND_ORDER) -> list[AxisRow]:
    """Every level of some kinds in the headline state, place by place, kind by kind."""
    rows = []
    for number, place in enumerate(content.places, start=1):
        levels = [lv for lv in _of_state(place, content.state_id) if lv.kind in kinds]
        levels.sort(key=lambda lv: KIND_ORDER.index(lv.kind))
        for level in levels:
            label, detail = f"{number}\u2002{place.name}", words.say(f"kind.{level.kind.value}")
            rows.append(AxisRow(label, level.kind, level.level, level.shown, detail, continued=level is not levels[0]))
    return rows


def axis_figures(content: ReportContent, words: Words) -> list[Figure]:
    """An axis for peaks and held values and one for averages, on one scale; cut where there are many places."""
    both = ((Kind.PEAK, Kind.HIGHEST_HELD), (Kind.AVERAGE,))
    every = axis_rows(content, words)
    return [figure for kinds in both for figure in _axis_of(content, words, kinds, every)]


def _axis_of(content: ReportContent, words: Words, kinds: tuple[Kind, ...], like: list[AxisRow]) -> Iterator[Figure]:
    rows, marks = axis_rows(content, words, kinds), axis_marks(content, words, kinds)
    if not rows:
        return
    pages = math.ceil(len(rows) / ROWS_PER_FIGURE)
    size = math.ceil(len(rows) / pages)
    title = words.say(f"figure.axis.title_{kinds[0].value}")
    for start in range(0, len(rows), size):
        svg = level_axis(rows[start : start + size], marks, words, like=like, span=axis_marks(content, words))
        part = f" ({start // size + 1}/{pages})" if pages > 1 else ""
        yield picture(svg, title + part)


def _of_state(place: PlaceFinding, state_id: str) -> list[PlaceLevel]:
    return [lv for lv in place.levels if lv.state_id == state_id]


def _levels_table(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("levels.state"), weight=2.2),
        Column(words.say("levels.kind"), weight=1.1),
        Column(words.say("levels.shown"), Align.END, 1.2),
        Column(words.say("levels.median"), Align.END, 1.2),
        Column(words.say("levels.interval"), Align.END, 1.8),
        Column(words.say("levels.scans"), Align.END, 0.7),
    )
    rows: list[Row] = []
    for number, place in enumerate(content.places, start=1):
        rows.append(_place_head(number, place, words))
        levels = sorted(place.levels, key=lambda lv: (_state_order(content, lv.state_id), KIND_ORDER.index(lv.kind)))
        previous = ""
        for level in levels:
            state = content.state_name(level.state_id) if level.state_id != previous else ""
            previous = level.state_id
            rows.append(_level_row(state, level, words))
        if not levels:
            rows.append(Row((Cell(words.say("levels.no_levels")),) + (Cell(""),) * (len(columns) - 1)))
    return Table(columns, tuple(rows), words.say("levels.caption"))


def _band_table(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("bands.band"), weight=2.0),
        Column(words.say("levels.kind"), weight=1.0),
        Column(words.say("levels.median"), Align.END, 0.9),
        Column(words.say("levels.interval"), Align.END, 1.5),
        Column(words.say("bands.of_limit"), Align.END, 1.7),
        Column(words.say("bands.guideline"), weight=1.6),
    )
    rows: list[Row] = []
    place = ""
    for said in band_cells(content.bands, words):
        if said.place != place:
            place = said.place
            rows.append(Row((Cell(place, strong=True),), group=True))
        texts = (said.band, said.kind, said.median, said.interval, said.share, said.category)
        rows.append(Row(tuple(Cell(text, strong=n == 2) for n, text in enumerate(texts))))
    return Table(columns, tuple(rows), words.say("bands.caption", state=content.state_name(content.state_id)))


def _state_order(content: ReportContent, state_id: str) -> tuple[bool, int]:
    ids = [s.id for s in content.states]
    return (state_id != content.state_id, ids.index(state_id) if state_id in ids else len(ids))


def _place_head(number: int, place: PlaceFinding, words: Words) -> Row:
    where = ", ".join(t for t in (place.room, place.storey) if t)
    stay = ""
    if place.night_hours or place.day_hours:
        stay = words.say("levels.stay", night=place.night_hours, day=place.day_hours)
    small = " · ".join(t for t in (where, stay, place.note) if t)
    return Row((Cell(f"{number}\u2002{place.name}", small=small, strong=True),), group=True)


def _level_row(state: str, level: PlaceLevel, words: Words) -> Row:
    notes = " · ".join(t for t in (words.text(level.origin), level.note) if t)
    return Row(
        (
            Cell(state, small=notes),
            Cell(words.say(f"kind.{level.kind.value}")),
            Cell(shown_text(level.shown, words)),
            Cell(level_median(level.level, words), strong=True),
            Cell(level_range(level.level, words)),
            Cell(str(level.replicates)),
        )
    )


def _verdict_table(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("levels.reference"), weight=1.8),
        Column(words.say("levels.kind"), weight=0.7),
        Column(words.say("levels.bound"), Align.END, 1.0),
        Column(words.say("levels.result"), weight=3.2),
        Column(words.say("levels.probability"), Align.END, 0.9),
    )
    rows: list[Row] = []
    for number, place in enumerate(content.places, start=1):
        here = [v for v in content.verdicts if v.place_id == place.id and v.state_id == content.state_id]
        if here:
            rows.append(Row((Cell(f"{number}\u2002{place.name}", strong=True),), group=True))
            rows += [_verdict_row(content, v, words) for v in here]
    caption = words.say("levels.caption_verdicts", state=content.state_name(content.state_id))
    if any(v.state_id != content.state_id for v in content.verdicts):
        caption += " " + words.say("levels.see_state")
    return Table(columns, tuple(rows), caption)


def _verdict_row(content: ReportContent, verdict: Verdict, words: Words) -> Row:
    entry = content.reference(verdict.reference_id)
    notes = [words.text(verdict.conversion)]
    if category := category_text(verdict, words):
        notes.append(words.say("levels.category", category=category))
    if verdict.acceptance_w_m2 is not None:
        notes.append(words.say("levels.acceptance", value=verdict.acceptance_w_m2))
    if verdict.upper_bound_only:
        notes.append(words.say("verdict.upper_bound"))
    nothing = words.say("document.nothing")
    return Row(
        (
            Cell(
                words.text(entry.label) if entry else verdict.reference_id,
                small=words.say(f"standing.{entry.standing.value}") if entry else "",
            ),
            Cell(words.say(f"kind.{verdict.kind.value}")),
            Cell(words.numbers.as_given(verdict.bound_w_m2 * 1e6)),
            Cell(outcome_word(verdict.outcome, words), small=" · ".join(n for n in notes if n), strong=True),
            Cell(nothing if verdict.outcome is Outcome.NOT_COMPARABLE else words.chance(verdict.probability_below)),
        )
    )


def labelled(content: ReportContent, storey: PlanStorey, words: Words) -> PlanStorey:
    """A plan with the level of every place beside it and in its colour."""
    shown = {n: p.level for n, p in enumerate(content.shown, start=1)}

    def marked(place: PlanPlace) -> PlanPlace:
        item = shown.get(place.number)
        if item is None:
            return place
        value = level_value(item.level)
        level_db = 10.0 * math.log10(value * 1e6) if value > 0.0 else None
        return replace(place, label=level_median(item.level, words), level_db=level_db)

    return replace(storey, places=tuple(marked(place) for place in storey.places))


def plan_section(content: ReportContent, words: Words) -> Section | None:
    """Every storey with its places; None if there is no plan."""
    if not content.storeys:
        return None
    blocks: list[Block] = []
    told = False
    for plain in content.storeys:
        storey = labelled(content, plain, words)
        caption = words.say("figure.plan.caption_plain", storey=storey.name)
        if any(p.label for p in storey.places) and not told:  # what the figures are is said once, for all storeys
            caption = words.say("figure.plan.caption", storey=storey.name, figures=figures_of(content, words))
            told = True
        svg = storey_plan(storey, words)
        blocks.append(picture(svg, caption))
    return Section(Part.PLAN, words.say("section.plan"), tuple(blocks))
