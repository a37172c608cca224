"""GeoPackage in and out: masts, points and plans come in, a plan with its levels and map goes out and comes back."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyogrio.raw import write

import roomfield as rf
from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.exchange.geopackage_out import write_geopackage
from roomfield.exchange.masts import read_masts
from roomfield.exchange.plan_drawing import PlanOptions
from roomfield.exchange.plan_geopackage import read_geopackage_plan
from roomfield.exchange.points_table import read_points
from roomfield.survey.dwelling import Dwelling, Layer, Opening, OpeningKind, Room, Storey, Wall
from roomfield.table_files.geopackage import layer_names, read_layer
from roomfield.table_files.table_reader import read_table
from roomfield.workbench.publish.home_geopackage import home_layers, write_home

FIXTURES = Path(pyogrio.__file__).parent / "tests" / "fixtures"
STANDARD = "OGC 12-128r19, GeoPackage Encoding Standard (written and read by GDAL through pyogrio)"


def write_points(path, points, system, layer="masts", **columns):
    shapes = np.array(shapely.to_wkb(shapely.points(points)), dtype=object)
    fields = {
        name: np.array(values, dtype=object if isinstance(values[0], str) else None) for name, values in columns.items()
    }
    write(path, shapes, list(fields.values()), list(fields), geometry_type="Point", crs=system, layer=layer,
          driver="GPKG", append=path.exists())  # fmt: skip
    return path


@pytest.mark.published("test_gpkg_nulls.gpkg of the pyogrio distribution, as its README.md tells how it was made")
@pytest.mark.skipif(not (FIXTURES / "test_gpkg_nulls.gpkg").is_file(), reason="this pyogrio ships no fixtures")
def test_a_published_file_is_read_with_its_nulls():
    path = FIXTURES / "test_gpkg_nulls.gpkg"
    table = read_table(path)
    head, *rows = table.rows
    assert head[:2] == ["latitude", "longitude"] and head[2:4] == ["col_bool", "col_int8"]
    assert [row[:2] for row in rows] == [[n, n] for n in (0.0, 1.0, 2.0, 4.0)]
    assert len(rows) == 4 and rows[0][-1] == 1.5 and rows[-1][-1] == "" and rows[-1][2] == ""
    assert list(table.lines) == [0, 1, 2, 3, 4]
    masts = read_masts(path)
    assert [(m.latitude_deg, m.longitude_deg) for m in masts] == [(n, n) for n in (0.0, 1.0, 2.0, 4.0)]


@pytest.mark.published("EPSG:2056, swisstopo: Bern, old observatory, E 2600000 N 1200000 is 7.438632 E 46.951083 N")
def test_masts_in_a_national_system_come_to_longitude_and_latitude(tmp_path):
    path = write_points(
        tmp_path / "masts.gpkg", [(2600000.0, 1200000.0)], "EPSG:2056",
        name=["Bern"], **{"frequency [MHz]": [1800.0], "eirp [W]": [500.0]},
    )  # fmt: skip
    (mast,) = read_masts(path)
    assert (mast.longitude_deg, mast.latitude_deg) == pytest.approx((7.438632, 46.951083), abs=3e-5)
    assert (mast.name, mast.frequency_hz, mast.eirp_w) == ("Bern", 1.8e9, 500.0)


@pytest.mark.published(STANDARD)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.floats(-170, 170), st.floats(-80, 80), st.text(st.characters(codec="utf-8", categories=["L", "N"]), max_size=12),
            st.floats(30.0, 5e4), st.floats(0.01, 1e4),
        ),
        min_size=1, max_size=8,
    )
)  # fmt: skip
def test_masts_come_back_as_they_were_written(tmp_path, rows):
    path = tmp_path / "masts.gpkg"
    path.unlink(missing_ok=True)
    columns = {"name": [r[2] for r in rows], "frequency [MHz]": [r[3] for r in rows], "eirp [W]": [r[4] for r in rows]}
    write_points(path, [r[:2] for r in rows], "EPSG:4326", **columns)
    for mast, row in zip(read_masts(path), rows, strict=True):
        assert (mast.longitude_deg, mast.latitude_deg) == row[:2]
        assert mast.name == row[2].strip()
        assert (mast.frequency_hz, mast.eirp_w) == pytest.approx((row[3] * 1e6, row[4]))


def test_points_of_a_plan_are_points_with_readings_and_no_masts(tmp_path):
    plan = pyproj.CRS.from_wkt('LOCAL_CS["site",UNIT["metre",1]]').to_wkt()
    path = write_points(tmp_path / "site.gpkg", [(1.0, 2.0), (4.0, 2.5)], plan, **{"peak [µW/m²]": [120.0, 30.0]})
    read = read_points(path)
    assert [one.xyz for one in read] == [(1.0, 2.0, 0.0), (4.0, 2.5, 0.0)]
    assert [one.density_w_m2 for one in read] == pytest.approx([120e-6, 30e-6])
    with pytest.raises(FormatError, match="no columns latitude"):
        read_masts(path)


def test_lengths_under_the_headings_of_angles_are_no_angles(tmp_path):
    path = tmp_path / "masts.csv"
    path.write_text("x [m],y [m],name\n7.4,46.9,A\n")
    with pytest.raises(FormatError, match="no columns latitude"):
        read_masts(path)


def test_a_layer_is_chosen_by_its_name(tmp_path):
    path = write_points(tmp_path / "two.gpkg", [(7.0, 47.0)], "EPSG:4326", "first", name=["A"])
    write_points(path, [(8.0, 48.0)], "EPSG:4326", "second", name=["B"])
    assert layer_names(path) == ("first", "second")
    assert read_masts(path)[0].name == "A" and read_masts(path, "second")[0].name == "B"
    with pytest.raises(UnknownNameError, match=r"first, second"):
        read_masts(path, "third")


def test_what_is_no_geopackage_is_told(tmp_path):
    path = tmp_path / "no.gpkg"
    with sqlite3.connect(path) as made:
        made.execute("create table t (a)")
    for call in (read_table, read_geopackage_plan):
        with pytest.raises(FormatError, match=r"GeoPackage|layer of features"):
            call(path)
    path.write_bytes(b"SQLite format 3\0" + b"\0" * 50)
    with pytest.raises(FormatError, match="no readable GeoPackage"):
        read_table(path)


lengths = st.floats(2.0, 8.0).map(lambda v: round(v, 2))


@st.composite
def storeys(draw):
    """A room with its four walls, of any build-up, with openings on them."""
    width, depth = draw(lengths), draw(lengths)
    corners = ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))
    materials = st.sampled_from(["brick", "concrete", "plasterboard", "wood", "air", "metal"])
    layers = st.lists(
        st.builds(Layer, materials, st.sampled_from([0.001, 0.0125, 0.175, 0.24])), min_size=1, max_size=3
    )
    walls = []
    for number, (a, b) in enumerate(zip(corners, (*corners[1:], corners[0]), strict=True), 1):
        openings = ()
        if draw(st.booleans()):
            kind = draw(st.sampled_from(list(OpeningKind)))
            openings = (
                Opening(f"o{number}", kind, 0.5, 1.5, draw(st.sampled_from([0.0, 0.9])), 2.1, tuple(draw(layers))),
            )
        walls.append(Wall(f"w{number}", "s", a, b, 0.0, 2.5, tuple(draw(layers)), draw(st.booleans()), openings))
    return Dwelling((Storey("s", "Ground", 0.0, 2.5, corners),), (Room("r", "Küche", "s", corners),), tuple(walls))


@pytest.mark.published(STANDARD)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(storeys())
def test_a_plan_that_went_out_comes_back(tmp_path, dwelling):
    home = replace(demo_survey(), dwelling=dwelling, places=(), emitters=(), readings=(), visits=())
    path = write_home(tmp_path / "home.gpkg", home, None)
    parts = read_geopackage_plan(path, options=PlanOptions(window=(), door=()))
    assert [(r.name, set(r.outline)) for r in parts.rooms] == [("Küche", set(dwelling.rooms[0].outline))]
    for back, wall in zip(parts.walls, dwelling.walls, strict=True):
        assert (back.start, back.end, back.layers, back.exterior) == (wall.start, wall.end, wall.layers, wall.exterior)
        found = [(o.kind, o.sill_m, o.head_m, o.layers) for o in back.openings]
        assert found == [(o.kind, o.sill_m, o.head_m, o.layers) for o in wall.openings]
        for one, other in zip(back.openings, wall.openings, strict=True):
            assert (one.start_m, one.end_m) == pytest.approx((other.start_m, other.end_m), abs=1e-6)


def test_the_demo_home_goes_out_with_levels_and_map(tmp_path):
    home = demo_survey()
    path = rf.level_map(home, tmp_path / "home.gpkg", step_m=1.0, bound_w_m2=1e-3)
    assert {"rooms", "walls", "places", "transmitters", "cells"} <= set(layer_names(path))
    places = {row["name"]: (shape, row) for _, shape, row in read_layer(path, "places").named_rows()}
    for one in rf.assess(home).places:
        shape, row = places[one.place]
        assert row[f"{one.kind}_median_uW_m2"] == pytest.approx(1e6 * one.median_w_m2)
        assert row[f"{one.kind}_outcome"] == one.outcome
        assert shape.coords[0] == home.place(one.place_id).position
    cells = read_layer(path, "cells")
    assert not cells.on_earth and cells.shapes[0].area == pytest.approx(1.0)
    assert {"mean_db_w_m2", "std_db", "probability_over_bound"} == set(cells.fields)


def test_of_several_storeys_one_must_be_named(tmp_path):
    home = demo_survey()
    upper = replace(home.dwelling.storeys[0], id="up", name="Upper")
    walls = tuple(replace(w, id=f"up-{w.id}", storey_id="up", openings=()) for w in home.dwelling.walls[:4])
    two = replace(home, dwelling=replace(home.dwelling, storeys=(*home.dwelling.storeys, upper),
                                         walls=(*home.dwelling.walls, *walls)))  # fmt: skip
    path = write_geopackage(tmp_path / "two.gpkg", home_layers(two, FIRST.id))
    with pytest.raises(InputError, match=r"several storeys.*Upper"):
        read_geopackage_plan(path)
    assert len(read_geopackage_plan(path, options=PlanOptions(storey_name="Upper")).walls) == 4


def test_an_interrupted_write_leaves_the_file_that_was_there(tmp_path, monkeypatch):
    path = tmp_path / "home.gpkg"
    path.write_bytes(b"mine")

    def full(*_words, **_named):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("roomfield.exchange.geopackage_out._write", full)
    with pytest.raises(Exception, match="No space left"):
        write_home(path, demo_survey(), FIRST.id)
    assert path.read_bytes() == b"mine" and list(tmp_path.iterdir()) == [path]
