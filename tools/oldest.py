"""Whether the lowest versions that pyproject.toml allows do work, on the Python that runs this.

    python tools/oldest.py                    install them into a temporary environment, try, throw it away
    python tools/oldest.py --keep .oldest     keep the environment, and use it again next time
    python tools/oldest.py --list             only print the lowest versions

Every library that the project names itself, of the base and of `roomfield[job]`, is held at its lowest version; what
those bring along is pip's choice. Then the demo's readings become levels and a report as page, PDF, workbook and
table, and a set of tests runs that touches each library. pip says it if no such version fits this Python: raise the
floor in pyproject.toml then, and run this again.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
TESTS = (
    "tests/quantities",
    "tests/exchange/test_table.py",
    "tests/field/test_propagation.py",
    "tests/logs/test_forms.py",
    "tests/report/test_tables.py",
    "tests/signals/test_recording.py",
    "tests/store/test_migrate.py",
    "tests/store/test_repository.py",
    "tests/web/test_guard.py",
)
"""Narrow tests that between them call every library of the base and of a job."""
HELPERS = (
    "pytest",
    "hypothesis",
    "httpx",
    "httpx2",
    "pypdf",
    "jsonschema",
    "astropy",
    "GTC",
    "pillow",
    "pandas",
    "statsmodels",
)
"""What the tests need besides, at any version that fits."""
DEMO = """
import sys
from pathlib import Path
import roomfield as rf, roomfield.web.app, roomfield.cli.main
findings = rf.assess(rf.open_demo())
for ending in ("html", "pdf", "xlsx", "csv", "json"):
    made = findings.report(Path(sys.argv[1]) / f"report.{ending}")
    print(made.name, made.stat().st_size)
    assert made.stat().st_size > 1000
"""


def floors() -> dict[str, str]:
    """Lowest version of each library that the base and a job name, as ``{name: version}``."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    (whole,) = extras["job"]
    job = re.search(r"\[(.*)\]", whole)
    assert job is not None
    named = [*project["dependencies"], *(one for extra in job[1].split(",") for one in extras[extra])]
    found = {}
    for requirement in named:
        split = re.fullmatch(r"([\w-]+)(?:\[\w+\])?>=([\w.]+)", requirement)
        assert split is not None, f"{requirement} has no lowest version"
        found[split[1]] = split[2]
    return found


def prepared(folder: Path) -> Path:
    """The environment's Python, with the lowest versions installed."""
    if not folder.exists():
        venv.EnvBuilder(with_pip=True).create(folder)
    python = next(p for p in (folder / "bin/python", folder / "Scripts/python.exe") if p.exists())
    held = folder / "lowest.txt"
    held.write_text("".join(f"{name}=={version}\n" for name, version in floors().items()), "utf-8")
    install = [python, "-m", "pip", "install", "--quiet", "--constraint", held, "--editable", f"{ROOT}[job]", *HELPERS]
    subprocess.run(install, check=True)
    return python


def tried(python: Path) -> int:
    """Run demo and tests; the first exit code that is not nought."""
    with tempfile.TemporaryDirectory(prefix="roomfield-oldest-") as folder:
        demo = subprocess.run([python, "-c", DEMO, folder], cwd=folder, check=False).returncode
        if demo:
            return demo
    words = subprocess.run([python, "-m", "roomfield", "--help"], cwd=ROOT, capture_output=True, check=False).returncode
    if words:
        return words
    return subprocess.run(
        [python, "-m", "pytest", "-q", "-p", "no:cacheprovider", *TESTS], cwd=ROOT, check=False
    ).returncode


def main() -> int:
    """Parse, install, try."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="environment to make or use again")
    parser.add_argument("--list", action="store_true", help="only print the lowest versions")
    given = parser.parse_args()
    if given.list:
        print("\n".join(f"{name}=={version}" for name, version in floors().items()))
        return 0
    with tempfile.TemporaryDirectory(prefix="roomfield-oldest-") as folder:
        code = tried(prepared((given.keep or Path(folder) / "environment").absolute()))
    print("the lowest versions work." if code == 0 else "the lowest versions do not work; see above.")
    return code


if __name__ == "__main__":
    sys.exit(main())
