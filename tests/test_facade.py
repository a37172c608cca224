"""The public names, and what a notebook sees."""

from __future__ import annotations

import subprocess
import sys

import pytest

import roomfield as rf


def test_the_public_names_are_these():
    assert sorted(rf.__all__) == dir(rf)
    for name in rf.__all__:
        assert getattr(rf, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'measure_everything'"):
        rf.measure_everything  # noqa: B018


def test_importing_loads_nothing_heavy():
    code = "import sys, roomfield; print('numpy' in sys.modules, 'sqlalchemy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_findings_show_themselves():
    found = rf.assess(rf.open_demo())
    assert len(found.places) == 21
    assert "Child's cot" in repr(found)
    assert found._repr_html_().count("<tr>") == 22
    frame = found.to_frame()
    assert len(frame) == 84
    assert (frame.low_w_m2 <= frame.median_w_m2).all()
