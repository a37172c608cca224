"""Masts that a user brings as open data: GeoJSON points, GPX waypoints, or a table with latitude and longitude.

GeoJSON after RFC 7946 (longitude first, WGS 84), GPX 1.1 (topografix.com/GPX/1/1). Names of properties and headers that
are read stand in `NAMES`; whatever else a file holds is left alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from roomfield.errors import FormatError, InputError, RejectedRows, RowFault
from roomfield.exchange.names import plain
from roomfield.exchange.plan_geojson import features_of, file_content, metres_per_degree
from roomfield.table_files.cells import CellFault, number
from roomfield.table_files.column_guess import is_empty, shown
from roomfield.table_files.table_reader import read_table

NAMES: Mapping[str, frozenset[str]] = {
    "name": frozenset({"name", "title", "site", "id", "standort", "bezeichnung", "nom"}),
    "operator": frozenset({"operator", "provider", "betreiber", "exploitant"}),
    "technology": frozenset({"technology", "technologie", "service"}),
    "latitude_deg": frozenset({"lat", "latitude", "breite", "y"}),
    "longitude_deg": frozenset({"lon", "lng", "long", "longitude", "lange", "länge", "x"}),
    "height_m": frozenset({"height", "height m", "antenna height", "hohe", "höhe", "ele", "hauteur"}),
    "frequency_mhz": frozenset({"frequency", "frequency mhz", "mhz", "frequenz", "fréquence"}),
    "eirp_w": frozenset({"eirp", "eirp w", "power w"}),
    "erp_w": frozenset({"erp", "erp w"}),
}
"""What a property or header may be called, in lower case; a fact of the trade only where a standard names it."""
DIPOLE_OVER_ISOTROPIC = 1.64
"""Gain of a half-wave dipole, by which ERP becomes EIRP (2.15 dBi; ITU-R V.573)."""
_NUMBERS = ("latitude_deg", "longitude_deg", "height_m", "frequency_mhz", "eirp_w", "erp_w")
_BOUNDS = {
    "latitude_deg": (-90.0, 90.0),
    "longitude_deg": (-180.0, 180.0),
    "height_m": (-100.0, 1000.0),
    "frequency_mhz": (0.001, 300_000.0),
    "eirp_w": (1e-6, 1e7),
    "erp_w": (1e-6, 1e7),
}
_MOST = 100_000


@dataclass(frozen=True)
class Mast:
    """One transmitter outside, as a file gives it.

    Parameters
    ----------
    line : int
        Line or number of the feature.
    name, operator, technology : str
        As written; empty if the file does not say.
    latitude_deg, longitude_deg : float
        WGS 84 [deg].
    height_m : float or None
        Of the antenna above ground [m].
    frequency_hz, eirp_w : float or None
        Carrier [Hz] and radiated power [W].
    """

    line: int
    name: str
    operator: str
    technology: str
    latitude_deg: float
    longitude_deg: float
    height_m: float | None = None
    frequency_hz: float | None = None
    eirp_w: float | None = None

    def offset_m(self, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        """East and north of a point [m]: a plane through it, within 1 in 1000 to 10 km.

        Parameters
        ----------
        latitude_deg, longitude_deg : float
            The point, WGS 84 [deg].
        """
        per_longitude, per_latitude = metres_per_degree((latitude_deg + self.latitude_deg) / 2.0)
        turned = (self.longitude_deg - longitude_deg + 180.0) % 360.0 - 180.0
        return turned * per_longitude, (self.latitude_deg - latitude_deg) * per_latitude


def read_masts(path: Path) -> tuple[Mast, ...]:
    """Every point of a file.

    Parameters
    ----------
    path : Path
        ``.geojson`` or ``.json``, ``.gpx``, or a table (CSV, XLSX).

    Raises
    ------
    FormatError, InputError
        If the file cannot be read as what its name says, or holds no point.
    RejectedRows
        With every faulty point.
    """
    ending = path.suffix.lower()
    rows = _READERS.get(ending, _of_table)(path)
    found, faults = [], []
    for line, row in rows:
        try:
            found.append(_mast(line, row))
        except ValueError as fault:
            faults.append(RowFault(line, "", "; ".join(f"{k} {v}" for k, v in row.items()), str(fault)))
    if faults:
        raise RejectedRows(faults, where=path.name, mend=f"First: line {faults[0].line}, {faults[0].reason}.")
    if not found:
        raise FormatError("it holds no points.", where=path.name, mend="Choose a file with masts as points.")
    return tuple(found)


def _mast(line: int, row: Mapping[str, str]) -> Mast:
    values: dict[str, float | None] = {name: _value(name, row.get(name, "")) for name in _NUMBERS}
    latitude, longitude = values["latitude_deg"], values["longitude_deg"]
    if latitude is None or longitude is None:
        raise ValueError("it has no latitude and longitude")
    erp, megahertz = values["erp_w"], values["frequency_mhz"]
    eirp = values["eirp_w"] if erp is None else erp * DIPOLE_OVER_ISOTROPIC
    frequency = None if megahertz is None else megahertz * 1e6
    name, operator, technology = (row.get(part, "").strip()[:200] for part in ("name", "operator", "technology"))
    return Mast(line, name, operator, technology, latitude, longitude, values["height_m"], frequency, eirp)


def _value(name: str, text: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = number(text.strip(), "," if "," in text and "." not in text else ".", False)
    except (ValueError, CellFault):
        raise ValueError(f"{name} {text[:40]!r} is no number") from None
    low, high = _BOUNDS[name]
    if not low <= value <= high:
        raise ValueError(f"{name} {value:g} lies outside {low:g} to {high:g}")
    return value


def _field_of(header: str) -> str:
    """What a header or property means; empty if nothing that is read."""
    word = plain(header).replace("_", " ").strip()
    word = word.partition("[")[0].partition("(")[0].strip()
    return next((field for field, names in NAMES.items() if word in names), "")


def _named(pairs: Sequence[tuple[str, object]]) -> dict[str, str]:
    """What is read of a feature, the first of several names for a thing."""
    found: dict[str, str] = {}
    for header, value in pairs:
        field = _field_of(header)
        if field and value is not None and field not in found:
            found[field] = str(value)
    return found


def _of_geojson(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    for line, feature in enumerate(features_of(file_content(path), path.name), 1):
        geometry = feature["geometry"]
        if geometry.get("type") != "Point":
            continue
        place = geometry.get("coordinates")
        if not isinstance(place, list) or len(place) < 2:
            raise FormatError("its point has no coordinates.", where=f"{path.name}: feature {line}", mend="Correct it.")
        properties = feature.get("properties") or {}
        told = _named(list(properties.items())) if isinstance(properties, dict) else {}
        yield line, {**told, "longitude_deg": str(place[0]), "latitude_deg": str(place[1])}


def _of_gpx(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    content = file_content(path)
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise FormatError("it declares entities.", where=path.name, mend="Export the waypoints again, without them.")
    try:
        root = ElementTree.fromstring(content)
    except ElementTree.ParseError as fault:
        raise FormatError(f"it is no XML ({fault}).", where=path.name, mend="Choose a GPX file.") from None
    for line, point in enumerate(root.findall(".//{*}wpt"), 1):
        told = _named([(child.tag.rpartition("}")[2], child.text or "") for child in point])
        told.pop("height_m", None)  # <ele> is above the sea, not above ground
        yield line, {**told, "latitude_deg": point.get("lat", ""), "longitude_deg": point.get("lon", "")}


def _of_table(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    table = read_table(path)
    filled = [(line, row) for line, row in zip(table.lines, table.rows, strict=True) if not is_empty(row)]
    if not filled:
        raise FormatError("it is empty.", where=path.name, mend="Give a table with latitude and longitude.")
    (_, header), rows = filled[0], filled[1:]
    fields = [_field_of(shown(cell)) for cell in header]
    if not {"latitude_deg", "longitude_deg"} <= set(fields):
        raise FormatError(
            "it has no columns latitude and longitude.",
            where=path.name,
            mend="Head two columns so, in degrees (WGS 84).",
        )
    if len(rows) > _MOST:
        raise InputError(f"it has more than {_MOST} rows.", where=path.name, mend="Keep what lies around the home.")
    for line, row in rows:
        yield line, _named([(shown(head), shown(cell)) for head, cell in zip(header, row, strict=False)])


_READERS = {".geojson": _of_geojson, ".json": _of_geojson, ".gpx": _of_gpx}
