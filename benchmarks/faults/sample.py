"""A small record of invented data, and a file of every kind that can be brought to it."""

from __future__ import annotations

import gzip
import io
import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pandas as pd
import soundfile
from PIL import Image

from roomfield.demo.invented_survey import demo_survey
from roomfield.exchange.package import write_package
from roomfield.exchange.survey_document import write_document
from roomfield.quantities.kind import Kind
from roomfield.store.repository import open_store
from roomfield.survey import Assignment, MediaItem, Reading
from roomfield.workbench.record import plan_document
from roomfield.workbench.record.editing import started_survey
from roomfield.workbench.record.survey_list import keep_file, keep_new

RELEASES = Path(__file__).parents[2] / "tests" / "data" / "releases"
TABLE = "place,peak [µW/m²],average [µW/m²],date,time,note\n" + "".join(
    f"Bed {i % 4},{10 + i},{1 + i % 3},2026-03-0{1 + i % 5},1{i % 10}:15,note {i}\n" for i in range(30)
)
LOG = "time UTC,average µW/m²\n" + "".join(
    f"2026-03-01 {i // 60:02d}:{i % 60:02d}:00,{10 + i % 7}.{i % 10}\n" for i in range(240)
)
GEOJSON = {
    "type": "FeatureCollection",
    "features": [
        {"type": "Feature", "properties": {"kind": "room", "name": "Bed"},
         "geometry": {"type": "Polygon", "coordinates": [[[0, 0], [6, 0], [6, 4], [0, 4], [0, 0]]]}},
        {"type": "Feature", "properties": {"material": "brick", "thickness_m": 0.24},
         "geometry": {"type": "LineString", "coordinates": [[0, 0], [6, 0], [6, 4], [0, 4], [0, 0]]}},
        {"type": "Feature", "properties": {"kind": "window"},
         "geometry": {"type": "LineString", "coordinates": [[1, 0], [2.2, 0]]}},
    ],
}  # fmt: skip


def made_record(folder: Path) -> str:
    """A record with one survey and one photo; gives the survey's id."""
    with open_store(folder / "record.sqlite") as store:
        name = keep_new(store, started_survey("Lindenweg 4", Assignment(client="Family Muster"), "one-room-flat"))
        keep_file(store, name, b"a photo of the bedroom" * 100, "bed.png", "image/png")
        store.append(name, [entry(f"first-{i}") for i in range(20)])
        store.amend(name, "first-3", "note", "left", reason="slip", by="A. Sessor")
    return name


def entry(name: str) -> Reading:
    """One reading."""
    return Reading(name, "visit-1", "meter-1", "as-found", Kind.PEAK, 1e-6, position=(1.0, 1.0, 1.0))


def old_record(path: Path, schema: str) -> None:
    """A database of an earlier schema with thousands of rows."""
    with closing(sqlite3.connect(path)) as database:
        database.executescript((RELEASES / f"schema-{schema}.sql").read_text(encoding="utf-8"))
        row = database.execute("SELECT * FROM reading WHERE id = 'r1'").fetchone()
        rows = [(100 + i, row[1], f"many{i}", *row[3:]) for i in range(2000)]
        database.executemany(f"INSERT INTO reading VALUES ({', '.join('?' * len(row))})", rows)
        database.commit()


def made_files(folder: Path) -> dict[str, Path]:
    """A sound file of every kind of intake, by kind."""
    frame = pd.read_csv(io.StringIO(TABLE))
    log = pd.read_csv(io.StringIO(LOG))
    log["time UTC"] = pd.to_datetime(log["time UTC"])
    (folder / "table.csv").write_text(TABLE, encoding="utf-8")
    frame.to_excel(folder / "table.xlsx", index=False)
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    (folder / "packed.csv.gz").write_bytes(gzip.compress(LOG.encode()))
    log.to_parquet(folder / "log.parquet")
    log.to_excel(folder / "log.xlsx", index=False)
    (folder / "document.json").write_bytes(write_document(demo_survey()))
    (folder / "plan.geojson").write_text(json.dumps(GEOJSON), encoding="utf-8")
    sheet = plan_document.write_plan(plan_document.plan_of(demo_survey()))
    (folder / "sheet.json").write_text(sheet, encoding="utf-8")
    _drawing(folder / "plan.dxf")
    picture = Image.effect_noise((120, 90), 60).convert("RGB")
    for ending in ("png", "jpg", "webp", "pdf"):
        picture.save(folder / f"page.{ending}")
    sound = np.sin(np.arange(48_000) * 0.05) * (np.arange(48_000) % 480 < 60)
    for ending in ("wav", "flac", "ogg"):
        soundfile.write(folder / f"sound.{ending}", sound, 48_000)
    _package(folder)
    return {path.name: path for path in sorted(folder.iterdir()) if path.is_file()}


def _drawing(path: Path) -> None:
    drawing = ezdxf.new(units=6)
    for start, end in (((0, 0), (6, 0)), ((6, 0), (6, 4)), ((6, 4), (0, 4)), ((0, 4), (0, 0))):
        drawing.modelspace().add_line(start, end, dxfattribs={"layer": "wall"})
    drawing.saveas(path)


def _package(folder: Path) -> None:
    (folder / "made").mkdir(exist_ok=True)
    with open_store(folder / "made" / "record.sqlite") as store:
        photo = store.media.put(b"a photo" * 500, file_name="bed.png")
        survey = started_survey("Packed", Assignment(client="Family Muster"), "one-room-flat")
        items = (MediaItem(photo.sha256, "bed.png", "image/png", photo.size_bytes),)
        store.create(replace(survey, media=items, readings=tuple(entry(f"p{i}") for i in range(5))))
        links = store.history(survey.id)
        write_package(store.load(survey.id).survey, store.media.path, folder / "package.zip", links)
