"""The command line: answers, JSON, exit codes, one-line errors."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from roomfield.cli.main import app

RUNNER = CliRunner()


@pytest.fixture
def record(demo_record) -> str:
    return demo_record


def call(*words: str):
    return RUNNER.invoke(app, list(words), catch_exceptions=True)


def shell(*words: str) -> subprocess.CompletedProcess[str]:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("ROOMFIELD")}
    return subprocess.run(
        [sys.executable, "-m", "roomfield", *words],
        capture_output=True,
        text=True,
        check=False,
        env=environment,
    )


def test_every_command_has_help():
    for command in app.registered_commands:
        name = command.name or command.callback.__name__
        answer = call(name, "--help")
        assert answer.exit_code == 0, name
        assert command.callback.__doc__.splitlines()[0].split()[0] in answer.stdout


def test_help_imports_nothing_heavy():
    code = "import sys; from roomfield.cli.main import app; print([m for m in ('numpy','scipy','sqlalchemy','pydantic','typst','fastapi') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_assess_in_words_and_as_json(record):
    words = call("assess", "--record", record)
    assert "invented" in words.stdout and "Child's cot" in words.stdout
    plain = json.loads(call("assess", "--record", record, "--json").stdout)
    assert plain["law"]["value_w_m2"] == pytest.approx(2.0)
    assert len(plain["places"]) == 21
    row = plain["places"][0]
    assert row["low_w_m2"] < row["median_w_m2"] < row["high_w_m2"]
    assert len(json.loads(call("assess", "--record", record, "--json", "--all-states").stdout)["places"]) == 84


def test_new_list_pack_unpack_delete(tmp_path, record):
    other, package = str(tmp_path / "other.sqlite"), str(tmp_path / "package.zip")
    made = json.loads(call("new", "Test home", "--record", other, "--json").stdout)
    assert json.loads(call("list", "--record", other, "--json").stdout)[0]["id"] == made["survey"]
    packed = json.loads(call("pack", package, "--record", record, "--json").stdout)
    assert len(packed["sha256"]) == 64
    assert json.loads(call("unpack", package, "--record", other, "--json").stdout)["readings"] == 126
    assert len(json.loads(call("list", "--record", other, "--json").stdout)) == 2
    assert call("delete", "Test home", "--record", other, "--survey", made["survey"]).exit_code == 0
    assert len(json.loads(call("list", "--record", other, "--json").stdout)) == 1


def test_amend_and_withdraw_leave_their_trace(tmp_path, record):
    other, package = str(tmp_path / "other.sqlite"), str(tmp_path / "package.zip")
    call("pack", package, "--record", record)
    call("unpack", package, "--record", other)
    name = "1-007"  # the cot's peak as found
    done = call("amend", name, "value_w_m2", "1 mW/m²", "--reason", "misread", "--by", "tester", "--record", other)
    assert done.exit_code == 0, done.output
    rows = json.loads(call("assess", "--record", other, "--json").stdout)["places"]
    cot = next(r for r in rows if r["place_id"] == "cot" and r["kind"] == "peak")
    assert cot["median_w_m2"] == pytest.approx(0.001 * 10**0.07, rel=1e-6)
    assert call("withdraw", name, "--reason", "test", "--by", "tester", "--record", other).exit_code == 0
    rows = json.loads(call("assess", "--record", other, "--json").stdout)["places"]
    assert not [r for r in rows if r["place_id"] == "cot" and r["kind"] == "peak"]


def test_a_fault_of_the_installed_program_is_one_sentence_and_a_code(tmp_path):
    done = shell("assess", "--record", str(tmp_path / "missing.sqlite"))
    assert done.returncode == 3
    assert "there is no record here" in done.stderr
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_survey_without_readings_says_what_comes_first(say, tmp_path):
    record = str(tmp_path / "empty.sqlite")
    call("new", "Empty", "--record", record)
    said = say("assess", "--record", record)
    assert said.code == 6
    assert "Enter or import readings first" in said.err


def test_bearings_are_shown_first_and_stored_when_confirmed(tmp_path):
    record = str(tmp_path / "r.sqlite")
    assert call("new", "Flat", "--record", record).exit_code == 0
    table = tmp_path / "b.csv"
    table.write_text("x,y,z,bearing,kind\n1,2,0.8,10,peak\n1,2,0.8,95,null\n", encoding="utf-8")
    shown = call("take-bearings", str(table), "--record", record)
    assert "column 4 'bearing': bearing" in shown.stdout and "--confirm" in shown.stdout
    plain = json.loads(call("take-bearings", str(table), "--record", record, "--json").stdout)
    assert plain == {"confirmed": False, "description": plain["description"], "questions": []}
    done = call("take-bearings", str(table), "--record", record, "--confirm")
    assert "2 bearings are in the record." in done.stdout, done.output
    table.write_text("x,y,z,bearing,kind\n1,2,0.8,10,sideways\n", encoding="utf-8")
    refused = call("take-bearings", str(table), "--record", record, "--confirm")
    assert refused.exit_code != 0
