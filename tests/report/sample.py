"""Sample content for the tests: invented home, invented people, invented numbers."""

from __future__ import annotations

import io
import math
from dataclasses import replace

from PIL import Image

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.report.document import Custody, Parties, ReportContent, Rules
from roomfield.show.chapters import (
    BeforeAfter,
    DayProfile,
    EnvelopeSpectrum,
    FoldedProfile,
    HeardEntry,
    Letter,
    LogEntry,
    PlacePrediction,
    RecordingEntry,
    Remedy,
    SourceEntry,
    Timeline,
    TradeOffPoint,
    Verification,
    WorkItem,
)
from roomfield.show.drawings import (
    LevelGrid,
    PlanEmitter,
    PlanOpening,
    PlanPlace,
    PlanRoom,
    PlanStorey,
    PlanWall,
)
from roomfield.show.evidence import (
    AmendmentEntry,
    Budget,
    BudgetLine,
    Caution,
    CheckEntry,
    ControlChart,
    MeterEntry,
    PhotoEntry,
    Position,
    ReadingEntry,
    ReferenceEntry,
    ReferenceStanding,
    VisitEntry,
)
from roomfield.show.findings import (
    CategoryChance,
    Chance,
    Contribution,
    Level,
    NextStep,
    Outcome,
    PlaceFinding,
    PlaceLevel,
    Shown,
    ShownAim,
    StateEntry,
    StepGroup,
    Verdict,
)
from roomfield.show.phrase import phrase

PEAK, HOLD, AVERAGE = Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE
MICRO = 1e-6


def spread(median: float, factor: float = 4.0) -> Level:
    return Level(median * MICRO, median / factor * MICRO, median * factor * MICRO)


BELOW_FLOOR = Level(0.005 * MICRO, 0.0, 0.02 * MICRO, Censoring.BELOW)
OVERLOAD = Level(4.0, 1.8, 9.0, Censoring.ABOVE)


def place_levels(peak: float, *, off: float | None = None) -> tuple[PlaceLevel, ...]:
    levels = [
        PlaceLevel("found", PEAK, spread(peak), Shown(peak * 0.9 * MICRO), 3, phrase("orientation.best_axis")),
        PlaceLevel("found", AVERAGE, spread(peak / 40), Shown(peak / 44 * MICRO), 3),
    ]
    if off is not None:
        levels.append(PlaceLevel("router-off", PEAK, spread(off), Shown(off * 0.9 * MICRO), 2))
    return tuple(levels)


PLACES = (
    PlaceFinding("cot", "Cot", "Children's room", "Upper floor", True, 11, 2, place_levels(340.0, off=12.0)),
    PlaceFinding("bed", "Parents' bed, head end", "Bedroom", "Upper floor", True, 8, 0, place_levels(24.0, off=9.0)),
    PlaceFinding("desk", "Desk by the window", "Study", "Ground floor", False, 0, 6, place_levels(2100.0)),
    PlaceFinding("guest", "Guest bed", "Attic", "Attic", True, 7, 0,
                 (PlaceLevel("found", PEAK, BELOW_FLOOR, Shown(0.01 * MICRO, Censoring.BELOW), 2),)),
    PlaceFinding("sofa", "Sofa beside the cordless base", "Living room", "Ground floor", False, 0, 4,
                 (PlaceLevel("found", PEAK, OVERLOAD, Shown(2.5, Censoring.ABOVE), 1),)),
)  # fmt: skip

REFERENCES = (
    ReferenceEntry(
        "eu", "EU 1999/519/EC", "Council Recommendation 1999/519/EC", ReferenceStanding.RECOMMENDATION, AVERAGE,
        edition="1999", clause="Annex III, table 2", issuer="Council of the European Union",
        how_known=phrase("how.confirmed"), value_w_m2=10.0, averaging_s=360,
    ),
    ReferenceEntry(
        "sbm", "SBM-2015, severe from", "Building biology evaluation guidelines", ReferenceStanding.DISPUTED, PEAK,
        edition="SBM-2015", clause="B 1", how_known=phrase("how.memory"), value_w_m2=10 * MICRO,
        edges_w_m2=(("no anomaly", 0.0), ("slight anomaly", 0.1 * MICRO), ("severe anomaly", 10 * MICRO),
                    ("extreme anomaly", 1000 * MICRO)),
    ),
    ReferenceEntry(
        "icnirp", "ICNIRP 2020", "Guidelines for limiting exposure to electromagnetic fields", ReferenceStanding.VOLUNTARY,
        AVERAGE, edition="2020", clause="Table 5", how_known=phrase("how.memory"), averaging_s=1800, used=False,
    ),
)  # fmt: skip


def verdicts(places: tuple[PlaceFinding, ...]) -> tuple[Verdict, ...]:
    made = []
    for place in places:
        level = place.levels[0].level
        if level.censoring is Censoring.ABOVE:
            made.append(Verdict(place.id, "found", PEAK, "sbm", Outcome.ABOVE, 10 * MICRO, Chance(0.0, 0.0002)))
            made.append(Verdict(place.id, "found", PEAK, "eu", Outcome.NOT_COMPARABLE, 10.0, Chance(0.5, 0.5)))
            continue
        median = level.median_w_m2
        z = math.log10(10 * MICRO / median) / 0.3 if level.censoring is Censoring.NONE else 9.0
        below = 0.5 * (1 + math.erf(z / math.sqrt(2)))
        outcome = (Outcome.BELOW if below > 0.95 else Outcome.LIKELY_BELOW if below > 0.8 else Outcome.UNDECIDED
                   if below > 0.2 else Outcome.LIKELY_ABOVE if below > 0.05 else Outcome.ABOVE)  # fmt: skip
        category = "severe anomaly" if median >= 10 * MICRO else "slight anomaly"
        made.append(Verdict(place.id, "found", PEAK, "sbm", outcome, 10 * MICRO, Chance(below, below),
                            categories=(CategoryChance(category, Chance(0.7, 0.9)),),
                            upper_bound_only=True, compared=level))  # fmt: skip
        kind = AVERAGE if len(place.levels) > 1 else PEAK
        made.append(Verdict(place.id, "found", kind, "eu", Outcome.BELOW, 10.0, Chance(0.9999, 0.9999), 4.0,
                            next(lv.level for lv in place.levels if lv.kind is kind)))  # fmt: skip
    return tuple(made)


def plan() -> PlanStorey:
    outer = ((0.0, 0.0), (9.0, 0.0), (9.0, 7.0), (0.0, 7.0))
    window = PlanOpening((1.0, 7.0), (2.6, 7.0), "window")
    door = PlanOpening((4.5, 1.0), (4.5, 1.9), "door")
    walls = [PlanWall(a, b, 0.36, True, openings=(window,) if a == (9.0, 7.0) else ())
             for a, b in zip(outer, outer[1:] + outer[:1], strict=True)]  # fmt: skip
    walls += [
        PlanWall((4.5, 0.0), (4.5, 7.0), 0.12, openings=(door,)),
        PlanWall((4.5, 4.0), (9.0, 4.0), 0.12),
    ]
    rooms = (PlanRoom("Children's room", ((0, 0), (4.5, 0), (4.5, 7), (0, 7))),
             PlanRoom("Bedroom", ((4.5, 4), (9, 4), (9, 7), (4.5, 7))),
             PlanRoom("Study", ((4.5, 0), (9, 0), (9, 4), (4.5, 4))))  # fmt: skip
    places = (PlanPlace(1, "Cot", (1.2, 5.4), True, "340"), PlanPlace(2, "Parents' bed", (7.2, 5.6), True, "24"),
              PlanPlace(3, "Desk", (8.0, 1.2), False, "2 100"))  # fmt: skip
    emitters = (PlanEmitter("A", "Router", (5.2, 3.2)), PlanEmitter("B", "Cordless base", (6.4, 0.7), known=False),
                PlanEmitter("C", "Mast", None, 310.0, 8.0))  # fmt: skip
    return PlanStorey("Upper floor", outer, rooms, tuple(walls), (((0.5, 0.5), (1.1, 2.0)),), places, emitters, 15.0)


def grid(nx: int = 46, ny: int = 36) -> LevelGrid:
    xs = tuple(9.0 * i / (nx - 1) for i in range(nx))
    ys = tuple(7.0 * j / (ny - 1) for j in range(ny))

    def level(x: float, y: float) -> float:
        power = 300 / (0.4 + (x - 5.2) ** 2 + (y - 3.2) ** 2) * (0.15 if x < 4.5 else 1) + 20 / (1 + (7 - y)) + 0.5
        return 10 * math.log10(power)

    levels = tuple(tuple(level(x, y) for x in xs) for y in ys)
    stds = tuple(tuple(3.0 + 0.9 * max(0.0, 4.5 - x) for x in xs) for _ in ys)
    return LevelGrid(plan(), xs, ys, levels, stds, 6.0, 5.0, "Peak, as found, upper floor")


def meter() -> MeterEntry:
    checks = tuple(CheckEntry(f"2026-{m:02d}-12", d, "reference source", flagged=abs(d) > 3)
                   for m, d in zip(range(1, 11), (0.2, -0.4, 0.6, 0.1, 0.9, 1.1, 1.6, 2.2, 2.7, 3.3), strict=True))  # fmt: skip
    return MeterEntry("m1", "Invented meter Q-1", "Q1-0042", calibrated_on="2025-04-02", calibration_due="2026-04-02",
                      chart=ControlChart(checks, statement="The last check lies outside the action limit; the meter "
                                         "reads higher than at its calibration."))  # fmt: skip


def budget() -> Budget:
    lines = (
        BudgetLine(phrase("part.tolerance"), 3.46, True, phrase("distribution.rectangular"), "data sheet, ±6 dB"),
        BudgetLine(phrase("part.body"), 1.0, True, phrase("distribution.normal"), "common practice, no source"),
        BudgetLine(phrase("part.pickup"), 1.2, False, phrase("distribution.skewed"), "figure-of-eight pattern"),
        BudgetLine(phrase("part.repeatability"), 1.0, False, phrase("distribution.normal"), "three scans per place"),
    )
    return Budget(lines, 3.92, -7.1, 7.4, "Combined by simulation of the measurement.")


def readings(places: tuple[PlaceFinding, ...]) -> tuple[ReadingEntry, ...]:
    rows = []
    names = {"found": "As found", "router-off": "Router off"}
    for place in places:
        for level in place.levels:
            if level.shown is not None:
                n = len(rows) + 1
                rows.append(ReadingEntry(f"r{n:03d}", "v1", place.name, names[level.state_id], level.kind, level.shown,
                                         "best_axis", "hand_scan", f"2026-03-01T09:{n % 60:02d}:00+01:00",
                                         origin=f"visit.csv, line {n + 1}", amended=n == 3))  # fmt: skip
    return tuple(rows)


def content(**changes: object) -> ReportContent:
    """A whole report without the chapters that are only there on demand."""
    made = ReportContent(
        "demo-2026-03", "Home of the Example family", "2026-03-02T10:00:00+01:00", "found", "eu", "sbm", True,
        Parties("Family Example", "1 Invented Street, Sampletown", "A. Sample", "Sample Assessments",
                "Is the level at the cot a reason to change anything?", "sells neither shielding nor devices"),
        Rules(0.95, "", 0.05), Custody("demo-2026-03.zip", "ab12cd34" * 8, "roomfield 0.1.0"),
        visits=(VisitEntry("v1", "2026-03-01T09:00:00+01:00", "A. Sample", phrase("purpose.first"),
                           "2026-03-01T12:30:00+01:00", "dry, neighbours at home"),),
        states=(StateEntry("found", "As found", "v1"), StateEntry("router-off", "Router off", "v1", ("Router",))),
        places=PLACES, verdicts=verdicts(PLACES), aim=ShownAim(10 * MICRO, False, "slight anomaly"),
        contributions=(
            Contribution("cot", "Router", PEAK, 328 * MICRO, 70 * MICRO, 1300 * MICRO, 0.96, 0.85, 0.99, "found", "router-off"),
            Contribution("bed", "Router", PEAK, 15 * MICRO, -2 * MICRO, 70 * MICRO, 0.6, 0.0, 0.9, "found", "router-off"),
            Contribution("bed", "Mast", PEAK, 8 * MICRO, 2 * MICRO, 30 * MICRO, 0.33, 0.1, 0.7),
        ),
        steps=(
            NextStep(StepGroup.INNER, phrase("step.night_schedule.title", source="the router"),
                     phrase("step.night_schedule.reason", level=328 * MICRO, low=70 * MICRO, high=1300 * MICRO, place="Cot"),
                     "level at the cot near 12 µW/m² (3 to 48)"),
            NextStep(StepGroup.INNER, phrase("step.replace_device.title", source="the cordless base"),
                     "It overloads the meter at the sofa."),
            NextStep(StepGroup.OUTER, phrase("step.shield_surface.title", surface="the window in the children's room"),
                     phrase("step.shield_surface.reason")),
            NextStep(StepGroup.MEASURE, phrase("step.measure_again.title"), phrase("step.measure_again.reason")),
        ),
        storeys=(plan(),), meters=(meter(),), budgets=(budget(),), references=REFERENCES,
        positions=(
            Position("ICNIRP", "Guidelines, Health Phys 118", "Sets levels from established effects (heating) with "
                     "reduction factors; finds no evidence that exposure below its restrictions harms health.", "2020",
                     "from memory; purpose statement seen in draft and in the 2020 title page"),
            Position("IARC", "Monograph 102 (2011 meeting, 2013 volume)", "RF fields in Group 2B (possibly carcinogenic, "
                     "limited evidence). An advisory group in 2024 asked for re-evaluation with priority.", "2013",
                     "2B confirmed in a stored paper; 2024 note from memory"),
        ),
        cautions=(
            Caution("Bonding of shielding", "Conductive paint, foil, mesh, fabric near mains must be bonded and protected "
                    "(RCD/GFCI) by a licensed electrician under local code (NEC art. 250, IEC 60364-4-41, -5-54).", "electrical"),
            Caution("Shielding can block emergency calls", "A shielded room can stop mobile calls, alerts, pagers, alarm "
                    "links, location data. Test emergency contact inside afterwards; keep a wired phone or an opening.", "emergency"),
        ),
        undetermined=("Which of two neighbouring networks adds to the level at the desk.",),
        amendments=(AmendmentEntry("r003", "value_w_m2", "0.003", "0.0003", "slip of the decimal sign, noted on site",
                                   "A. Sample", "2026-03-01T18:00:00+01:00"),),
        readings=readings(PLACES),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def full(**changes: object) -> ReportContent:
    """Every chapter filled."""
    return content(maps=(grid(),), sources=SOURCES, recordings=(recording(),), photos=(photo(),), logs=(log(),),
                   remedy=remedy(), verification=verification(), letter=LETTER, **changes)  # fmt: skip


def photo(**changes: object) -> PhotoEntry:
    """A photo of a display, drawn here."""
    drawn = io.BytesIO()
    Image.linear_gradient("L").resize((96, 72)).save(drawn, "JPEG")
    entry = PhotoEntry("display", "Bed, head end", "Bed", "As found", "2026-03-02T10:20:00+01:00",
                       ((Kind.HIGHEST_HELD, 3.4e-4),), drawn.getvalue(), 96, 72, "ab" * 32)  # fmt: skip
    return replace(entry, **changes)  # type: ignore[arg-type]


SOURCES = (
    SourceEntry("A", "Router", "wifi_data", "study, south-east corner", 0.012, 0.004, 0.04, "well determined"),
    SourceEntry("B", "Cordless base", "dect", "within 0.8 m of the bookshelf", 0.009, 0.001, 0.08,
                "cannot be told apart from the neighbour's base"),
)  # fmt: skip

LETTER = Letter("Family Example\n1 Invented Street", "2026-05-02", "After the changes",
                ("Dear family Example,", "thank you for the second visit.", "With kind regards"), "A. Sample")  # fmt: skip


def recording() -> RecordingEntry:
    phase = tuple(n / 60 for n in range(61))
    mean = tuple(0.1 + 0.9 * math.exp(-(((p - 0.2) / 0.04) ** 2)) for p in phase)
    freq = tuple(5 * 1.06**n for n in range(100))
    level = tuple(-50 + 30 * math.exp(-(((f - 100) / 4) ** 2)) + 18 * math.exp(-(((f - 200) / 5) ** 2)) for f in freq)
    return RecordingEntry(
        "a1", "Sofa", "As found", 32.0,
        (HeardEntry("Cordless phone base (DECT)", 0.98, "100 Hz frame rate, bursts 0.37 ms wide", "repeater"),
         HeardEntry("Wi-Fi beacon", 0.31, "weak 9.77 Hz line")),
        ("pulsed signal at 23.4 Hz",), "The buzz of a cordless base, and something that could not be named.",
        FoldedProfile(0.01, phase, mean, tuple(0.9 * m for m in mean), tuple(1.1 * m for m in mean)),
        EnvelopeSpectrum(freq, level, ((100.0, "100 Hz"), (200.0, "200 Hz"))),
    )  # fmt: skip


def log() -> LogEntry:
    at = tuple(600.0 * n for n in range(144))
    median = [(8 + 5 * math.sin((n - 80) / 23)) * MICRO for n in range(144)]
    for n in range(60, 66):
        median[n] = math.nan
    hours = tuple(h + 0.5 for h in range(24))
    day = tuple((8 + 5 * math.sin((h - 14) / 4)) * MICRO for h in range(24))
    return LogEntry(
        "l1", "Cot", AVERAGE, "2026-03-01T18:00:00+01:00", "2026-03-02T18:00:00+01:00",
        (("Highest six-minute average", "21 µW/m²"), ("Share of time observed", "96 %")),
        Timeline("2026-03-01T18:00:00+01:00", at, tuple(m / 3 for m in median), tuple(median),
                 tuple(4 * m for m in median), 10 * MICRO),
        DayProfile(hours, day, tuple(d / 2 for d in day), tuple(d * 2 for d in day)),
    )  # fmt: skip


def remedy() -> Remedy:
    return Remedy(
        10 * MICRO, PEAK, 0.9, "EUR",
        (WorkItem(phrase("step.night_schedule.title", source="the router"), StepGroup.INNER, "", "", 0, 0),
         WorkItem(phrase("step.shield_surface.title", surface="the window"), StepGroup.OUTER,
                  "carries most of what remains", "2.4 m² of film, 10 cm overlap", 180, 420,
                  ("Earthing by a licensed electrician.", "Test emergency calls afterwards."))),
        (PlacePrediction("Cot", spread(340), spread(7), 0.83, "the untreated door carries 61 % of what remains"),),
        tuple(TradeOffPoint(c, p, label, c == 300) for c, p, label in
              ((0, 0.2, "schedule only"), (300, 0.83, "and film"), (900, 0.95, "and paint"), (2400, 0.97, "all"))),
        "The plan meets the target at the cot with 83 %.",
    )  # fmt: skip


def verification() -> Verification:
    return Verification(
        (BeforeAfter("Cot", PEAK, spread(340), spread(9), 15.8, 12.9, 18.7, spread(7), Outcome.UNDECIDED, True),
         BeforeAfter("Parents' bed", PEAK, spread(24), spread(9), 4.3, 1.2, 7.1)),
        ("Router off at night",), "The level at the cot fell by about 16 dB.",
        ("The second visit was in the evening.",), ("A neighbour's network was heard for the first time.",), 10 * MICRO,
    )  # fmt: skip


def many(count: int = 40) -> ReportContent:
    """A survey of many places."""
    places = tuple(
        PlaceFinding(f"p{n}", f"Bed in room {n}", f"Room {n}", f"Floor {n // 10}", n % 3 == 0, 8, 1,
                     place_levels(0.3 * 1.27**n, off=0.2 * 1.2**n))
        for n in range(1, count + 1)
    )  # fmt: skip
    return content(places=places, verdicts=verdicts(places), readings=readings(places), contributions=(), storeys=())
