"""A site without a plan: a table of points in, levels between them and the emitter's place out."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from typer.testing import CliRunner

import roomfield as rf
from roomfield.cli.main import app
from roomfield.errors import FormatError, InputError, RejectedRows, TooEarlyError

HEADERS = ("x [m]", "y [m]", "z [m]", "peak [µW/m²]")


def written(path, rows, headers=HEADERS):
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([headers, *rows])
    return path


@pytest.fixture
def free_space(tmp_path):
    """Levels of one 0.1 W source at (-2, 1) m in free space, S = EIRP / 4 pi d² (ITU-R P.525), every fourth asked for."""
    rng = np.random.default_rng(4)
    where = np.column_stack([rng.uniform(0.0, 8.0, 32), rng.uniform(0.0, 6.0, 32)])
    truth = 0.1 / (4.0 * np.pi * ((where[:, 0] + 2.0) ** 2 + (where[:, 1] - 1.0) ** 2))
    asked = np.arange(32) % 4 == 0
    rows = [
        (f"{x:.3f}", f"{y:.3f}", "0", "" if q else f"{1e6 * s:.4g}")
        for (x, y), s, q in zip(where, truth, asked, strict=True)
    ]
    emitters = written(tmp_path / "emitters.csv", [("router", -2, 1, 0)], ("emitter", "x", "y", "z"))
    return written(tmp_path / "points.csv", rows), emitters, truth[asked]


@pytest.mark.published("ITU-R P.525-4 (2019): power density falls as the square of the distance in free space")
def test_levels_between_the_points_are_those_of_the_law(free_space):
    table, emitters, truth = free_space
    found = rf.levels_from_points(table, emitters)
    assert found.readings == 24 and not found.sought
    off_db = 10 * np.log10([one.median_w_m2 for one in found.levels] / truth)
    assert np.sqrt(np.mean(off_db**2)) < 1.0
    assert all(one.low_w_m2 < s < one.high_w_m2 for one, s in zip(found.levels, truth, strict=True))


@pytest.mark.published("ITU-R P.525-4 (2019): power density falls as the square of the distance in free space")
def test_a_source_without_a_position_is_sought(free_space):
    table, _, truth = free_space
    found = rf.levels_from_points(table)
    assert len(found.levels) == len(truth)
    (one,) = found.sought
    assert np.hypot(one.centre_m[0] + 2.0, one.centre_m[1] - 1.0) < 2.0
    assert 0.0 < one.area_m2 < 150.0


def test_a_bound_pulls_down_but_is_no_reading(tmp_path):
    near = [(0, 0, 0, 900), (1, 0, 0, 700), (0, 1, 0, 800), (6, 0, 0, ""), (6, 1, 0, "")]
    plain = rf.levels_from_points(written(tmp_path / "a.csv", near))
    bounded = rf.levels_from_points(written(tmp_path / "b.csv", [*near, (6.5, 0.5, 0, "< 1")]))
    assert bounded.levels[0].median_w_m2 < 0.1 * plain.levels[0].median_w_m2


def test_the_command_says_the_same_as_the_call(free_space):
    table, emitters, _ = free_space
    run = CliRunner().invoke(app, ["points", str(table), "--emitters", str(emitters), "--json"])
    assert run.exit_code == 0
    said = json.loads(run.stdout)
    call = rf.levels_from_points(table, emitters)
    assert [one["median_w_m2"] for one in said["levels"]] == pytest.approx([one.median_w_m2 for one in call.levels])
    shown = CliRunner().invoke(app, ["points", str(table)]).stdout
    assert "From 24 readings" in shown and "most likely near x =" in shown


@pytest.mark.parametrize(
    ("rows", "headers", "fault", "words"),
    [
        ([(0, 0, 0, 1), (1, 1, 0, 2)], HEADERS, TooEarlyError, "2 readings are too few"),
        ([(1, 2)], ("room", "peak [µW/m²]"), FormatError, "no columns x and y"),
        ([(0, 0, 1)], ("x", "y", "peak"), InputError, "0 columns of readings with a known unit"),
        ([(0, 0, 1, 2)], ("x", "y", "peak [V/m]", "average [V/m]"), InputError, "2 columns of readings"),
        ([("here", 0, 0, 1)], HEADERS, RejectedRows, "not a number"),
        ([(0, 0, 0, 0)], HEADERS, RejectedRows, "no decibels"),
        ([(0, 0, 0, "OL")], HEADERS, RejectedRows, "without its number"),
    ],
)
def test_faults_say_what_and_where(tmp_path, rows, headers, fault, words):
    with pytest.raises(fault) as caught:
        rf.levels_from_points(written(tmp_path / "points.csv", rows, headers))
    said = str(caught.value) + "".join(str(row) for row in getattr(caught.value, "faults", ()))
    assert words in said and "points.csv" in said
