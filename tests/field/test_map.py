"""Maps, their files, and where to measure next."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from roomfield.errors import InputError, UnknownNameError
from roomfield.field.design import measure_next, storey_points
from roomfield.field.export import map_to_csv, map_to_geojson, map_to_geotiff
from roomfield.field.inference import infer
from roomfield.field.map import LevelMap, level_map
from roomfield.field.path_gains import Radiators, unit_db, unit_db_over
from roomfield.field.posterior import levels_at
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.survey import Dwelling, Storey

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)


@pytest.fixture(scope="module")
def posterior():
    points = [(1.5, 1.0, 1.0), (2.5, 2.0, 1.0), (1.0, 2.2, 1.2)]
    values = {("all", surveys.PEAK): [3e-3, 8e-4, 1e-3]}
    return infer(surveys.survey((surveys.emitter("e", (0.6, 0.6, 1.0)),), points, values, dwelling=surveys.flat()))


@pytest.fixture(scope="module")
def mapped(posterior) -> LevelMap:
    return level_map(posterior, "g", step_m=0.5, kind=Kind.PEAK, bound_w_m2=1e-4)


def test_map_covers_the_storey_and_agrees_with_single_points(posterior, mapped: LevelMap) -> None:
    assert mapped.mean_db.shape == (12, 16)
    assert np.isfinite(mapped.mean_db).all()
    assert (mapped.step_m, mapped.z_m) == (0.5, 1.2)
    spot = [[mapped.x_m[3], mapped.y_m[2], mapped.z_m]]
    alone = levels_at(posterior, spot, kind=Kind.PEAK)
    assert mapped.mean_db[2, 3] == pytest.approx(alone.level_db.mean(), abs=1.0)
    assert mapped.std_db[2, 3] == pytest.approx(alone.level_db.std(), rel=0.3)


def test_map_is_strong_near_the_emitter_and_probability_follows(mapped: LevelMap) -> None:
    assert np.unravel_index(np.argmax(mapped.mean_db), mapped.mean_db.shape) < (3, 3)
    over = mapped.probability_over_bound
    assert over[1, 1] > 0.95 > over[-1, -1]
    sure = np.abs(mapped.mean_db - -40.0) > 3.0 * mapped.std_db
    np.testing.assert_allclose(over[sure], (mapped.mean_db > -40.0)[sure], atol=0.05)


def test_rows_of_many_points_are_those_of_the_map_and_near_the_exact_ones() -> None:
    """In any order; few points, or points off even rows, are exact."""
    scene = Scene.from_dwelling(surveys.flat())
    emitters = (surveys.emitter("a", (0.6, 0.6, 1.0)), surveys.emitter("b", (-30.0, 9.0, 6.0), frequency_hz=0.9e9))
    radiators = Radiators.of(emitters, np.array([e.position for e in emitters]))
    x, y = np.arange(0.25, 7.9, 0.3), np.arange(0.2, 5.9, 0.3)
    cells = np.array([(u, v, 1.2) for v in y for u in x])
    mixed = np.random.default_rng(3).permutation(len(cells))[:450]
    rows = unit_db_over(scene, radiators, cells[mixed])
    assert rows == pytest.approx(unit_db_over(scene, radiators, cells)[mixed], abs=1e-9)
    exact = unit_db(scene, radiators, cells[mixed])
    assert np.sqrt(np.mean((rows - exact) ** 2)) < 0.5
    assert np.any(rows != exact)
    few, off = cells[mixed[:40]], cells[mixed] + np.array([0.0, 0.0, 1.0]) * 0.01 * np.arange(450)[:, None] / 450
    assert np.array_equal(unit_db_over(scene, radiators, few), exact[:40])
    assert np.array_equal(unit_db_over(scene, radiators, off), unit_db(scene, radiators, off))


def test_a_cell_outside_the_outline_is_left_out() -> None:
    corner = Storey("s", "s", 0.0, 2.5, ((0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (1.0, 1.0), (1.0, 2.0), (0.0, 2.0)))
    points, (x, y), inside = storey_points(corner, 0.5)
    assert inside.sum() == len(points) == 12
    assert (len(x), len(y)) == (4, 4)
    assert not inside[3, 3] and inside[0, 3] and inside[3, 0]


def test_a_storey_without_outline_is_mapped_around_what_was_read(posterior) -> None:
    home = surveys.survey((surveys.emitter("e", (0.6, 0.6, 1.0)),), [(1.0, 1.0, 1.0), (4.0, 3.0, 1.0), (2.0, 5.0, 1.0)],
                          {("all", surveys.PEAK): [3e-3, 8e-5, 1e-4]},
                          dwelling=Dwelling(storeys=(Storey("g", "ground", 0.0, 2.5, ()),)))  # fmt: skip
    found = level_map(infer(home, draws=100), "g", step_m=0.5, kind=Kind.PEAK)
    assert (found.x_m[0], found.x_m[-1], found.y_m[0], found.y_m[-1]) == pytest.approx((0.25, 4.75, 0.25, 5.75))
    assert np.isfinite(found.mean_db).all()
    nowhere = replace(posterior, survey=replace(home, readings=(), places=()))
    with pytest.raises(InputError, match="nothing that was read has a position"):
        level_map(nowhere, "g", kind=Kind.PEAK)


def test_wrong_questions_about_maps_are_refused(posterior) -> None:
    with pytest.raises(UnknownNameError, match="storey"):
        level_map(posterior, "attic", kind=Kind.PEAK)
    with pytest.raises(InputError, match="step"):
        level_map(posterior, "g", step_m=0.0, kind=Kind.PEAK)


def test_next_points_lie_where_nothing_was_measured_and_promise_less_doubt(posterior) -> None:
    """Everything was read in the south-west room, so the first advice is elsewhere."""
    found = measure_next(posterior, places=[(6.0, 1.5, 1.0), (6.0, 4.5, 1.0), (2.0, 4.5, 1.0)], count=3)
    x, y, _ = found[0].position
    assert not (x < 4.0 and y < 3.0)
    assert all(f.std_then_db < f.std_now_db for f in found)
    assert found[1].std_now_db == pytest.approx(found[0].std_then_db)


def test_csv_has_a_row_per_cell(mapped: LevelMap) -> None:
    rows = list(csv.DictReader(io.StringIO(map_to_csv(mapped))))
    assert len(rows) == mapped.mean_db.size
    first = rows[0]
    assert float(first["x_m"]) == mapped.x_m[0]
    assert float(first["mean_db_w_m2"]) == pytest.approx(mapped.mean_db[0, 0], abs=0.006)
    assert float(first["probability_over_bound"]) == pytest.approx(mapped.probability_over_bound[0, 0], abs=6e-4)


@pytest.mark.published("RFC 7946, sections 3.1.6 and 3.3: closed rings, counter-clockwise, features with properties")
def test_geojson_rings_are_closed_and_counter_clockwise(mapped: LevelMap) -> None:
    document = json.loads(map_to_geojson(mapped))
    assert document["type"] == "FeatureCollection" and len(document["features"]) == mapped.mean_db.size
    for feature in document["features"]:
        ring = np.array(feature["geometry"]["coordinates"][0])
        assert ring[0].tolist() == ring[-1].tolist() and len(ring) == 5
        area = 0.5 * np.sum(ring[:-1, 0] * ring[1:, 1] - ring[1:, 0] * ring[:-1, 1])
        assert area == pytest.approx(0.25)


@pytest.mark.published("OGC 19-008r4 GeoTIFF 1.1, read back by tifffile")
def test_geotiff_is_north_up_with_scale_and_tie_point(mapped: LevelMap) -> None:
    tifffile = pytest.importorskip("tifffile")
    with tifffile.TiffFile(io.BytesIO(map_to_geotiff(mapped))) as file:
        raster, tags = file.asarray(), file.pages[0].geotiff_tags
    np.testing.assert_allclose(raster[0, ::-1], mapped.mean_db, rtol=1e-6)
    np.testing.assert_allclose(raster[2, ::-1], mapped.probability_over_bound, atol=1e-6)
    assert tags["ModelPixelScale"] == [0.5, 0.5, 0.0]
    assert tags["ModelTiepoint"] == [0.0, 0.0, 0.0, 0.0, 6.0, 1.2]
    assert tags["ProjLinearUnitsGeoKey"] == 9001
    assert "metres" in tags["GTCitationGeoKey"]
