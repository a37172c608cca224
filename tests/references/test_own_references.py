"""Guidelines, materials and technologies of the user's own: known everywhere, never taken for ours, clear when wrong."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from roomfield.errors import FormatError, InputError, RejectedRows, RoomfieldError, UnknownNameError
from roomfield.field.transmission import stack_optics
from roomfield.references.guidelines import guideline_set, guideline_sets
from roomfield.references.materials import editions, material, materials
from roomfield.references.source import Authority
from roomfield.references.technologies import technologies, technology
from roomfield.survey import Layer
from roomfield.workbench.record.own_references import add_references, own_entries

DOCS = Path(__file__).parents[2] / "docs" / "references.md"
HEAD = 'schema = "roomfield-references/1"\n'
GUIDELINE = """
[[guideline]]
id = "mine"
title = "Mine"
document = "Agreement"
edition = "2027"
clause = "1"
"""
LEVELS = """
[[guideline.level]]
category = "low"
upper_uw_m2 = 50
[[guideline.level]]
category = "high"
lower_uw_m2 = 50
"""
MATERIAL = """
[[material]]
material = "{name}"
document = "Data sheet"
edition = "2026"
clause = "2"
a = {a}
c = 0
f_low_ghz = 0.2
f_high_ghz = 8
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("ROOMFIELD_REFERENCES", str(tmp_path / "own"))
    return tmp_path / "own"


def write(tmp_path: Path, text: str, name: str = "file.toml") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_the_example_of_the_docs_is_known_everywhere(folder, tmp_path):
    section = DOCS.read_text("utf-8").split("## Guidelines, materials and technologies of your own")[1]
    example = re.search(r"```toml\n(.*?)```", section, re.DOTALL)
    added = add_references(write(tmp_path, example[1]))
    assert [(one.kind, one.name) for one in added] == [
        ("guideline", "house-2027"),
        ("material", "clay plaster"),
        ("technology", "weather_station"),
    ]
    mine = guideline_set("house-2027")
    assert mine in guideline_sets()
    assert mine.standing is Authority.STATED_BY_USER
    assert [(level.name, level.upper_w_m2) for level in mine.levels_for()] == [
        ("calm", 5e-5),
        ("to be talked about", None),
    ]
    assert mine.index_of(49e-6) == 0
    assert mine.index_of(50e-6) == 1
    for edition in editions():
        assert material("clay plaster", edition=edition).relative_permittivity(2e9) == 3.2
    assert technology("weather_station") in technologies()
    assert own_entries() == added


@pytest.mark.published("Born and Wolf, Principles of Optics: quarter-wave film of index 2 in air passes 16/25 (memory)")
def test_physics_uses_an_own_material(folder, tmp_path):
    add_references(write(tmp_path, HEAD + MATERIAL.format(name="quartz glass", a=4)))
    frequency_hz = 1e9
    quarter_m = 299_792_458.0 / frequency_hz / 2.0 / 4.0
    te, _ = stack_optics([Layer("quartz glass", quarter_m)], frequency_hz, 1.0)
    assert float(te.transmission) == pytest.approx(16.0 / 25.0, rel=1e-6)


def test_what_is_taken_out_is_forgotten(folder, tmp_path):
    add_references(write(tmp_path, HEAD + GUIDELINE + LEVELS))
    assert guideline_set("mine").title == "Mine"
    (folder / "file.toml").unlink()
    with pytest.raises(UnknownNameError):
        guideline_set("mine")


TECHNOLOGY = '[[technology]]\nname = "{name}"\ntitle = "t"\ndocument = "d"\n'
BAD_RATE = 'rates = [{ name = "r", hz = -1.0, kind = "line", primary = true, known = "seen" }]\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("schema = 3\n", "schema"),
        ("not toml", "TOML"),
        (HEAD + "[[limit]]\nid = 1\n", "limit"),
        (HEAD + GUIDELINE, "level"),
        (HEAD + GUIDELINE.replace('clause = "1"', "") + LEVELS, "clause"),
        (HEAD + GUIDELINE + LEVELS.replace("lower_uw_m2 = 50", "lower_uw_m2 = 60"), "gap"),
        (HEAD + GUIDELINE + LEVELS.replace("upper_uw_m2 = 50", "upper_uw_m2 = -1"), "at least 0"),
        (HEAD + GUIDELINE.replace('"mine"', '"building-biology-2015"') + LEVELS, "already the name"),
        (HEAD + MATERIAL.format(name="concrete", a=4), "already the name"),
        (HEAD + MATERIAL.format(name="x", a='"much"'), "not a number"),
        (HEAD + '[[technology]]\nname = "w"\n', "title"),
        (HEAD + TECHNOLOGY.format(name="gsm"), "already the name"),
        (HEAD + TECHNOLOGY.format(name="w") + BAD_RATE, "not valid"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_stays(folder, tmp_path, text, said):
    with pytest.raises((FormatError, RejectedRows)) as caught:
        add_references(write(tmp_path, text))
    assert "file.toml" in caught.value.sentence()
    assert said in caught.value.sentence()
    assert list(folder.glob("*")) == []
    assert "mine" not in {one.set_id for one in guideline_sets()}
    assert "x" not in {one.name for one in materials()}
    assert "w" not in {one.name for one in technologies()}


@pytest.mark.parametrize("text", ["not toml", "schema = 3\n", HEAD + "[[limit]]\nid = 1\n"])
def test_a_file_of_another_form_is_named_as_the_user_named_it(folder, tmp_path, text):
    path = write(tmp_path, text, "mine.txt")
    with pytest.raises(FormatError) as caught:
        add_references(path)
    assert caught.value.where == str(path)
    assert not folder.exists()


def test_a_file_is_not_overwritten_unasked(folder, tmp_path):
    good = write(tmp_path, HEAD + GUIDELINE + LEVELS)
    add_references(good)
    with pytest.raises(InputError, match="already"):
        add_references(good)
    good.write_text(HEAD + GUIDELINE.replace("Mine", "Ours") + LEVELS, "utf-8")
    add_references(good, replace=True)
    assert guideline_set("mine").title == "Ours"
    good.write_text(HEAD + GUIDELINE, "utf-8")
    with pytest.raises(RoomfieldError):
        add_references(good, replace=True)
    assert guideline_set("mine").title == "Ours"
