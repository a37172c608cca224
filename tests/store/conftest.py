"""A record in which every field differs from its default, and stores to keep it in."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, text

from roomfield.quantities.kind import Kind
from roomfield.store.repository import Store, open_store
from roomfield.survey import (
    Accessory,
    AccessoryKind,
    AccessoryPoint,
    Action,
    ActionKind,
    Activity,
    AdoptedPlan,
    Amendment,
    AntennaPattern,
    Assignment,
    AudioOutput,
    BandZone,
    Bearing,
    CalibrationPoint,
    Censoring,
    Control,
    CostRange,
    DetectorLaw,
    Dwelling,
    Emitter,
    EmitterActivity,
    FittedShield,
    FurnitureBox,
    HeardTechnology,
    HotSpot,
    Layer,
    ListenedScan,
    LogRecord,
    MediaItem,
    Meter,
    Opening,
    OpeningKind,
    Orientation,
    Origin,
    Person,
    Photograph,
    PhotoSubject,
    Place,
    PlaceKind,
    PlanImage,
    Polarisation,
    RadioState,
    Reading,
    Recording,
    ReferenceCheck,
    ReportStage,
    Room,
    Scan,
    SelfTest,
    ShieldPart,
    ShieldSheet,
    SignOff,
    Slab,
    Standing,
    StateActivity,
    Stay,
    Storey,
    SurfaceRef,
    Survey,
    Tick,
    Visit,
    VisitPurpose,
    Wall,
)

SHA = "0123456789abcdef" * 4
OUTLINE = ((0.0, 0.0), (10.6, 0.0), (10.6, 8.6), (0.0, 8.6))
SHEET = ShieldSheet("foil", ((4e8, 38.5), (6e9, 31.0)), "IEEE 299", 2.5, False)


def full_dwelling() -> Dwelling:
    window = Opening("win", OpeningKind.WINDOW, 1.2, 4.2, 0.3, 2.2, (Layer("glass", 0.008),))
    shield = FittedShield(SHEET, ShieldPart.OPENINGS, ("win",), 0.93)
    wall = Wall("w1", "s0", (0.0, 0.0), (10.6, 0.0), 0.0, 2.6, (Layer("brick", 0.24),), True, (window,), (shield,))
    return Dwelling(
        storeys=(Storey("s0", "ground", 0.0, 2.6, OUTLINE),),
        rooms=(Room("bed", "bedroom", "s0", OUTLINE),),
        walls=(wall,),
        slabs=(Slab("c0", 2.7, (Layer("concrete", 0.2),), (OUTLINE,), (shield,)),),
        furniture=(FurnitureBox("f", "fridge", (1.0, 1.0, 0.0), (1.6, 1.6, 1.8), Layer("metal", 0.001)),),
        plan_images=(PlanImage("s0", SHA, (-1.0, -2.0), 0.0123, 4.5),),
        north_deg=12.25,
    )


def full_actions() -> tuple[Action, ...]:
    return (
        Action(
            "a1",
            "foil on the outer wall",
            ActionKind.SHIELD_SURFACE,
            ("router",),
            "bed1",
            (1.0, 2.0, 3.0),
            "bed",
            3.5,
            (22.0, 6.5),
            (SurfaceRef("w1", ShieldPart.WHOLE, ("win",)),),
            SHEET,
            0.9,
            CostRange(120.0, 260.5, "CHF", stated=False),
            ("a2",),
            "earth it",
        ),
        Action("a2", "router off", ActionKind.SWITCH_OFF),
    )


def full_meter() -> Meter:
    return Meter(
        "m1",
        "invented meter",
        "0815",
        5e8,
        6e9,
        4.5,
        0.75,
        2e-8,
        1.5,
        6e-6,
        1.0,
        0.4,
        3,
        (CalibrationPoint(9e8, -0.3, 0.8),),
        "2025-03-01",
        "2027-03-01",
        "certificate 12",
        (ReferenceCheck("2026-02-01T09:00:00+01:00", "source A", 0.2, "fine"),),
        AudioOutput(DetectorLaw.LOGARITHMIC, 20.0, 12e3, 5e-6),
        "held at 40 cm",
        (BandZone(3e8, 5e8, 8.0),),
        (Accessory("pad", "attenuator", AccessoryKind.ATTENUATOR, (AccessoryPoint(1e9, -20.0, 0.4),), "marked blue"),),
        (SelfTest("2026-03-02T09:00:00+01:00", True, "3 of 4", "before the visit"),),
    )


def full_observations() -> dict[str, tuple[object, ...]]:
    origin = Origin("walk.csv", SHA, 17)
    reading = Reading(
        "r1",
        "v1",
        "m1",
        "st1",
        Kind.HIGHEST_HELD,
        1e-8,
        "bed1",
        (1.0, 2.0, 0.5),
        Censoring.BELOW,
        Orientation.THREE_AXIS_SUM,
        Scan.FIXED,
        0.25,
        "2026-03-02T10:11:12+01:00",
        3,
        "µ and 漢字",
        origin,
        45.0,
        0.6,
        0.5,
        "pad",
        listened=ListenedScan(75.0, 40, 0.1, 0.6, 1.4, 0.8),
    )
    bearing = Bearing(
        "b1",
        "v1",
        "m1",
        "st1",
        (0.0, -0.5, 1.3),
        5.0,
        95.0,
        10.0,
        2.31e-3,
        2.5e-4,
        "2026-03-02",
        "note",
        origin,
    )
    recording = Recording(
        "c1",
        "v1",
        "m1",
        "st1",
        SHA,
        "bed1",
        (1.0, 2.0, 0.5),
        12.5,
        (HeardTechnology("dect", 0.97, "100 per second"),),
        ("17 per second",),
        "0.1.0",
        "2026-03-02",
        "clear",
    )
    log = LogRecord("l1", "v1", "m1", "st1", Kind.AVERAGE, SHA, SHA[::-1], "bed1", "2026-03-02", "2026-03-03", "n")
    bare = replace(reading, id="r2", position=None, origin=Origin(), censoring=Censoring.NONE, value_w_m2=0.1 + 0.2)
    return {"readings": (reading, bare), "bearings": (bearing,), "recordings": (recording,), "logs": (log,)}


def full_survey() -> Survey:
    state = RadioState("st1", "router off", ("wlan",), "plug pulled", (StateActivity("phone", Activity.IN_USE),))
    return Survey(
        id=uuid4().hex,
        title="Flat by the river",
        created_at="2026-03-01T08:00:00+01:00",
        assignment=Assignment(
            "Ann Client", "1 River Way", "A. Sessor", "Office", "bedroom?", "ch-nisv", "g", "de", 1e-4
        ),
        invented=True,
        dwelling=full_dwelling(),
        places=(
            Place("bed1", "bed", PlaceKind.BED, "bed", "s0", (1.0, 2.0, 0.5), 8.0, 0.5, "left"),
            Place("p2", "desk"),
        ),
        emitters=(
            Emitter(
                "router",
                "router",
                "wlan",
                2.45e9,
                (5.0, 6.0, 1.0),
                275.0,
                True,
                0.1,
                3.0,
                0.1,
                2.0,
                AntennaPattern.VERTICAL_DIPOLE,
                Polarisation.HORIZONTAL,
                "wlan",
                True,
                Standing.SUSPECTED,
                Control.NEIGHBOUR,
                "seen",
                (EmitterActivity(Activity.IDLE, 0.01, 0.1024),),
            ),
        ),
        people=(Person("p1", "Ann", (Stay("bed1", 22.0, 6.5),), "a child"),),
        photographs=(
            Photograph(
                "photo-1",
                "a" * 64,
                "Display at the bed",
                PhotoSubject.DISPLAY,
                "bed1",
                "v1",
                "found",
                "entry-1",
                "2026-03-02T10:20:00+01:00",
                True,
                "b" * 64,
                True,
            ),
        ),
        hot_spots=(HotSpot("spot-1", "v1", (1.0, 2.0, 1.0), "short bursts", "2026-03-02T10:05:00+01:00"),),
        ticks=(Tick("own-phone-off", "v1", "2026-03-02T10:00:00+01:00"),),
        archived=True,
        meters=(full_meter(),),
        visits=(
            Visit(
                "v1",
                "2026-03-02T10:00:00+01:00",
                "A. Sessor",
                VisitPurpose.FOLLOW_UP,
                "2026-03-02T12:00:00+01:00",
                (state,),
                "rain",
                ("a2",),
                "n",
            ),
        ),
        media=(MediaItem(SHA, "plan.png", "image/png", 1234, "ground storey"),),
        actions=full_actions(),
        adopted_plan=AdoptedPlan(("a2", "a1"), 1e-5, "peak", 0.9, "2026-03-05", "agreed by phone", ("p1",)),
        amendments=(
            Amendment("x1", "r1", "note", '"µ and 漢字"', '"bed, left"', "typing slip", "A. Sessor", "2026-03-03"),
        ),
        note="keys at the neighbour's",
        sign_offs=(
            SignOff(ReportStage.REVIEWED, "v1", "R. Viewer", "tower", "rita", "2026-03-06T08:00:00+00:00", SHA, "fine"),
        ),
        **full_observations(),
    )


@pytest.fixture
def survey() -> Survey:
    return full_survey()


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A database of its own on the server named by ROOMFIELD_TEST_POSTGRES."""
    url = os.environ.get("ROOMFIELD_TEST_POSTGRES")
    if not url:
        pytest.skip("ROOMFIELD_TEST_POSTGRES names no server")
    name = f"roomfield_test_{uuid4().hex}"
    server = create_engine(url.replace("postgresql://", "postgresql+psycopg://"), isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield url.rsplit("/", 1)[0] + f"/{name}"
    with server.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    server.dispose()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "postgresql":
        return str(request.getfixturevalue("postgres_url"))
    return str(tmp_path / "survey.sqlite")


@pytest.fixture
def store(url: str, tmp_path: Path, records_by_copy: None) -> Iterator[Store]:
    with open_store(url, media_folder=tmp_path / "media") as opened:
        yield opened
