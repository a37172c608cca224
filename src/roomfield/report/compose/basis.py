"""Sections on what the findings rest on: method, instrument, budget, references, cautions."""

from __future__ import annotations

import re

from roomfield.report.compose.blocks import (
    Align,
    Block,
    Cell,
    Column,
    Facts,
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
from roomfield.show.evidence import Budget, Caution, MeterEntry, ReferenceEntry
from roomfield.show.figures.bars import budget_bars
from roomfield.show.figures.control_chart import control_chart
from roomfield.show.words import Words

_MARKS = re.compile(r"[\s,;]*\(?\bE\d{2}\b\)?")
"""Marks of the register of evidence, which stands in the data files."""


def method_section(content: ReportContent, words: Words) -> Section:
    """How it was measured, corrected and compared."""
    rules = content.rules
    distance = min((m.body_distance_m for m in content.meters), default=0.3)
    axes = "axis_three" if content.meters and all(m.pickup_axes >= 3 for m in content.meters) else "axis_one"
    keys = ["method.scan", f"method.{axes}", "method.kinds", "method.sums", "method.censored"]
    blocks: list[Block] = [Paragraph(words.say(k, distance=distance)) for k in keys]
    blocks += [Paragraph(words.text(t)) for t in content.method]
    blocks.append(Paragraph(words.say("method.interval", coverage=rules.coverage)))
    rule = words.text(rules.decision_rule) or words.say("method.rule_default")
    blocks.append(Paragraph(words.say("method.rule", rule=rule)))
    if rules.risk is not None:
        blocks.append(Paragraph(words.say("method.risk", risk=rules.risk)))
    edges = words.text(rules.category_edges)
    blocks.append(Paragraph(words.say("method.edges_label", text=edges) if edges else words.say("method.edges")))
    blocks += [*_states(content, words), *_visits(content, words), Paragraph(_disclosure(content, words))]
    return Section(Part.METHOD, words.say("section.method"), tuple(blocks))


def _disclosure(content: ReportContent, words: Words) -> str:
    text = words.text(content.parties.disclosure)
    return words.say("method.disclosure", text=text) if text else words.say("method.no_disclosure")


def _states(content: ReportContent, words: Words) -> list[Block]:
    if not content.states:
        return []
    columns = (Column(words.say("method.state"), weight=1.2), Column(words.say("method.off"), weight=2.5))
    rows = tuple(
        Row((Cell(s.name), Cell(", ".join(s.off) or words.say("method.as_found"), small=s.note)))
        for s in content.states
    )
    return [Table(columns, rows, words.say("method.states_caption"))]


def _visits(content: ReportContent, words: Words) -> list[Block]:
    if not content.visits:
        return []
    columns = (
        Column(words.say("method.visit"), weight=1.5),
        Column(words.say("method.assessor"), weight=1.2),
        Column(words.say("method.conditions"), weight=2.2),
    )
    rows = []
    for visit in content.visits:
        when = words.numbers.moment(visit.started_at)
        if visit.ended_at:
            when = words.say("method.from_to", start=when, end=words.numbers.moment(visit.ended_at))
        notes = " · ".join(t for t in (visit.conditions, visit.note) if t)
        rows.append(Row((Cell(when, small=words.text(visit.purpose)), Cell(visit.assessor), Cell(notes))))
    return [Table(columns, tuple(rows), words.say("method.visits_caption"))]


def instrument_section(content: ReportContent, words: Words) -> Section | None:
    """Meters with calibration and reference checks; None if there is no meter."""
    if not content.meters:
        return None
    blocks: list[Block] = []
    for meter in content.meters:
        blocks += _meter(meter, words)
    return Section(Part.INSTRUMENT, words.say("section.instrument"), tuple(blocks))


def _meter(meter: MeterEntry, words: Words) -> list[Block]:
    blocks: list[Block] = [Facts(_meter_facts(meter, words), words.say("instrument.caption", name=meter.name))]
    if meter.calibration_overdue:
        blocks.append(Paragraph(words.say("instrument.overdue"), "note"))
    if meter.assumed:
        blocks.append(Paragraph(words.say("instrument.not_stated"), "note"))
    if meter.calibration:
        blocks.append(_calibration(meter, words))
    elif not meter.certificate:
        blocks.append(Paragraph(words.say("instrument.no_certificate")))
    low, high = meter.receives_hz or (meter.band_low_hz, meter.band_high_hz)
    blocks += [Paragraph(words.text(remark)) for remark in meter.remarks]
    blocks.append(Paragraph(words.say("instrument.band_note", low=low, high=high)))
    if meter.chart is not None and meter.chart.checks:
        svg = control_chart(meter.chart, words)
        blocks.append(picture(svg, words.say("figure.control.caption", meter=meter.name)))
        statement = words.text(meter.chart.statement)
        blocks += [Paragraph(statement)] if statement else []
    else:
        blocks.append(Paragraph(words.say("instrument.no_checks", name=meter.name)))
    if meter.note:
        blocks.append(Paragraph(meter.note, "small"))
    return blocks


def _meter_facts(meter: MeterEntry, words: Words) -> tuple[tuple[str, str], ...]:
    n, unknown = words.numbers, words.say("instrument.unknown")
    tolerance = words.say("instrument.tolerance_value", value=meter.tolerance_db)
    basis = words.text(meter.tolerance_basis)
    facts = {
        "serial": meter.serial or unknown,
        "band": words.say("instrument.band_value", low=meter.band_low_hz, high=meter.band_high_hz),
        "tolerance": f"{tolerance}, {basis}" if basis else tolerance,
        "repeatability": n.decibel(meter.repeatability_db),
        "floor": f"{n.as_given(meter.floor_w_m2 * 1e6)}\u00a0µW/m²",
        "overload": unknown if meter.overload_w_m2 is None else n.power(meter.overload_w_m2),
        "response": n.duration(meter.response_s),
        "averaging": n.duration(meter.averaging_s),
        "body": f"{n.as_given(meter.body_distance_m)}\u00a0m",
        "axes": str(meter.pickup_axes),
        "calibrated": n.date(meter.calibrated_on) if meter.calibrated_on else unknown,
        "due": n.date(meter.calibration_due) if meter.calibration_due else unknown,
        "certificate": meter.certificate or unknown,
    }
    for key in _assumed(meter):
        facts[key] = words.say("instrument.assumed", value=facts[key])
    return tuple((words.say(f"instrument.{key}"), value) for key, value in facts.items())


def _assumed(meter: MeterEntry) -> set[str]:
    """Facts in which a cautious figure stands in for one that nobody has stated."""
    named = {
        "band_low_hz": "band", "band_high_hz": "band", "tolerance_db": "tolerance",
        "repeatability_db": "repeatability", "floor_w_m2": "floor", "response_s": "response",
        "averaging_s": "averaging", "body_distance_m": "body", "pickup_axes": "axes",
    }  # fmt: skip
    return {named[name] for name in meter.assumed if name in named}


def _calibration(meter: MeterEntry, words: Words) -> Table:
    columns = (
        Column(words.say("instrument.frequency"), Align.END),
        Column(words.say("instrument.correction"), Align.END),
        Column(words.say("instrument.std"), Align.END),
    )
    rows = tuple(
        Row(
            (
                Cell(words.numbers.frequency(c.frequency_hz)),
                Cell(words.numbers.decibel(c.correction_db)),
                Cell(words.numbers.decibel(c.std_db)),
            )
        )
        for c in meter.calibration
    )
    return Table(columns, rows, words.say("instrument.calibration_caption", name=meter.name))


def budget_section(content: ReportContent, words: Words) -> Section | None:
    """The uncertainty budgets, one for each kind; None if none is given."""
    if not content.budgets:
        return None
    blocks: list[Block] = [Paragraph(words.say("budget.intro"))]
    for budget in content.budgets:
        blocks += _budget(budget, words)
    return Section(Part.BUDGET, words.say("section.budget"), tuple(blocks))


def _budget(budget: Budget, words: Words) -> list[Block]:
    kind = budget.lines[0].kind if budget.lines else None
    columns = (
        Column(words.say("budget.part"), weight=2.0),
        Column(words.say("budget.std"), Align.END, 1.2),
        Column(words.say("budget.distribution"), weight=1.3),
        Column(words.say("budget.shared"), weight=1.1),
        Column(words.say("budget.source"), weight=2.2),
    )
    rows = tuple(
        Row(
            (
                Cell(words.text(line.name)),
                Cell(words.numbers.decibel(line.std_db)),
                Cell(words.text(line.distribution)),
                Cell(words.say("budget.yes" if line.shared else "budget.no")),
                Cell(words.text(line.source)),
            )
        )
        for line in budget.lines
    )
    combined = words.say("budget.combined", value=budget.combined_std_db, low=budget.low_db, high=budget.high_db)
    named = words.say("budget.caption_kind", kind=words.say(f"kind_noun.{kind.value}")) if kind else ""
    return [
        picture(budget_bars(budget, words), words.say("figure.budget.caption")),
        Table(columns, rows, named or words.say("budget.caption")),
        Paragraph(f"{combined} {words.text(budget.method)}".strip()),
    ]


def references_section(content: ReportContent, words: Words) -> Section | None:
    """Every reference with its standing, and the mainstream bodies' positions."""
    if not content.references and not content.positions:
        return None
    blocks: list[Block] = []
    if content.references:
        blocks += [Paragraph(words.say("references.intro")), _reference_table(content, words)]
        for entry in content.references:
            blocks += _categories(entry, words)
    if content.positions:
        blocks += [Heading(words.say("section.positions")), Paragraph(words.say("positions.intro"))]
        blocks.append(_positions(content, words))
    return Section(Part.REFERENCES, words.say("section.references"), tuple(blocks))


def _reference_table(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("references.document"), weight=2.4),
        Column(words.say("references.standing"), weight=1.2),
        Column(words.say("references.asks"), weight=1.2),
        Column(words.say("references.value"), Align.END, 1.5),
        Column(words.say("references.how"), weight=1.5),
    )
    return Table(columns, tuple(_reference_row(e, words) for e in content.references), words.say("references.caption"))


def _reference_row(entry: ReferenceEntry, words: Words) -> Row:
    edition = words.say("references.edition", edition=entry.edition) if entry.edition else ""
    where = " · ".join(t for t in (entry.document, edition, entry.clause, entry.issuer) if t)
    asks = words.say(f"kind.{entry.kind.value}")
    if entry.averaging_s is not None:
        asks = words.say("references.averaged", kind=asks, time=entry.averaging_s)
    value = words.numbers.power(entry.value_w_m2) if entry.value_w_m2 is not None else words.say("document.nothing")
    where = "\n".join(t for t in (where, without_marks(words.text(entry.note))) if t)
    unused = "" if entry.used else words.say("references.not_used")
    how = how_known(words.text(entry.how_known), words)
    return Row(
        (
            Cell(words.text(entry.label), small=where, strong=True),
            Cell(words.say(f"standing.{entry.standing.value}")),
            Cell(asks, small=unused),
            Cell(value),
            Cell(how),
        )
    )


def _categories(entry: ReferenceEntry, words: Words) -> list[Block]:
    """Categories of a guideline with what each asks for, and what the guideline asks of a reading."""
    blocks: list[Block] = []
    if entry.edges_w_m2 and entry.used:
        columns = (
            Column(words.say("references.category"), weight=1.4),
            Column(words.say("references.from"), Align.END, 0.9),
            Column(words.say("references.category_asks"), weight=3.0),
        )
        rows = tuple(
            Row(
                (
                    Cell(words.term(words.text(name))),
                    Cell(words.numbers.as_given(edge * 1e6)),
                    Cell(words.translated("category_asks", words.text(name), "")),
                )
            )
            for name, edge in entry.edges_w_m2
        )
        blocks.append(Table(columns, rows, words.say("references.category_caption", label=entry.label)))
    if entry.conditions:
        asked = tuple(Item(words.translated("condition_text", text)) for text in entry.conditions)
        blocks += [Paragraph(words.say("references.conditions", label=entry.label)), Listing(asked)]
    return blocks


def _positions(content: ReportContent, words: Words) -> Table:
    columns = (
        Column(words.say("positions.body"), weight=1.0),
        Column(words.say("positions.position"), weight=3.2),
        Column(words.say("positions.how"), weight=1.4),
    )
    rows = tuple(
        Row(
            (
                Cell(p.body, strong=True),
                Cell(
                    words.translated("position_text", p.text),
                    small=" · ".join(t for t in (p.document, p.edition) if t),
                ),
                Cell(how_known(p.how_known, words)),
            )
        )
        for p in content.positions
    )
    return Table(columns, rows, words.say("positions.caption"))


def how_known(text: str, words: Words) -> str:
    """How a value is known, in the client's copy: the register behind the marks stands in the data files."""
    if not text:
        return words.say("how.unknown")
    if text.startswith("confirmed"):
        return words.say("how.confirmed")
    return without_marks(words.translated("how_text", text))


def without_marks(text: str) -> str:
    """A note without the marks of the register of evidence."""
    return _MARKS.sub("", text)


def undetermined_section(content: ReportContent, words: Words) -> Section:
    """What could not be determined, with the limits that any visit with such a meter has."""
    items = [Item(words.text(t)) for t in content.undetermined]
    items += [Item(words.say(f"undetermined.default_{key}")) for key in ("band", "moment", "services")]
    blocks: tuple[Block, ...] = (Paragraph(words.say("undetermined.intro")), Listing(tuple(items)))
    return Section(Part.UNDETERMINED, words.say("section.undetermined"), blocks)


def cautions_section(content: ReportContent, words: Words) -> Section | None:
    """Cautions that do not belong to a piece of the planned work, by group; None if there are none."""
    told = {c.topic for item in (content.remedy.items if content.remedy else ()) for c in item.cautions
            if isinstance(c, Caution)}  # fmt: skip
    left = [c for c in content.cautions if c.topic not in told]
    if not left:
        return None
    blocks: list[Block] = [Paragraph(words.say("cautions.intro"))]
    for group in dict.fromkeys(c.group for c in left):
        key = f"caution_group.{group}"
        if group:
            blocks.append(Heading(words.say(key) if words.has(key) else group))
        items = tuple(
            Item(words.translated("caution_text", c.text), title=words.translated("caution_topic", c.topic))
            for c in left
            if c.group == group
        )
        blocks.append(Listing(items))
    return Section(Part.CAUTIONS, words.say("section.cautions"), tuple(blocks))
