"""The command line as a user meets it: words in, exit code and both streams out."""

from __future__ import annotations

import sys
from dataclasses import dataclass

import pytest

from roomfield.cli import main
from roomfield.demo.invented_survey import demo_survey
from roomfield.store.repository import open_store


@dataclass(frozen=True)
class Said:
    """What a command said."""

    code: int
    out: str
    err: str


@pytest.fixture
def say(capsys, monkeypatch):
    """Run a command in this process, through the same door as the installed program."""

    def call(*words: object) -> Said:
        monkeypatch.setattr(sys, "argv", ["roomfield", *map(str, words)])
        with pytest.raises(SystemExit) as stopped:
            main.run()
        shown = capsys.readouterr()
        code = stopped.value.code
        return Said(code if isinstance(code, int) else 0, shown.out, shown.err)

    return call


@pytest.fixture(scope="session")
def demo_record(tmp_path_factory) -> str:
    """The invented survey in a record, without recordings and logs."""
    path = tmp_path_factory.mktemp("demo") / "roomfield.sqlite"
    open_store(path).create(demo_survey())
    return str(path)
