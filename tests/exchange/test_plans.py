"""Plans drawn elsewhere: what comes in has the right lengths, and what cannot is refused in one sentence."""

from __future__ import annotations

import json
import math
import os
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from PIL import Image

from roomfield.errors import FormatError, InputError, RangeError, UnknownNameError
from roomfield.exchange.plan_drawing import PlanOptions
from roomfield.exchange.plan_dxf import look_at_dxf, read_dxf_plan
from roomfield.exchange.plan_faces import pair_faces
from roomfield.exchange.plan_geojson import metres_per_degree, read_geojson_plan
from roomfield.exchange.plan_page import read_plan_page
from roomfield.exchange.survey_document import read_document_file
from roomfield.exchange.unpack import open_package
from roomfield.logs import guess_mapping
from roomfield.signals.recording import open_source
from roomfield.store.media import MediaFolder
from roomfield.survey import Dwelling, Layer, OpeningKind, Wall
from roomfield.table_files.table_reader import read_table


def length(wall: Wall) -> float:
    return math.dist(wall.start, wall.end)


# GeoJSON


def feature(kind: str | None, coordinates: Any, form: str = "LineString", **properties: Any) -> dict[str, Any]:
    known = properties if kind is None else {"kind": kind} | properties
    return {"type": "Feature", "properties": known, "geometry": {"type": form, "coordinates": coordinates}}


SQUARE = [[0, 0], [6, 0], [6, 4], [0, 4], [0, 0]]


@pytest.fixture
def geojson(tmp_path: Path) -> Callable[..., Path]:
    def write(*features: Any) -> Path:
        path = tmp_path / "plan.geojson"
        path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features)}), encoding="utf-8")
        return path

    return write


def test_geojson_in_metres(geojson: Callable[..., Path]):
    path = geojson(
        feature("wall", SQUARE, material="concrete", thickness_m=0.2),
        feature("wall", [[3, 0], [3, 4]]),
        feature("room", [[[0, 0], [3, 0], [3, 4], [0, 4], [0, 0]]], "Polygon", name="Bedroom"),
        feature(None, [[[3, 0], [6, 0], [6, 4], [3, 4]]], "Polygon"),
        feature("window", [[1, 0.1], [2.5, 0.1]], sill_m=0.4, head_m=2.2),
        feature("door", [[3.05, 1], [3.05, 1.9]]),
        feature("gap", [[30, 30], [31, 30]]),
    )
    parts = read_geojson_plan(path, coordinates="metres", options=PlanOptions(floor_m=3.0, ceiling_m=5.5))
    assert [length(wall) for wall in parts.walls] == [6.0, 4.0, 6.0, 4.0, 4.0]
    assert [wall.exterior for wall in parts.walls] == [True] * 4 + [False]
    assert parts.walls[0].layers == (Layer("concrete", 0.2),)
    assert parts.walls[4].layers == PlanOptions().interior_wall
    (window,) = parts.walls[0].openings
    assert (window.kind, window.start_m, window.end_m) == (OpeningKind.WINDOW, 1.0, 2.5)
    assert (window.sill_m, window.head_m) == (3.4, 5.2)
    (door,) = parts.walls[4].openings
    assert (door.kind, door.start_m, door.end_m, door.sill_m) == (OpeningKind.DOOR, 1.0, 1.9, 3.0)
    assert [room.name for room in parts.rooms] == ["Bedroom", "Room 2"]
    assert set(parts.storey.outline) == {(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)}
    assert any("1 openings lie on no wall" in remark for remark in parts.remarks)
    assert any("build-up" in remark for remark in parts.remarks)


def test_parts_are_added_to_a_dwelling_once(geojson: Callable[..., Path]):
    parts = read_geojson_plan(geojson(feature("wall", SQUARE)), coordinates="metres")
    dwelling = parts.added_to(Dwelling(north_deg=7.0))
    assert dwelling.north_deg == 7.0
    assert len(dwelling.walls) == 4
    assert all(wall.storey_id == dwelling.storeys[0].id for wall in dwelling.walls)
    with pytest.raises(InputError, match="already a storey"):
        parts.added_to(dwelling)


@pytest.mark.published(
    "WGS 84 ellipsoid: one degree of longitude on the equator 111319.49 m, of latitude on the equator 110574.3 m and "
    "at the pole 111693.9 m (standard geodetic tables, from memory)"
)
def test_length_of_a_degree():
    assert metres_per_degree(0.0)[0] == pytest.approx(111319.49, abs=0.01)
    assert metres_per_degree(0.0)[1] == pytest.approx(110574.3, abs=0.1)
    assert metres_per_degree(90.0)[1] == pytest.approx(111693.9, abs=0.1)
    assert metres_per_degree(90.0)[0] == pytest.approx(0.0, abs=1e-6)


def test_geojson_in_degrees_keeps_lengths_and_directions(geojson: Callable[..., Path]):
    east_m, north_m = metres_per_degree(48.2)
    ring = [[16.37 + x / east_m, 48.2 + y / north_m] for x, y in SQUARE]
    parts = read_geojson_plan(geojson(feature("wall", ring)), coordinates="degrees")
    assert [length(wall) for wall in parts.walls] == pytest.approx([6.0, 4.0, 6.0, 4.0], abs=1e-3)
    assert parts.walls[0].end[0] - parts.walls[0].start[0] == pytest.approx(6.0, abs=1e-3)
    assert "plan north is true north." in parts.remarks


def test_degrees_taken_for_metres_are_refused(geojson: Callable[..., Path]):
    ring = [[16.37 + x * 1e-5, 48.2 + y * 1e-5] for x, y in SQUARE]
    with pytest.raises(FormatError, match="m wide"):
        read_geojson_plan(geojson(feature("wall", ring)), coordinates="metres")
    with pytest.raises(FormatError, match="no degrees"):
        read_geojson_plan(geojson(feature("wall", [[500, 0], [506, 0]])), coordinates="degrees")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (feature("throne", SQUARE), "feature 1: the kind 'throne' is not known"),
        (feature("wall", [[0, 0]]), "feature 1: its coordinates are no line"),
        (feature("wall", [[0, 0], ["a", 1]]), "feature 1: .* is no position"),
        (feature("wall", [[0, 0], [True, 1]]), "is no position"),
        (feature("wall", [0, 0], "Point"), "a geometry of type 'Point' is not used"),
        (feature("wall", SQUARE, material="brick"), "needs a thickness_m"),
        (feature("window", SQUARE, sill_m="low"), "sill_m is no number"),
        (feature("room", [[[0, 0], [1, 1], [0, 0]]], "Polygon"), "at least three corners"),
        ({"type": "Feature", "geometry": None}, "feature 1: it has no geometry"),
        (
            {"type": "Feature", "properties": [1], "geometry": {"type": "LineString", "coordinates": SQUARE}},
            "no object",
        ),
        (feature("window", [[0, 0], [1, 0]]), "no wall and no room"),
        (feature("wall", [[0, 0], [0.5, 0]]), "m wide"),
        (feature("wall", [[0, 0], [5000, 0]]), "would be 5000 m wide"),
    ],
)
def test_wrong_geojson_is_one_clear_sentence(geojson: Callable[..., Path], wrong: Any, words: str):
    with pytest.raises(FormatError, match=words) as caught:
        read_geojson_plan(geojson(wrong), coordinates="metres")
    assert str(caught.value).startswith("plan.geojson")


@pytest.mark.parametrize("content", ["", "[", "[]", "7", '{"type": "FeatureCollection", "features": []}', "[" * 90_000])
def test_what_is_no_geojson(tmp_path: Path, content: str):
    path = tmp_path / "odd.json"
    path.write_text(content)
    with pytest.raises(FormatError, match=r"no JSON|no features"):
        read_geojson_plan(path, coordinates="metres")


# DXF


@pytest.fixture
def dxf(tmp_path: Path) -> Callable[..., Path]:
    def write(draw: Callable[[Any, Any], None], units: int = 4) -> Path:
        document = ezdxf.new("R2010")
        document.header["$INSUNITS"] = units
        draw(document, document.modelspace())
        document.saveas(tmp_path / "plan.dxf")
        return tmp_path / "plan.dxf"

    return write


def draw_centre_lines(_document: Any, space: Any) -> None:
    walls, rooms = {"layer": "A-WALL"}, {"layer": "Räume"}
    space.add_lwpolyline([(0, 0), (6000, 0), (6000, 4000), (0, 4000)], close=True, dxfattribs=walls)
    space.add_line((3000, 0), (3000, 4000), dxfattribs=walls)
    space.add_lwpolyline([(0, 0), (3000, 0), (3000, 4000), (0, 4000)], close=True, dxfattribs=rooms)
    space.add_text("Bedroom", dxfattribs={"layer": "text", "insert": (1000, 1000)})
    space.add_mtext("Kitchen\\Pnew", dxfattribs={"layer": "text", "insert": (9000, 9000)})
    space.add_line((1000, -50), (2500, -50), dxfattribs={"layer": "Fenster"})
    space.add_lwpolyline([(3000, 1000), (3000, 1900), (2200, 1900)], dxfattribs={"layer": "DOORS"})
    space.add_circle((0, 0), 100, dxfattribs={"layer": "A-WALL"})


def test_dxf_with_centre_lines(dxf: Callable[..., Path]):
    path = dxf(draw_centre_lines)
    guess = look_at_dxf(path)
    assert {layer.name: layer.role for layer in guess.layers} == {
        "A-WALL": "wall", "DOORS": "door", "Fenster": "window", "Räume": "room", "text": "unused",
    }  # fmt: skip
    assert (guess.metres_per_unit, guess.two_faces) == (0.001, False)
    assert "layer 'A-WALL': wall (its name holds 'wall'); 2 entities" in guess.describe()
    parts = read_dxf_plan(path, guess)
    assert sorted(length(wall) for wall in parts.walls) == [4.0, 4.0, 4.0, 6.0, 6.0]
    assert [room.name for room in parts.rooms] == ["Bedroom"]
    openings = {o.kind: (o.start_m, o.end_m) for wall in parts.walls for o in wall.openings}
    assert openings[OpeningKind.WINDOW] == pytest.approx((1.0, 2.5))
    assert OpeningKind.DOOR in openings


def draw_faces(_document: Any, space: Any) -> None:
    """A room of 6 by 4 m inside walls of 30 cm, and a partition of 10 cm that meets one of them."""
    layer = {"layer": "wall"}
    space.add_lwpolyline([(-0.3, -0.3), (6.3, -0.3), (6.3, 4.3), (-0.3, 4.3)], close=True, dxfattribs=layer)
    space.add_line((0, 0), (0, 4), dxfattribs=layer)
    space.add_line((0, 4), (6, 4), dxfattribs=layer)
    space.add_line((6, 4), (6, 0), dxfattribs=layer)
    space.add_line((0, 0), (2.95, 0), dxfattribs=layer)
    space.add_line((3.05, 0), (6, 0), dxfattribs=layer)
    space.add_line((2.95, 0), (2.95, 3), dxfattribs=layer)
    space.add_line((3.05, 0), (3.05, 3), dxfattribs=layer)


def test_dxf_with_two_faces_gives_centre_lines_and_thickness(dxf: Callable[..., Path]):
    path = dxf(draw_faces, units=6)
    guess = look_at_dxf(path)
    assert guess.two_faces
    parts = read_dxf_plan(path, guess)
    thick = [wall for wall in parts.walls if wall.layers == (Layer("brick", 0.3),)]
    thin = [wall for wall in parts.walls if wall.layers == (Layer("brick", 0.1),)]
    assert sorted(round(length(wall), 3) for wall in thin) == [3.0]
    assert {round(length(wall), 2) for wall in thick} == {6.3, 4.3, 3.1}
    assert {tuple(sorted((w.start, w.end))) for w in thick} >= {
        ((-0.15, 4.15), (6.15, 4.15)),
        ((-0.15, -0.15), (-0.15, 4.15)),
    }
    assert any("thickness of walls was taken from the drawing" in remark for remark in parts.remarks)


def test_a_line_without_a_second_face_is_left_over():
    lines = [((0.0, 0.0), (5.0, 0.0)), ((5.0, 0.2), (0.0, 0.2)), ((0.0, 2.0), (5.0, 2.0)), ((9.0, 0.0), (9.0, 5.0))]
    walls, alone = pair_faces(lines)
    assert [(w.start, w.end, w.thickness_m) for w in walls] == [((0.0, 0.1), (5.0, 0.1), 0.2)]
    assert sorted(alone) == [((0.0, 2.0), (5.0, 2.0)), ((9.0, 0.0), (9.0, 5.0))]


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 90.0, 143.0])
def test_pairing_does_not_depend_on_direction(turn_deg: float):
    turn = complex(math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg)))

    def turned(*points: complex) -> tuple[tuple[float, float], ...]:
        return tuple(((p * turn).real, (p * turn).imag) for p in points)

    walls, alone = pair_faces([turned(0j, 5 + 0j), turned(4.8 + 0.24j, 0.2 + 0.24j)])  # type: ignore[list-item]
    assert alone == []
    assert walls[0].thickness_m == pytest.approx(0.24, abs=1e-4)
    assert math.dist(walls[0].start, walls[0].end) == pytest.approx(4.8, abs=1e-3)


@pytest.mark.published("DXF reference, header variable $INSUNITS: 1 inch, 2 foot, 4 mm, 5 cm, 6 m")
@pytest.mark.parametrize(("units", "metres"), [(1, 0.0254), (2, 0.3048), (4, 0.001), (5, 0.01), (6, 1.0)])
def test_units_of_the_drawing(dxf: Callable[..., Path], units: int, metres: float):
    guess = look_at_dxf(dxf(lambda _d, s: s.add_line((0, 0), (10 / metres, 0), dxfattribs={"layer": "wall"}), units))
    assert guess.metres_per_unit == metres
    assert length(
        read_dxf_plan(
            dxf(lambda _d, s: s.add_line((0, 0), (10 / metres, 0), dxfattribs={"layer": "wall"}), units), guess
        ).walls[0]
    ) == pytest.approx(10.0)


def test_a_drawing_without_a_unit_is_asked_about(dxf: Callable[..., Path]):
    path = dxf(draw_centre_lines, units=0)
    guess = look_at_dxf(path)
    assert "open: how many metres is one unit?" in guess.describe()
    with pytest.raises(InputError, match="does not say its unit"):
        read_dxf_plan(path, guess)


def test_a_wrong_unit_is_noticed(dxf: Callable[..., Path]):
    path = dxf(draw_centre_lines, units=6)
    with pytest.raises(FormatError, match="would be 6000 m wide"):
        read_dxf_plan(path, look_at_dxf(path))


def test_layers_are_settled_by_the_user(dxf: Callable[..., Path]):
    path = dxf(lambda _d, s: s.add_line((0, 0), (8, 0), dxfattribs={"layer": "XYZ-1"}), units=6)
    guess = look_at_dxf(path)
    with pytest.raises(InputError, match="no layer holds walls"):
        read_dxf_plan(path, guess)
    assert len(read_dxf_plan(path, guess.with_role("XYZ-1", "wall")).walls) == 1
    with pytest.raises(UnknownNameError):
        guess.with_role("XYZ-1", "throne")
    with pytest.raises(UnknownNameError):
        guess.with_role("ABC", "wall")


def test_blocks_are_taken_apart(dxf: Callable[..., Path]):
    def draw(document: Any, space: Any) -> None:
        block = document.blocks.new("side")
        block.add_line((0, 0), (5, 0), dxfattribs={"layer": "wall"})
        space.add_blockref("side", (0, 0))
        space.add_blockref("side", (0, 0), dxfattribs={"rotation": 90})

    parts = read_dxf_plan(path := dxf(draw, units=6), look_at_dxf(path))
    assert [wall.end for wall in parts.walls] == [pytest.approx((5.0, 0.0)), pytest.approx((0.0, 5.0), abs=1e-9)]


def test_lines_of_one_symbol_are_one_opening(dxf: Callable[..., Path]):
    def draw(document: Any, space: Any) -> None:
        symbol = document.blocks.new("window symbol")
        for y in (-0.1, 0.0, 0.1):
            symbol.add_line((0, y), (1.2, y))
        symbol.add_line((0, -0.1), (0, 0.1))
        space.add_line((0, 0), (8, 0), dxfattribs={"layer": "wall"})
        space.add_blockref("window symbol", (1, 0), dxfattribs={"layer": "windows"})
        space.add_blockref("window symbol", (5, 0), dxfattribs={"layer": "windows"})

    path = dxf(draw, units=6)
    (wall,) = read_dxf_plan(path, look_at_dxf(path)).walls
    assert [(o.kind, round(o.start_m, 6), round(o.end_m, 6)) for o in wall.openings] == [
        (OpeningKind.WINDOW, 1.0, 2.2),
        (OpeningKind.WINDOW, 5.0, 6.2),
    ]


def test_a_bomb_of_nested_blocks_is_refused(dxf: Callable[..., Path]):
    def draw(document: Any, space: Any) -> None:
        block = document.blocks.new("b0")
        block.add_line((0, 0), (5, 0), dxfattribs={"layer": "wall"})
        for level in range(1, 9):
            outer = document.blocks.new(f"b{level}")
            for i in range(10):
                outer.add_blockref(f"b{level - 1}", (i, level))
        space.add_blockref("b8", (0, 0))

    with pytest.raises(FormatError, match="more than 100000 entities"):
        look_at_dxf(dxf(draw))


def test_a_block_repeated_a_million_times_is_refused(dxf: Callable[..., Path]):
    def draw(document: Any, space: Any) -> None:
        document.blocks.new("one").add_line((0, 0), (5, 0), dxfattribs={"layer": "wall"})
        grid = {"row_count": 1000, "column_count": 1000, "row_spacing": 10, "column_spacing": 10}
        space.add_blockref("one", (0, 0), dxfattribs=grid)

    with pytest.raises(FormatError, match="more than 100000 entities"):
        look_at_dxf(dxf(draw))


def test_a_block_that_holds_itself_is_refused(dxf: Callable[..., Path]):
    def draw(document: Any, space: Any) -> None:
        block = document.blocks.new("loop")
        block.add_blockref("loop", (1, 1))
        space.add_blockref("loop", (0, 0))

    with pytest.raises(FormatError, match="more than 100000 entities"):
        look_at_dxf(dxf(draw))


@pytest.mark.parametrize("content", [b"", b"hello", b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nabc\n", b"\x00" * 500])
def test_what_is_no_dxf(tmp_path: Path, content: bytes):
    path = tmp_path / "odd.dxf"
    path.write_bytes(content)
    with pytest.raises((FormatError, InputError)) as caught:
        read_dxf_plan(path, look_at_dxf(path))
    assert str(caught.value).startswith("odd.dxf: ")
    assert "\n" not in str(caught.value)


def test_missing_plans_are_named(tmp_path: Path):
    for read in (look_at_dxf, read_plan_page, lambda p: read_geojson_plan(p, coordinates="metres")):
        with pytest.raises(InputError, match=r"gone.x: it cannot be read"):
            read(tmp_path / "gone.x")


# Images and pages


@pytest.mark.parametrize(("suffix", "media_type"), [("png", "image/png"), ("jpg", "image/jpeg")])
def test_images_are_kept_as_they_are(tmp_path: Path, suffix: str, media_type: str):
    path = tmp_path / f"plan.{suffix}"
    Image.new("RGB", (640, 480), "white").save(path)
    page = read_plan_page(path)
    assert (page.width_px, page.height_px, page.media_type, page.pages) == (640, 480, media_type, 1)
    assert page.content == path.read_bytes()


@pytest.fixture
def pdf(tmp_path: Path) -> Path:
    first, second = Image.new("RGB", (300, 200), "white"), Image.new("RGB", (300, 200), "white")
    second.paste((0, 0, 255), (0, 0, 150, 200))
    first.save(tmp_path / "plan.pdf", save_all=True, append_images=[second], resolution=72)
    return tmp_path / "plan.pdf"


def test_a_page_of_a_pdf_becomes_an_image(pdf: Path, tmp_path: Path):
    page = read_plan_page(pdf, page=2)
    (tmp_path / "page.png").write_bytes(page.content)
    with Image.open(tmp_path / "page.png") as image:
        assert image.size == (page.width_px, page.height_px)
        assert (page.width_px, page.height_px) == (625, 417)
        left, right = image.getpixel((100, 200)), image.getpixel((500, 200))
    assert isinstance(left, tuple)
    assert isinstance(right, tuple)
    assert left[2] > 200 > left[0]
    assert min(right) > 240
    assert page.pages == 2
    with pytest.raises(RangeError, match="1 to 2"):
        read_plan_page(pdf, page=3)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "neither PNG, JPEG, WebP nor PDF"),
        (b"<svg/>", "neither PNG, JPEG, WebP nor PDF"),
        (b"\x89PNG\r\n\x1a\n", "damaged PNG"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "damaged JPEG"),
        (b"%PDF-1.7 and nothing", "damaged PDF"),
        (
            b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x01\x00\x00\x00\x01\x00\x00\x08\x02\x00\x00\x00",
            "65536 x 65536 pixels",
        ),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x00\x00\x00\x00\x05\x08\x02\x00\x00\x00", "0 x 5 pixels"),
    ],
)
def test_images_that_are_damaged_or_bombs(tmp_path: Path, content: bytes, words: str):
    path = tmp_path / "odd.png"
    path.write_bytes(content + b"\x00" * (8 if content.endswith(b"\x00\x00\x00") else 0))
    with pytest.raises(FormatError, match=words):
        read_plan_page(path)


@pytest.mark.parametrize("suffix", ["png", "jpg", "webp"])
@pytest.mark.published("ISO/IEC 15948, clause 5; ITU-T T.81, table B.1; RFC 9649, section 2.4: every form has an end")
def test_an_image_that_is_cut_off_is_refused_wherever_it_was_cut(tmp_path: Path, suffix: str):
    path = tmp_path / f"plan.{suffix}"
    Image.effect_noise((64, 48), 60).convert("RGB").save(path)
    content = path.read_bytes()
    assert read_plan_page(path).width_px == 64
    for length in (33, 60, len(content) // 2, len(content) - 5):
        path.write_bytes(content[:length])
        with pytest.raises(FormatError, match=r"damaged|cut off|neither"):
            read_plan_page(path)


def _geojson(tmp_path: Path, lines: list[list[list[float]]]) -> Path:
    path = tmp_path / "plan.geojson"
    features = [
        {"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": line}} for line in lines
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def test_equal_lines_are_one_wall_whichever_way_they_were_drawn(tmp_path: Path):
    square = [[[0, 0], [8, 0]], [[8, 0], [8, 6]], [[8, 6], [0, 6]], [[0, 6], [0, 0]]]
    path = _geojson(tmp_path, square * 1000 + [line[::-1] for line in square])
    tracemalloc.start()
    parts = read_geojson_plan(path, coordinates="metres")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(parts.walls) == 4
    assert "4000 lines that lie on another were left out." in parts.remarks
    assert peak < 100e6


def test_a_tangle_of_lines_is_refused_before_it_is_cut_up(tmp_path: Path):
    fan = [[[0.01 * i, 0], [40 - 0.01 * i, 30]] for i in range(2000)]
    with pytest.raises(FormatError, match="meet one another more than"):
        read_geojson_plan(_geojson(tmp_path, fan), coordinates="metres")
    many = [[[i % 100, i // 100], [i % 100 + 0.5, i // 100]] for i in range(5001)]
    with pytest.raises(FormatError, match="5001 walls; at most 5000"):
        read_geojson_plan(_geojson(tmp_path, many), coordinates="metres")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_is_no_file(tmp_path: Path):
    path = tmp_path / "plan.geojson"
    os.mkfifo(path)
    for read in (
        lambda: read_geojson_plan(path, coordinates="metres"),
        lambda: read_plan_page(path),
        lambda: look_at_dxf(path),
        lambda: read_table(path),
        lambda: read_document_file(path),
        lambda: open_package(path).__enter__(),
        lambda: guess_mapping(path),
        lambda: MediaFolder(tmp_path / "media").put(path),
        lambda: open_source(path, None),
    ):
        with pytest.raises(InputError, match=r"it is no file|no such file"):
            read()
