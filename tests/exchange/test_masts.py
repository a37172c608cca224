"""Masts from open data: three formats say the same, far things come out where geodesy puts them."""

from __future__ import annotations

import json
import math

import openpyxl
import pytest
from astropy import units
from astropy.coordinates import EarthLocation
from hypothesis import given, settings
from hypothesis import strategies as st

import roomfield as rf
from roomfield.errors import FormatError, InputError, RejectedRows, RoomfieldError, TooEarlyError
from roomfield.exchange.masts import DIPOLE_OVER_ISOTROPIC, Mast, read_masts
from roomfield.workbench.record.bring_masts import USUAL_HEIGHT_M, bring_masts, home_from_text

MASTS = [
    ("Church tower", "Net One", 47.1251, 9.4330, 32.0, 1842.4, 120.0),
    ("Silo", "", 47.1210, 9.4301, None, None, None),
]


def write_all(folder):
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [lon, lat]},
            "properties": {"Name": name, "operator": who, "height_m": high, "frequency_mhz": mhz, "ERP [W]": erp},
        }
        for name, who, lat, lon, high, mhz, erp in MASTS
    ]
    features.append({"type": "Feature", "geometry": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]}})
    (folder / "m.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    waypoints = "".join(f'<wpt lat="{m[2]}" lon="{m[3]}"><ele>512</ele><name>{m[0]}</name></wpt>' for m in MASTS)
    gpx = f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{waypoints}</gpx>'
    (folder / "m.gpx").write_text(gpx, "utf-8")
    book = openpyxl.Workbook()
    book.active.append(["Standort", "Betreiber", "Breite", "Länge", "Höhe", "Frequenz", "ERP [W]"])
    for row in MASTS:
        book.active.append(list(row))
    book.save(folder / "m.xlsx")
    head = "name;operator;lat;lon;height;MHz;erp\n"
    text = head + "".join(";".join("" if c is None else str(c).replace(".", ",") for c in row) + "\n" for row in MASTS)
    (folder / "m.csv").write_text(text, "utf-8")


@pytest.mark.published("RFC 7946 (longitude first), GPX 1.1 (wpt lat, lon; ele above the sea); ITU-R V.573: 2.15 dB")
def test_formats_say_the_same(tmp_path):
    write_all(tmp_path)
    found = {name: read_masts(tmp_path / f"m.{name}") for name in ("geojson", "csv", "xlsx", "gpx")}
    for masts in found.values():
        assert [(m.name, m.latitude_deg, m.longitude_deg) for m in masts] == [(m[0], m[2], m[3]) for m in MASTS]
    for name in ("geojson", "csv", "xlsx"):
        tower, silo = found[name]
        assert (tower.operator, tower.height_m, tower.frequency_hz) == ("Net One", 32.0, 1842.4e6)
        assert tower.eirp_w == pytest.approx(120.0 * DIPOLE_OVER_ISOTROPIC)
        assert 10.0 * math.log10(DIPOLE_OVER_ISOTROPIC) == pytest.approx(2.15, abs=0.01)
        assert (silo.height_m, silo.frequency_hz, silo.eirp_w) == (None, None, None)
    assert [m.height_m for m in found["gpx"]] == [None, None]


def one_mast(tmp_path, header, cell, ending):
    """The mast of a file with one more property, as a table or as a point."""
    if ending == "csv":
        (tmp_path / "m.csv").write_text(f"lat;lon;{header}\n47.12;9.43;{cell}\n", "utf-8")
    else:
        point = {"type": "Point", "coordinates": [9.43, 47.12]}
        feature = {"type": "Feature", "geometry": point, "properties": {header: cell}}
        (tmp_path / "m.geojson").write_text(json.dumps(feature), "utf-8")
    (mast,) = read_masts(tmp_path / f"m.{ending}")
    return mast


@pytest.mark.published("SI prefixes; ITU-R V.574: 0 dBm is 1 mW, 0 dBW is 1 W")
@pytest.mark.parametrize("ending", ["csv", "geojson"])
@pytest.mark.parametrize(
    ("header", "cell", "field", "value"),
    [
        ("Frequency [GHz]", "3.5", "frequency_hz", 3.5e9),
        ("frequency_khz", "1842400", "frequency_hz", 1842.4e6),
        ("MHz", "935", "frequency_hz", 935e6),
        ("Frequenz", "935", "frequency_hz", 935e6),
        ("EIRP [dBm]", "50", "eirp_w", 100.0),
        ("EIRP dBW", "20", "eirp_w", 100.0),
        ("eirp_kw", "1.2", "eirp_w", 1200.0),
        ("ERP [W]", "100", "eirp_w", 164.0),
        ("W", "100", "eirp_w", None),
        ("W", "100", "frequency_hz", None),
        ("power w", "100", "eirp_w", None),
    ],
)
def test_units_of_headings_are_heeded(tmp_path, header, cell, field, value, ending):
    found = getattr(one_mast(tmp_path, header, cell, ending), field)
    assert found == (None if value is None else pytest.approx(value, rel=1e-12))


@pytest.mark.parametrize("ending", ["csv", "geojson"])
@pytest.mark.parametrize(
    ("header", "cell"),
    [("height [ft]", "90"), ("EIRP [MHz]", "90"), ("frequency", "3.5"), ("EIRP [dBm]", "4000"), ("height", "< 30")],
)
def test_units_that_cannot_be_are_refused_by_name(tmp_path, header, cell, ending):
    with pytest.raises((InputError, RejectedRows)) as refused:
        one_mast(tmp_path, header, cell, ending)
    assert header.split()[0].lower() in str(refused.value).lower()


@pytest.mark.published("astropy: geocentric positions on WGS 84, turned into east and north at the home")
@settings(max_examples=40, deadline=None)
@given(
    latitude=st.floats(-80.0, 80.0),
    longitude=st.floats(-180.0, 180.0),
    away_deg=st.tuples(st.floats(-0.05, 0.05), st.floats(-0.05, 0.05)),
)
def test_way_to_a_mast_is_that_of_geodesy(latitude, longitude, away_deg):
    there = latitude + away_deg[0], (longitude + away_deg[1] + 180.0) % 360.0 - 180.0
    east, north = Mast(1, "", "", "", *there).offset_m(latitude, longitude)
    here, mast = (EarthLocation.from_geodetic(lon * units.deg, lat * units.deg) for lat, lon in
                  ((latitude, longitude), there))  # fmt: skip
    dx, dy, dz = ((b - a).to_value("m") for a, b in zip(here.geocentric, mast.geocentric, strict=True))
    lat, lon = math.radians(latitude), math.radians(longitude)
    want_east = -math.sin(lon) * dx + math.cos(lon) * dy
    want_north = -math.sin(lat) * (math.cos(lon) * dx + math.sin(lon) * dy) + math.cos(lat) * dz
    distance = math.hypot(want_east, want_north)
    assert math.hypot(east - want_east, north - want_north) <= 0.01 + 2e-3 * distance


@pytest.fixture
def job(tmp_path):
    made = rf.begin(tmp_path / "a.sqlite", "Flat")
    return rf.bring_plan(made, lines=["Bedroom 4 x 4"])


def test_masts_come_onto_the_plan_turned_by_its_north(job, tmp_path):
    write_all(tmp_path)
    home = home_from_text("47.1233, 9.4330", 90.0)  # true north points to the plan's east
    found = bring_masts(job, tmp_path / "m.geojson", home)
    assert [m.name for m in found] == ["Church tower Net One 1842.4 MHz", "Silo"]
    tower, silo = job.again().survey.emitters
    middle = (2.0, 2.0)
    assert found[0].azimuth_deg == pytest.approx(0.0, abs=0.1)
    assert tower.position[0] - middle[0] == pytest.approx(found[0].distance_m, abs=0.2)
    assert tower.position[1] == pytest.approx(middle[1], abs=0.2)
    assert (tower.position[2], silo.position[2]) == (32.0, USUAL_HEIGHT_M)
    assert tower.outdoor and tower.frequency_hz == 1842.4e6 and "not stated" in silo.note
    again = bring_masts(job.again(), tmp_path / "m.geojson", home_from_text("47.1233, 9.4330"))
    assert all(m.known for m in again)
    assert len(job.again().survey.emitters) == 2
    assert "47.12" not in json.dumps(rf.open(tmp_path / "a.sqlite").survey, default=str)


@pytest.mark.parametrize(
    ("name", "text", "kind"),
    [
        ("m.gpx", "<gpx", FormatError),
        ("m.gpx", '<!DOCTYPE x [<!ENTITY a "b">]><gpx/>', FormatError),
        ("m.gpx", "<gpx/>", FormatError),
        ("m.gpx", '<gpx><wpt lat="91" lon="0"/></gpx>', RejectedRows),
        ("m.geojson", "{}", FormatError),
        ("m.geojson", '{"type":"Feature","geometry":{"type":"Point","coordinates":["a",1]}}', RejectedRows),
        ("m.geojson", '{"type":"Feature","geometry":{"type":"Point"}}', FormatError),
        ("m.csv", "name,lat\nA,1\n", FormatError),
        ("m.csv", "name,lat,lon\nA,north,1\n", RejectedRows),
        ("m.csv", "name,lat,lon,height\nA,47.12,9.43,1e300\n", RejectedRows),
        ("m.csv", "name,lat,lon\nA,10,10\n", InputError),
        ("missing.csv", None, InputError),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_kept(job, tmp_path, name, text, kind):
    if text is not None:
        (tmp_path / name).write_text(text, "utf-8")
    with pytest.raises(kind):
        bring_masts(job, tmp_path / name, home_from_text("47.1233, 9.4330", 0.0))
    assert job.again().survey.emitters == ()


def test_home_and_north_are_asked_for(job, tmp_path):
    write_all(tmp_path)
    for text in ("here", "1", "91, 0", "1,2,3"):
        with pytest.raises(RoomfieldError):
            home_from_text(text)
    with pytest.raises(InputError, match="north"):
        bring_masts(job, tmp_path / "m.csv", home_from_text("47.1233, 9.4330"))
    with pytest.raises(TooEarlyError, match="plan"):
        bring_masts(rf.begin(tmp_path / "b.sqlite", "Bare"), tmp_path / "m.csv", home_from_text("47.1233, 9.4330", 0.0))
