"""Make dwellings with known truth by an independent ray tracer, in the benchmark layout.

``python -m benchmarks.make_dwelling --out DIR --plan house --number 1`` needs the extra ``raytracer``. Geometry comes
from `benchmarks.dwelling_plans`, fields from `benchmarks.ray_tracer` (reflections and transmissions to depth 9, no
edges), readings from a meter model with hidden gain errors. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from benchmarks.dwelling_plans import PLANS
from benchmarks.ray_tracer import Traced, Tracer
from benchmarks.truth_dwelling import TruthDwelling
from roomfield.constants import SPEED_OF_LIGHT_M_S

CORNERS = np.array(list(itertools.product((-0.125, 0.125), repeat=3)))
FINE = np.array(list(itertools.product((-1.0 / 12.0, 0.0, 1.0 / 12.0), repeat=3)))
METERS, BANDS = ("M0", "M1", "M2", "M3"), ((0.7, 1.0), (1.7, 2.0), (2.3, 2.6), (3.3, 3.8), (5.0, 6.0))
FLOOR_UW_M2, OVERLOAD_UW_M2 = 0.01, 2.5e6
DEPTH, RAYS = 9, 500_000
SCAN_S, WATCH_S, AXIS_FOUND_DEG = 45.0, 5.0, 15.0
PERIOD_S = 6.0
RARE = ("smart_meter",)
"""Technologies that speak once in a period; all others speak at least once at every spot of a scan."""


def cube_tensor(traced: list[Traced], frequency_hz: float) -> np.ndarray:
    """Re(E E*) at 216 points of each place's cube [1/m²], (places, sources, 216, 3, 3); paths add with phase."""
    wave = 2.0 * np.pi * frequency_hz / SPEED_OF_LIGHT_M_S
    parts = []
    for t in traced:
        up = np.clip(t.direction[..., 2], -1.0, 1.0)
        level = np.sqrt(np.maximum(1.0 - up**2, 1e-12))
        azimuth = np.stack([-t.direction[..., 1], t.direction[..., 0], 0.0 * up], axis=-1) / level[..., None]
        zenith = np.cross(azimuth, t.direction)
        field = t.amplitude[..., :1] * zenith + t.amplitude[..., 1:] * azimuth
        field = field * np.exp(-1j * wave * t.delay_m)[..., None]
        turn = np.exp(1j * wave * np.einsum("rspk,fk->rspf", t.direction, FINE))
        total = np.einsum("rspf,rspk->rsfk", turn, field)
        parts.append(np.real(total[..., :, None] * total[..., None, :].conj()))
    return np.concatenate(parts, axis=2)


class Truth:
    """Fields of every source in every scenario that changes it."""

    def __init__(self, home: TruthDwelling, rays: int) -> None:
        self.home, self.rays = home, rays
        self.points = np.array([p.position for p in home.places])
        self.spots = np.array([p["pos"] for p in home.raw["direction_points"]], dtype=float)
        corners = np.array(home.raw["storeys"][0]["outline"])
        middle = np.array([*corners.mean(axis=0), home.raw["storeys"][-1]["ceiling_z"] / 2.0])
        self.aim = (middle, float(np.linalg.norm(corners[0] - middle[:2]) + middle[2]))
        self.tensor: dict[tuple[str, str], np.ndarray] = {}
        self.incoherent: dict[tuple[str, str], np.ndarray] = {}
        self.bearing: dict[str, np.ndarray] = {}

    def run(self, scenarios: Sequence[str] | None = None) -> None:
        """Trace the base and these scenarios; all if none are named."""
        self._scenario("base", {s.id for s in self.home.sources})
        for scenario in self.home.scenarios()[1:] if scenarios is None else scenarios:
            changes = self.home.changes(scenario)
            moved = {c["source"] for c in changes if c["op"] == "move"}
            shielded = any(c["op"] == "shield" for c in changes)
            self._scenario(scenario, {s.id for s in self.home.sources} if shielded else moved)

    def _scenario(self, scenario: str, wanted: set[str]) -> None:
        sources = [s for s in self.home.present(scenario) if s.id in wanted]
        if not sources:
            return
        tracer = Tracer(self.home.dwelling, self.home.shields(scenario))
        for _, group in itertools.groupby(sources, key=lambda s: (s.position, s.pattern)):
            self._place(scenario, tracer, list(group))

    def _place(self, scenario: str, tracer: Tracer, group: list) -> None:
        position = np.array([group[0].position])
        far = bool(np.linalg.norm(position[0] - self.aim[0]) > 3.0 * self.aim[1])
        options = {"depth": DEPTH, "rays": self.rays, "edges": False, "aim": self.aim if far else None}
        frequencies = [s.frequency_hz for s in group]
        answers = tracer.trace(position, frequencies, group[0].pattern, self.points, offsets=CORNERS, **options)
        for source, traced in zip(group, answers, strict=True):
            self.tensor[scenario, source.id] = cube_tensor(traced, source.frequency_hz)[:, 0] * source.eirp_w
            self.incoherent[scenario, source.id] = np.mean([t.power[:, 0] for t in traced], axis=0) * source.eirp_w
        if scenario == "base":
            there = tracer.trace(position, frequencies, group[0].pattern, self.spots, **options)
            for source, (traced,) in zip(group, there, strict=True):
                d, power = traced.direction[:, 0], traced.path_power[:, 0] * source.eirp_w
                self.bearing[source.id] = np.einsum("rp,rpi,rpj->rij", power, d, d)
        print(f"{self.home.raw['name']} {scenario}: {', '.join(s.id for s in group)}", flush=True)

    def of(self, table: dict, scenario: str, source: str) -> np.ndarray:
        return table.get((scenario, source), table["base", source])


def place_rows(truth: Truth):
    """Rows of truth_places.csv."""
    for scenario in truth.home.scenarios():
        present = truth.home.present(scenario)
        columns = {s.id: [(s.id, 1.0)] for s in present}
        columns["ALL_ON"] = [(s.id, 1.0) for s in present]
        columns["ALL_DUTY"] = [(s.id, s.duty) for s in present]
        for name, parts in columns.items():
            tensor = sum(w * truth.of(truth.tensor, scenario, k) for k, w in parts)
            incoherent = sum(w * truth.of(truth.incoherent, scenario, k) for k, w in parts)
            whole = np.trace(tensor, axis1=-2, axis2=-1)
            best = np.linalg.eigvalsh(tensor)[..., -1].max(axis=-1)
            rows = zip(truth.home.places, whole.mean(axis=-1), incoherent, whole.max(axis=-1), best, strict=True)
            for place, *values in rows:
                yield [scenario, place.id, name, *(f"{v:.4e}" for v in values)]


def states_of(home: TruthDwelling, *, only: bool) -> dict[str, set[str]]:
    """Radio states and the groups that are off in each."""
    groups = sorted({s["group"] for s in home.raw["sources"] if s["switchable"]})
    states = {"all_on": set(), "off:all_switchable": set(groups), **{f"off:{g}": {g} for g in groups}}
    if only:
        states |= {f"only:{g}": set(groups) - {g} for g in groups}
    return states


def band(frequency_hz: float) -> str:
    low, high = min(BANDS, key=lambda b: abs(np.mean(b) - frequency_hz / 1e9))
    return f"{low}-{high}"


def meters(random) -> dict[str, dict[str, float]]:
    names = [f"{a}-{b}" for a, b in BANDS]
    gains = {
        m: dict(zip(names, np.clip(random.normal(0.0, 3.0, 5), -6.0, 6.0).round(2).tolist(), strict=True))
        for m in METERS
    }
    gains["M0"] = dict.fromkeys(names, 0.0)
    return gains


def reading_rows(truth: Truth, gains, random):
    """Rows of readings.csv, as a hand scan of each cube shows them."""
    home = truth.home
    for meter, scenario in itertools.product(METERS, home.scenarios()):
        states = states_of(home, only=False)
        shown = states if scenario == "base" else {k: states[k] for k in ("all_on", "off:all_switchable")}
        for state, off in shown.items():
            on = [s for s in home.present(scenario) if s.switch_group not in off]
            gain = [10.0 ** (gains[meter][band(s.frequency_hz)] / 10.0) for s in on]
            tensors = [g * truth.of(truth.tensor, scenario, s.id) * 1e6 for g, s in zip(gain, on, strict=True)]
            rare = np.array([s.technology in RARE for s in on])
            for k, place in enumerate(home.places):
                here = np.stack([t[k] for t in tensors])
                yield [meter, scenario, state, place.id, *_scan(here, [s.duty for s in on], rare, random)]


def _scan(each: np.ndarray, duty: list[float], rare: np.ndarray, random) -> list[str]:
    """What the meter shows in one cube; ``each`` (sources, 216, 3, 3) while on air.

    A scan passes 180 of the 216 spots in 45 s with every orientation at each. Sources that speak often are caught
    at every spot, the others only where they happened to speak. The peak is watched for 5 s at the strongest spot
    and axis, found back to about 15 degrees.
    """
    kept = random.permutation(216)[:180]
    spoke = _spots_with_rare(random, len(kept))
    often = each[~rare][:, kept].sum(axis=0)
    held = often + spoke[:, None, None] * each[rare][:, kept].sum(axis=0)
    levels, axes = np.linalg.eigh(held)
    best = int(levels[:, -1].argmax())
    turned = axes[best, :, -1] + np.tan(np.radians(AXIS_FOUND_DEG)) * random.normal(0.0, np.sqrt(0.5), 3)
    turned /= np.linalg.norm(turned)
    again = often[best] + (random.uniform() < WATCH_S / PERIOD_S) * each[rare][:, kept[best]].sum(axis=0)
    mean = np.einsum("s,spij->pij", np.asarray(duty), each[:, kept])
    values, directions = np.linalg.eigh(mean)
    axis = directions[int(values[:, -1].argmax()), :, -1]
    true = [float(turned @ again @ turned), levels[best, -1], float(np.einsum("i,pij,j->p", axis, mean, axis).mean())]
    common = random.normal(0.0, 1.0)
    shown = [v * 10 ** ((common + random.normal(0, 0.3)) / 10) + FLOOR_UW_M2 * abs(random.normal(1, 0.3)) for v in true]
    shown[0] = max(shown[0], shown[2])
    shown[1] = max(shown[:2])
    flag = "OL" if shown[1] > OVERLOAD_UW_M2 else "FLOOR" if true[2] + FLOOR_UW_M2 < 3.0 * FLOOR_UW_M2 else ""
    return [*(f"{float(f'{min(v, OVERLOAD_UW_M2):.3g}'):g}" for v in shown), flag]


def _spots_with_rare(random, spots: int) -> np.ndarray:
    """At which spots of a scan, in order of time, a source spoke that speaks once in a period."""
    spoke = np.zeros(spots)
    times = np.arange(random.uniform(0.0, PERIOD_S), SCAN_S, PERIOD_S)
    spoke[(times / SCAN_S * spots).astype(int)] = 1.0
    return spoke


def _axis(tensor: np.ndarray) -> tuple[float, float, float]:
    """Bearing of the strongest level axis [degrees], and what is picked up along and across it."""
    values, vectors = np.linalg.eigh(tensor[:2, :2])
    turn = float(np.degrees(np.arctan2(vectors[0, -1], vectors[1, -1])) % 180.0)
    return turn, float(values[-1]), max(float(values[0]), 1e-30)


def direction_rows(truth: Truth, gains, random):
    home = truth.home
    for meter, (state, off) in itertools.product(METERS, states_of(home, only=True).items()):
        on = [s for s in home.sources if s.switch_group not in off]
        for k, point in enumerate(home.raw["direction_points"]):
            total = sum(10 ** (gains[meter][band(s.frequency_hz)] / 10) * s.duty * truth.bearing[s.id][k] for s in on)
            turn, strong, weak = _axis(total)
            sigma = random.uniform(10.0, 15.0)
            seen = [round(x + random.normal(0.0, sigma)) % 180 for x in (turn, turn + 90.0)]
            common = random.normal(0.0, 1.0)
            shown = [x * 1e6 * 10 ** ((common + random.normal(0, 0.3)) / 10) + FLOOR_UW_M2 for x in (strong, weak)]
            yield [meter, state, point["id"], *point["pos"], *seen, *(f"{x:.3g}" for x in shown)]


def true_direction_rows(truth: Truth):
    home = truth.home
    sums = {s.id: [(s, 1.0)] for s in home.sources}
    sums["ALL_ON"] = [(s, 1.0) for s in home.sources]
    sums["ALL_DUTY"] = [(s, s.duty) for s in home.sources]
    sums["MAST_DUTY"] = [(s, s.duty) for s in home.sources if s.switch_group == "mast"]
    for name, parts in sums.items():
        for k, point in enumerate(home.raw["direction_points"]):
            tensor = sum(w * truth.bearing[s.id][k] for s, w in parts)
            turn, strong, weak = _axis(tensor)
            straight = ""
            if len(parts) == 1:
                way = np.array(parts[0][0].position) - np.array(point["pos"])
                straight = f"{np.degrees(np.arctan2(way[0], way[1])) % 360.0:.1f}"
            yield [point["id"], name, f"{turn:.1f}", f"{(turn + 90) % 180:.1f}", f"{10 * np.log10(weak / strong):.2f}",
                   f"{strong:.4e}", f"{np.trace(tensor):.4e}", straight]  # fmt: skip


HEADS = {
    "truth_places.csv": "scenario,place,source,s_mean_w_m2,s_incoherent_w_m2,s_max_w_m2,s_max_axis_w_m2",
    "readings.csv": "meter,scenario,state,place,peak_uw_m2,max_uw_m2,avg_uw_m2,flags",
    "direction_readings.csv": "meter,state,point,x_m,y_m,z_m,strongest_bearing_deg,null_bearing_deg,strongest_uw_m2,null_uw_m2",
    "truth_directions.csv": "point,source,strongest_axis_deg,null_axis_deg,null_to_max_db,s_fig8_max_w_m2,s_incoherent_w_m2,geometric_bearing_deg",
}


def write(folder: Path, name: str, rows) -> None:
    with (folder / name).open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(HEADS[name].split(","))
        table.writerows(rows)


def make(plan: str, number: int, out: Path, rays: int) -> Path:
    """One dwelling with truth and readings; its folder."""
    scene = PLANS[plan](number)
    folder = out / scene["name"]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "scene.json").write_text(json.dumps(scene, indent=1), encoding="utf-8")
    write(folder, "truth_places.csv", [])
    truth = Truth(TruthDwelling(folder), rays)
    truth.run()
    random = np.random.default_rng([number, 17])
    gains = meters(random)
    write(folder, "truth_places.csv", place_rows(truth))
    write(folder, "readings.csv", reading_rows(truth, gains, random))
    write(folder, "direction_readings.csv", direction_rows(truth, gains, random))
    write(folder, "truth_directions.csv", true_direction_rows(truth))
    about = {"note": "gain error (dB) of each meter per band", "gain_db": gains, "repeatability_db": 1.0, "own_db": 0.3,
             "noise_floor_uw_m2": FLOOR_UW_M2, "overload_uw_m2": OVERLOAD_UW_M2}  # fmt: skip
    (folder / "meters_truth.json").write_text(json.dumps(about, indent=1), encoding="utf-8")
    return folder


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--plan", choices=sorted(PLANS), required=True)
    parser.add_argument("--number", type=int, default=1)
    parser.add_argument("--rays", type=int, default=RAYS)
    options = parser.parse_args()
    folder = make(options.plan, options.number, options.out, options.rays)
    print(json.dumps({"folder": str(folder)}))


if __name__ == "__main__":
    main()
