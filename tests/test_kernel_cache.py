"""Compiled loops never outlive a change of what is compiled into them, and need no place to be kept."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from roomfield import kernel_cache

PACKAGE = Path(kernel_cache.__file__).parent
KERNEL_FILES = sorted(PACKAGE.rglob("*kernels.py"))
PROBE = """
from roomfield.kernel_cache import kernel
from roomfield.field.edge_kernels import edge_power

@kernel()
def behind(x, along):
    return edge_power(x, x, along)
"""
ASK = (
    "from roomfield.field.probe_kernels import behind; "
    "print(behind(0.7, 1.0), sum(behind.stats.cache_hits.values()), behind.stats.cache_path)"
)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the package with one more kernel, which calls a helper in another file."""
    package = tmp_path / "src" / "roomfield"
    shutil.copytree(PACKAGE, package, ignore=shutil.ignore_patterns("__pycache__", "static", "templates"))
    (package / "field" / "probe_kernels.py").write_text(PROBE)
    return package


def answer(package: Path, **settings: str) -> tuple[float, int, str]:
    """What the probe computes, how many compiled forms it found kept, and where it keeps them."""
    keep = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    environment = keep | {"PYTHONPATH": str(package.parent), "XDG_CACHE_HOME": str(package.parent / "kept")} | settings
    told = subprocess.run([sys.executable, "-c", ASK], env=environment, capture_output=True, text=True, check=True)
    value, hits, path = told.stdout.split(maxsplit=2)
    return float(value), int(hits), path.strip()


def test_a_changed_helper_in_another_file_is_seen(copy: Path) -> None:
    """The hard and the soft wave swapped in the helper; the caller's file stays as it was."""
    helper = copy / "field" / "edge_kernels.py"
    text = helper.read_text()
    before, kept, _ = answer(copy)
    assert kept == 0
    assert answer(copy)[:2] == (before, 1)
    swapped = text.replace("along * soft + (1.0 - along) * hard", "along * hard + (1.0 - along) * soft")
    assert swapped != text
    helper.write_text(swapped)
    changed, kept, _ = answer(copy)
    assert kept == 0
    # Arguments alike, the soft wave's two terms cancel behind the edge and the hard wave's add up (Sommerfeld).
    assert before == pytest.approx(0.0, abs=1e-12) and changed > 0.01
    helper.write_text(text)
    assert answer(copy)[:2] == (before, 1)


def test_without_a_home_the_temporary_folder_serves(copy: Path, tmp_path: Path) -> None:
    place = tmp_path / "temporary"
    place.mkdir()
    *_, path = answer(copy, HOME="/dev/null", XDG_CACHE_HOME="", TMPDIR=str(place))
    assert Path(path).is_relative_to(place)
    assert Path(path).stat().st_mode & 0o777 == 0o700


def test_with_no_place_at_all_it_still_computes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel_cache, "_candidates", lambda: iter([Path("/dev/null/nowhere")]))
    assert kernel_cache._place() is None
    monkeypatch.setattr(kernel_cache, "FOLDER", None)
    twice = kernel_cache.kernel()(lambda x: x + x)
    assert twice(21) == 42 and twice.stats.cache_path is None
    assert not kernel_cache.is_complete()


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="owners of folders as POSIX has them")
def test_a_folder_that_others_can_write_is_not_trusted(tmp_path: Path) -> None:
    (tmp_path / "open").mkdir()
    (tmp_path / "open").chmod(0o777)
    assert kernel_cache._usable(tmp_path / "open", "name") is None
    (tmp_path / "link").symlink_to(tmp_path)
    assert kernel_cache._usable(tmp_path / "link", "name") is None
    assert kernel_cache._usable(tmp_path / "mine", "name") == tmp_path / "mine" / "name"


def test_a_damaged_file_is_compiled_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel_cache, "FOLDER", tmp_path)

    def doubled(x):
        return x * 2.0

    assert kernel_cache.kernel()(doubled)(4.0) == 8.0
    (file,) = tmp_path.iterdir()
    file.write_bytes(file.read_bytes()[:100])
    again = kernel_cache.kernel()(doubled)
    assert again(4.0) == 8.0 and not again.stats.cache_hits
    assert kernel_cache.kernel()(doubled)(4.0) == 8.0


def test_each_signature_has_its_own_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two processes that compile other signatures at once must not write the same file."""
    monkeypatch.setattr(kernel_cache, "FOLDER", tmp_path)
    total = kernel_cache.kernel()(lambda x: x.sum())
    locked = np.ones(3)
    locked.flags.writeable = False
    for given in (np.ones(3), np.ones((3, 3)), np.ones((3, 3), order="F"), np.ones(3, np.float32), locked):
        total(given)
    assert len(list(tmp_path.iterdir())) == 5


def test_old_folders_are_forgotten(tmp_path: Path) -> None:
    for name, age_days in (("today", 900), ("recent", 3), ("old", 900)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "loop.nbc").touch()
        seconds = (tmp_path / name).stat().st_mtime - age_days * 86400
        os.utime(tmp_path / name, (seconds, seconds))
    kernel_cache._forget_old(tmp_path, "today")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["recent", "today"]


def test_only_kernel_files_compile() -> None:
    """What compiles is named ``*kernels.py``, so that the digest holds it."""
    marks = re.compile(r"@(?:numba\.)?n?jit\b|import n?jit\b|kernel_cache import .*\b(?:kernel|inner)\b|@vectorize")
    compiling = {file for file in PACKAGE.rglob("*.py") if marks.search(file.read_text("utf-8"))}
    assert compiling <= {*KERNEL_FILES, PACKAGE / "kernel_cache.py"}
    assert len(compiling) >= 9


@pytest.mark.parametrize("file", KERNEL_FILES, ids=lambda f: f.relative_to(PACKAGE).as_posix())
def test_kernel_files_take_nothing_from_outside_the_digest(file: Path) -> None:
    """A constant taken from another module would be frozen into compiled code that the digest does not see."""
    taken = re.findall(r"^\s*(?:from|import) (roomfield[\w.]*)", file.read_text("utf-8"), re.MULTILINE)
    assert all(name == "roomfield.kernel_cache" or name.endswith("kernels") for name in taken), taken
