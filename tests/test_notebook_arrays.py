"""Labelled arrays out, plans from frames in, sound as an array, the edge by itself; every function shows an example."""

from __future__ import annotations

import inspect

import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Polygon

import roomfield as rf
from roomfield.demo.invented_survey import demo_survey
from roomfield.survey.dwelling import Layer, OpeningKind


def test_every_public_function_shows_an_example():
    without = [
        name for name in rf.__all__
        if inspect.isfunction(getattr(rf, name)) and "Examples\n" not in (inspect.getdoc(getattr(rf, name)) or "")
    ]  # fmt: skip
    assert without == []


def test_draws_give_the_intervals_of_the_levels_and_come_back_from_netcdf(tmp_path):
    import xarray

    home = demo_survey()
    draws = rf.level_draws(home, kind="highest_held")
    placed = [place.name for place in home.places if place.position is not None]
    assert list(draws["place"].values) == placed
    assert draws["density_w_m2"].attrs["units"] == "W m-2"
    assert (draws["by_source_w_m2"] >= 0).all()
    draws.to_netcdf(tmp_path / "draws.nc", engine="scipy")
    with xarray.open_dataset(tmp_path / "draws.nc", engine="scipy") as back:
        np.testing.assert_array_equal(back["density_w_m2"], draws["density_w_m2"])
        assert [str(one) for one in back["place"].values] == placed
    again = rf.level_draws(home, kind="highest_held")
    np.testing.assert_array_equal(again["density_w_m2"], draws["density_w_m2"])
    with pytest.raises(rf.RoomfieldError):
        rf.level_draws(home, [])


def test_the_map_as_arrays_is_the_map_as_file(tmp_path):
    import xarray

    home = demo_survey()
    arrays = rf.map_arrays(home, step_m=1.0, bound_w_m2=1e-3)
    with xarray.open_dataset(
        rf.level_map(home, tmp_path / "m.nc", step_m=1.0, bound_w_m2=1e-3), engine="scipy"
    ) as file:
        assert arrays.identical(file.load())


@pytest.mark.published(
    "ITU-R P.526: J(0) is 6.02 dB; J(v) = 6.9 + 20 log10(sqrt((v - 0.1)^2 + 1) + v - 0.1) for v over -0.78 (from memory)"
)
def test_loss_behind_an_edge():
    v = np.linspace(-0.7, 5.0, 60)
    height = v / np.sqrt(2.0 * (1 / 3.0 + 1 / 2.0) * 2.45e9 / 299792458.0)
    near = 6.9 + 20.0 * np.log10(np.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1)
    np.testing.assert_allclose(rf.edge_loss_db(2.45e9, height, 3.0, 2.0), near, atol=0.35)
    assert rf.edge_loss_db(1e9, 0.0, 1.0, 1.0) == pytest.approx(20 * np.log10(2.0), abs=1e-12)
    assert rf.edge_loss_db([[1e9], [2e9]], [0.1, 0.2, 0.3], 1.0, 1.0).shape == (2, 3)
    assert abs(float(rf.edge_loss_db(1e9, -50.0, 100.0, 100.0))) < 0.3
    with pytest.raises(rf.RoomfieldError, match="not above 0"):
        rf.edge_loss_db(1e9, 0.1, 0.0, 1.0)


def test_a_plan_from_a_frame_with_geometries():
    frame = pd.DataFrame(
        {
            "geometry": [
                LineString([(0, 0), (4, 0), (4, 3)]), LineString([(0, 0), (0, 3)]), LineString([(1, 0), (2, 0)]),
                Polygon([(0, 0), (4, 0), (4, 3), (0, 3)]),
            ],
            "kind": ["wall", "wall", "window", "room"],
            "build_up": ["brick 0.24 + plasterboard 0.0125", None, None, None],
            "name": [None, None, None, "Bedroom"],
            "sill_m": [np.nan, np.nan, 0.8, np.nan],
        }
    )  # fmt: skip
    home = rf.plan_from_frame(frame)
    assert [len(home.walls), [room.name for room in home.rooms]] == [3, ["Bedroom"]]
    assert home.walls[0].layers == (Layer("brick", 0.24), Layer("plasterboard", 0.0125))
    (window,) = home.walls[0].openings
    assert (window.kind, window.sill_m) == (OpeningKind.WINDOW, 0.8)
    with pytest.raises(rf.RoomfieldError, match="no column 'geometry'"):
        rf.plan_from_frame(pd.DataFrame({"x": [1]}))
    router = {"x": [1.0], "y": [1.0], "z": [1.0], "frequency_hz": [2.45e9], "eirp_w": [0.1]}
    assert rf.field_at(home, router, [[3.0, 2.0, 1.0]])[0] > 0.0


def test_an_array_of_sound_is_heard_as_its_file_is(tmp_path):
    soundfile = pytest.importorskip("soundfile")
    moment = np.arange(8 * 48000) / 48000
    sound = 0.5 * (np.mod(moment, 0.1024) < 1e-3) + 1e-3 * np.random.default_rng(3).standard_normal(len(moment))
    soundfile.write(tmp_path / "a.wav", sound, 48000, subtype="FLOAT")
    by_file, by_array = rf.listen(tmp_path / "a.wav"), rf.listen(sound.astype(np.float32), sample_rate_hz=48000.0)
    assert [one.name for one in by_array.technologies] == [one.name for one in by_file.technologies]
