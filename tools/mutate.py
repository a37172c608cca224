"""Mutation score: small faults put into the arithmetic, and whether the tests notice each.

    python tools/mutate.py                       40 faults, seed 1, 10 minutes at most
    python tools/mutate.py --room quantities --sample 20 --seed 7

A fault is one changed sign of a comparison or of an operation, one number made 1.3 times larger, min for max, low for
high, `and` for `or`, or one `not` more. Sampled without replacement by a fixed seed from all places that a room offers. Each is tried in a copy of
the package by the tests that name the room; the last line is one JSON object. POSIX only (forks).
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import io
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

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
        (f"{CONTENTS}/place_findings.py", "show/shown_place.py"),
        ("workbench/test_assess.py", "workbench/test_verdicts.py", "workbench/test_shown_values.py"),
    ),
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


def notices(source: Path, tests: list[str]) -> bool:
    """Whether the tests fail in a fork of this process, with the package taken from a folder."""
    child = os.fork()
    if child == 0:
        code = 1
        with contextlib.suppress(BaseException):
            os.setsid()
            sys.path.insert(0, str(source))
            os.environ["PYTHONPATH"] = str(source)
            sys.dont_write_bytecode = True
            import pytest

            with (
                Path(os.devnull).open("w") as quiet,
                contextlib.redirect_stdout(quiet),
                contextlib.redirect_stderr(quiet),
            ):
                code = int(pytest.main(["-q", "-x", "-n0", "-p", "no:cacheprovider", "--rootdir", str(ROOT), *tests]))
        os._exit(code)
    until = time.monotonic() + LONGEST_S
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) != 0
        time.sleep(0.1)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def _tests(names: tuple[str, ...]) -> list[str]:
    return [str(ROOT / "tests" / name) for name in names if (ROOT / "tests" / name).exists()]


def run(rooms: list[str], sample: int, seed: int, minutes: float) -> dict[str, object]:
    """Try a sample of faults until the time is up."""
    package = ROOT / "src" / "roomfield"
    offered = [
        (room, fault)
        for room in rooms
        for pattern in ROOMS[room][0]
        for path in sorted(package.glob(pattern))
        for fault in faults_of(path)
    ]
    chosen = random.Random(seed).sample(offered, min(sample, len(offered)))
    started, tried, survived = time.monotonic(), 0, []
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "src"
        shutil.copytree(ROOT / "src", source)
        for room in sorted({room for room, _ in chosen}):
            if notices(source, _tests(ROOMS[room][1])):
                raise SystemExit(f"the tests of {room} fail without any fault; mend them first.")
        for room, fault in chosen:
            if time.monotonic() - started > 60.0 * minutes:
                break
            target = source / fault.path.relative_to(ROOT / "src")
            target.write_text(text_with(fault), "utf-8")
            noticed = notices(source, _tests(ROOMS[room][1]))
            shutil.copy(fault.path, target)
            tried += 1
            name = f"{fault.path.relative_to(package)}:{fault.line}"
            print(f"{'noticed ' if noticed else 'SURVIVED'} {name}  {fault.told}", flush=True)
            if not noticed:
                survived.append(f"{name}  {fault.told}")
    return {"offered": len(offered), "tried": tried, "survived": len(survived), "seed": seed,
            "share_survived": round(len(survived) / tried, 3) if tried else None,
            "seconds": round(time.monotonic() - started, 1)}  # fmt: skip


def main() -> None:
    """Parse, run, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--room", action="append", choices=sorted(ROOMS), help="may be given several times; all if left out"
    )
    parser.add_argument("--sample", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    # Loaded before the forks, so that each need not load them again.
    with contextlib.redirect_stdout(io.StringIO()):
        import hypothesis  # noqa: F401
        import numpy  # noqa: F401
        import pytest  # noqa: F401
        import scipy.stats  # noqa: F401
    print(json.dumps(run(given.room or sorted(ROOMS), given.sample, given.seed, given.minutes)))


if __name__ == "__main__":
    main()
