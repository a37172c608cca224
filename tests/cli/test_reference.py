"""The document of commands, and that every command and option explains itself."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer

from roomfield.cli import command_reference
from roomfield.cli.job_order import JOB_ORDER, summary
from roomfield.cli.main import app

GROUP = typer.main.get_command(app)
NO_ANSWER = {"serve", "version"}


def test_the_document_is_up_to_date():
    written = Path(__file__).parents[2] / "docs" / "commands.md"
    assert written.read_text(encoding="utf-8") == command_reference.text(), (
        "run: python -m roomfield.cli.command_reference docs/commands.md"
    )


def test_it_writes_the_file_that_is_named(tmp_path):
    assert command_reference.main([str(tmp_path / "commands.md")]) == 0
    assert (tmp_path / "commands.md").read_text(encoding="utf-8").startswith("# Commands")
    assert command_reference.main([]) == 2


@pytest.mark.parametrize("name", list(GROUP.commands))
def test_every_command_and_option_has_help(name):
    command = GROUP.commands[name]
    assert command.help and command.help.strip().endswith(".")
    silent = [p.name for p in command.params if p.name != "help" and not (p.help or "").strip()]
    assert silent == []


@pytest.mark.parametrize("name", [n for n in GROUP.commands if n not in NO_ANSWER])
def test_every_command_that_answers_takes_json(name):
    assert "--json" in {option for p in GROUP.commands[name].params for option in p.opts}


def test_every_command_stands_once_in_the_order_of_the_job():
    listed = [name for _, names in JOB_ORDER for name in names]
    assert sorted(listed) == sorted(GROUP.commands)
    assert len(JOB_ORDER[0][1]) <= 8


def test_the_list_of_commands_cuts_no_sentence(say):
    for language in ("en", "de", "fr"):
        listed = say("--language", language, "--help").out.partition("--help")[2]
        assert "..." not in listed and "…" not in listed
    assert summary("Agree: one; or two.") == "Agree"
    assert summary("Écrire\u00a0: rien.") == "Écrire"


def test_exit_codes_are_all_listed():
    text = command_reference.text()
    for code in ("| 0 |", "| 2 |", "| 3 |", "| 4 |", "| 5 |", "| 6 |", "| 70 |", "| 130 |"):
        assert code in text
