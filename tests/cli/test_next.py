"""next at the command line, on the invented home: for a decision, for its parts, and when it is enough."""

from __future__ import annotations

import json

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.store.repository import open_store


@pytest.fixture
def record(tmp_path):
    path = tmp_path / "r.sqlite"
    open_store(str(path)).create(demo_survey())
    return path


def test_the_main_source_asks_for_switching_or_says_enough(say, record):
    said = say("next", "--for", "source", "--at", "desk", "--record", record, "--json")
    assert said.code == 0, said.err
    found = json.loads(said.out)
    assert len(found["best"]) == 1
    assert all(row["regret_avoided"] <= found["regret_left"] + 5.0 for row in found["rows"])
    paid = [row["per_minute"] for row in found["rows"]]
    assert paid == sorted(paid, reverse=True)
    assert found["stop"] == (found["together"] == 0)


def test_nothing_is_worth_measuring_for_a_decision_that_is_clear(say, record):
    """No home reaches ten watts per square metre by these readings, whatever else is read."""
    said = say("next", "--for", "aim", "--target", "1e7", "--record", record)
    assert said.code == 0, said.err
    assert said.out.startswith("Enough measured")
    german = say("next", "--for", "aim", "--target", "1e7", "--language", "de", "--record", record)
    assert german.out.startswith("Genug gemessen")


def test_variance_is_still_to_be_had(say, record):
    found = json.loads(say("next", "--for", "variance", "--record", record, "--json").out)
    assert all(row["std_then_db"] <= row["std_now_db"] for row in found)


def test_an_unknown_decision_is_refused_with_the_known_ones(say, record):
    said = say("next", "--for", "wallpaper", "--record", record)
    assert said.code != 0
    assert "plan" in said.err and "Traceback" not in said.err
