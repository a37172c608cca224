"""What holds for every test: workers that run side by side leave the cores to each other."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

os.environ["ROOMFIELD_REFERENCES"] = os.devnull
"""No test reads tables of whoever runs it."""

os.environ["LC_ALL"] = "C.UTF-8"
os.environ.pop("ROOMFIELD_LANGUAGE", None)
"""The commands speak English unless a test asks for another language."""

if "PYTEST_XDIST_WORKER" in os.environ:
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")


@pytest.fixture(scope="session")
def empty_record(tmp_path_factory) -> Path:
    """A record with nothing in it, made as the program makes one."""
    from roomfield.store.making import make_record

    made = tmp_path_factory.mktemp("empty") / "roomfield.sqlite"
    make_record(made)
    return made


@pytest.fixture
def records_by_copy(empty_record, monkeypatch) -> None:
    """New records are copies of one made once: laying all tables takes longer than most of what is tested on them.

    How a record is made has tests of its own (`tests/store`), which do not ask for this.
    """
    monkeypatch.setattr("roomfield.store.repository.make_record", lambda file: shutil.copy(empty_record, file))
