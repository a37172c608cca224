"""Sections on causes and on what to do: contributions, located sources, map, next steps."""

from __future__ import annotations

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
from roomfield.report.compose.picture import picture
from roomfield.report.document import ReportContent
from roomfield.report.figures.bars import ContributionBar, contribution_bars
from roomfield.report.figures.level_map import level_map
from roomfield.report.findings import Contribution, StepGroup
from roomfield.report.words import Words

_BARS = 24


def sources_section(content: ReportContent, words: Words) -> Section | None:
    """What each source contributes; None if nothing is known about it."""
    blocks: list[Block] = []
    if content.contributions:
        blocks.append(Paragraph(words.say("sources.intro")))
        bars = [
            ContributionBar(
                f"{content.place_number(c.place_id)}\u2002{content.place_name(c.place_id)}",
                c.source,
                c.median_w_m2,
                c.low_w_m2,
                c.high_w_m2,
            )
            for c in content.contributions
        ]
        for start in range(0, len(bars), _BARS):
            svg = contribution_bars(bars[start : start + _BARS], words)
            blocks.append(picture(svg, words.say("figure.contributions.caption")))
        blocks.append(_contribution_table(content, words))
    if content.sources:
        blocks += [Heading(words.say("section.located")), _located_table(content, words)]
    return Section(Part.SOURCES, words.say("section.sources"), tuple(blocks)) if blocks else None


def _contribution_table(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("sources.source"), weight=1.8),
        Column(words.say("sources.contribution"), Align.END, 1.1),
        Column(words.say("levels.interval"), Align.END, 1.5),
        Column(words.say("sources.share"), Align.END, 1.2),
        Column(words.say("sources.basis"), weight=2.0),
    )
    rows: list[Row] = []
    place_id = ""
    for item in content.contributions:
        if item.place_id != place_id:
            place_id = item.place_id
            name = f"{content.place_number(place_id)}\u2002{content.place_name(place_id)}"
            rows.append(Row((Cell(name, strong=True),), group=True))
        rows.append(_contribution_row(content, item, words))
    return Table(columns, tuple(rows), words.say("sources.caption"))


def _contribution_row(content: ReportContent, item: Contribution, words: Words) -> Row:
    span = words.say("level.range", low=item.low_w_m2, high=item.high_w_m2)
    zero = words.say("sources.includes_zero") if item.low_w_m2 <= 0 <= item.high_w_m2 else ""
    share = words.numbers.percent(item.share) if item.share is not None else words.say("document.nothing")
    share_range = ""
    if item.share_low is not None and item.share_high is not None:
        share_range = words.say("sources.share_range", low=item.share_low, high=item.share_high)
    basis = words.text(item.basis)
    if item.state_with:
        states = words.say(
            "sources.states",
            **{
                "with": content.state_name(item.state_with),
                "without": content.state_name(item.state_without),
            },
        )
        basis = " · ".join(t for t in (states, basis) if t)
    return Row(
        (
            Cell(item.source, small=words.say(f"kind.{item.kind.value}")),
            Cell(words.numbers.micro(item.median_w_m2), strong=True),
            Cell(span, small=zero),
            Cell(share, small=share_range),
            Cell(basis or words.say("sources.model")),
        )
    )


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
    for grid in content.maps:
        caption = words.say(
            "figure.map.caption",
            title=grid.title or grid.storey.name,
            step=grid.step_db,
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
    return Section(Part.STEPS, words.say("section.steps"), tuple(blocks))
