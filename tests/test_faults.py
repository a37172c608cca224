"""The campaign of faults, short: a few of every kind; the long one is ``python -m benchmarks.faults``."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system that can fork")
HERE = str(Path(__file__).parents[1])


@pytest.fixture(autouse=True)
def benchmarks_can_be_imported(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.syspath_prepend(HERE)
    yield
    assert HERE in sys.path


def failures(found) -> list[str]:
    assert all(tried.count for tried in found)
    return [f"{tried.name}: {failure}" for tried in found for failure in tried.failures]


def test_killed_work_is_done_or_not_begun(tmp_path: Path):
    from benchmarks.faults import kills

    assert failures(kills.run(tmp_path / "kills", 22, seed=11)) == []


def test_damaged_files_are_taken_soundly_or_refused_in_words(tmp_path: Path):
    from benchmarks.faults import mutations

    assert failures(mutations.run(tmp_path / "files", 8, seed=11)) == []


def test_full_disks_lost_rights_and_many_writers_lose_nothing(tmp_path: Path):
    from benchmarks.faults import circumstances

    assert failures(circumstances.run(tmp_path / "around", 60, seed=11)) == []
