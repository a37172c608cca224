from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from roomfield.report.words import Words, load_words


@pytest.fixture(scope="session")
def sample() -> ModuleType:
    """The sample content beside this file."""
    spec = importlib.util.spec_from_file_location("report_sample", Path(__file__).with_name("sample.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["report_sample"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session", params=["en", "de"])
def words(request: pytest.FixtureRequest) -> Words:
    return load_words(request.param)


@pytest.fixture(scope="session")
def english() -> Words:
    return load_words("en")
