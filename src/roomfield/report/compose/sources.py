"""Sections on causes and on what to do: contributions, located sources, map, next steps."""

from __future__ import annotations

import math
from dataclasses import replace

from roomfield.report.compose.blocks import (
    Align,
    Block,
    Cell,
    Column,
    Figure,
    Heading,
    Item,
    Listing,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
)
from roomfield.report.compose.levels import labelled
from roomfield.report.compose.picture import picture
from roomfield.report.document import ReportContent
from roomfield.show.figures.bars import ContributionBar, contribution_bars
from roomfield.show.figures.level_map import contour_step, level_map
from roomfield.show.figures.ways import ways_figure
from roomfield.show.findings import Contribution, StepGroup
from roomfield.show.words import Words
from roomfield.show.words.sentences import KIND_ORDER

_BARS = 24


def sources_section(content: ReportContent, words: Words) -> Section | None:
    """What each source contributes; None if nothing is known about it."""
    blocks: list[Block] = []
    shares = [c for c in ordered_contributions(content) if not c.state_with]
    if shares:
        blocks.append(Paragraph(words.say("sources.intro_shares", coverage=content.rules.coverage)))
        blocks += _contribution_blocks(content, shares, "modelled", words)
    elif content.contributions:
        blocks.append(Paragraph(words.say("sources.only_switched")))
    blocks += _ways_figures(content, words)
    if content.sources:
        blocks += [Heading(words.say("section.located")), _located_table(content, words)]
    return Section(Part.SOURCES, words.say("section.sources"), tuple(blocks)) if blocks else None


def _ways_figures(content: ReportContent, words: Words) -> list[Block]:
    """What reaches the places that sleep in it, as ways on the plan."""
    figures: list[Block] = []
    for one in content.ways:
        number = content.place_number(one.place_id)
        storey = next((s for s in content.storeys if any(p.number == number for p in s.places)), None)
        if storey is not None:
            svg = ways_figure(labelled(content, storey, words), number, one.ways, words)
            figures.append(picture(svg, words.say("ways.caption", place=content.place_name(one.place_id))))
    return figures


def switching_section(content: ReportContent, words: Words) -> Section | None:
    """What went away with each switch, at the largest spot; None if nothing was switched."""
    switched = [c for c in ordered_contributions(content) if c.state_with]
    if not switched:
        return None
    intro = Paragraph(words.say("sources.intro", coverage=content.rules.coverage))
    blocks = (intro, *_contribution_blocks(content, switched, "switched", words))
    return Section(Part.SWITCHING, words.say("section.switching"), blocks)


def ordered_contributions(content: ReportContent) -> list[Contribution]:
    """Contributions place by place, within a place by kind, the strongest first."""
    return sorted(
        content.contributions,
        key=lambda c: (content.place_number(c.place_id), KIND_ORDER.index(c.kind), -c.median_w_m2),
    )


def _contribution_blocks(content: ReportContent, items: list[Contribution], way: str, words: Words) -> list[Block]:
    """Figures and table of the contributions found in one way."""
    if not items:
        return []
    return [*_bar_figures(content, items, way, words), _contribution_table(content, items, words)]


def _bar_figures(content: ReportContent, items: list[Contribution], way: str, words: Words) -> list[Figure]:
    """The first kind in the usual order that was compared, so that no figure mixes kinds."""
    kind = min((c.kind for c in items), key=KIND_ORDER.index)
    bars = [
        ContributionBar(
            f"{content.place_number(c.place_id)}\u2002{content.place_name(c.place_id)}",
            c.source,
            c.median_w_m2,
            c.low_w_m2,
            c.high_w_m2,
        )
        for c in items
        if c.kind is kind and c.median_w_m2 == c.median_w_m2
    ]
    if not bars:
        return []
    caption = words.say(f"figure.contributions.caption_{way}", kind=words.say(f"kind_noun.{kind.value}"))
    pages = math.ceil(len(bars) / _BARS)
    size = math.ceil(len(bars) / pages)
    return [
        picture(contribution_bars(bars[start : start + size], words), caption) for start in range(0, len(bars), size)
    ]


def _contribution_table(content: ReportContent, items: list[Contribution], words: Words) -> Table:
    shares = any(c.share is not None for c in items)
    reasons = any(c.state_with for c in items)
    columns = [
        Column(words.say("sources.source"), weight=1.9),
        Column(words.say("levels.kind"), weight=0.9),
        Column(words.say("sources.fall" if reasons else "sources.amount"), Align.END, 1.0),
        Column(words.say("levels.interval"), Align.END, 1.5),
    ]
    if shares:
        columns.append(Column(words.say("sources.share"), Align.END, 1.2))
    if reasons:
        columns.append(Column(words.say("sources.basis"), weight=2.2))
    rows: list[Row] = []
    before: Contribution | None = None
    for item in _source_by_source(items):
        if before is None or item.place_id != before.place_id:
            name = f"{content.place_number(item.place_id)}\u2002{content.place_name(item.place_id)}"
            rows.append(Row((Cell(name, strong=True),), group=True))
        again = before is not None and (item.place_id, item.source) == (before.place_id, before.source)
        cells = [Cell("" if again else item.source), *_contribution_cells(item, words, shares)]
        if reasons:
            basis = _basis(content, item, words)
            said = again and before is not None and basis == _basis(content, before, words)
            cells.append(Cell("" if said else basis))
        rows.append(Row(tuple(cells)))
        before = item
    return Table(tuple(columns), tuple(rows), words.say("sources.caption" if reasons else "sources.caption_shares"))


def _source_by_source(items: list[Contribution]) -> list[Contribution]:
    """The same items with the kinds of one source together, the sources in the order in which they first stand."""
    first: dict[tuple[str, str], int] = {}
    for number, item in enumerate(items):
        first.setdefault((item.place_id, item.source), number)
    places = list(dict.fromkeys(i.place_id for i in items))
    return sorted(items, key=lambda i: (places.index(i.place_id), first[i.place_id, i.source]))


def _contribution_cells(item: Contribution, words: Words, shares: bool) -> list[Cell]:
    zero = words.say("sources.includes_zero") if item.low_w_m2 <= 0 <= item.high_w_m2 else ""
    known = item.median_w_m2 == item.median_w_m2
    span = words.say("level.range", low=item.low_w_m2, high=item.high_w_m2) if known else words.say("document.nothing")
    cells = [
        Cell(words.say(f"kind.{item.kind.value}")),
        Cell(words.numbers.micro(item.median_w_m2), strong=True),
        Cell(span, small=zero),
    ]
    if shares:
        cells.append(_share(item, words))
    return cells


def _share(item: Contribution, words: Words) -> Cell:
    if item.share is None:
        return Cell(words.say("document.nothing"))
    span = ""
    if item.share_low is not None and item.share_high is not None:
        span = words.say("sources.share_range", low=item.share_low, high=item.share_high)
    return Cell(words.numbers.percent(item.share), small=span)


def _basis(content: ReportContent, item: Contribution, words: Words) -> str:
    basis = words.text(item.basis)
    if not item.state_with:
        return basis or words.say("sources.model")
    named = {"with": content.state_name(item.state_with), "without": content.state_name(item.state_without)}
    return " · ".join(t for t in (words.say("sources.states", **named), basis) if t)


def _located_table(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("located.source"), weight=1.6),
        Column(words.say("located.power"), weight=1.5),
        Column(words.say("located.position"), weight=1.6),
        Column(words.say("located.statement"), weight=2.2),
    )
    rows = []
    for source in content.sources:
        power = words.say("document.nothing")
        if None not in (source.power_low_w, source.power_median_w, source.power_high_w):
            power = words.say(
                "located.watts",
                low=source.power_low_w,
                median=source.power_median_w,
                high=source.power_high_w,
            )
        rows.append(
            Row(
                (
                    Cell(f"{source.letter}\u2002{source.name}", small=source.technology),
                    Cell(power),
                    Cell(words.text(source.position)),
                    Cell(words.text(source.statement)),
                )
            )
        )
    return Table(columns, tuple(rows), words.say("located.caption"))


def map_section(content: ReportContent, words: Words) -> Section | None:
    """Maps of levels; None if there are none."""
    if not content.maps:
        return None
    blocks: list[Block] = [Paragraph(words.say("map.intro"))]
    for plain in content.maps:
        grid = replace(plain, storey=labelled(content, plain.storey, words))
        caption = words.say(
            "figure.map.caption",
            title=grid.title or grid.storey.name,
            step=contour_step(grid),
            factor=10.0 ** (contour_step(grid) / 10.0),
            hatch=grid.hatch_above_db,
        )
        blocks.append(picture(level_map(grid, words), f"{caption} {grid.note}".strip()))
    return Section(Part.MAP, words.say("section.map"), tuple(blocks))


def steps_section(content: ReportContent, words: Words) -> Section:
    """What to do next, in order of work."""
    blocks: list[Block] = [Paragraph(words.say("steps.intro"))]
    count = 1
    for group in StepGroup:
        steps = [s for s in content.steps if s.group is group]
        if not steps:
            continue
        items = []
        for step in steps:
            expected = words.text(step.expected)
            extra = words.say("steps.expected", text=expected) if expected else ""
            items.append(Item(words.text(step.reason), title=words.text(step.title), extra=extra))
        blocks += [
            Heading(words.say(f"steps.{group.value}")),
            Listing(tuple(items), numbered=True, start=count),
        ]
        count += len(items)
    if not content.steps:
        blocks.append(Paragraph(words.say("steps.none")))
    if content.measuring is not None:
        blocks.append(Paragraph(words.text(content.measuring)))
    return Section(Part.STEPS, words.say("section.steps"), tuple(blocks))
