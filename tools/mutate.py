"""Mutation score: small faults put into the arithmetic, and whether the tests notice each.

    python tools/mutate.py                       40 faults, seed 1, 10 minutes at most
    python tools/mutate.py --room quantities --sample 20 --seed 7 --seed 8

A fault is one changed sign of a comparison or of an operation, one number made 1.3 times larger, min for max, low for
high, `and` for `or`, or one `not` more. Sampled without replacement by a fixed seed from all places that a room offers.
Each is tried in a copy of the package: first by the tests of the room that run its line (which they are is measured
once, under coverage), the quickest first, and if none notices, by all tests of the room. Faults that change nothing
anybody could see stand in `equivalent_faults.toml` with the reason; they are left out and counted. Each seed ends
with a line that is one JSON object. POSIX only (forks).
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import importlib
import io
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from dataclasses import field as made_by
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
CONTENTS = "workbench/publish/contents"
ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "quantities": (("quantities/level.py", "quantities/contribution.py", "quantities/convert.py"), ("quantities",)),
    "instrument": (("instrument/*.py",), ("instrument",)),
    "exposure": (("exposure/*.py",), ("exposure",)),
    "verification": (
        ("remedy/verification.py",),
        ("remedy/test_verification.py", "remedy/test_verification_figures.py"),
    ),
    "shown": (
        (f"{CONTENTS}/place_findings.py", "show/shown_place.py", "show/place_cells.py"),
        (
            "workbench/test_place_answers.py",
            "workbench/test_aim.py",
            "workbench/test_assess.py",
            "workbench/test_verdicts.py",
            "workbench/test_shown_values.py",
            "workbench/test_report_numbers.py",
        ),
    ),
    "duration": (("logs/duration.py",), ("logs/test_time_structure.py",)),
    "intervals": (("logs/intervals.py",), ("logs/test_intervals.py",)),
}
LONGEST_S = 240.0
"""A run that takes longer is taken as a loop that the fault made: noticed."""
_COMPARE = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
            ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}  # fmt: skip
_BINARY = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}
_TWINS = {"min": "max", "max": "min", "low": "high", "high": "low", "low_w_m2": "high_w_m2", "high_w_m2": "low_w_m2",
          "minimum": "maximum", "maximum": "minimum"}  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """One fault: the file, and which of its places in the order of the syntax tree."""

    path: Path
    place: int
    line: int
    told: str


def _changed(node: ast.AST) -> ast.AST | None:
    """The node with its fault; None where this kind of node offers none."""
    new = copy.deepcopy(node)
    if isinstance(new, ast.Compare) and type(new.ops[0]) in _COMPARE:
        new.ops[0] = _COMPARE[type(new.ops[0])]()
    elif isinstance(new, ast.BinOp) and type(new.op) in _BINARY and not _is_text(new):
        new.op = _BINARY[type(new.op)]()
    elif isinstance(new, ast.BoolOp):
        new.op = ast.And() if isinstance(new.op, ast.Or) else ast.Or()
    elif isinstance(new, ast.Constant) and type(new.value) is float and new.value:
        new.value = 1.3 * new.value
    elif isinstance(new, ast.Name) and isinstance(new.ctx, ast.Load) and new.id in _TWINS:
        new.id = _TWINS[new.id]
    elif isinstance(new, ast.Attribute) and isinstance(new.ctx, ast.Load) and new.attr in _TWINS:
        new.attr = _TWINS[new.attr]
    elif isinstance(new, ast.UnaryOp) and isinstance(new.op, ast.USub):
        new.op = ast.UAdd()
    elif isinstance(new, ast.IfExp):
        new.body, new.orelse = new.orelse, new.body
    else:
        return None
    return new


def _is_text(node: ast.AST) -> bool:
    return any(
        isinstance(n, ast.JoinedStr) or (isinstance(n, ast.Constant) and isinstance(n.value, str))
        for n in ast.walk(node)
    )


def _places(tree: ast.Module) -> Iterator[tuple[ast.AST, str, int | None, ast.AST]]:
    """Parent, field, index and node of every place that offers a fault, annotations and imports left out."""
    for parent in ast.walk(tree):
        for field, value in ast.iter_fields(parent):
            if field in ("annotation", "returns", "decorator_list", "keywords_of_class"):
                continue
            for index, node in enumerate(value) if isinstance(value, list) else [(None, value)]:
                if isinstance(node, ast.AST) and not isinstance(parent, ast.JoinedStr) and _changed(node) is not None:
                    yield parent, field, index, node


def faults_of(path: Path) -> list[Fault]:
    """All faults of a file."""
    found = []
    for place, (_, _, _, node) in enumerate(_places(ast.parse(path.read_text("utf-8")))):
        new = _changed(node)
        assert new is not None
        found.append(
            Fault(path, place, getattr(node, "lineno", 0), f"{ast.unparse(node)}  ->  {ast.unparse(new)}"[:150])
        )
    return found


def text_with(fault: Fault) -> str:
    """The file with the fault."""
    tree = ast.parse(fault.path.read_text("utf-8"))
    parent, field, index, node = list(_places(tree))[fault.place]
    new = _changed(node)
    if index is None:
        setattr(parent, field, new)
    else:
        getattr(parent, field)[index] = new
    return ast.unparse(ast.fix_missing_locations(tree))


def equivalents() -> dict[tuple[str, str, str], str]:
    """Reason of each fault that changes nothing, by file, function and what is said of the fault."""
    listed = tomllib.loads((Path(__file__).parent / "equivalent_faults.toml").read_text("utf-8"))
    return {(one["file"], one["inside"], one["fault"]): one["why"] for one in listed.get("fault", [])}


def _forked(work: Callable[[], int], longest_s: float = LONGEST_S) -> int | None:
    """Exit code of some work in a fork of this process; None if it was stopped for taking too long."""
    child = os.fork()
    if child == 0:
        code = 1
        with contextlib.suppress(BaseException):
            os.setsid()
            sys.dont_write_bytecode = True
            with (
                Path(os.devnull).open("w") as quiet,
                contextlib.redirect_stdout(quiet),
                contextlib.redirect_stderr(quiet),
            ):
                code = work()
        os._exit(code)
    until = time.monotonic() + longest_s
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _pytest(source: Path, tests: list[str], *plugins: object) -> int:
    """Run tests in this process, with the package taken from a folder."""
    import pytest

    sys.path.insert(0, str(source))
    os.environ["PYTHONPATH"] = str(source)
    # Assertions are not rewritten, for nobody reads their messages, and plugins that no room needs are not loaded.
    options = ["-q", "-x", "-n0", "--assert=plain", "--rootdir", str(ROOT)]
    for plugin in ("cacheprovider", "anyio", "unraisableexception", "threadexception"):
        options += ["-p", f"no:{plugin}"]
    return int(pytest.main([*options, *tests], plugins=[*plugins]))


def notices(source: Path, tests: list[str]) -> bool:
    """Whether the tests fail, or never end, in a fork of this process, with the package taken from a folder."""
    return _forked(lambda: _pytest(source, tests)) != 0


@dataclass(eq=False)
class Watch:
    """A pytest plugin that notes which tests run which lines, and how long each takes.

    What a shared fixture runs counts for every test that asks for the fixture; what runs while modules load counts for
    all tests.
    """

    measured: Any
    tests: dict[str, list[str]] = made_by(default_factory=dict)
    seconds: dict[str, float] = made_by(default_factory=dict)

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Note which fixtures each test asks for."""
        for item in items:
            self.tests[item.nodeid] = list(getattr(item, "fixturenames", ()))

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """What runs from here on, runs for this test."""
        self.measured.switch_context(nodeid)

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Add up how long a test takes."""
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration

    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> None:
        """What a shared fixture runs, runs for all its users."""
        if fixturedef.scope != "function":
            self.measured.switch_context(f"fixture {fixturedef.argname}")

    def pytest_fixture_post_finalizer(self, fixturedef: Any, request: Any) -> None:
        """What is cleared away tests nothing."""
        self.measured.switch_context("")

    def pytest_runtest_call(self, item: Any) -> None:
        """The fixtures are made; the test itself begins."""
        self.measured.switch_context(item.nodeid)

    def users(self, context: str) -> list[str]:
        """Tests that stand behind a context."""
        if context.startswith("fixture "):
            name = context.removeprefix("fixture ")
            return [test for test, fixtures in self.tests.items() if name in fixtures]
        return [context] if context else list(self.tests)


def _watched(source: Path, tests: list[str], files: list[Path], kept: Path) -> int:
    """Run tests under coverage and keep which run each line of some files, quickest first."""
    import coverage

    sys.path.insert(0, str(source))
    measured = coverage.Coverage(data_file=None, config_file=False, include=[str(file) for file in files])
    measured.start()
    watch = Watch(measured)
    code = _pytest(source, tests, watch)
    measured.stop()
    data = measured.get_data()
    lines = {
        str(file): {
            line: sorted({test for c in contexts for test in watch.users(c)}, key=lambda t: watch.seconds.get(t, 0.0))
            for line, contexts in data.contexts_by_lineno(str(file)).items()
        }
        for file in files
    }
    loaded = [name for name in sys.modules if name.partition(".")[0] in _third_party()]
    kept.write_text(json.dumps({"lines": lines, "loaded": loaded}), "utf-8")
    return code


def _third_party() -> set[str]:
    """Libraries that are loaded once, before the forks."""
    return {"numpy", "scipy", "numba", "llvmlite", "shapely", "pydantic", "pydantic_core", "sqlalchemy", "hypothesis",
            "babel", "soundfile", "jinja2", "pandas", "pyarrow", "duckdb", "typer", "rich", "fastapi", "starlette",
            "sklearn", "statsmodels", "astropy", "GTC"}  # fmt: skip


def _load(names: list[str]) -> None:
    for name in names:
        with contextlib.suppress(Exception), contextlib.redirect_stdout(io.StringIO()):
            importlib.import_module(name)


def _statement(tree: ast.Module, fault: Fault) -> tuple[range, str]:
    """Lines of the statement that a fault stands in, of a compound one its head; and the function around it."""
    parents = {child: parent for parent in ast.walk(tree) for child in ast.iter_child_nodes(parent)}
    node: ast.AST | None = list(_places(tree))[fault.place][3]
    while node is not None and not isinstance(node, ast.stmt):
        node = parents.get(node)
    assert isinstance(node, ast.stmt)
    body = getattr(node, "body", None)
    last = body[0].lineno - 1 if isinstance(body, list) and body else node.end_lineno or node.lineno
    around: ast.AST | None = node
    while around is not None and not isinstance(around, (ast.FunctionDef, ast.ClassDef)):
        around = parents.get(around)
    return range(node.lineno, max(last, node.lineno) + 1), getattr(around, "name", "")


def _tests(names: tuple[str, ...]) -> list[str]:
    return [str(ROOT / "tests" / name) for name in names if (ROOT / "tests" / name).exists()]


def _survives(source: Path, room: str, fault: Fault, lines: dict[int, list[str]]) -> bool:
    """Whether no test of the room notices a fault that stands in the copy."""
    statement, _ = _statement(ast.parse(fault.path.read_text("utf-8")), fault)
    near = list(dict.fromkeys(test for line in statement for test in lines.get(line, [])))
    if near and notices(source, [str(ROOT / test) for test in near]):
        return False
    return not notices(source, _tests(ROOMS[room][1]))


def _lines(source: Path, room: str, folder: Path) -> dict[str, dict[int, list[str]]]:
    """Which tests run each line of the room's files, by path in the copy."""
    files = [file for pattern in ROOMS[room][0] for file in sorted((source / "roomfield").glob(pattern))]
    kept = folder / f"{room}.json"
    if _forked(lambda: _watched(source, _tests(ROOMS[room][1]), files, kept), 4 * LONGEST_S) != 0:
        raise SystemExit(f"the tests of {room} fail without any fault; mend them first.")
    found = json.loads(kept.read_text("utf-8"))
    _load(found["loaded"])
    return {file: {int(line): tests for line, tests in by.items()} for file, by in found["lines"].items()}


def run(rooms: list[str], sample: int, seeds: list[int], minutes: float) -> Iterator[dict[str, object]]:
    """Try a sample of faults for each seed, until the time of a seed is up."""
    package = ROOT / "src" / "roomfield"
    offered = [
        (room, fault)
        for room in rooms
        for pattern in ROOMS[room][0]
        for path in sorted(package.glob(pattern))
        for fault in faults_of(path)
    ]
    chosen = {seed: random.Random(seed).sample(offered, min(sample, len(offered))) for seed in seeds}
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "src"
        shutil.copytree(ROOT / "src", source)
        lines = {
            room: _lines(source, room, Path(folder)) for room in sorted({r for c in chosen.values() for r, _ in c})
        }
        for seed in seeds:
            yield {"offered": len(offered), "seed": seed, **_tried(source, chosen[seed], lines, minutes)}


def _tried(
    source: Path, chosen: list[tuple[str, Fault]], lines: dict[str, dict[str, dict[int, list[str]]]], minutes: float
) -> dict[str, object]:
    """Put the faults of one sample into the copy, one after the other, and count what the tests let pass."""
    package, known = ROOT / "src" / "roomfield", equivalents()
    started, tried, equivalent, survived = time.monotonic(), 0, 0, 0
    for room, fault in chosen:
        if time.monotonic() - started > 60.0 * minutes:
            break
        within = fault.path.relative_to(package)
        _, inside = _statement(ast.parse(fault.path.read_text("utf-8")), fault)
        if (within.as_posix(), inside, fault.told) in known:
            equivalent += 1
            continue
        target = source / "roomfield" / within
        target.write_text(text_with(fault), "utf-8")
        passed = _survives(source, room, fault, lines[room].get(str(target), {}))
        shutil.copy(fault.path, target)
        tried, survived = tried + 1, survived + passed
        print(f"{'SURVIVED' if passed else 'noticed '} {within}:{fault.line} {inside}  {fault.told}", flush=True)
    return {"tried": tried, "survived": survived, "equivalent": equivalent,
            "share_survived": round(survived / tried, 3) if tried else None,
            "seconds": round(time.monotonic() - started, 1)}  # fmt: skip


def main() -> None:
    """Parse, run, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--room", action="append", choices=sorted(ROOMS), help="may be given several times; all if left out"
    )
    parser.add_argument("--sample", type=int, default=40)
    parser.add_argument("--seed", type=int, action="append", help="may be given several times; 1 if left out")
    parser.add_argument("--minutes", type=float, default=10.0, help="for each seed")
    given = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    # Loaded before the forks, so that each need not load them again.
    _load(["hypothesis", "numpy", "pytest", "scipy.stats", "numba", "xdist.plugin", "statistics", "pdb", "ssl"])
    for told in run(given.room or sorted(ROOMS), given.sample, given.seed or [1], given.minutes):
        print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main()
