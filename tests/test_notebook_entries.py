"""What a scientist calls from a notebook: entrances by name, arrays over frequency, short repr, quick import."""

from __future__ import annotations

import doctest
import importlib
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import roomfield as rf
from roomfield.field.transmission import stack_optics
from roomfield.references.limits import lookup
from roomfield.survey import Layer

SOURCE = Path(rf.__file__).parent
DOCUMENTED = sorted(
    ".".join(("roomfield", *path.relative_to(SOURCE).with_suffix("").parts)).removesuffix(".__init__")
    for path in SOURCE.rglob("*.py")
    if ">>> " in path.read_text("utf-8")
)
HEAVY = ("numpy", "scipy", "sqlalchemy", "shapely", "numba", "typer")


def test_arrays_of_frequency_give_what_each_frequency_gives():
    wall = [Layer("concrete", 0.18), Layer("glass", 0.004)]
    frequencies = np.array([[900e6], [2.45e9]])
    cosines = np.array([1.0, 0.7, 0.3])
    many = stack_optics(wall, frequencies, cosines)
    for row, frequency in enumerate(frequencies.ravel()):
        for plane, alone in zip(many, stack_optics(wall, float(frequency), cosines), strict=True):
            assert plane.transmission.shape == (2, 3)
            np.testing.assert_array_equal(plane.transmission[row], alone.transmission)
            np.testing.assert_array_equal(plane.back[row], alone.back)


def test_limits_over_frequency_are_arrays_with_gaps_as_nan():
    curve = lookup("EU", "power_density", [900e6, 2.45e9, 1e13])
    assert curve.value_w_m2[0] == lookup("EU", "power_density", 900e6).value_w_m2
    assert np.isnan(curve.value_w_m2[2])
    assert curve.value_w_m2.shape == curve.averaging_s.shape == (3,)
    assert [row.frequency_hz for row in curve.rows] == [900e6, 2.45e9]


def test_a_job_shows_itself_in_one_line():
    shown = repr(rf.open_demo())
    assert len(shown) < 250
    assert "readings" in shown


def test_every_name_of_the_top_level_is_there():
    for name in rf.__all__:
        assert getattr(rf, name) is not None


def test_the_import_brings_no_heavy_library():
    code = f"import roomfield, sys; print([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("module", DOCUMENTED)
def test_examples_in_docstrings_hold(module):
    found = doctest.testmod(importlib.import_module(module), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.attempted > 0
    assert found.failed == 0


def test_modules_with_examples_are_found():
    assert {"roomfield", "roomfield.field.transmission", "roomfield.workbench.notebook"} <= set(DOCUMENTED)


def test_from_beginning_to_shares_in_a_few_lines(tmp_path):
    job = rf.begin(tmp_path / "a.sqlite", "Flat", client="A")
    job = rf.bring_plan(job, lines=["Living room 5 x 4", "Bedroom 4 x 3.5 north of Living room"])
    job = rf.add_place(job, "Bed", position="Bedroom: 1.2 west, 0.8 south", night="8")
    (tmp_path / "r.csv").write_text("place;peak [µW/m²]\nBed;120\n", "utf-8")
    job = rf.take_in(job, tmp_path / "r.csv")
    assert [r.value_w_m2 for r in job.survey.readings] == [pytest.approx(120e-6)]
    with pytest.raises(rf.RoomfieldError, match="no emitter"):
        rf.shares(job)
