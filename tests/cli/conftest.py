"""The command line as a user meets it: words in, exit code and both streams out."""

from __future__ import annotations

import contextlib
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

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
def say(capsys, monkeypatch, records_by_copy):
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


@pytest.fixture(scope="session")
def _made_folders(tmp_path_factory) -> Callable[[str, Callable[[], None]], Path]:
    """Folders that a test module fills by commands, each filled once."""
    kept: dict[str, Path] = {}

    def folder(name: str, fill: Callable[[], None]) -> Path:
        if name not in kept:
            made = tmp_path_factory.mktemp("made")
            with contextlib.chdir(made):
                fill()
            kept[name] = made
        return kept[name]

    return folder


@pytest.fixture
def work_in_copy(_made_folders, request, tmp_path, monkeypatch) -> Callable[[Callable[[], None]], Path]:
    """Work in a copy of a folder that is filled once for all tests of the module."""

    def begin(fill: Callable[[], None]) -> Path:
        shutil.copytree(_made_folders(request.module.__name__, fill), tmp_path, dirs_exist_ok=True)
        monkeypatch.chdir(tmp_path)
        return tmp_path

    return begin
