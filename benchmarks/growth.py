"""How processor time and memory grow with readings, places, emitters and walls.

    python -m benchmarks.growth [--only inference,report,walls,equal,points] [--quick]

Invented blocks of rooms on a grid, several storeys. Each row is worked out in a process of its own (compiled loops warm),
whose processor seconds and highest memory are printed; last line one JSON object. What is asked of a row:

=========  ================================================================================================
inference  the joint posterior of all readings
points     the same with every reading at a spot of its own, as a walk with a tracked meter gives them
walls      the joint posterior of few readings among many walls, each on a plane of its own
equal      the same, all walls equal (a plan drawn over itself)
report     assess, model, choose, compose and set the whole report as PDF
=========  ================================================================================================
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from roomfield.quantities.kind import Kind
from roomfield.survey import (
    Assignment,
    Dwelling,
    Emitter,
    Layer,
    Meter,
    Place,
    PlaceKind,
    RadioState,
    Reading,
    Room,
    Slab,
    Storey,
    Survey,
    Visit,
    Wall,
)

ROOM_M, STOREY_M, ACROSS = 4.0, 2.7, 6
"""Edge of a room, height of a storey, rooms along each side of a storey."""
BRICK = (Layer("brick", 0.115),)
MOST_SECONDS = 600


@dataclass(frozen=True)
class Case:
    """One row: what is asked, and of how much."""

    asked: str
    readings: int
    places: int
    emitters: int
    walls: int = 0


CASES = (
    Case("inference", 1260, 60, 8), Case("inference", 12600, 60, 8), Case("inference", 12600, 140, 8),
    Case("inference", 12600, 600, 8), Case("inference", 1260, 60, 24), Case("inference", 1260, 60, 48),
    Case("points", 1260, 1260, 8), Case("points", 12600, 12600, 8),
    Case("walls", 63, 9, 4, 250), Case("walls", 63, 9, 4, 500), Case("walls", 63, 9, 4, 1000),
    Case("walls", 63, 9, 4, 2000), Case("equal", 63, 9, 4, 1000), Case("equal", 63, 9, 4, 2000),
    Case("report", 315, 35, 6), Case("report", 1260, 140, 6),
)  # fmt: skip


def block(places: int) -> Dwelling:
    """Rooms on a grid, one place each as far as rooms go, walls of brick between them, slabs of concrete."""
    storeys = max(1, min(6, -(-places // ACROSS**2)))
    edge = ACROSS * ROOM_M
    outline = ((0.0, 0.0), (edge, 0.0), (edge, edge), (0.0, edge))
    levels, rooms, walls, slabs = [], [], [], []
    for n in range(storeys):
        floor, top = n * STOREY_M, n * STOREY_M + 2.5
        levels.append(Storey(f"s{n}", f"Storey {n}", floor, top, outline))
        slabs.append(Slab(f"slab{n}", floor - 0.1, (Layer("concrete", 0.18),), (outline,)))
        for i in range(ACROSS + 1):
            for j in range(ACROSS):
                outer, a, b = i in (0, ACROSS), i * ROOM_M, j * ROOM_M
                walls.append(Wall(f"x{n}-{i}-{j}", f"s{n}", (a, b), (a, b + ROOM_M), floor, top, BRICK, outer))
                walls.append(Wall(f"y{n}-{i}-{j}", f"s{n}", (b, a), (b + ROOM_M, a), floor, top, BRICK, outer))
        for i in range(ACROSS**2):
            x, y = (i % ACROSS) * ROOM_M, (i // ACROSS) * ROOM_M
            corners = ((x, y), (x + ROOM_M, y), (x + ROOM_M, y + ROOM_M), (x, y + ROOM_M))
            rooms.append(Room(f"r{n}-{i}", f"Room {n}.{i}", f"s{n}", corners))
    return Dwelling(tuple(levels), tuple(rooms), tuple(walls), tuple(slabs))


def survey_of(case: Case, seed: int = 3) -> Survey:
    """An invented block of the size asked for, read in three kinds with everything on and with switches off."""
    random, home = np.random.default_rng(seed), block(case.places)
    storeys, edge = len(home.storeys), ACROSS * ROOM_M

    def somewhere(n: int) -> tuple[float, float, float]:
        room = home.rooms[n % len(home.rooms)]
        x, y = np.array(room.outline[0]) + random.uniform(0.4, ROOM_M - 0.4, 2)
        return float(x), float(y), float(next(s.floor_m for s in home.storeys if s.id == room.storey_id) + 1.0)

    if case.asked in ("walls", "equal"):
        a, b = random.uniform(0.0, edge, (case.walls, 2)), random.uniform(-3.0, 3.0, (case.walls, 2))
        if case.asked == "equal":
            a, b = np.repeat(a[:1], case.walls, axis=0), np.repeat(b[:1] + 4.0, case.walls, axis=0)
        more = [Wall(f"more{i}", "s0", tuple(p.tolist()), tuple((p + q).tolist()), 0.0, 2.5, BRICK, False)
                for i, (p, q) in enumerate(zip(a, b, strict=True))]  # fmt: skip
        home = Dwelling(home.storeys, home.rooms, (*home.walls, *more), home.slabs)
    emitters = tuple(
        Emitter(f"e{k}", f"Sender {k}", "wifi_data", float(random.choice([0.87e9, 1.89e9, 2.45e9, 5.5e9])),
                somewhere(int(random.integers(len(home.rooms)))), switchable=True)
        for k in range(case.emitters)
    )  # fmt: skip
    states = (
        RadioState("all", "everything on"),
        *(RadioState(f"off{e.id}", f"{e.name} off", (e.id,)) for e in emitters[:6]),
    )
    apart_at = case.asked == "points"
    spots = np.array([somewhere(n) for n in range(case.readings if apart_at else case.places)])
    places = () if apart_at else tuple(
        Place(f"p{i}", f"Place {i}", PlaceKind.BED if i % 3 == 0 else PlaceKind.OTHER, home.rooms[i % len(home.rooms)].id,
              home.rooms[i % len(home.rooms)].storey_id, tuple(p.tolist()))
        for i, p in enumerate(spots)
    )  # fmt: skip
    kinds = ((Kind.AVERAGE, 0.05), (Kind.PEAK, 3.0), (Kind.HIGHEST_HELD, 3.5))
    readings = []
    for n in range(case.readings):
        spot, rest = (n, n) if apart_at else (n % case.places, n // case.places)
        (kind, factor), state, scan = kinds[rest % 3], states[rest // 3 % len(states)], rest // 3 // len(states)
        far = np.array([np.sum((spots[spot] - np.array(e.position)) ** 2) for e in emitters])
        each = 0.1 / (4.0 * np.pi * np.maximum(far, 0.1)) / 10.0 ** (0.1 * np.sqrt(far))
        total = sum(each[k] for k, e in enumerate(emitters) if e.id not in state.off_groups)
        shown = float(total * factor * 10.0 ** random.normal(0.0, 0.2))
        where = {"position": tuple(spots[spot].tolist())} if apart_at else {"place_id": places[spot].id}
        readings.append(Reading(f"n{n}", "v", "m", state.id, kind, shown, replicate=scan, **where))
    meter = Meter("m", "Meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-10, overload_w_m2=10.0)
    visit = Visit("v", "2026-01-01T10:00:00+00:00", "Nobody", radio_states=states)
    return Survey("growth", f"Invented block, {storeys} storeys", "2026-01-01", invented=True, dwelling=home,
                  assignment=Assignment(client="Nobody", assessor="Nobody"), places=places, emitters=emitters,
                  meters=(meter,), visits=(visit,), readings=tuple(readings))  # fmt: skip


def worked_out(case: Case) -> dict[str, object]:
    """Seconds of processor time of one case, after a small one that compiles the loops."""
    from roomfield.field.inference import infer

    survey = survey_of(case)
    infer(survey_of(Case("inference", 63, 9, 3)), draws=20)
    started = time.process_time()
    if case.asked == "report":
        from roomfield.store.repository import open_store
        from roomfield.workbench.publish.whole_report import Wishes, whole_report
        from roomfield.workbench.record.job import open_job

        with TemporaryDirectory() as folder:
            open_store(folder).create(survey)
            job = open_job(folder, survey.id)
            started = time.process_time()
            whole_report(job, Path(folder) / "report.pdf", Wishes(issued_at="2026-01-02T00:00:00+00:00"))
    else:
        posterior = infer(survey)
        if not posterior.converged:
            raise SystemExit("the mode was not found")
    seconds = time.process_time() - started
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    walls = len(survey.dwelling.walls)
    return {**asdict(case), "walls": walls, "cpu_s": round(seconds, 2), "memory_mb": round(memory)}


def in_a_process(case: Case) -> dict[str, object]:
    command = [sys.executable, "-m", "benchmarks.growth", "--case", json.dumps(asdict(case))]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=MOST_SECONDS, check=False)
    except subprocess.TimeoutExpired:
        return {**asdict(case), "cpu_s": None, "memory_mb": None, "failed": f"over {MOST_SECONDS} s"}
    if done.returncode:
        return {**asdict(case), "cpu_s": None, "memory_mb": None, "failed": done.stderr.strip().splitlines()[-1]}
    return json.loads(done.stdout.splitlines()[-1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", help="kinds of row, with commas between")
    parser.add_argument("--case", default="", help="one case as JSON, in this process")
    args = parser.parse_args()
    if args.case:
        print(json.dumps(worked_out(Case(**json.loads(args.case)))))
        return
    wanted = [c for c in CASES if not args.only or c.asked in args.only.split(",")]
    print(f"{'asked':10} {'readings':>8} {'places':>7} {'emitters':>8} {'walls':>6} {'CPU s':>8} {'MB':>6}")
    found = []
    for case in wanted:
        row = in_a_process(case)
        found.append(row)
        shown = row.get("failed") or f"{row['cpu_s']:>8} {row['memory_mb']:>6}"
        print(
            f"{case.asked:10} {case.readings:>8} {case.places:>7} {case.emitters:>8} {row['walls']:>6} {shown}",
            flush=True,
        )
    print(json.dumps({"rows": found}))


if __name__ == "__main__":
    main()
