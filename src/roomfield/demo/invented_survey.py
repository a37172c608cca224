"""The demo survey: invented home, invented meter, invented people, all marked as such."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources

from roomfield.demo.invented_bearings import simulated_bearings
from roomfield.demo.invented_dwelling import demo_dwelling, demo_places
from roomfield.demo.invented_visit import STATES, demo_meter, simulated_readings
from roomfield.demo.truth import Truth, known_emitters, true_emitters, truth
from roomfield.quantities.kind import Kind
from roomfield.survey import (
    Action,
    ActionKind,
    AdoptedPlan,
    Amendment,
    Assignment,
    CostRange,
    FittedShield,
    Recording,
    ShieldPart,
    ShieldSheet,
    SurfaceRef,
    Survey,
    Visit,
    VisitPurpose,
)
from roomfield.survey.json_codec import from_json

SURVEY_ID = "demo-terraced-house"
SEED = 20260314
FIRST = Visit(
    "first",
    "2026-03-14T09:10:00+01:00",
    "Invented assessor A. Beispiel",
    ended_at="2026-03-14T11:40:00+01:00",
    radio_states=STATES,
    conditions="Invented: dry, Saturday morning, neighbours at home.",
)
FOLLOW_UP = Visit(
    "follow-up",
    "2026-04-25T09:30:00+02:00",
    "Invented assessor A. Beispiel",
    VisitPurpose.FOLLOW_UP,
    ended_at="2026-04-25T10:40:00+02:00",
    radio_states=STATES[:2],
    conditions="Invented: dry, Saturday morning.",
    done_action_ids=("unknown_off", "corded_phone", "shield_child_south"),
)
AGREED = AdoptedPlan(
    ("unknown_off", "corded_phone", "router_night_off", "shield_child_south"),
    target_w_m2=1e-3,
    target_kind=Kind.HIGHEST_HELD.value,
    confidence=0.6,
    adopted_at="2026-03-20T18:00:00+01:00",
    note="Invented: the client asked for the inner sources first, then the south side upstairs.",
    place_ids=("bed_left", "bed_right", "cot"),
)

SLIPPED = ("table", "as_found", Kind.AVERAGE)
"""Place, radio state and kind of the reading that was misread on the field sheet and amended."""

MESH = ShieldSheet(
    "Invented window film and wall mesh",
    ((600e6, 32.0), (1.8e9, 30.0), (3.5e9, 27.0), (6.0e9, 24.0)),
    standard="IEEE 299 (invented figures)",
    std_db=3.0,
)


def demo_actions() -> tuple[Action, ...]:
    """What could be done in the invented home, with invented prices."""
    south = SurfaceRef("u_south", ShieldPart.WHOLE)
    window = SurfaceRef("u_south", ShieldPart.OPENINGS, ("u_win_child",))
    return (
        Action(
            "unknown_off",
            "Unknown transmitter looked for in the child's room and taken out",
            ActionKind.SWITCH_OFF,
            emitter_ids=("hidden",),
            cost=CostRange(0, 0),
        ),
        Action(
            "corded_phone",
            "Corded telephone instead of the cordless base",
            ActionKind.WIRE_INSTEAD,
            emitter_ids=("cordless",),
            cost=CostRange(30, 60),
        ),
        Action(
            "router_night_off",
            "Router off from 22 to 6 o'clock",
            ActionKind.NIGHT_SCHEDULE,
            emitter_ids=("router_24", "router_5"),
            off_hours=(22.0, 6.0),
            cost=CostRange(0, 15),
        ),
        Action(
            "router_low_power",
            "Router at a quarter of its power",
            ActionKind.REDUCE_POWER,
            emitter_ids=("router_24", "router_5"),
            reduction_db=6.0,
            cost=CostRange(0, 0),
        ),
        Action(
            "router_to_hall",
            "Router moved to the hall",
            ActionKind.RELOCATE_EMITTER,
            emitter_ids=("router_24", "router_5"),
            position=(7.6, 6.6, 0.6),
            cost=CostRange(20, 80),
        ),
        Action(
            "cot_to_north",
            "Cot moved to the inner wall",
            ActionKind.MOVE_PLACE,
            place_id="cot",
            position=(5.2, 3.2, 3.2),
            cost=CostRange(0, 0),
        ),
        Action(
            "film_child_window",
            "Film on the child's window only",
            ActionKind.SHIELD_SURFACE,
            surfaces=(window,),
            sheet=MESH,
            cost=CostRange(180, 320),
            excludes=("shield_child_south",),
        ),
        Action(
            "shield_child_south",
            "South wall and windows upstairs shielded",
            ActionKind.SHIELD_SURFACE,
            surfaces=(south,),
            sheet=MESH,
            coverage=0.98,
            cost=CostRange(900, 1600),
        ),
        Action(
            "canopy_cot",
            "Shielding canopy over the cot",
            ActionKind.CANOPY,
            place_id="cot",
            sheet=MESH,
            cost=CostRange(350, 700),
            excludes=("cot_to_north",),
        ),
    )


def _after() -> Truth:
    """The true field after the hidden transmitter and the cordless base went and the south side was shielded."""
    kept = tuple(e for e in true_emitters() if e.id not in ("cordless", "hidden"))
    shield = FittedShield(MESH, ShieldPart.WHOLE, coverage=0.98)
    return truth(kept, (("u_south", shield),))


def demo_survey() -> Survey:
    """The invented terraced house: first visit, agreed plan, follow-up visit."""
    meter = demo_meter()
    before = simulated_readings(truth(), FIRST, meter, SEED)
    after = simulated_readings(_after(), FOLLOW_UP, meter, SEED + 1)
    slipped = next(r for r in before if (r.place_id, r.radio_state_id, r.kind) == SLIPPED)
    wrong = replace(slipped, value_w_m2=float(f"{slipped.value_w_m2 * 10.0:.3g}"))
    return Survey(
        SURVEY_ID,
        "Invented terraced house, Musterweg 5",
        FIRST.started_at,
        Assignment(
            client="Invented family Muster",
            address="Musterweg 5, 00000 Nirgendwo (invented)",
            assessor="Invented assessor A. Beispiel",
            organisation="Invented office, no company",
            question="Is the child's cot in a good place, and what can we do about it?",
            jurisdiction="EU",
            guideline="building-biology-2015",
            aim_w_m2=1e-3,
        ),
        invented=True,
        dwelling=demo_dwelling(),
        places=demo_places(),
        emitters=known_emitters(),
        meters=(meter,),
        visits=(FIRST, FOLLOW_UP),
        readings=tuple(wrong if r.id == slipped.id else r for r in before) + after,
        bearings=simulated_bearings(truth(), FIRST, meter, SEED + 2),
        actions=demo_actions(),
        adopted_plan=AGREED,
        amendments=(
            Amendment(
                "amendment-1",
                slipped.id,
                "value_w_m2",
                repr(wrong.value_w_m2),
                repr(slipped.value_w_m2),
                "Decimal point misread on the field sheet",
                "Invented assessor A. Beispiel",
                "2026-03-14T18:05:00+01:00",
            ),
        ),
        note="Everything in this survey is invented.",
    )


def heard_demo_survey() -> Survey:
    """The demo survey with what the ear made of its invented recordings, which `tools/demo_heard.py` wrote down.

    A record made on disk holds the recordings themselves and hears them; in memory their sound is left out, so that
    both say the same of every place.
    """
    text = (resources.files("roomfield.demo") / "heard.json").read_bytes()
    return replace(demo_survey(), recordings=from_json(text, tuple[Recording, ...], where="heard.json"))
