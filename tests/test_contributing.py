"""The worked examples of CONTRIBUTING.md, each made in a copy of the package and run there."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
CHAPTERS = dict(
    part.split("\n", 1)
    for part in re.split(r"^## ", (ROOT / "CONTRIBUTING.md").read_text("utf-8"), flags=re.MULTILINE)[1:]
)
STEP = re.compile(r"^(Append to|Write|Replace in) `([^`]+)`:\n\n```\w+\n(.*?)^```", re.MULTILINE | re.DOTALL)
CHECK = re.compile(r"^```python\n(.*?)^```", re.MULTILINE | re.DOTALL)


def made(copy: Path, what: str, path: str, text: str) -> None:
    """One step in the copy."""
    target = copy / path
    if what == "Write":
        target.parent.mkdir(exist_ok=True)
        target.write_text(text, "utf-8")
        return
    before = target.read_text("utf-8")
    if what == "Append to":
        target.write_text(before + text, "utf-8")
        return
    old, new = ("\n".join(line[1:] for line in text.splitlines() if line[0] == mark) for mark in "-+")
    assert before.count(old) == 1, f"{path} no longer holds {old!r} once"
    target.write_text(before.replace(old, new), "utf-8")


def test_there_are_six():
    assert len(CHAPTERS) == 6


@pytest.mark.parametrize("chapter", CHAPTERS)
def test_an_addition_works_as_told(chapter, tmp_path):
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__", "static"))
    steps, (check,) = STEP.findall(CHAPTERS[chapter]), CHECK.findall(CHAPTERS[chapter])
    for step in steps:
        made(tmp_path, *step)

    def run() -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "PYTHONPATH": str(tmp_path / "src")}
        return subprocess.run(
            [sys.executable, "-c", check], cwd=tmp_path, env=environment, capture_output=True, text=True
        )

    done = run()
    assert steps and done.returncode == 0, done.stderr[-1500:]
    shutil.rmtree(tmp_path / "src")
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__", "static"))
    assert run().returncode != 0, "the check passes without the addition"
