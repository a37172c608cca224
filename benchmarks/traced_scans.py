"""Hand scans through the cubes of ray-traced dwellings, with known truth, in the layout that `benchmarks.coach` reads.

    python -m benchmarks.traced_scans trace FIELDS --plan house --number 31    (extra ``raytracer``)
    python -m benchmarks.traced_scans scan FIELDS/house_31.npz SCANS --count 80 [--seed 0]

The fields come from `benchmarks.ray_tracer` in dwellings of `benchmarks.dwelling_plans`, at 216 points of each cube; the
hands are not those that the coach learnt from (`benchmarks.hand_scans`): they sweep in lines or freely, turn smoothly, and
go back to the loudest spots, where they try places and directions about the best so far. Half are people who turn and go
back; the others hurry, do not turn, leave half of the cube out, or turn without going back.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.hand_scans import RATE_HZ, SILENCE_W_M2, GridFields, largest_usual, presence

F64 = NDArray[np.float64]
Rng = np.random.Generator

QUALITIES, SHARES = ("back", "good", "fast", "no turning", "half the cube"), (0.5, 0.1, 0.15, 0.15, 0.1)
HALF_M = GridFields.half_edge_m
KINDS = {"base_station": "always", "cordless_base": "always", "baby_monitor": "always", "smart_meter": "telegrams"}


@dataclass(frozen=True)
class HandKind:
    """How one hand scans: times [s], speed [m/s], turns a second, and what it leaves out."""

    quality: str
    seconds: float
    speed_m_s: float
    turns_per_s: float
    back_s: float | None
    low: F64
    high: F64


def trace(folder: Path, plan: str, number: int, places: int, rays: int, scenarios: Sequence[str]) -> Path:
    """Fields of some places of a dwelling at 216 points of each cube, in order of `GRID_M`; the file."""
    from benchmarks.dwelling_plans import PLANS
    from benchmarks.make_dwelling import CORNERS, FINE, Truth, write
    from benchmarks.truth_dwelling import TruthDwelling

    scene = PLANS[plan](number)
    kept = np.linspace(0, len(scene["places"]) - 1, min(places, len(scene["places"]))).round().astype(int)
    scene |= {"places": [scene["places"][k] for k in kept], "direction_points": scene["direction_points"][:1]}
    home = folder / scene["name"]
    home.mkdir(parents=True, exist_ok=True)
    (home / "scene.json").write_text(json.dumps(scene), encoding="utf-8")
    write(home, "truth_places.csv", [])
    truth = Truth(TruthDwelling(home), rays)
    truth.run(scenarios)
    points = (CORNERS[:, None] + FINE).reshape(-1, 3)
    order = np.lexsort(points.round(6).T[::-1])
    fields = {
        f"{scenario}|{source}": tensor[:, order].reshape(len(tensor), 216, 9).astype(np.float32)
        for (scenario, source), tensor in truth.tensor.items()
    }
    np.savez_compressed(home.with_suffix(".npz"), **fields)
    return home.with_suffix(".npz")


def fields_in(path: Path, rng: Rng) -> tuple[GridFields, list[str], list[str], dict[str, str]]:
    """One place, scenario and state drawn by chance: fields, sources, their manner of transmitting, and what was drawn."""
    scene = json.loads((path.with_suffix("") / "scene.json").read_text(encoding="utf-8"))
    with np.load(path) as held:
        scenarios = sorted({name.split("|")[0] for name in held.files})
        scenario = str(rng.choice(scenarios))
        groups = {s["id"]: s["group"] for s in scene["sources"]}
        state = str(rng.choice(["all", "router only", "mast only", "router off", "dect off", "mast off"]))
        only, off = state.removesuffix(" only"), state.removesuffix(" off")
        on = [k for k, g in groups.items() if (g == only if state.endswith("only") else g != off)]
        name = {k: f"{scenario}|{k}" if f"{scenario}|{k}" in held.files else f"base|{k}" for k in on}
        place = int(rng.integers(len(held[name[on[0]]])))
        on_grid = np.stack([held[name[k]][place] for k in on], axis=1).astype(np.float64)
    busy = "busy" if rng.random() < 0.5 else "beacons"
    kinds = {s["id"]: KINDS.get(s["kind"], busy) for s in scene["sources"]}
    on_grid *= 1e3 / on_grid.sum(axis=1).mean()
    return GridFields(on_grid), on, [kinds[k] for k in on], {
        "dwelling": scene["name"], "scenario": scenario, "place": scene["places"][place]["id"], "state": f"{state}, {busy}",
    }  # fmt: skip


def drawn_hand(rng: Rng) -> HandKind:
    """A hand by chance, half of them turning and going back."""
    quality = str(rng.choice(QUALITIES, p=SHARES))
    fast = quality == "fast"
    seconds = float(rng.uniform(5, 12) if fast else rng.uniform(25, 60))
    goes_back = quality in ("back", "half the cube") or (quality == "no turning" and rng.random() < 0.4)
    turns = 0.0 if quality == "no turning" else float(rng.uniform(0.1, 0.4))
    low, high = np.full(3, -HALF_M), np.full(3, HALF_M)
    if quality == "half the cube":
        side, end = int(rng.integers(3)), bool(rng.integers(2))
        (low if end else high)[side] = 0.0
    back_s = float(seconds * rng.uniform(0.4, 0.6)) if goes_back else None
    speed = float(rng.uniform(0.3, 0.6) if fast else rng.uniform(0.1, 0.35))
    return HandKind(quality, seconds, speed, turns, back_s, low, high)


def scan(rng: Rng, fields: GridFields, present: NDArray[np.bool_], hand: HandKind) -> tuple[F64, F64, F64]:
    """Received power by source, positions and axes of one scan."""
    count = present.shape[1]
    swept = count if hand.back_s is None else int(hand.back_s * RATE_HZ)
    position, axis = _sweep(rng, swept, hand)
    received = (fields.received(position, axis) * present[:, :swept]).sum(axis=0)
    parts = [(position, axis)]
    spots: list[int] = []
    for index in np.argsort(received)[::-1]:
        if len(spots) < 4 and all(np.linalg.norm(position[index] - position[s]) > 0.07 for s in spots):
            spots.append(int(index))
    done = swept
    for k, spot in enumerate(spots if swept < count else []):
        until = swept + (count - swept) * (k + 1) // len(spots)
        parts.append(_search(rng, fields, present[:, done:until], parts[-1], (position[spot], axis[spot]), hand))
        done = until
    way, turned = (np.concatenate(each) for each in zip(*parts, strict=True))
    return fields.received(way, turned) * present, way, turned


def _sweep(rng: Rng, count: int, hand: HandKind) -> tuple[F64, F64]:
    length = hand.speed_m_s * count / RATE_HZ
    if rng.random() < 0.5:
        corners = rng.uniform(hand.low, hand.high, (int(length / 0.15) + 4, 3))
    else:
        lines = max(2, int(length / 0.45))
        layers = np.repeat(np.linspace(0.05, 0.95, max(1, lines // 4)), 4)[:lines]
        steps = [(float(k % 2 == end), (k % 4 + 0.5) / 4, h) for k, h in enumerate(layers) for end in (0, 1)]
        corners = hand.low + np.array(steps)[:, rng.permutation(3)] * (hand.high - hand.low)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    at = np.linspace(0.0, min(length, along[-1]), count)
    position = np.column_stack([np.interp(at, along, corners[:, k]) for k in range(3)])
    return position, _turning(rng, count, hand.turns_per_s)


def _turning(rng: Rng, count: int, turns_per_s: float) -> F64:
    """Directions along great circles whose poles wander; without turning a tremble about one direction."""
    knots = max(2, int(count / RATE_HZ / 3.0) + 2)
    pole = np.column_stack([np.interp(np.linspace(0, knots - 1, count), np.arange(knots), rng.normal(size=knots))
                            for _ in range(3)])  # fmt: skip
    axis, axes = rng.normal(size=3), np.empty((count, 3))
    axis /= np.linalg.norm(axis)
    if turns_per_s == 0.0:
        axes = axis + 0.03 * pole
    else:
        step = 2 * np.pi * turns_per_s / RATE_HZ
        for k, around in enumerate(pole / np.linalg.norm(pole, axis=1, keepdims=True)):
            axis = axis + step * np.cross(around, axis)
            axis /= np.linalg.norm(axis)
            axes[k] = axis
    return np.asarray(axes / np.linalg.norm(axes, axis=1, keepdims=True))


def _search(
    rng: Rng,
    fields: GridFields,
    present: NDArray[np.bool_],
    before: tuple[F64, F64],
    best: tuple[F64, F64],
    hand: HandKind,
) -> tuple[F64, F64]:
    """Try places and directions about the best so far, each within a third of a second or so."""
    count, loudest = present.shape[1], 0.0
    ways, axes, done = [before[0][-1:]], [before[1][-1:]], 0
    reach, tilt = 0.03, 0.35 if hand.turns_per_s else 0.0
    target = best
    while done < count:
        steps = min(int(rng.uniform(0.2, 0.5) * RATE_HZ), count - done)
        part = np.linspace(1 / steps, 1, steps)[:, None]
        way = ways[-1][-1] + (target[0] - ways[-1][-1]) * part
        aim = target[1] * (1.0 if target[1] @ axes[-1][-1] >= 0 else -1.0)
        axis = axes[-1][-1] + (aim - axes[-1][-1]) * part
        axis /= np.linalg.norm(axis, axis=1, keepdims=True)
        heard = (fields.received(way, axis) * present[:, done : done + steps]).sum(axis=0)
        if heard.max() > loudest:
            loudest, best = float(heard.max()), (way[heard.argmax()], axis[heard.argmax()])
        place = np.clip(best[0] + rng.normal(0, reach, 3), hand.low, hand.high)
        aim = best[1] + rng.normal(0, tilt, 3)
        target = (place, aim / np.linalg.norm(aim))
        ways.append(way)
        axes.append(axis)
        done += steps
    return np.concatenate(ways[1:]), np.concatenate(axes[1:])


def write_scan(path: Path, seed: int, out: Path) -> None:
    """One scan with its label."""
    rng = np.random.default_rng([seed, 83])
    fields, sources, kinds, drawn = fields_in(path, rng)
    hand = drawn_hand(rng)
    count = int(hand.seconds * RATE_HZ)
    present = np.array([presence(rng, kind, count) for kind in kinds])
    each, _, axis = scan(rng, fields, present, hand)
    power = each.sum(axis=0) + SILENCE_W_M2
    largest = largest_usual(rng, fields, present)
    name = f"{drawn['dwelling']}_{seed:05d}"
    np.savez_compressed(out / f"{name}.npz", t_s=np.arange(count) / RATE_HZ, power_w_m2=power)
    turned = np.arccos(np.clip(np.abs((axis[1:] * axis[:-1]).sum(axis=1)), 0, 1)).sum() / (2 * np.pi)
    label = {
        "scan": f"{name}.npz", **drawn, "quality": hand.quality, "back_to_loudest_from_s": hand.back_s,
        "seconds": count / RATE_HZ, "rate_hz": RATE_HZ, "speed_m_s": hand.speed_m_s,
        "turns_per_s": round(float(turned) / hand.seconds, 4) if hand.turns_per_s else 0.0, "sources": sources,
        "true_max_usual_w_m2": largest, "shortfall_usual_db": round(float(10 * np.log10(largest / power.max())), 2),
    }  # fmt: skip
    (out / f"{name}.json").write_text(json.dumps(label), encoding="utf-8")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    tasks = options.add_subparsers(dest="task", required=True)
    tracing = tasks.add_parser("trace")
    tracing.add_argument("folder", type=Path)
    tracing.add_argument("--plan", required=True)
    tracing.add_argument("--number", type=int, required=True)
    tracing.add_argument("--places", type=int, default=12)
    tracing.add_argument("--rays", type=int, default=100_000)
    tracing.add_argument("--scenarios", nargs="*", default=[], help="changes of the dwelling besides the base")
    scanning = tasks.add_parser("scan")
    scanning.add_argument("fields", type=Path)
    scanning.add_argument("out", type=Path)
    scanning.add_argument("--count", type=int, default=80)
    scanning.add_argument("--seed", type=int, default=0)
    asked = options.parse_args()
    if asked.task == "trace":
        print(trace(asked.folder, asked.plan, asked.number, asked.places, asked.rays, asked.scenarios))
        return
    asked.out.mkdir(parents=True, exist_ok=True)
    for seed in range(asked.seed, asked.seed + asked.count):
        write_scan(asked.fields, seed, asked.out)


if __name__ == "__main__":
    main()
