from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from roomfield.field.inference import infer


@pytest.fixture(scope="session")
def home():
    """The module with the surveyed home."""
    spec = importlib.util.spec_from_file_location("homes_survey", Path(__file__).with_name("homes_survey.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def posterior(home):
    return infer(home.survey(home.readings(home.true_levels(), "v1")), seed=1, draws=200)
