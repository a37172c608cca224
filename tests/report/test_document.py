from __future__ import annotations

import dataclasses
import re
from pathlib import Path
from types import ModuleType

import pytest

from roomfield.report import document
from roomfield.report.compose import Part, compose
from roomfield.report.compose.answer import aim_sentence, law_sentence
from roomfield.report.compose.blocks import ANNEXES, Figure, Listing, Paragraph, Table
from roomfield.report.compose.front import MAX_PLACES, first_places
from roomfield.report.compose.levels import axis_rows
from roomfield.report.compose.sources import ordered_contributions
from roomfield.report.document import ReportContent
from roomfield.report.render import field_sheet
from roomfield.show import chapters, drawings, evidence, findings
from roomfield.show.findings import Outcome, StepGroup
from roomfield.show.words import Words
from roomfield.show.words.sentences import KIND_ORDER

DOCS = Path(__file__).resolve().parents[2] / "docs" / "report.md"
MODULES = (document, findings, evidence, drawings, chapters, field_sheet)


def value_types() -> list[type]:
    return [
        item
        for module in MODULES
        for item in vars(module).values()
        if dataclasses.is_dataclass(item) and isinstance(item, type) and item.__module__ == module.__name__
    ]


def test_content_is_frozen_values() -> None:
    types = value_types()
    assert len(types) > 35
    for item in types:
        assert item.__dataclass_params__.frozen, item  # type: ignore[attr-defined]
        assert not [f for f in dataclasses.fields(item) if re.search(r"\b(list|dict|set)\b", str(f.type))], item


def test_every_field_is_documented() -> None:
    text = DOCS.read_text(encoding="utf-8")
    named = set(re.findall(r"`([A-Za-z_0-9]+)`", text)) | set(re.findall(r"^### (\w+)", text, re.MULTILINE))
    for item in value_types():
        assert item.__name__ in named, item
        missing = [f.name for f in dataclasses.fields(item) if f.name not in named]
        assert not missing, (item, missing)


def test_every_part_is_documented() -> None:
    text = DOCS.read_text(encoding="utf-8")
    assert [p for p in Part if f"`{p.value}`" not in text] == []


def test_parts_come_in_their_order(sample: ModuleType, words: Words) -> None:
    sheet = compose(sample.full(), words)
    order = list(Part)
    positions = [order.index(s.part) for s in sheet.sections]
    assert positions == sorted(positions)
    assert {s.part for s in sheet.sections} | {Part.FRONT} == set(Part)


def test_steps_keep_the_order_of_work(sample: ModuleType, english: Words) -> None:
    content = sample.content(steps=tuple(reversed(sample.content().steps)))
    section = next(s for s in compose(content, english).sections if s.part is Part.STEPS)
    lists = [b for b in section.blocks if isinstance(b, Listing)]
    assert [b.start for b in lists] == [1, 3, 4]
    first = {g: next(s for s in content.steps if s.group is g) for g in StepGroup}
    assert [b.items[0].title for b in lists] == [english.text(first[g].title) for g in StepGroup]


def test_first_page_shows_where_people_sleep_first(sample: ModuleType) -> None:
    chosen = first_places(sample.many(40))
    assert len(chosen) == MAX_PLACES
    assert all(p.place.sleeping for p in chosen)
    highest = [p.level.level.high_w_m2 for p in chosen]
    assert highest == sorted(highest, reverse=True)


def test_kinds_stay_apart_on_the_axis(sample: ModuleType, english: Words) -> None:
    content = sample.content()
    rows = axis_rows(content, english)
    expected = [
        (n, lv.kind)
        for n, p in enumerate(content.places, start=1)
        for lv in sorted(p.levels, key=lambda lv: KIND_ORDER.index(lv.kind))
        if lv.state_id == content.state_id
    ]
    assert [(int(r.label.split("\u2002")[0]), r.kind) for r in rows] == expected


def test_no_contribution_is_lost_in_ordering(sample: ModuleType) -> None:
    content = sample.content()
    assert set(ordered_contributions(content)) == set(content.contributions)


def outcomes(sample: ModuleType, law: list[Outcome | None], guideline: list[Outcome | None]) -> ReportContent:
    base = sample.content()
    place = base.places[0]
    places = tuple(dataclasses.replace(place, id=f"p{n}", name=f"Place {n}") for n in range(len(law)))
    verdicts = [
        dataclasses.replace(base.verdicts[0], place_id=f"p{n}", reference_id=reference, outcome=outcome)
        for reference, column in (("eu", law), ("sbm", guideline))
        for n, outcome in enumerate(column)
        if outcome is not None
    ]
    return dataclasses.replace(base, places=places, verdicts=tuple(verdicts))


@pytest.mark.parametrize(
    ("law", "said"),
    [
        ([Outcome.BELOW], "At the one place that could be compared, the level is below"),
        ([Outcome.BELOW] * 3, "At all 3 places that could be compared"),
        ([Outcome.ABOVE, Outcome.BELOW], "At one place the level is above"),
        ([Outcome.UNDECIDED, Outcome.BELOW], "cannot settle whether"),
        ([Outcome.LIKELY_BELOW], "Probably below"),
        ([Outcome.BELOW, None], "One place could not be compared: Place 1"),
        ([Outcome.NOT_COMPARABLE], "could not be compared with an official limit"),
        ([Outcome.NOT_COMPARABLE, Outcome.BELOW], "One place could not be compared: Place 0"),
    ],
)
def test_sentence_about_the_law(sample: ModuleType, english: Words, law: list[Outcome | None], said: str) -> None:
    content = outcomes(sample, law, [None] * len(law))
    assert said in law_sentence(content, english)


def test_a_doubtful_outcome_is_never_counted_as_a_pass(sample: ModuleType, words: Words) -> None:
    for doubtful in (Outcome.LIKELY_BELOW, Outcome.UNDECIDED, Outcome.LIKELY_ABOVE, Outcome.ABOVE):
        content = outcomes(sample, [doubtful, Outcome.BELOW], [doubtful, Outcome.BELOW])
        for sentence in (law_sentence(content, words), aim_sentence(content, words)):
            assert "Place 0" in sentence
            assert words.say("front.rest_below", n=1) in sentence


def test_a_recommendation_is_not_called_law(sample: ModuleType, english: Words) -> None:
    assert "legal limit" not in law_sentence(sample.content(), english)
    assert "officially recommended limit" in law_sentence(sample.content(), english)


def test_without_a_chosen_guideline_the_page_says_so(sample: ModuleType, english: Words) -> None:
    assert "No precautionary guideline was chosen" in aim_sentence(sample.content(guideline_id=""), english)


def test_sentences_of_the_first_page_refer_to_sections_that_exist(sample: ModuleType, english: Words) -> None:
    sheet = compose(sample.full(), english)
    numbered = [s for s in sheet.sections if s.numbered]
    assert sheet.front is not None
    texts = " ".join(b.text for b in sheet.front.blocks if isinstance(b, Paragraph))
    method = next(s for s in numbered if s.part is Part.METHOD)
    assert f"annex {method.number}" in texts
    chapters = [s.number for s in numbered if s.part not in ANNEXES]
    assert chapters == [str(n) for n in range(1, len(chapters) + 1)]
    assert [s.number for s in numbered if s.part in ANNEXES] == list("ABCDEFGHIJ")


def test_every_figure_has_alternative_and_caption_and_every_table_whole_rows(sample: ModuleType, words: Words) -> None:
    for section in compose(sample.full(), words).sections:
        for block in section.blocks:
            if isinstance(block, Figure):
                assert block.alt
                assert block.caption
            if isinstance(block, Table):
                assert {len(r.cells) for r in block.rows if not r.group} <= {len(block.columns)}
                assert all(len(r.cells) == 1 for r in block.rows if r.group)


def test_withdrawn_and_amended_readings_stay_and_say_so(sample: ModuleType, english: Words) -> None:
    readings = sample.readings(sample.PLACES)
    content = sample.content(readings=(dataclasses.replace(readings[0], withdrawn=True), *readings[1:]))
    annex = next(s for s in compose(content, english).sections if s.part is Part.ANNEX)
    table = next(b for b in annex.blocks if isinstance(b, Table))
    assert len(table.rows) == len(readings)
    assert table.rows[0].cells[-1].text.startswith("withdrawn")
    assert table.rows[2].cells[-1].text.startswith("amended")


def test_overdue_calibration_is_said_on_the_first_page(sample: ModuleType, words: Words) -> None:
    meter = dataclasses.replace(sample.meter(), calibration_overdue=True)
    sheet = compose(sample.content(meters=(meter,)), words)
    assert sheet.front is not None
    said = " ".join(b.text for b in sheet.front.blocks if isinstance(b, Paragraph))
    assert words.say("instrument.overdue") in said


def test_missing_disclosure_is_said(sample: ModuleType, english: Words) -> None:
    parties = dataclasses.replace(sample.content().parties, disclosure="")
    method = next(s for s in compose(sample.content(parties=parties), english).sections if s.part is Part.METHOD)
    texts = [b.text for b in method.blocks if isinstance(b, Paragraph)]
    assert english.say("method.no_disclosure") in texts
