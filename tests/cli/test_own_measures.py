"""Measures of the user's own: read, refused and priced."""

from __future__ import annotations

import json
import re
from dataclasses import fields
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import roomfield as rf
from roomfield.demo.invented_survey import demo_survey
from roomfield.errors import InputError, RejectedRows, UnknownNameError
from roomfield.store.repository import open_store
from roomfield.survey import ActionKind, CostRange
from roomfield.workbench.plan.action_list import NewAction, as_action, priced_measures, with_measure
from roomfield.workbench.record.own_measures import Measure, own_measure, own_measures
from roomfield.workbench.record.own_references import add_references, own_entries

DOCS = Path(__file__).parents[2] / "docs" / "remedy.md"
HEAD = 'schema = "roomfield-references/1"\n'
MEASURE = '[[measure]]\nkey = "mine"\nkind = "shield_surface"\nname.en = "Mine"\nsheet_db = 30\n'


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("ROOMFIELD_REFERENCES", str(tmp_path / "own"))
    return tmp_path / "own"


@pytest.fixture
def sample(folder, tmp_path):
    """The file that the documentation shows, taken in."""
    section = DOCS.read_text("utf-8").split("## Measures and prices of your own")[1]
    return add_references(write(tmp_path, re.search(r"```toml\n(.*?)```", section, re.DOTALL)[1]))


@pytest.fixture
def survey():
    return demo_survey()


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "file.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_example_of_the_docs_is_listed(sample, say):
    assert [(one.kind, one.name) for one in sample] == [("measure", "mesh-wall"), ("measure", "router-timer")]
    assert own_entries() == sample
    assert "mesh-wall" in say("references").out
    assert own_measure("mesh-wall").name("de") == "Abschirmgewebe unter Putz"
    assert own_measure("router-timer").name("fr") == "Timer for the router"
    assert (
        own_measure("mesh-wall").remark("fr")
        == "We put a mesh on the wall and plaster over it. An electrician bonds it."
    )


def test_the_price_is_that_of_the_area_in_the_work_order(sample, survey):
    """The south wall of the upper storey is 8.4 m by 2.4 m with two windows of 1.2 m height, 1.8 m and 1.6 m wide."""
    made = as_action(survey, NewAction("", "", walls=("u_south",), part="masonry", measure="mesh-wall"))
    sheet_m2 = 1.1 * (8.4 * 2.4 - 1.2 * (1.8 + 1.6))
    assert made.cost.low == pytest.approx(80 + 30 * sheet_m2 + 55 * 4, abs=0.005)
    assert made.cost.high == pytest.approx(120 + 45 * sheet_m2 + 65 * 6, abs=0.005)
    windows = as_action(survey, NewAction("", "", walls=("u_south",), part="openings", measure="mesh-wall"))
    assert windows.cost.low == pytest.approx(80 + 30 * 1.1 * 1.2 * 3.4 + 220, abs=0.005)
    assert (made.name, made.kind) == ("Shielding mesh under plaster", ActionKind.SHIELD_SURFACE)
    assert made.sheet.name == "metal"
    assert {db for _, db in made.sheet.attenuation} == {35.0}
    assert made.note.endswith("An electrician bonds it.")


def test_a_wall_without_openings_has_no_price_for_them(sample, survey):
    made = as_action(survey, NewAction("", "", walls=("u_east",), part="openings", measure="mesh-wall"))
    assert made.cost == CostRange(0.0, 0.0, "EUR", stated=False)


def test_what_is_said_with_it_goes_before_the_measure(sample, survey):
    wanted = NewAction("Ours", "", walls=("u_south",), sheet_db=20.0, cost=(1.0, 2.0), note="so", measure="mesh-wall")
    made = as_action(survey, wanted)
    assert (made.name, made.note, made.cost) == ("Ours", "so", CostRange(1.0, 2.0, "EUR"))
    assert {db for _, db in made.sheet.attenuation} == {20.0}


@pytest.mark.parametrize(
    ("change", "error", "said"),
    [
        ({"measure": "ghost"}, UnknownNameError, "ghost"),
        ({"kind": "canopy", "measure": "mesh-wall"}, InputError, "of the kind shield_surface, not canopy"),
        ({"measure": "mesh-wall"}, InputError, "a wall or slab"),
        ({}, InputError, "a name and a kind"),
    ],
)
def test_what_cannot_be_put_on_the_list_is_said(sample, survey, change, error, said):
    with pytest.raises(error, match=said):
        as_action(survey, NewAction(**{"name": "", "kind": "", **change}))


def test_by_command_and_notebook(sample, survey, say, tmp_path):
    record = tmp_path / "r.sqlite"
    open_store(str(record)).create(survey)
    said = say("action", "--from", "mesh-wall", "--wall", "u_south", "--record", record, "--json")
    assert said.code == 0, said.err
    made = json.loads(said.out)
    assert made["name"] == "Shielding mesh under plaster"
    assert made["cost_stated"] and made["cost_low"] < made["cost_high"]
    assert "Shielding mesh under plaster" in say("actions", "--record", record).out
    job = rf.add_action(rf.open(str(record)), "", "", measure="mesh-wall", walls=["u_south"])
    assert job.survey.actions[-1].cost.low == made["cost_low"]
    wrong = say("action", "--from", "ghost", "--wall", "u_south", "--record", record)
    assert (wrong.code, wrong.err.count("\n")) == (3, 1)
    assert "mesh-wall" in wrong.err
    empty = say("action", "--record", record)
    assert (empty.code, empty.err.count("\n")) == (3, 1)


def test_an_action_on_the_list_takes_a_measure_of_its_kind(sample, survey):
    shields = [one.id for one in survey.actions if one.kind is ActionKind.SHIELD_SURFACE]
    offered = priced_measures(survey)
    assert [one.key for one in offered[shields[0]]] == ["mesh-wall"]
    assert offered["corded_phone"] == ()
    after = with_measure(survey, shields[0], "mesh-wall")
    changed = next(one for one in after.actions if one.id == shields[0])
    assert changed.cost == offered[shields[0]][0].cost
    assert changed.name == "Shielding mesh under plaster"
    assert [one for one in after.actions if one.id != shields[0]] == [
        one for one in survey.actions if one.id != shields[0]
    ]
    with pytest.raises(InputError, match="of the kind"):
        with_measure(survey, "corded_phone", "mesh-wall")
    with pytest.raises(UnknownNameError, match="ghost"):
        with_measure(survey, "ghost", "mesh-wall")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (MEASURE + "fixed = { low = -1, high = 2 }\n", "line 2, fixed.low must be at least 0"),
        (MEASURE + "per_m2 = { low = 3, high = 2 }\n", "line 2, per_m2.low is above per_m2.high"),
        (MEASURE + "fixed = { low = 3 }\n", "fixed needs both low and high"),
        (MEASURE + "fixed = 3\n", "fixed is not a column"),
        (MEASURE + 'fixed = { low = "much", high = 3 }\n', "not a number"),
        (MEASURE + "fixed = { low = 1, high = inf }\n", "not a finite number"),
        (MEASURE + "per_hour = { low = 3, high = 4 }\n", "a price per hour needs hours"),
        (MEASURE.replace("shield_surface", "painting"), "kind must be one of: switch_off"),
        (MEASURE + 'material = "unobtainable"\n', "material is in no table of materials"),
        (MEASURE.replace("shield_surface", "switch_off"), "sheet_db goes only with the kinds canopy, shield_surface"),
        (MEASURE.replace("shield_surface", "canopy") + "per_m2 = { low = 1, high = 2 }\n", "per_m2 goes only with"),
        (MEASURE.replace("name.en", "name.xx"), "name.xx is not a column"),
        (MEASURE.replace('name.en = "Mine"\n', ""), "name is given in none of"),
        (MEASURE.replace('key = "mine"\n', ""), "key is empty"),
        (MEASURE + MEASURE, "line 7, key is already the name of another one"),
    ],
)
def test_a_wrong_entry_is_one_sentence_and_nothing_stays(folder, tmp_path, text, said):
    with pytest.raises(RejectedRows) as caught:
        add_references(write(tmp_path, HEAD + text))
    told = caught.value.sentence()
    assert said in told
    assert "file.toml" in told
    assert list(folder.glob("*")) == []
    assert own_measures() == ()


@pytest.mark.parametrize(("language", "said"), [("de", "liegt über per_m2.high"), ("fr", "dépasse per_m2.high")])
def test_a_refusal_is_told_in_the_language_asked_for(folder, tmp_path, say, language, said):
    told = say(
        "--language", language, "add-references", write(tmp_path, HEAD + MEASURE + "per_m2 = {low = 3, high = 2}\n")
    )
    assert told.code != 0
    assert told.err.count(said) == 2  # in the sentence, and in the list of the rows
    assert "is above" not in told.err


AMOUNT = st.floats(0.0, 1e3, allow_nan=False).map(lambda x: round(x, 2))
SPAN = st.none() | st.tuples(AMOUNT, AMOUNT).map(sorted)
LINE = st.text(st.characters(categories=("L", "N", "P")), min_size=1, max_size=20)


@st.composite
def measures(draw):
    spans = {part: draw(SPAN) for part in ("fixed", "per_m2", "per_hour")}
    spans["hours"] = draw(st.tuples(AMOUNT, AMOUNT).map(sorted)) if spans["per_hour"] else draw(SPAN)
    ends = {f"{part}_{end}": span[i] for part, span in spans.items() if span for i, end in enumerate(("low", "high"))}
    texts = {
        f"{what}_{language}": draw(LINE if (what, language) == ("name", "en") else st.just("") | LINE)
        for what in ("name", "words", "note")
        for language in ("en", "de", "fr")
    }
    blank = {one.name: None for one in fields(Measure) if one.name.endswith(("_low", "_high"))}
    return Measure(key=draw(LINE), kind=ActionKind.SHIELD_SURFACE, currency="EUR", material="metal",
                   sheet_db=draw(st.none() | st.floats(1.0, 100.0)), reduction_db=None, **(blank | ends | texts))  # fmt: skip


def as_toml(one: Measure) -> str:
    rows = {}
    for field in fields(one):
        value = getattr(one, field.name)
        if value not in (None, ""):
            rows[field.metadata["rule"].name or field.name] = value
    return (
        HEAD
        + "[[measure]]\n"
        + "".join(f"{name} = {json.dumps(value, ensure_ascii=False)}\n" for name, value in rows.items())
    )


@given(measures(), st.floats(0.01, 500.0), st.floats(0.0, 500.0))
@settings(max_examples=60, deadline=None)
def test_written_and_read_again_it_is_the_same_and_low_is_never_above_high(one, area, more):
    with TemporaryDirectory() as fresh, pytest.MonkeyPatch.context() as patch:
        patch.setenv("ROOMFIELD_REFERENCES", str(Path(fresh) / "own"))
        add_references(write(Path(fresh), as_toml(one)))
        assert own_measures() == (one,)
    price, larger = one.price(area), one.price(area + more)
    assert (price is None) == (one.fixed_low is None and one.per_m2_low is None and one.per_hour_low is None)
    if price is not None:
        assert 0.0 <= price[0] <= price[1]
        assert price[0] <= larger[0]
        assert price[1] <= larger[1]


def test_where_there_is_none_yet_no_empty_list_is_offered(folder):
    with pytest.raises(UnknownNameError) as refused:
        own_measure("nix")
    assert "none to choose from yet" in str(refused.value)
    assert "one of" not in str(refused.value)
