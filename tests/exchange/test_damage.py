"""Files damaged at random places: every reader refuses them in one sentence, or reads what is still right."""

from __future__ import annotations

import io
import logging
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import ezdxf
import openpyxl
import pytest
from PIL import Image

from roomfield.errors import RoomfieldError
from roomfield.exchange.drafts import ReadingContext
from roomfield.exchange.package import write_package
from roomfield.exchange.plan_dxf import look_at_dxf, read_dxf_plan
from roomfield.exchange.plan_geojson import read_geojson_plan
from roomfield.exchange.plan_page import read_plan_page
from roomfield.exchange.readings_table import import_readings
from roomfield.exchange.survey_document import read_document_file, write_document
from roomfield.exchange.unpack import open_package
from roomfield.survey import Survey
from roomfield.table_files.column_guess import guess_columns

TIMES = 60
SPLINTERS = [b'<c r="ZZ9"/>', b"99999999999", b't="s"', b"\x00", b"\xff\xfe", b"-1", b"\n", b";;", b'"']


def damaged(content: bytes, draw: random.Random) -> bytes:
    found = bytearray(content)
    for _ in range(draw.randint(1, 5)):
        at = draw.randrange(max(len(found), 1))
        how = draw.randrange(4)
        if how == 0 and found:
            found[at] = draw.randrange(256)
        elif how == 1:
            del found[at : at + draw.randint(1, 60)]
        elif how == 2:
            found[at:at] = draw.choice(SPLINTERS)
        elif draw.random() < 0.3:
            del found[at:]
    return bytes(found)


def damaged_inside(content: bytes, draw: random.Random) -> bytes:
    """A workbook whose zip file is whole and one of whose parts is not."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = draw.choice(sorted(parts))
    parts[name] = damaged(parts[name], draw)
    memory = io.BytesIO()
    with zipfile.ZipFile(memory, "w") as archive:
        for part, inside in parts.items():
            archive.writestr(part, inside)
    return memory.getvalue()


def workbook() -> bytes:
    book = openpyxl.Workbook()
    for row in [["place", "peak uW/m2", "date"], ["bed", 1.5, "2026-01-01"], ["desk", "<0.01", "2026-01-02"]] * 3:
        book.active.append(row)
    memory = io.BytesIO()
    book.save(memory)
    return memory.getvalue()


def drawing() -> bytes:
    document = ezdxf.new()
    document.header["$INSUNITS"] = 6
    document.blocks.new("corner").add_line((0, 0), (3, 3), dxfattribs={"layer": "wall"})
    space = document.modelspace()
    space.add_blockref("corner", (0, 0))
    space.add_lwpolyline([(0, 0, 0, 0, 0.5), (5, 0), (5, 5)], dxfattribs={"layer": "wall"})
    space.add_mtext("kitchen")
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def image(form: str) -> bytes:
    memory = io.BytesIO()
    Image.new("RGB", (60, 40), "white").save(memory, form)
    return memory.getvalue()


def read_readings(path: Path, survey: Survey) -> None:
    context = ReadingContext(survey, "v1", meter_id="m1", radio_state_id="found", make_places=True)
    mapping = guess_columns(path)
    mapping.describe()
    if not mapping.questions():
        import_readings(path, mapping, context, confirmed=True, accept_rest=True)


def read_package(path: Path, _survey: Survey) -> None:
    with open_package(path):
        pass


def read_drawing(path: Path, _survey: Survey) -> None:
    read_dxf_plan(path, look_at_dxf(path))


def read_any_of(call: Callable[[Path], object]) -> Callable[[Path, Survey], None]:
    def read(path: Path, _survey: Survey) -> None:
        call(path)

    return read


PLAN = b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"kind":"wall"},"geometry":'
PLAN += b'{"type":"LineString","coordinates":[[0,0],[6,0],[6,4]]}}]}'
CSV = b"place;peak uW/m2;date;x;y;z\nbed;1,5;2026-01-01;1;2;3\ndesk;<0,01;2026-01-02;;;\n" * 4


@pytest.mark.parametrize(
    ("make", "break_it", "read"),
    [
        pytest.param(lambda _s, _p: CSV, damaged, read_readings, id="csv"),
        pytest.param(lambda _s, _p: workbook(), damaged, read_readings, id="xlsx"),
        pytest.param(lambda _s, _p: workbook(), damaged_inside, read_readings, id="xlsx inside"),
        pytest.param(lambda s, _p: write_document(s), damaged, read_any_of(read_document_file), id="document"),
        pytest.param(lambda s, p: packed(s, p), damaged, read_package, id="package"),
        pytest.param(lambda _s, _p: drawing(), damaged, read_drawing, id="dxf"),
        pytest.param(
            lambda _s, _p: PLAN,
            damaged,
            read_any_of(lambda p: read_geojson_plan(p, coordinates="metres")),
            id="geojson",
        ),
        pytest.param(lambda _s, _p: image("PNG"), damaged, read_any_of(read_plan_page), id="png"),
        pytest.param(lambda _s, _p: image("JPEG"), damaged, read_any_of(read_plan_page), id="jpeg"),
        pytest.param(lambda _s, _p: image("PDF"), damaged, read_any_of(read_plan_page), id="pdf"),
    ],
)
def test_damage_never_shows_more_than_one_sentence(make, break_it, read, survey: Survey, tmp_path: Path):
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    draw = random.Random(20260302)
    content = make(survey, tmp_path)
    path = tmp_path / "damaged"
    path.write_bytes(content)
    read(path, survey)
    refused = 0
    for _ in range(TIMES):
        path.write_bytes(break_it(content, draw))
        try:
            read(path, survey)
        except RoomfieldError as fault:
            refused += 1
            assert "\n" not in fault.sentence()
            assert len(fault.sentence()) < 600
    assert refused > TIMES // 20, "the damage was too slight to test anything"


def packed(survey: Survey, folder: Path) -> bytes:
    write_package(survey, folder.joinpath, folder / "whole.zip")
    return (folder / "whole.zip").read_bytes()
