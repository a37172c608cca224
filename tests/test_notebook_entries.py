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
from roomfield.survey import Dwelling, Layer

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


@pytest.mark.published("ITU-R P.2040-3, section 2.2.2.2: normal incidence, TE and TM alike; loss grows with thickness")
def test_loss_of_a_wall_over_frequency_and_angle():
    frequency = np.array([900e6, 2.45e9])
    assert rf.wall_loss_db([("concrete", 0.18)], 5.5e9) == pytest.approx(24.0, abs=0.05)
    te, tm = (rf.wall_loss_db([("brick", 0.24)], frequency, polarisation=p) for p in ("te", "tm"))
    np.testing.assert_allclose(te, tm, rtol=1e-12)
    both = rf.wall_loss_db([("brick", 0.24)], frequency, [[0.0], [60.0], [80.0]])
    assert both.shape == (3, 2)
    np.testing.assert_allclose(both[0], te, rtol=1e-12)
    assert rf.wall_loss_db([("air", 0.1)], frequency) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("call", [
    lambda: rf.wall_loss_db([("cheese", 0.1)], 1e9),
    lambda: rf.wall_loss_db([("brick", 0.1)], 1e9, 91.0),
    lambda: rf.wall_loss_db([("brick", 0.1)], 1e9, polarisation="x"),
    lambda: rf.field_at(rf.open_demo(), {"x": [1.0]}, [[1.0, 1.0, 1.0]]),
    lambda: rf.plot_levels(rf.assess(rf.open_demo()), kind="loud"),
])  # fmt: skip
def test_what_cannot_be_is_said(call):
    with pytest.raises(rf.RoomfieldError):
        call()


@pytest.mark.published("ITU-R P.525-4: free space where there is no dwelling; powers of several transmitters add")
def test_a_field_of_nothing_is_free_space():
    sent = {"x": [0.0, 4.0], "y": [0.0, 0.0], "z": [1.0, 1.0], "frequency_hz": [2.45e9] * 2, "eirp_w": [0.1, 0.2]}
    at = [[2.0, 0.0, 1.0], [0.0, 3.0, 1.0]]
    each = rf.field_at(Dwelling(), sent, at, each=True)
    np.testing.assert_allclose(each[0], rf.density_from_eirp([0.1, 0.2], 2.0), rtol=1e-6)
    np.testing.assert_allclose(rf.field_at(Dwelling(), sent, at), each.sum(axis=1), rtol=1e-12)


def test_a_frame_is_read_as_its_file_would_be(tmp_path):
    pd = pytest.importorskip("pandas")
    frame = pd.DataFrame({"place": ["Bed", "Desk"], "peak [µW/m²]": [120.0, 1000.0]})
    frame.to_csv(tmp_path / "r.csv", index=False)
    ways = {}
    for name, table in (("frame", frame), ("file", tmp_path / "r.csv")):
        job = rf.begin(tmp_path / f"{name}.sqlite", "Flat", started_at="2027-03-01T10:00")
        ways[name] = rf.assess(rf.take_in(job, table, make_places=True)).to_frame()["median_w_m2"].tolist()
    assert ways["frame"] == ways["file"]


@pytest.mark.published("pandas: mean of the same column")
def test_a_log_as_a_frame_keeps_its_moments_and_levels():
    pd = pytest.importorskip("pandas")
    moments = pd.date_range(
        "2027-03-28 00:00", periods=2000, freq="10s", tz="Europe/Vienna"
    )  # over the change of clocks
    level = np.random.default_rng(5).exponential(20.0, 2000)
    for frame in (
        pd.DataFrame({"time": moments, "level [µW/m²]": level}),
        pd.DataFrame({"level [µW/m²]": level}, index=moments.rename("time")),
    ):
        view = rf.read_log(frame, zone="Europe/Vienna")
        assert view.statistics.readings == 2000
        assert view.statistics.mean == pytest.approx(level.mean() * 1e-6, rel=1e-6)


def test_plots_draw_on_the_axes_given():
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    _, (left, right) = plt.subplots(1, 2)
    found = rf.assess(rf.open_demo())
    assert rf.plot_levels(found, kind="highest_held", ax=left) is left
    rows = [row for row in found.places if row.kind == "highest_held"]
    assert [t.get_text().partition(",")[0] for t in left.get_yticklabels()] == [r.place.partition(",")[0] for r in rows]
    np.testing.assert_allclose(left.lines[0].get_xdata(), [1e6 * r.median_w_m2 for r in rows])
    assert rf.plot_map(rf.open_demo(), step_m=0.5, ax=right) is right
    assert right.collections
    plt.close("all")


@pytest.mark.published("xarray reads NetCDF by its own reader (scipy); CF conventions 1.8: missing cells are nan")
def test_a_map_as_netcdf_is_a_labelled_array(tmp_path):
    xarray = pytest.importorskip("xarray")
    path = rf.level_map(rf.open_demo(), tmp_path / "map.nc", step_m=0.5, bound_w_m2=1e-3)
    rows = (
        rf.level_map(rf.open_demo(), tmp_path / "map.csv", step_m=0.5, bound_w_m2=1e-3).read_text("utf-8").splitlines()
    )
    with xarray.open_dataset(path, engine="scipy") as found:
        assert found.mean_db.dims == ("y", "x")
        assert found.mean_db.units == "dB re 1 W/m2"
        x, y, _, mean, std, over = (float(cell) for cell in rows[1].split(","))
        here = found.sel(x=x, y=y)
        assert float(here.mean_db) == pytest.approx(mean, abs=0.006)
        assert float(here.std_db) == pytest.approx(std, abs=0.006)
        assert float(here.probability_over_bound) == pytest.approx(over, abs=0.0006)
        assert int(found.mean_db.notnull().sum()) == len(rows) - 1
