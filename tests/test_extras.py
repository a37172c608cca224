"""What not everybody needs is named when it is missing, and nothing else needs it."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import roomfield
from roomfield.extras import EXTRAS, MissingExtraError, library
from roomfield.show.words.told import teller

SOURCE = Path(roomfield.__file__).parent
PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))["project"]
DISTRIBUTIONS = {"av": "av", "dask": "dask", "python_calamine": "python-calamine", "pydantic_core": "pydantic-core"}
FOUND_OTHERWISE = {"websockets", "python-multipart", "font-source-sans-pro", "font-source-serif-pro", "tzdata"}
"""Used through another library (uvicorn, Starlette), or for their files."""


def named(requirements: list[str]) -> set[str]:
    return {re.match(r"[\w-]+", one)[0].lower().replace("_", "-") for one in requirements} - {"roomfield"}


def imported() -> set[str]:
    """Distributions that the package imports, or names as a library of an extra."""
    found = set()
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                found.add(node.module or "")
            elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "library" and node.args:
                found.add(ast.literal_eval(node.args[0]))
    tops = {name.partition(".")[0] for name in found} - set(sys.stdlib_module_names) - {"roomfield", "house"}
    return {DISTRIBUTIONS.get(name, name).replace("_", "-").lower() for name in tops}


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


def test_the_main_job_runs_without_the_extras(tmp_path):
    """A report of the demo's readings, the server and the command line, with every library of an extra hidden."""
    code = """
import sys
for name in ("pyarrow", "duckdb", "pandas", "tifffile", "ezdxf", "pypdfium2", "dask", "fsspec", "av", "psycopg"):
    sys.modules[name] = None
import roomfield as rf, roomfield.web.app, roomfield.cli.main
from dataclasses import replace
findings = rf.assess(replace(rf.open_demo().survey, logs=()))
print(findings.report(sys.argv[1]).stat().st_size > 10_000)
try:
    findings.to_frame()
except rf.RoomfieldError as fault:
    print(fault.mend)
"""
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / "r.pdf")], capture_output=True, text=True)
    assert done.stdout.splitlines() == ["True", "Install the extra: pip install 'roomfield[science]'."], done.stderr[
        -800:
    ]
