"""Dwellings with known truth in the benchmark layout, as surveys.

A folder holds ``scene.json``, ``readings.csv``, ``direction_readings.csv``, ``truth_places.csv`` and
``truth_directions.csv``; the powers and duties in the scene are never handed to the survey.
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from roomfield import survey as record
from roomfield.quantities.kind import Kind
from roomfield.survey import Censoring, OpeningKind

KIND_COLUMNS = {
    "peak_uw_m2": Kind.PEAK,
    "max_uw_m2": Kind.HIGHEST_HELD,
    "avg_uw_m2": Kind.AVERAGE,
}
WATCHED_S = {Kind.PEAK: 5.0, Kind.HIGHEST_HELD: 45.0, Kind.AVERAGE: 45.0}
"""As the data say: a peak is watched for 5 s, a scan lasts 45 s."""
FLAGS = {"": Censoring.NONE, "FLOOR": Censoring.BELOW, "OL": Censoring.ABOVE}
PATTERNS = {"hw_dipole_v": record.AntennaPattern.VERTICAL_DIPOLE, "iso_v": record.AntennaPattern.ISOTROPIC}
BEARING_STD_DEG = 12.5


@dataclass(frozen=True)
class Folder:
    path: Path
    scene: dict
    readings: list[dict[str, str]]
    directions: list[dict[str, str]]
    truth: dict[tuple[str, str, str], dict[str, float]]

    @property
    def meters(self) -> list[str]:
        return sorted({r["meter"] for r in self.readings})

    @property
    def switch_of(self) -> dict[str, str]:
        return {s["id"]: s.get("group") or s["id"] for s in self.scene["sources"]}


def open_folder(path: Path) -> Folder:
    truth = {}
    for row in rows_of(path / "truth_places.csv"):
        values = {k: float(v) for k, v in row.items() if k.endswith("_w_m2")}
        truth[row["scenario"], row["place"], row["source"]] = values
    directions = path / "direction_readings.csv"
    return Folder(path, json.loads((path / "scene.json").read_text()), rows_of(path / "readings.csv"),
                  rows_of(directions) if directions.exists() else [], truth)  # fmt: skip


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as handle:
        return list(csv.DictReader(handle))


def layers(item: dict) -> tuple[record.Layer, ...]:
    if item["material"] == "air" or not item["thickness_m"]:
        return ()
    return (record.Layer(item["material"], item["thickness_m"]),)


def dwelling_of(scene: dict) -> record.Dwelling:
    storeys = tuple(
        record.Storey(str(s["id"]), str(s["id"]), s["floor_z"], s["ceiling_z"], pairs(s["outline"]))
        for s in scene["storeys"]
    )
    rooms = tuple(
        record.Room(r["id"], r["name"], str(r["storey"]), pairs(r["polygon"])) for r in scene.get("rooms", [])
    )
    walls = tuple(
        record.Wall(
            w["id"], str(w["storey"]), tuple(w["a"]), tuple(w["b"]), w["z0"], w["z1"], layers(w),
            bool(w.get("exterior")), tuple(opening_of(o) for o in w.get("openings", [])),
        )
        for w in scene["walls"]
    )  # fmt: skip
    slabs = tuple(
        record.Slab(s["id"], s["z"], layers(s),
                    tuple(((a, b), (c, b), (c, d), (a, d)) for a, b, c, d in s["rects"]))
        for s in scene.get("slabs", [])
    )  # fmt: skip
    boxes = tuple(
        record.FurnitureBox(f["id"], f["id"], tuple(f["min"]), tuple(f["max"]),
                            record.Layer(f["material"], f["thickness_m"]))
        for f in scene.get("furniture", [])
    )  # fmt: skip
    return record.Dwelling(storeys, rooms, walls, slabs, boxes)


def pairs(points: list[list[float]]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in points)


def opening_of(o: dict) -> record.Opening:
    return record.Opening(o["id"], OpeningKind(o["kind"]), o["s0"], o["s1"], o["z0"], o["z1"], layers(o))


def survey_of(folder: Folder, meter: str, places: set[str], withheld: set[str] = frozenset()) -> record.Survey:
    """What a surveyor would hand in: one meter, some places, no powers; positions of ``withheld`` switches unknown."""
    scene = folder.scene
    emitters = tuple(emitter_of(s, s.get("group") in withheld) for s in scene["sources"])
    switches = sorted({s["group"] for s in scene["sources"] if s.get("switchable")})
    states = (
        record.RadioState("all_on", "all on"),
        record.RadioState("off:all_switchable", "all switchable off", tuple(switches)),
        *(record.RadioState(f"off:{g}", f"{g} off", (g,)) for g in switches),
        *(record.RadioState(f"only:{g}", f"only {g}", tuple(h for h in switches if h != g)) for g in switches),
    )
    known = {s.id for s in states}
    readings = tuple(
        record.Reading(f"r{i}-{column[:3]}", "v1", meter, row["state"], kind, float(row[column]) * 1e-6,
                       row["place"], censoring=FLAGS.get(row["flags"], Censoring.NONE), watched_s=WATCHED_S[kind])
        for i, row in enumerate(folder.readings)
        if row["meter"] == meter and row["scenario"] == "base" and row["place"] in places and row["state"] in known
        for column, kind in KIND_COLUMNS.items()
    )  # fmt: skip
    bearings = tuple(
        bearing_of(i, row) for i, row in enumerate(folder.directions)
        if row["meter"] == meter and row["state"] in known
    )  # fmt: skip
    return record.Survey(
        "benchmark", scene["name"], "2026-01-01T00:00:00+00:00", invented=True, dwelling=dwelling_of(scene),
        places=tuple(record.Place(p["id"], p["id"], storey_id=str(p["storey"]), position=tuple(p["pos"]))
                     for p in scene["places"]),
        emitters=emitters, meters=(record.Meter(meter, meter, tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),),
        visits=(record.Visit("v1", "2026-01-01T10:00:00+00:00", "benchmark", radio_states=states),),
        readings=readings, bearings=bearings,
    )  # fmt: skip


def emitter_of(source: dict, hidden: bool) -> record.Emitter:
    return record.Emitter(
        source["id"], source["id"], source.get("kind", ""), source["frequency_hz"],
        None if hidden else tuple(source["pos"]), None, bool(source.get("outdoor")),
        pattern=PATTERNS.get(source.get("pattern", ""), record.AntennaPattern.ISOTROPIC),
        switch_group=source.get("group") or source["id"], switchable=bool(source.get("switchable")),
    )  # fmt: skip


def bearing_of(number: int, row: dict[str, str]) -> record.Bearing:
    return record.Bearing(
        f"b{number}", "v1", row["meter"], row["state"],
        (float(row["x_m"]), float(row["y_m"]), float(row["z_m"])),
        float(row["strongest_bearing_deg"]), float(row["null_bearing_deg"]), BEARING_STD_DEG,
        float(row["strongest_uw_m2"]) * 1e-6, float(row["null_uw_m2"]) * 1e-6,
    )  # fmt: skip


def to_db(values: object) -> np.ndarray:
    return 10.0 * np.log10(np.asarray(values, dtype=float))
