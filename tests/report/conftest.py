from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from roomfield.show.words import Words, load_words


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


@pytest.fixture(scope="session")
def font_widths() -> Callable[[str], float]:
    """Advance widths of Source Sans, in em, as the font file states them."""
    from fontTools.ttLib import TTFont

    from roomfield.report.render.fonts import face_files

    font = TTFont(next(f for f in face_files() if f.stem == "SourceSansPro-Regular"))
    widths, names, em = font["hmtx"], font.getBestCmap(), font["head"].unitsPerEm
    return lambda text: sum(widths[names[ord(ch)]][0] for ch in text) / em
