"""Masts that a user brings as open data: GeoJSON points, GPX waypoints, or a table with latitude and longitude.

GeoJSON after RFC 7946 (longitude first, WGS 84), GPX 1.1 (topografix.com/GPX/1/1). Headings of a table and names of
properties are understood by one scheme, `roomfield.table_files.mast_scheme`; whatever else a file holds is left alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from roomfield.errors import FormatError, InputError, RejectedRows, RowFault
from roomfield.exchange.plan_geojson import features_of, file_content, metres_per_degree
from roomfield.quantities.censoring import Censoring
from roomfield.table_files.cells import Amount, CellFault, amount
from roomfield.table_files.column_guess import guess_columns, is_empty, meaning_of, shown
from roomfield.table_files.column_mapping import confirmed_table
from roomfield.table_files.decimal_sign import DecimalGuess, guess_decimal
from roomfield.table_files.mast_scheme import MASTS, NUMBERS, MastColumn, taken_as, unit_question, wrong_unit
from roomfield.table_files.spectrum_scheme import FREQUENCY_UNITS
from roomfield.table_files.table_reader import Cell

DIPOLE_OVER_ISOTROPIC = 1.64
"""Gain of a half-wave dipole, by which ERP becomes EIRP (2.15 dBi; ITU-R V.573)."""
_BOUNDS = {
    MastColumn.LATITUDE: (-90.0, 90.0),
    MastColumn.LONGITUDE: (-180.0, 180.0),
    MastColumn.HEIGHT: (-100.0, 1000.0),
    MastColumn.FREQUENCY: (1e3, 3e11),
    MastColumn.EIRP: (1e-6, 1e7),
    MastColumn.ERP: (1e-6, 1e7),
}
"""What is believed, in degrees, m, Hz and W."""
_LEAST_WITHOUT_UNIT = 30.0
"""A smaller number without a unit is hardly a frequency in MHz: it may well be one in GHz."""
_WATTS = {"W": 1.0, "mW": 1e-3, "kW": 1e3}
_MOST = 100_000
_LENGTH = re.compile(r"[\[(]\s*(k?m|met(er|re)s?|ft)\s*[\])]", re.IGNORECASE)
"""In the heading of a position it says that it is no angle."""
_TEXTS = (MastColumn.NAME, MastColumn.OPERATOR, MastColumn.TECHNOLOGY)


@dataclass(frozen=True)
class NamedCell:
    """One value of a feature as the file has it.

    Parameters
    ----------
    header : str
        Name of the property, or heading of the column.
    cell : object
        Text or number.
    unit, unknown_unit : str
        What its name says; empty if nothing.
    """

    header: str
    cell: Cell
    unit: str = ""
    unknown_unit: str = ""


Feature = Mapping[MastColumn, NamedCell]


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


def read_masts(path: Path, layer: str = "") -> tuple[Mast, ...]:
    """Every point of a file.

    Parameters
    ----------
    path : Path
        ``.geojson`` or ``.json``, ``.gpx``, or a table (CSV, XLSX, points of a GeoPackage).
    layer : str
        Of a GeoPackage; the first one if empty.

    Raises
    ------
    FormatError, InputError
        If the file cannot be read as what its name says, or holds no point.
    RejectedRows
        With every faulty point.
    """
    reader = _READERS.get(path.suffix.lower())
    features, decimal = reader(path) if reader else _of_table(path, layer)
    found, faults = [], []
    for line, row in features:
        try:
            found.append(_mast(line, row, decimal))
        except ValueError as fault:
            read = "; ".join(f"{column} {shown(told.cell)}" for column, told in row.items())
            faults.append(RowFault(line, "", read, str(fault)))
    if faults:
        raise RejectedRows(faults, where=path.name, mend=f"First: line {faults[0].line}, {faults[0].reason}.")
    if not found:
        raise FormatError("it holds no points.", where=path.name, mend="Choose a file with masts as points.")
    return tuple(found)


def _mast(line: int, row: Feature, decimal: DecimalGuess) -> Mast:
    values = {column: _value(column, row[column], decimal) for column in NUMBERS if column in row}
    latitude, longitude = values.get(MastColumn.LATITUDE), values.get(MastColumn.LONGITUDE)
    if latitude is None or longitude is None:
        raise ValueError("it has no latitude and longitude")
    erp = values.get(MastColumn.ERP)
    eirp = values.get(MastColumn.EIRP) if erp is None else erp * DIPOLE_OVER_ISOTROPIC
    name, operator, technology = (shown(row[part].cell)[:200] if part in row else "" for part in _TEXTS)
    return Mast(
        line, name, operator, technology, latitude, longitude,
        values.get(MastColumn.HEIGHT), values.get(MastColumn.FREQUENCY), eirp,
    )  # fmt: skip


def _value(column: MastColumn, told: NamedCell, decimal: DecimalGuess) -> float | None:
    """In degrees, m, Hz or W."""
    if wrong := wrong_unit(column, told.unit, told.unknown_unit):
        raise ValueError(unit_question(told.header, column, wrong))
    try:
        found = amount(told.cell, decimal.sign or ".", decimal.grouped)
    except CellFault:
        found = Amount(None, Censoring.ABOVE)
    if found is None:
        return None
    if found.number is None or found.censoring is not Censoring.NONE:
        raise ValueError(f"{column} {shown(told.cell)[:40]!r} is no number")
    if column is MastColumn.FREQUENCY and not told.unit and found.number < _LEAST_WITHOUT_UNIT:
        raise ValueError(f"{column} {found.number:g} names no unit; head it '{told.header} [MHz]' or [GHz]")
    low, high = _BOUNDS[column]
    value = _in_si(column, found.number, told.unit)
    if not low <= value <= high:
        raise ValueError(f"{column} {value:g} lies outside {low:g} to {high:g}")
    return value


def _in_si(column: MastColumn, value: float, unit: str) -> float:
    if column is MastColumn.FREQUENCY:
        return value * FREQUENCY_UNITS[unit or "MHz"]
    if unit in ("dBm", "dBW"):
        return float(10.0 ** min((value - (30.0 if unit == "dBm" else 0.0)) / 10.0, 300.0))
    return value * _WATTS.get(unit, 1.0)


def _named(pairs: Iterable[tuple[str, Cell]]) -> dict[MastColumn, NamedCell]:
    """What is read of a feature, the first of several names for a thing."""
    found: dict[MastColumn, NamedCell] = {}
    for header, cell in pairs:
        meant = meaning_of(header, MASTS)
        column = taken_as(meant.column, meant.unit)
        if column is not MastColumn.UNUSED and cell is not None:
            found.setdefault(column, NamedCell(header, cell, meant.unit, meant.unknown_unit))
    return found


def _with_sign(features: Iterable[tuple[int, dict[MastColumn, NamedCell]]]) -> Features:
    """Features, and the decimal sign of the numbers that are written as text among them."""
    kept = list(features)
    texts = {t.cell for _, row in kept for column, t in row.items() if column in NUMBERS and isinstance(t.cell, str)}
    return kept, guess_decimal(texts)


def _of_geojson(path: Path) -> Features:
    return _with_sign(_geojson_points(path))


def _geojson_points(path: Path) -> Iterator[tuple[int, dict[MastColumn, NamedCell]]]:
    for line, feature in enumerate(features_of(file_content(path), path.name), 1):
        geometry = feature["geometry"]
        if geometry.get("type") != "Point":
            continue
        place = geometry.get("coordinates")
        if not isinstance(place, list) or len(place) < 2:
            raise FormatError("its point has no coordinates.", where=f"{path.name}: feature {line}", mend="Correct it.")
        properties = feature.get("properties") or {}
        told = _named(properties.items()) if isinstance(properties, dict) else {}
        yield line, {**told, **_standing(place[1], place[0])}


def _of_gpx(path: Path) -> Features:
    content = file_content(path)
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise FormatError("it declares entities.", where=path.name, mend="Export the waypoints again, without them.")
    try:
        root = ElementTree.fromstring(content)
    except ElementTree.ParseError as fault:
        raise FormatError(f"it is no XML ({fault}).", where=path.name, mend="Choose a GPX file.") from None
    return [_gpx_point(line, point) for line, point in enumerate(root.findall(".//{*}wpt"), 1)], DecimalGuess(".")


def _gpx_point(line: int, point: ElementTree.Element) -> tuple[int, dict[MastColumn, NamedCell]]:
    told = _named((child.tag.rpartition("}")[2], child.text or "") for child in point)
    told.pop(MastColumn.HEIGHT, None)  # <ele> is above the sea, not above ground
    return line, {**told, **_standing(point.get("lat", ""), point.get("lon", ""))}


def _standing(latitude: Cell, longitude: Cell) -> dict[MastColumn, NamedCell]:
    return {
        MastColumn.LATITUDE: NamedCell("latitude", latitude),
        MastColumn.LONGITUDE: NamedCell("longitude", longitude),
    }


def _of_table(path: Path, layer: str) -> Features:
    mapping = guess_columns(path, MASTS, sheet=layer)
    standing = [mapping.first(column) for column in (MastColumn.LATITUDE, MastColumn.LONGITUDE)]
    if any(one is None or _LENGTH.search(one.header) for one in standing):
        raise FormatError(
            "it has no columns latitude and longitude.",
            where=path.name,
            mend="Head two columns so, in degrees (WGS 84).",
        )
    if mapping.rows > _MOST:
        raise InputError(f"it has more than {_MOST} rows.", where=path.name, mend="Keep what lies around the home.")
    for question in mapping.questions():
        raise InputError(question, where=path.name, mend="Correct that heading, or the rows below it.")
    table = confirmed_table(path, mapping, confirmed=True)
    read = [(mapped.index, taken_as(mapped.column, mapped.unit), mapped) for mapped in mapping.columns]
    wanted = [(index, column, mapped) for index, column, mapped in read if column is not MastColumn.UNUSED]
    features = []
    for line, row in zip(table.lines, table.rows, strict=True):
        if line > mapping.header_line and not is_empty(row):
            feature: dict[MastColumn, NamedCell] = {
                column: NamedCell(mapped.header, row[index], mapped.unit, mapped.unknown_unit)
                for index, column, mapped in wanted
                if index < len(row)
            }
            features.append((line, feature))
    return features, DecimalGuess(mapping.decimal, mapping.grouped)


Features = tuple[list[tuple[int, dict[MastColumn, NamedCell]]], DecimalGuess]
_READERS = {".geojson": _of_geojson, ".json": _of_geojson, ".gpx": _of_gpx}
