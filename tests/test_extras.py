"""What not everybody needs is named when it is missing, and nothing else needs it."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import openpyxl
import pytest

import roomfield
from roomfield.demo.invented_survey import demo_survey
from roomfield.extras import EXTRAS, JOB, MissingExtraError, library
from roomfield.show.words.told import teller
from roomfield.workbench.publish import whole_report
from roomfield.workbench.record.job import Job
from source_trees import source_trees

SOURCE = Path(roomfield.__file__).parent
PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))["project"]
DISTRIBUTIONS = {
    "PIL": "pillow",
    "skrf": "scikit-rf",
    "av": "av",
    "dask": "dask",
    "python_calamine": "python-calamine",
    "pydantic_core": "pydantic-core",
}
FOUND_OTHERWISE = {"websockets", "python-multipart", "tzdata"}
"""Used through another library (uvicorn, Starlette), or for their files."""
TOLD_BY_THEMSELVES = {"m4a", "stations", "postgres"}
"""Extras with a message of their own, made where they are used."""


def named(requirements: list[str]) -> set[str]:
    return {re.match(r"[\w-]+", one)[0].lower().replace("_", "-") for one in requirements} - {"roomfield"}


@cache
def imported() -> frozenset[str]:
    """Distributions that the package imports, or names as a library of an extra."""
    found = set()
    for tree in source_trees(SOURCE).values():
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                found.add(node.module or "")
            elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "library" and node.args:
                found.add(ast.literal_eval(node.args[0]))
    tops = {name.partition(".")[0] for name in found} - set(sys.stdlib_module_names) - {"roomfield", "house"}
    return frozenset(DISTRIBUTIONS.get(name, name).replace("_", "-").lower() for name in tops)


def test_what_is_imported_is_declared_and_what_is_declared_is_used():
    base = named(PROJECT["dependencies"])
    extras = set().union(*(named(v) for k, v in PROJECT["optional-dependencies"].items() if k != "test"))
    assert imported() - base - extras == set()
    assert base - imported() - FOUND_OTHERWISE == set()


@pytest.mark.parametrize("extra", sorted(EXTRAS))
def test_a_missing_library_is_named_with_its_extra(extra, monkeypatch):
    monkeypatch.setitem(sys.modules, "no_such_library", None)
    with pytest.raises(MissingExtraError) as told:
        library("no_such_library.part", extra).open  # noqa: B018
    assert "no_such_library" in told.value.what
    assert f"roomfield[{extra}]" in told.value.mend
    assert extra in PROJECT["optional-dependencies"]
    german = teller("de")
    assert german(told.value.what) != told.value.what and german(told.value.mend) != told.value.mend


def test_a_library_is_loaded_when_first_used():
    assert library("math", "logs").pi == pytest.approx(3.14159265)


def test_every_extra_is_told_and_a_job_is_their_sum():
    declared = PROJECT["optional-dependencies"]
    assert declared["job"] == [f"roomfield[{','.join(sorted(JOB))}]"]
    for extra, requirements in declared.items():
        loaded = named(requirements) & imported()
        assert extra in EXTRAS or not loaded or extra in TOLD_BY_THEMSELVES, extra


HIDE = """
import sys
for name in HIDDEN:
    sys.modules[name] = None
import roomfield as rf, roomfield.web.app, roomfield.cli.main
from dataclasses import replace
findings = rf.assess(replace(rf.open_demo().survey, logs=()))
"""
HIDDEN = ("pyarrow", "duckdb", "pandas", "tifffile", "ezdxf", "pypdfium2", "dask", "fsspec", "av", "psycopg", "typst",
          "font_source_sans_pro", "openpyxl", "python_calamine", "soundfile", "pyrage", "keyring", "segno", "matplotlib")  # fmt: skip


def told_without_extras(folder: Path, code: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", f"HIDDEN = {HIDDEN}\n{HIDE}\n{code}"], capture_output=True, text=True, cwd=folder
    )
    assert not done.returncode, done.stderr[-800:]
    return done.stdout.splitlines()


def test_readings_become_a_report_without_the_extras_and_each_call_beyond_names_its_own(tmp_path):
    """Levels and the report as a page with every library of an extra hidden; nothing half-written is left."""
    (tmp_path / "heard.wav").write_bytes(b"RIFF")
    book = openpyxl.Workbook()
    book.active.append(["Place", "Peak (µW/m²)"])
    book.save(tmp_path / "readings.xlsx")
    calls = [
        ("science", "findings.to_frame()"),
        ("pdf", "findings.report('r.pdf')"),
        ("workbooks", "findings.report('r.xlsx')"),
        ("workbooks", "rf.take_in(rf.open_demo(), 'readings.xlsx')"),
        ("sound", "rf.listen('heard.wav')"),
    ]
    code = "print(findings.report('r.html').stat().st_size > 10_000)\n" + "\n".join(
        f"try:\n    {call}\nexcept rf.RoomfieldError as fault:\n    print(fault.mend)" for _, call in calls
    )
    told = told_without_extras(tmp_path, code)
    assert told.pop(0) == "True"
    assert len(told) == len(calls)
    for (extra, _), mend in zip(calls, told, strict=True):
        assert f"pip install 'roomfield[{extra}]'." in mend
        assert ("roomfield[job]" in mend) == (extra in JOB)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["heard.wav", "r.html", "readings.xlsx"]


@pytest.mark.parametrize(("name", "hidden"), [("r.pdf", "typst"), ("r.xlsx", "openpyxl")])
def test_a_form_whose_library_is_missing_is_refused_before_anything_is_computed(name, hidden, monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, hidden, None)
    nothing_is_known = Job(demo_survey(), None)
    monkeypatch.setattr(whole_report, "whole_content", lambda *_: pytest.fail("it was computed"))
    with pytest.raises(MissingExtraError, match=hidden):
        whole_report.whole_report(nothing_is_known, tmp_path / name)
    assert not list(tmp_path.iterdir())
