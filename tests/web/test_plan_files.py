"""Plan files and pictures: what they do not say is asked, and every kind of bomb is refused with a sentence."""

from __future__ import annotations

import io
import json
import struct

import pytest
from PIL import Image

from roomfield.exchange.plan_page import read_plan_page

SQUARE = [[0, 0], [5, 0], [5, 4], [0, 4], [0, 0]]
ZURICH = [[8.54, 47.37], [8.5401, 47.37], [8.5401, 47.3701], [8.54, 47.3701], [8.54, 47.37]]


def geojson(ring):
    geometry = {"type": "Polygon", "coordinates": [ring]}
    return json.dumps(
        {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": geometry}]}
    )


def bring(client, survey_id, name, content, **answers):
    return client.post(f"/api/v1/surveys/{survey_id}/plan/underlay", files={"file": (name, content)}, data=answers)


@pytest.mark.published("RFC 7946, section 4: coordinates are degrees; a plan of its own is not")
def test_geojson_is_taken_only_once_its_coordinates_are_named(client, survey_id):
    asked = bring(client, survey_id, "plan.geojson", geojson(SQUARE))
    assert asked.status_code == 422
    assert "metres or degrees" in asked.json()["what"]
    assert bring(client, survey_id, "plan.geojson", geojson(SQUARE), coordinates="furlongs").status_code == 422
    plan = bring(client, survey_id, "plan.geojson", geojson(SQUARE), coordinates="metres").json()["plan"]
    xs = [x for x, _ in plan["dwelling"]["rooms"][0]["outline"]]
    assert max(xs) - min(xs) == pytest.approx(5.0)


@pytest.mark.published(
    "WGS 84: length of a degree by the usual series, 111 179 m and 75 527 m at 47.37 degrees north, by hand"
)
def test_degrees_become_metres(client, survey_id):
    plan = bring(client, survey_id, "plan.geojson", geojson(ZURICH), coordinates="degrees").json()["plan"]
    outline = plan["dwelling"]["rooms"][0]["outline"]
    ys, xs = [y for _, y in outline], [x for x, _ in outline]
    assert max(ys) - min(ys) == pytest.approx(11.118, abs=0.02)
    assert max(xs) - min(xs) == pytest.approx(7.55, abs=0.03)


def test_a_geopackage_with_several_storeys_is_taken_in_once_one_is_named(client, survey_id, tmp_path):
    from roomfield.demo.invented_survey import FIRST, demo_survey
    from roomfield.workbench.publish.home_geopackage import write_home

    home = demo_survey()
    names = [storey.name for storey in home.dwelling.storeys]
    content = write_home(tmp_path / "home.gpkg", home, FIRST.id).read_bytes()
    asked = bring(client, survey_id, "home.gpkg", content)
    if len(names) > 1:
        assert asked.status_code == 422 and "several storeys" in asked.json()["what"]
    plan = bring(client, survey_id, "home.gpkg", content, storey=names[0]).json()["plan"]
    of_first = [room.name for room in home.dwelling.rooms if room.storey_id == home.dwelling.storeys[0].id]
    assert [room["name"] for room in plan["dwelling"]["rooms"]] == of_first


def drawing(unit_code):
    import ezdxf

    document = ezdxf.new()
    document.header["$INSUNITS"] = unit_code
    document.layers.add("WALLS")
    for a, b in (((0, 0), (5000, 0)), ((5000, 0), (5000, 4000)), ((5000, 4000), (0, 4000)), ((0, 4000), (0, 0))):
        document.modelspace().add_line(a, b, dxfattribs={"layer": "WALLS"})
    held = io.StringIO()
    document.write(held)
    return held.getvalue()


@pytest.mark.published("DXF reference, header variable $INSUNITS: 0 is unitless; written by ezdxf")
def test_a_drawing_without_a_unit_is_asked_for_it(client, survey_id):
    asked = bring(client, survey_id, "plan.dxf", drawing(0))
    assert asked.status_code == 422
    assert "unit" in asked.json()["what"]
    plan = bring(client, survey_id, "plan.dxf", drawing(0), metres_per_unit="0.001").json()["plan"]
    xs = [x for wall in plan["dwelling"]["walls"] for x in (wall["start"][0], wall["end"][0])]
    assert max(xs) - min(xs) == pytest.approx(5.0, abs=0.01)


@pytest.mark.published("RFC 9649 (WebP), written by Pillow")
@pytest.mark.parametrize("how", [{"lossless": False}, {"lossless": True}, {"exif": b"Exif\x00\x00"}])
def test_a_webp_picture_is_measured_as_it_was_written(client, survey_id, tmp_path, how):
    path = tmp_path / "plan.webp"
    Image.new("RGB", (301, 199), "white").save(path, **how)
    sheet = read_plan_page(path)
    assert (sheet.width_px, sheet.height_px, sheet.media_type) == (301, 199, "image/webp")
    told = bring(client, survey_id, "plan.webp", path.read_bytes())
    assert told.status_code == 200
    shown = client.get(f"/surveys/{survey_id}/media/{told.json()['sha256']}")
    assert shown.headers["content-type"] == "image/webp"


def bombs():
    head = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + (60_000).to_bytes(4, "big") * 2 + b"\x08\x02\x00\x00\x00"
    yield "picture.png", head.ljust(64, b"\0")
    frame = b"\x00" * 4 + (16_000_000).to_bytes(3, "little") * 2
    yield "picture.webp", b"RIFF" + struct.pack("<I", 30) + b"WEBPVP8X" + struct.pack("<I", 10) + frame
    yield "cut.webp", b"RIFF\x00\x00\x00\x00WEBPVP8L"
    yield "page.pdf", b"%PDF-1.7 broken"
    yield "plan.dxf", b"\0" * 100
    yield "plan.geojson", b"[" * 100_000
    yield "plan.geojson", b'{"type":"FeatureCollection","features":[]}'
    yield "plan.exe", b"MZ"
    yield "picture.png", b""


@pytest.mark.published("CWE-409 (highly compressed data) and CWE-674 (uncontrolled recursion)")
@pytest.mark.parametrize(("name", "content"), list(bombs()))
def test_bombs_and_broken_files_are_refused_with_one_sentence(client, records, survey_id, name, content):
    told = bring(client, survey_id, name, content, coordinates="metres")
    assert told.status_code == 422
    assert told.json()["what"].endswith((".", "?"))
    assert told.json()["mend"]


@pytest.mark.parametrize(
    ("part", "item", "says"),
    [
        ("slabs", {"id": "s", "height_m": 2.6, "layers": [], "outlines": [[[0, 0], [1, 0]]]}, "covers no area"),
        ("slabs", {"id": "s", "height_m": 2.6, "layers": [], "outlines": [SQUARE[:4]], "shields": [
            {"sheet": {"name": "x", "attenuation": []}}]}, "without a figure of attenuation"),
        ("slabs", {"id": "s", "height_m": 2.6, "layers": [], "outlines": [SQUARE[:4]], "shields": [
            {"sheet": {"name": "x", "attenuation": [[1e9, 20]]}, "coverage": 1.2}]}, "coverage"),
        ("furniture", {"id": "f", "name": "Box", "low": [0, 0, 0], "high": [0, 1, 1],
                       "panel": {"material": "wood", "thickness_m": 0.02}}, "has no size"),
        ("furniture", {"id": "f", "name": "Box", "low": [0, 0, 0], "high": [1, 1, 1],
                       "panel": {"material": "wood", "thickness_m": 0}}, "without thickness"),
    ],
)  # fmt: skip
def test_solids_that_cannot_be_are_refused(client, survey_id, part, item, says):
    read = client.get(f"/api/v1/surveys/{survey_id}/plan").json()
    read["plan"]["dwelling"][part] = [item]
    answer = client.put(
        f"/api/v1/surveys/{survey_id}/plan?revision={read['revision']}", content=json.dumps(read["plan"])
    )
    assert answer.status_code == 422
    assert says in answer.json()["what"]
