"""Speed of the propagation model, and its difference from truth computed by an independent ray tracer.

Run as ``python -m benchmarks.propagation [--data DIR] [--tracer]``; DIR holds dwellings with known truth
(scene.json, truth_places.csv) or is one. ``--tracer`` needs the extra ``raytracer`` and prints how much longer the
tracer takes for a map of the same scene on this machine, and the difference in dB. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import itertools
import json
import time
from pathlib import Path

import numpy as np

from benchmarks.truth_dwelling import TruthDwelling, find_dwellings
from roomfield.field.hand_scan import cube_points
from roomfield.field.propagation import grid_density, unit_density
from roomfield.field.scene import Scene
from roomfield.survey.dwelling import (
    Dwelling,
    FittedShield,
    Layer,
    Opening,
    OpeningKind,
    Room,
    ShieldSheet,
    Slab,
    Storey,
    Wall,
)
from roomfield.survey.emitter import AntennaPattern

BOARDS = (Layer("plasterboard", 0.0125), Layer("air", 0.05)) * 2


def six_rooms(board: tuple[Layer, ...] = BOARDS) -> Dwelling:
    """An invented flat of six rooms, 10.8 m by 8.4 m."""
    brick = (Layer("brick", 0.24),)
    pane, leaf = (Layer("glass", 0.006),), (Layer("wood", 0.04),)
    outline = ((0.0, 0.0), (10.8, 0.0), (10.8, 8.4), (0.0, 8.4))

    def wall(name, a, b, *openings, layers=board, exterior=False):
        return Wall(name, "g", a, b, 0.0, 2.5, layers, exterior, openings)

    def window(name, s):
        return Opening(name, OpeningKind.WINDOW, s, s + 1.6, 0.9, 2.1, pane)

    def door(name, s):
        return Opening(name, OpeningKind.DOOR, s, s + 0.9, 0.0, 2.0, leaf)

    outer = {"layers": brick, "exterior": True}
    walls = (
        wall("s", (0, 0), (10.8, 0), window("w1", 1.0), window("w2", 4.6), window("w3", 8.2), **outer),
        wall("e", (10.8, 0), (10.8, 8.4), **outer),
        wall("n", (10.8, 8.4), (0, 8.4), window("w4", 1.0), window("w5", 5.0), window("w6", 8.4), **outer),
        wall("w", (0, 8.4), (0, 0), door("d0", 3.7), **outer),
        wall("h1", (0, 3.6), (10.8, 3.6), door("d1", 1.0), door("d2", 4.6), door("d3", 8.2)),
        wall("h2", (0, 4.8), (10.8, 4.8), door("d4", 1.0), door("d5", 4.6), door("d6", 8.2)),
        wall("a", (3.6, 0), (3.6, 3.6)), wall("b", (7.2, 0), (7.2, 3.6)),
        wall("c", (3.6, 4.8), (3.6, 8.4)), wall("d", (7.2, 4.8), (7.2, 8.4)),
    )  # fmt: skip
    plate = (Layer("concrete", 0.18),)
    slabs = (Slab("floor", 0.0, plate, (outline,)), Slab("ceiling", 2.5, plate, (outline,)))
    room = (Room("flat", "flat", "g", outline),)
    return Dwelling((Storey("g", "g", 0.0, 2.5, outline),), room, walls, slabs)


SOURCES = (
    ([0.6, 3.0, 0.9], 2.45e9), ([0.7, 3.0, 0.9], 5.5e9), ([7.0, 4.2, 1.0], 1.89e9),
    ([-32.0, -176.0, 12.0], 0.8e9), ([-32.0, -176.0, 12.0], 1.8e9), ([-32.0, -176.0, 12.0], 3.5e9),
)  # fmt: skip
POSITIONS, FREQUENCIES = [s[0] for s in SOURCES], [s[1] for s in SOURCES]
PATTERNS = [AntennaPattern.VERTICAL_DIPOLE] * 3 + [AntennaPattern.ISOTROPIC] * 3
AXES = (np.linspace(0.05, 10.75, 112), np.linspace(0.05, 8.35, 90), 1.2)


def timed(action, repeats: int = 3) -> tuple[float, float]:
    """Best wall and processor time of an action [s]."""
    best = (float("inf"), float("inf"))
    for _ in range(repeats):
        wall, cpu = time.perf_counter(), time.process_time()
        action()
        best = min(best, (time.perf_counter() - wall, time.process_time() - cpu))
    return best


def speed() -> dict[str, float]:
    """Times of the map, of a moved source and of a shielded surface."""
    scene = Scene.from_dwelling(six_rooms())
    positions, frequencies, pattern, axes = POSITIONS, FREQUENCIES, PATTERNS, AXES
    places = np.random.default_rng(1).uniform([0.3, 0.3, 0.4], [10.5, 8.1, 1.6], (30, 3))
    draws = 10 ** (np.random.default_rng(2).normal(0, 6, (500, 6)) / 10)
    sheet = FittedShield(ShieldSheet("mesh", ((1e9, 40.0),)))

    def the_map():
        grid_density(scene, positions, frequencies, pattern, axes)

    def all_cells():
        cells = np.array([[x, y, 1.2] for y in axes[1] for x in axes[0]])
        unit_density(scene, positions, frequencies, pattern, cells)

    def moved():
        unit = unit_density(scene, [[5.0, 7.0, 1.5]], frequencies[:1], pattern[:1], places)
        return draws[:, None, :1] * unit[None]

    def shielded():
        changed = scene.with_shields([("s", sheet)])
        unit = unit_density(changed, positions, frequencies, pattern, places)
        return np.einsum("dm,nm->dn", draws, unit)

    the_map(), moved(), shielded()
    result = {}
    for name, action in (("map", the_map), ("map_every_cell", all_cells), ("moved", moved), ("shielded", shielded)):
        wall, cpu = timed(action)
        result[f"{name}_wall_s"], result[f"{name}_cpu_s"] = round(wall, 4), round(cpu, 4)
        print(f"{name}: {wall:.3f} s wall, {cpu:.3f} s processor")
    return result


def against_tracer(rays: int) -> dict[str, float]:
    """Time of the tracer's own map over ours, and the difference from its paths at 30 places, nothing fitted."""
    from benchmarks.ray_tracer import Tracer

    home = six_rooms((Layer("plasterboard", 0.025),))
    scene, tracer = Scene.from_dwelling(home), Tracer(home)
    sources = list(zip(POSITIONS, FREQUENCIES, PATTERNS, strict=True))

    def ours():
        return grid_density(scene, POSITIONS, FREQUENCIES, PATTERNS, AXES)

    def theirs():
        return np.stack([tracer.level_map(*s, AXES, rays=rays) for s in sources], axis=-1)

    fine, rough = ours(), theirs()
    wall, cpu = timed(ours)
    wall_tracer, cpu_tracer = timed(theirs, 1)
    both = (fine > 0.0) & (rough > 0.0)
    noise = 10.0 * np.log10(rough[both] / fine[both])
    result = {
        "map_cpu_ratio": cpu_tracer / cpu, "map_wall_ratio": wall_tracer / wall, "tracer_map_cpu_s": cpu_tracer,
        "tracer_map_noise_db": float(np.sqrt((noise**2).mean())), "tracer_map_empty_share": float((rough <= 0.0).mean()),
        **_places_of_tracer(scene, tracer, sources),
    }  # fmt: skip
    return {name: round(value, 3) for name, value in result.items()}


def _places_of_tracer(scene: Scene, tracer, sources) -> dict[str, float]:
    places = np.random.default_rng(1).uniform([0.4, 0.4, 0.5], [10.4, 8.0, 1.6], (30, 3))
    shifts = np.array(list(itertools.product((-0.125, 0.125), repeat=3)))
    middle, off = np.array([5.4, 4.2, 1.2]), []
    for position, frequency_hz, pattern in sources:
        far = float(np.linalg.norm(np.array(position) - middle)) > 30.0
        (found,) = tracer.trace(
            np.array([position]), frequency_hz, pattern, places, depth=10, rays=500_000, edges=False, offsets=shifts,
            aim=(middle, 7.5) if far else None,
        )  # fmt: skip
        tracer_mean = np.mean([t.power[:, 0] for t in found], axis=0)
        points = (places[:, None] + shifts).reshape(-1, 3)
        unit = unit_density(scene, [position], [frequency_hz], pattern, points, diffraction=False)
        off.append(10.0 * np.log10(unit.reshape(len(places), -1).mean(axis=1) / tracer_mean))
    return {"places_rms_db": float(np.sqrt(np.square(off).mean())), "places_median_db": float(np.median(off))}


def against_truth(home: TruthDwelling) -> dict[str, float]:
    """Difference of the model from the power-sum truth at all places, in dB, nothing fitted."""
    scene, off = Scene.from_dwelling(home.dwelling), {"base": [], "shielded": []}
    for scenario in home.scenarios():
        model = predicted(home, scene, scenario)
        truth = home.truth(scenario, "s_incoherent_w_m2")
        part = "shielded" if home.shields(scenario) else "base"
        ok = (truth > 0.0) & (model > 0.0)
        off[part].append(10 * np.log10(model[ok] / truth[ok]))
    summary = {}
    for part, values in off.items():
        joined = np.concatenate(values) if values else np.zeros(0)
        if len(joined):
            summary[f"{part}_rms_db"] = round(float(np.sqrt((joined**2).mean())), 2)
            summary[f"{part}_median_abs_db"] = round(float(np.median(np.abs(joined))), 2)
            summary[f"{part}_mean_db"] = round(float(joined.mean()), 2)
    return summary


def predicted(home: TruthDwelling, scene: Scene, scenario: str) -> np.ndarray:
    """Model power density of each present source at each place [W/m²]."""
    sources = home.present(scenario)
    changed = scene.with_shields(home.shields(scenario))
    points = cube_points([p.position for p in home.places]).reshape(-1, 3)
    unit = unit_density(
        changed,
        [s.position for s in sources],
        [s.frequency_hz for s in sources],
        [s.pattern for s in sources],
        points,
    )
    return unit.reshape(len(home.places), -1, len(sources)).mean(axis=1) * [s.eirp_w for s in sources]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, default=None)
    parser.add_argument("--tracer", action="store_true")
    parser.add_argument("--rays", type=int, default=1_000_000, help="rays per source of the tracer's map")
    options = parser.parse_args()
    result = {"speed": speed()}
    if options.tracer:
        result["tracer"] = against_tracer(options.rays)
        print("tracer:", result["tracer"])
    for folder in find_dwellings(options.data) if options.data else []:
        result[folder.name] = against_truth(TruthDwelling(folder))
        print(folder.name, result[folder.name])
    print(json.dumps(result))


if __name__ == "__main__":
    main()
