"""One survey at every door: the same number, interval and verdict for each place, and the same contributions."""

from __future__ import annotations

import html
import json
import re
import unicodedata
from pathlib import Path

import pypdfium2
import pytest
from openpyxl import load_workbook
from starlette.testclient import TestClient
from typer.testing import CliRunner

import roomfield as rf
from roomfield.cli.main import app
from roomfield.report.render.html import render_html
from roomfield.report.render.pdf import render_pdf
from roomfield.report.render.tables import write_tables
from roomfield.show.words import load_words
from roomfield.web.app import create_app
from roomfield.web.settings import Settings
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.publish.answers import answer, answer_cells
from roomfield.workbench.record.demo_record import demo_job
from roomfield.workbench.record.survey_list import open_records

LANGUAGE = "en"


def squeezed(text: str) -> str:
    """Text without any space, so that line breaks and thin spaces do not matter."""
    return re.sub(r"[\s\u00ad\u200b\ufffe\u202f\u00a0\u2009\x02-]+", "", unicodedata.normalize("NFKC", text))


def text_of(page: str) -> str:
    """What a page says, without its tags."""
    return html.unescape(re.sub(r"<[^>]+>", " ", page))


@pytest.fixture(scope="module")
def record(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("doors")
    demo_job(folder)
    return folder


@pytest.fixture(scope="module")
def content(record):
    return answer(rf.open(record).survey, "", modelled=True)


@pytest.fixture(scope="module")
def texts(content) -> list[tuple[str, ...]]:
    """What must stand at every door, by place: number, interval, average, and both verdicts."""
    rows = []
    for cells in answer_cells(content, LANGUAGE):
        assert cells.level is not None
        assert cells.average is not None
        rows.append((cells.place, cells.level.number, cells.level.interval, cells.average.number, cells.aim, cells.law))
    return rows


def holds(text: str, rows: list[tuple[str, ...]]) -> None:
    whole = squeezed(text)
    for row in rows:
        for part in row:
            assert squeezed(part) in whole, (row[0], part)


def test_pdf_and_html(content, texts, tmp_path):
    made = pypdfium2.PdfDocument(render_pdf(content, language=LANGUAGE, parts=["front"]))
    holds("\n".join(page.get_textpage().get_text_range() for page in made), texts)
    holds(text_of(render_html(content, language=LANGUAGE, parts=["front"])), texts)


def test_command_line(record, texts):
    shown = CliRunner().invoke(app, ["assess", "--record", str(record), "--language", LANGUAGE])
    assert shown.exit_code == 0, shown.output
    holds(shown.output, texts)


def test_json_of_the_command(record, content):
    shown = CliRunner().invoke(app, ["assess", "--record", str(record), "--json"])
    same_numbers(json.loads(shown.output)["answers"], content)


def test_programs_over_http(record, content):
    records = open_records(str(record / "roomfield.sqlite"))
    try:
        with TestClient(create_app(records, Settings()), base_url="http://127.0.0.1:8765") as client:
            client.get("/", headers={"accept": "text/html"})
            found = client.get("/api/v1/surveys/demo-terraced-house/assessment").json()
            same_numbers(found["answers"], content)
    finally:
        records.close()


def test_page(record, texts):
    """The page on findings shows number, interval and verdict of every place."""
    records = open_records(str(record / "roomfield.sqlite"))
    try:
        with TestClient(create_app(records, Settings()), base_url="http://127.0.0.1:8765") as client:
            client.headers["accept"] = "text/html"
            page = client.get("/surveys/demo-terraced-house/understand?visit=first").text
    finally:
        records.close()
    holds(text_of(page), [row[:3] for row in texts])


def same_numbers(answers, content):
    assert [a["place_id"] for a in answers] == [p.place.id for p in content.shown]
    for said, shown in zip(answers, content.shown, strict=True):
        want = shown.to_dict()
        for key in ("kind", "median_w_m2", "low_w_m2", "high_w_m2", "average", "coverage"):
            assert said[key] == pytest.approx(want[key]) if isinstance(want[key], float) else said[key] == want[key]
        for against in ("law", "aim"):
            if want[against] is None:
                assert said[against] is None
                continue
            assert said[against]["outcome"] == want[against]["outcome"]
            assert said[against]["margin"] == pytest.approx(want[against]["margin"])
            assert said[against]["probability_below"] == pytest.approx(list(want[against]["probability_below"]))


def test_data_frame(record, content):
    frame = rf.assess(rf.open(record)).to_frame()
    for shown in content.shown:
        level = shown.level
        row = frame[(frame.place_id == shown.place.id) & (frame.state == level.state_id) & (frame.kind == level.kind)]
        found = row.iloc[0]
        ends = (level.level.low_w_m2, level.level.median_w_m2, level.level.high_w_m2)
        assert (found.low_w_m2, found.median_w_m2, found.high_w_m2) == pytest.approx(ends)
        if shown.aim is not None:
            assert found.outcome == shown.aim.outcome


def test_workbook(content, tmp_path):
    write_tables(content, tmp_path / "r.xlsx")
    rows = list(load_workbook(tmp_path / "r.xlsx")["levels"].iter_rows(values_only=True))
    head = rows[0]
    by_key = {(r[head.index("place")], r[head.index("radio_state")], r[head.index("kind")]): r for r in rows[1:]}
    for shown in content.shown:
        level = shown.level
        row = by_key[shown.place.name, content.state_name(level.state_id), level.kind.value]
        assert row[head.index("median_uW_m2")] == pytest.approx(level.level.median_w_m2 * 1e6, rel=1e-3)
        assert row[head.index("low_uW_m2")] == pytest.approx(level.level.low_w_m2 * 1e6, rel=1e-3)


def test_contributions_add_to_no_more_than_the_level_and_are_the_same_everywhere(record, content):
    """A share times the measured level: at no door another amount of the same source at the same place."""
    words = load_words(LANGUAGE)
    page = squeezed(text_of(render_html(content, language=LANGUAGE, parts=["sources"])))
    assert posterior_of(rf.open(record).survey).survey.emitters
    for shown in content.shown:
        parts = [c for c in shown.contributions if c.share is not None]
        assert parts
        assert sum(c.share for c in parts) <= 1.2
        for part in parts:
            assert part.median_w_m2 == pytest.approx(part.share * shown.level.level.median_w_m2)
            assert part.kind is shown.level.kind
            assert squeezed(words.numbers.micro(part.median_w_m2)) in page
    said = CliRunner().invoke(app, ["shares", "--record", str(record), "--json"])
    assert said.exit_code == 0, said.output
    amounts = {
        (place["place_id"], one["name"]): one["makes_w_m2"]["median"]
        for place in json.loads(said.output)
        for one in place["switches"]
        if "makes_w_m2" in one
    }
    told = {
        (p.place.id, c.source): c.median_w_m2 for p in content.shown for c in p.contributions if c.share is not None
    }
    assert amounts == pytest.approx(told)
