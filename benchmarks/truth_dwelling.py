"""A dwelling with known truth, as its folder describes it: geometry, sources, scenarios, truth and readings."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from roomfield.errors import FormatError
from roomfield.survey.dwelling import (
    Dwelling,
    FittedShield,
    FurnitureBox,
    Layer,
    Opening,
    OpeningKind,
    Room,
    ShieldPart,
    ShieldSheet,
    Slab,
    Storey,
    Wall,
)
from roomfield.survey.emitter import AntennaPattern, Emitter, Polarisation
from roomfield.survey.place import Place

PATTERNS = {"iso_v": AntennaPattern.ISOTROPIC, "hw_dipole_v": AntennaPattern.VERTICAL_DIPOLE}
PARTS = {"wall": ShieldPart.MASONRY, "windows": ShieldPart.OPENINGS, "wall+windows": ShieldPart.WHOLE}


def find_dwellings(folder: Path) -> list[Path]:
    """Folders with a scene.json: the folder itself, or those in it."""
    found = [folder] if (folder / "scene.json").exists() else sorted(p.parent for p in folder.glob("*/scene.json"))
    if not found:
        raise FormatError(f"no scene.json in {folder} or its folders.", mend="Give a folder of dwellings.")
    return found


def sheet(attenuation_db: float) -> ShieldSheet:
    """A sheet that loses the same at every frequency."""
    return ShieldSheet(f"sheet {attenuation_db:g} dB", ((1e9, float(attenuation_db)),), std_db=0.0)


class TruthDwelling:
    """One folder, read whole."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.raw = json.loads((folder / "scene.json").read_text(encoding="utf-8"))
        self.dwelling = _dwelling(self.raw)
        self.places = tuple(
            Place(p["id"], p["id"], room_id=p["room"], storey_id=str(p["storey"]), position=tuple(p["pos"]))
            for p in self.raw["places"]
        )
        self.sources = tuple(_emitter(s) for s in self.raw["sources"])
        with (folder / "truth_places.csv").open(encoding="utf-8") as file:
            self._truth = {(r["scenario"], r["place"], r["source"]): r for r in csv.DictReader(file)}

    def scenarios(self) -> list[str]:
        """Base and every changed state."""
        return ["base", *(s["id"] for s in self.raw["scenarios"])]

    def changes(self, scenario: str) -> list[dict]:
        """What a scenario changes."""
        return next((s["changes"] for s in self.raw["scenarios"] if s["id"] == scenario), [])

    def present(self, scenario: str) -> list[Emitter]:
        """Sources that are on in a scenario, where they then stand."""
        off = {c["source"] for c in self.changes(scenario) if c["op"] == "off"}
        moved = {c["source"]: tuple(c["pos"]) for c in self.changes(scenario) if c["op"] == "move"}
        return [replace(s, position=moved.get(s.id, s.position)) for s in self.sources if s.id not in off]

    def shields(self, scenario: str) -> list[tuple[str, FittedShield]]:
        """Surfaces and shields of a scenario."""
        return [
            (wall, FittedShield(sheet(c["db"]), PARTS[c["parts"]]))
            for c in self.changes(scenario)
            if c["op"] == "shield"
            for wall in c["walls"]
        ]

    def truth(self, scenario: str, column: str) -> np.ndarray:
        """Truth at each place from each present source [W/m²], shape (places, sources)."""
        return np.array(
            [[self._value(scenario, p.id, s.id, column) for s in self.present(scenario)] for p in self.places]
        )

    def total(self, scenario: str, name: str, column: str) -> np.ndarray:
        """Truth at each place of a sum row, ``ALL_ON`` or ``ALL_DUTY`` [W/m²]."""
        return np.array([self._value(scenario, p.id, name, column) for p in self.places])

    def rows(self, name: str) -> list[dict[str, str]]:
        """Rows of one of the folder's tables."""
        with (self.folder / name).open(encoding="utf-8") as file:
            return list(csv.DictReader(file))

    def meters(self) -> list[str]:
        """Meters that took readings."""
        return sorted({row["meter"] for row in self.rows("readings.csv")})

    def _value(self, scenario: str, place: str, source: str, column: str) -> float:
        row = self._truth.get((scenario, place, source)) or self._truth["base", place, source]
        return float(row[column])


def _layers(raw: dict) -> tuple[Layer, ...]:
    if raw["material"] == "air" or raw["thickness_m"] <= 0.0:
        return ()
    return (Layer(raw["material"], raw["thickness_m"]),)


def _opening(raw: dict) -> Opening:
    kind = OpeningKind(raw["kind"])
    return Opening(raw["id"], kind, raw["s0"], raw["s1"], raw["z0"], raw["z1"], _layers(raw))


def _wall(raw: dict) -> Wall:
    openings = tuple(_opening(o) for o in raw["openings"])
    ends = tuple(raw["a"]), tuple(raw["b"])
    return Wall(raw["id"], str(raw["storey"]), *ends, raw["z0"], raw["z1"], _layers(raw), raw["exterior"], openings)


def _corners(rect: list[float]) -> tuple[tuple[float, float], ...]:
    x0, y0, x1, y1 = rect
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _dwelling(raw: dict) -> Dwelling:
    storeys = tuple(
        Storey(str(s["id"]), str(s["id"]), s["floor_z"], s["ceiling_z"], tuple(map(tuple, s["outline"])))
        for s in raw["storeys"]
    )
    rooms = tuple(Room(r["id"], r["name"], str(r["storey"]), tuple(map(tuple, r["polygon"]))) for r in raw["rooms"])
    slabs = tuple(Slab(s["id"], s["z"], _layers(s), tuple(_corners(r) for r in s["rects"])) for s in raw["slabs"])
    furniture = tuple(
        FurnitureBox(f["id"], f["id"], tuple(f["min"]), tuple(f["max"]), Layer(f["material"], f["thickness_m"]))
        for f in raw["furniture"]
    )
    return Dwelling(storeys, rooms, tuple(_wall(w) for w in raw["walls"]), slabs, furniture)


def _emitter(raw: dict) -> Emitter:
    return Emitter(
        raw["id"], raw["id"], raw["kind"], raw["frequency_hz"], tuple(raw["pos"]), None, raw["outdoor"],
        raw["eirp_w"], duty=raw["duty"], pattern=PATTERNS[raw["pattern"]], polarisation=Polarisation.VERTICAL,
        switch_group=raw["group"], switchable=raw["switchable"],
    )  # fmt: skip
