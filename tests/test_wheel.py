"""The wheel as an office installs it: files that nobody may write, a user without a home, the whole way to a report."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import sysconfig
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
NOBODY = 65534
pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs rights as POSIX has them")


@pytest.fixture(scope="module")
def office() -> Iterator[Path]:
    """A folder with the wheel's content, read-only, and a folder that the user may write."""
    pytest.importorskip("hatchling", reason="comes with the extra test")
    folder = Path(tempfile.mkdtemp(prefix="roomfield-office-"))
    folder.chmod(0o755)
    build = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "-q",
        "--no-deps",
        "--no-build-isolation",
        "-w",
        str(folder / "wheel"),
    ]
    subprocess.run([*build, str(ROOT)], check=True, capture_output=True)
    (wheel,) = (folder / "wheel").glob("*.whl")
    with zipfile.ZipFile(wheel) as content:
        content.extractall(folder / "site")
    for path in sorted((folder / "site").rglob("*"), reverse=True):
        path.chmod(0o555 if path.is_dir() else 0o444)
    (folder / "site").chmod(0o555)
    work = folder / "work"
    work.mkdir()
    if os.geteuid() == 0:
        os.chown(work, NOBODY, NOBODY)
    yield folder
    for path in (folder / "site").rglob("*"):
        path.chmod(stat.S_IRWXU)
    shutil.rmtree(folder, ignore_errors=True)


def run(office: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the installed command as a user who owns nothing but one folder."""
    libraries = sysconfig.get_paths()["purelib"]
    environment = {
        "PATH": os.environ["PATH"],
        "PYTHONPATH": f"{office / 'site'}{os.pathsep}{libraries}",
        "HOME": "/nonexistent",
        "TMPDIR": str(office / "work"),
        "LANG": "C.UTF-8",
        "OMP_NUM_THREADS": "1",
    }
    other = {"user": NOBODY, "group": NOBODY, "extra_groups": []} if os.geteuid() == 0 else {}
    command = [sys.executable, "-S", "-P", "-m", "roomfield", *words]
    return subprocess.run(
        command, cwd=office / "work", env=environment, capture_output=True, text=True, timeout=600, check=False, **other
    )


def test_everything_the_program_reads_is_in_the_wheel(office):
    packed = {
        p.relative_to(office / "site").as_posix() for p in (office / "site" / "roomfield").rglob("*") if p.is_file()
    }
    source = ROOT / "src"
    wanted = {
        p.relative_to(source).as_posix()
        for p in (source / "roomfield").rglob("*")
        if p.is_file() and "__pycache__" not in p.parts
    }
    assert wanted <= packed


def test_a_user_without_a_home_gets_to_the_report(office):
    (office / "work" / "r.csv").write_text(
        "place;state;peak [µW/m²]\nBed;As found;420\nBed;Router off;14\n", encoding="utf-8"
    )
    (office / "work" / "r.csv").chmod(0o644)
    for words in (
        ("--version",),
        ("new", "Flat", "--guideline", "building-biology-2015"),
        ("plan", "--room", "Bedroom 4 x 3.5"),
        ("place", "Bed", "--position", "Bedroom: 1 west, 1 south"),
        ("transmitter", "Router", "--technology", "wifi_data", "--frequency", "2450", "--position", "Bedroom: 1 east"),
        ("state", "Router off", "--off", "Router"),
        ("take-in", "r.csv", "--confirm"),
        ("assess",),
        ("shares",),
        ("report", "report.html", "--short"),
    ):
        done = run(office, *words)
        assert done.returncode == 0, (words, done.stderr[-800:])
        assert "defect" not in done.stderr
    assert (office / "work" / "report.html").stat().st_size > 1000
