"""Readings that together lie far off what is usual raise a question at the terminal and on the page."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.store.repository import open_store
from roomfield.web.app import create_app
from roomfield.web.settings import Settings
from roomfield.workbench.model.model_fit import meter_question_at
from roomfield.workbench.record.survey_list import open_records

SHIFT = 10 ** (-14.0 / 10.0)


@pytest.fixture(scope="module")
def low_survey():
    """The invented survey with every reading 14 dB lower."""
    survey = demo_survey()
    return replace(survey, readings=tuple(replace(r, value_w_m2=r.value_w_m2 * SHIFT) for r in survey.readings))


@pytest.fixture(scope="module")
def low_record(tmp_path_factory, low_survey) -> str:
    path = tmp_path_factory.mktemp("low") / "roomfield.sqlite"
    open_store(path).create(low_survey)
    return str(path)


@pytest.mark.parametrize("language", ["en", "de"])
def test_assess_asks_it_once(say, low_record, low_survey, language):
    asked = meter_question_at(low_survey, FIRST.id, language)
    shown = say("assess", "--record", low_record, "--language", language)
    assert shown.code == 0, shown.err
    assert " ".join(shown.out.split()).count(" ".join(asked.split())) == 1
    plain = json.loads(say("assess", "--record", low_record, "--language", language, "--json").out)
    assert plain["meter_question"] == asked


def test_assess_asks_nothing_where_readings_are_as_usual(say, demo_record):
    assert "meter_question" not in json.loads(say("assess", "--record", demo_record, "--json").out)


def test_the_page_asks_the_same(low_record, low_survey):
    records = open_records(low_record)
    app = create_app(records, Settings(upload_limit_bytes=1_000_000))
    address = f"/surveys/{low_survey.id}/sheet/numbers?visit={FIRST.id}&sources=true"
    with TestClient(app, base_url="http://127.0.0.1:8765", headers={"accept": "text/html"}) as client:
        client.get("/")
        page = client.get(address).json()["question"]
    records.close()
    assert "does the meter read low, or is a transmitter weaker?" in page
