"""The wheel and the source archive on other interpreters: install each into a clean environment and do the main job.

Run ``python tools/try_wheel.py python3.11 python3.12 python3.13``; needs a package registry. For every interpreter the wheel
that the source archive gives is compared with the one that the tree gives, installed with what the demo needs, made
read-only, and used from an empty home: version, the demo survey with its report, a survey of one's own. The last line
counts what failed; it is the exit code.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
EXTRAS = "job"
READINGS = "place;peak [µW/m²];average [µW/m²]\nBed;340;11\nDesk;2900;60\n"
JOB = (
    ("--version",),
    ("demo", "demo"),
    ("new", "Flat", "--record", "a.sqlite", "--guideline", "building-biology-2015"),
    ("take-in", "readings.csv", "--record", "a.sqlite", "--make-places", "--confirm"),
    ("assess", "--record", "a.sqlite", "--json"),
    ("report", "a.pdf", "--record", "a.sqlite", "--short"),
)


def build(folder: Path) -> tuple[Path, Path]:
    """Wheel of the tree and source archive, by the running interpreter."""
    command = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder), str(ROOT)]
    subprocess.run(command, check=True)
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", str(folder)], cwd=ROOT, check=True,
                   capture_output=True)  # fmt: skip
    return next(folder.glob("*.whl")), next(folder.glob("*.tar.gz"))


def contents(wheel: Path) -> dict[str, int]:
    """Name and checksum of every file of a wheel, but for its own list of them."""
    with zipfile.ZipFile(wheel) as archive:
        return {one.filename: one.CRC for one in archive.infolist() if not one.filename.endswith("RECORD")}


def tried(interpreter: str, wheel: Path, source: Path, folder: Path) -> str:
    """What an interpreter makes of both; empty if all is well."""
    home, environment = folder / "home", folder / "venv"
    home.mkdir(parents=True)
    subprocess.run([interpreter, "-m", "venv", str(environment)], check=True)
    python = environment / "bin" / "python"
    pip = [str(python), "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    again = [str(python), "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder / "again"), str(source)]
    subprocess.run(again, check=True)
    if contents(next((folder / "again").glob("*.whl"))) != contents(wheel):
        return "the source archive gives another wheel"
    subprocess.run([*pip, f"{wheel}[{EXTRAS}]"], check=True)
    subprocess.run(["chmod", "-R", "a-w", str(environment)], check=True)
    (home / "readings.csv").write_text(READINGS, encoding="utf-8")
    clean = {"PATH": os.environ["PATH"], "HOME": str(home), "LANG": "C.UTF-8"}
    for words in JOB:
        done = subprocess.run([str(environment / "bin" / "roomfield"), *words], cwd=home, env=clean, capture_output=True,
                              text=True, check=False)  # fmt: skip
        if done.returncode:
            return f"{' '.join(words)}: exit {done.returncode}, {done.stderr.strip()[-300:]}"
    missing = [name for name in ("demo/report.pdf", "a.pdf") if not (home / name).read_bytes().startswith(b"%PDF")]
    return f"no PDF: {', '.join(missing)}" if missing else ""


def main(interpreters: list[str]) -> int:
    """Try every interpreter; the number of those that failed."""
    if not interpreters:
        print(__doc__)
        return 2
    failed = 0
    with tempfile.TemporaryDirectory(prefix="roomfield-wheel-") as name:
        wheel, source = build(Path(name))
        for number, interpreter in enumerate(interpreters):
            begun = time.monotonic()
            try:
                fault = tried(interpreter, wheel, source, Path(name) / str(number))
            except (OSError, subprocess.CalledProcessError) as error:
                fault = str(error)
            failed += bool(fault)
            version = subprocess.run(
                [interpreter, "--version"], capture_output=True, text=True, check=False
            ).stdout.strip()
            print(f"{version or interpreter}: {fault or 'well'} ({time.monotonic() - begun:.0f} s)", flush=True)
            subprocess.run(["chmod", "-R", "u+w", name], check=False)
    print(f"{failed} of {len(interpreters)} failed")
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
