"""Score levels at unmeasured points on sets of real readings.

Run ``python -m benchmarks.maps --data DIR``. DIR holds ``indoor/SET.csv`` and ``SET.json``, ``draws_12.csv`` (the
points to learn from), ``baselines_fields.csv`` (what other methods reach on the same draws) and, optionally,
``exposure/square_*_E_by_band.csv``. A field is one emitter (or band) on one floor.
"""

from __future__ import annotations

import argparse
import csv
import json
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from roomfield.field.locate_points import locate_points
from roomfield.field.points import BLOCK, infer_points
from roomfield.field.residuals import LevelMixture

TAIL = {"coverage_50": 0.5, "coverage_90": 0.9, "coverage_95": 0.95}


@dataclass(frozen=True)
class Field:
    set_id: str
    name: str
    ids: list[str]
    xyz: np.ndarray
    level_db: np.ndarray
    walls: np.ndarray | None
    position: tuple[float, float, float] | None
    draws: list[list[int]]
    floor: str = ""


@dataclass
class Score:
    rmse: list[float] = field(default_factory=list)
    inside: dict[str, list[float]] = field(default_factory=lambda: {k: [] for k in TAIL})
    width: list[float] = field(default_factory=list)
    miss_m: list[float] = field(default_factory=list)
    region_holds: list[float] = field(default_factory=list)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as handle:
        return list(csv.DictReader(handle))


def read_fields(data: Path) -> list[Field]:
    draws: dict[tuple[str, str], list[list[str]]] = defaultdict(list)
    for row in rows_of(data / "draws_12.csv"):
        draws[row["set_id"], row["transmitter_id"]].append(row["point_ids"].split())
    fields = []
    for path in sorted((data / "indoor").glob("*.csv")):
        fields += list(indoor_fields(path, draws))
    for path in sorted((data / "exposure").glob("square_*_E_by_band.csv")):
        fields += list(square_fields(path, draws))
    return fields


def indoor_fields(path: Path, draws: dict[tuple[str, str], list[list[str]]]) -> Iterator[Field]:
    about = json.loads(path.with_suffix(".json").read_text())
    emitters = {str(t["transmitter_id"]): t for t in about.get("transmitters") or []}
    grouped: dict[tuple[str, str], list[dict[str, str]]] = defaultdict(list)
    for row in rows_of(path):
        grouped[row["set_id"], row["transmitter_id"]].append(row)
    for key, rows in grouped.items():
        if key not in draws:
            continue
        drawn = {p for d in draws[key] for p in d}
        floor = Counter(r.get("floor", "") for r in rows if r["point_id"] in drawn).most_common(1)[0][0]
        kept = [r for r in rows if r.get("floor", "") == floor and r["level_dBm"] not in ("", None)]
        z = np.array([float(r["z_m"]) if r.get("z_m") else 0.0 for r in kept])
        xyz = np.column_stack([[float(r["x_m"]) for r in kept], [float(r["y_m"]) for r in kept], z])
        columns = [c for c in kept[0] if c.startswith("n_") and c != "n_samples"]
        walls = np.array([[float(r[c] or 0) for c in columns] for r in kept]) if columns else None
        yield Field(
            key[0], key[1], [r["point_id"] for r in kept], xyz, np.array([float(r["level_dBm"]) for r in kept]),
            walls, position_of(emitters.get(key[1]), bool(kept[0].get("z_m"))),
            indices(draws[key], [r["point_id"] for r in kept]), floor,
        )  # fmt: skip


def position_of(emitter: dict | None, heights_known: bool) -> tuple[float, float, float] | None:
    if emitter is None or emitter.get("x_m") is None or emitter.get("y_m") is None:
        return None
    height = emitter.get("z_m") if heights_known else emitter.get("dz_m")
    return float(emitter["x_m"]), float(emitter["y_m"]), float(height or 0.0)


def square_fields(path: Path, draws: dict[tuple[str, str], list[list[str]]]) -> Iterator[Field]:
    set_id = path.stem
    grouped: dict[str, list[dict[str, str]]] = defaultdict(list)
    for row in rows_of(path):
        if row["level_dBVm"]:
            grouped[row["band"]].append(row)
    for band, rows in grouped.items():
        if (set_id, band) in draws:
            xyz = np.array([[float(r["x_m"]), float(r["y_m"]), 0.0] for r in rows])
            ids = [r["point_id"] for r in rows]
            levels = np.array([float(r["level_dBVm"]) for r in rows])
            yield Field(set_id, band, ids, xyz, levels, None, None, indices(draws[set_id, band], ids))


def indices(draws: list[list[str]], ids: list[str]) -> list[list[int]]:
    lookup = {p: k for k, p in enumerate(ids)}
    return [[lookup[p] for p in d] for d in draws]


def blocks_of(fields: list[Field], share: bool) -> Iterator[list[Field]]:
    """Fields inferred together: those of one set on one floor, nearest emitters first, BLOCK at most."""
    grouped: dict[tuple[str, str], list[Field]] = defaultdict(list)
    for item in fields:
        alone = item.name if not share else f"{item.floor}/{item.position is None}"
        grouped[item.set_id, alone].append(item)
    for left in grouped.values():
        while left:
            here = left[0].position
            if here is not None:
                left.sort(key=lambda f: float(np.hypot(f.position[0] - here[0], f.position[1] - here[1])))
            yield left[:BLOCK]
            del left[:BLOCK]


def score_block(block: list[Field], scores: dict[tuple[str, str], Score], locate: bool) -> None:
    known = block[0].position is not None
    everywhere = np.vstack([f.xyz for f in block])
    extent = float(np.linalg.norm(np.ptp(everywhere, axis=0)))
    for draw in range(max(len(f.draws) for f in block)):
        here = [f for f in block if draw < len(f.draws)]
        chosen = {f.name: np.array(f.draws[draw]) for f in here}
        posterior = infer_points(
            np.vstack([f.xyz[chosen[f.name]] for f in here]),
            np.concatenate([f.level_db[chosen[f.name]] for f in here]),
            emitter=[f.name for f in here for _ in chosen[f.name]],
            emitter_positions={f.name: f.position for f in here} if known else None,
            wall_counts=None if here[0].walls is None else np.vstack([f.walls[chosen[f.name]] for f in here]),
            extent_m=extent,
        )
        for f in here:
            rest = np.setdiff1d(np.arange(len(f.ids)), chosen[f.name])
            walls = None if f.walls is None else f.walls[rest]
            levels = posterior.levels(f.xyz[rest], [f.name] * len(rest), walls)
            note_levels(scores[f.set_id, f.name], levels, f.level_db[rest])
            if locate and known:
                note_place(scores[f.set_id, f.name], f, chosen[f.name], everywhere)


def note_levels(score: Score, levels: LevelMixture, truth: np.ndarray) -> None:
    score.rmse.append(float(np.sqrt(np.mean((levels.mean_db - truth) ** 2))))
    rank = np.abs(levels.cdf(truth) - 0.5)
    for name, coverage in TAIL.items():
        score.inside[name].append(float(np.mean(rank <= 0.5 * coverage)))
    low, high = levels.interval_db(0.9)
    score.width.append(float(np.median(high - low)))


def note_place(score: Score, f: Field, chosen: np.ndarray, everywhere: np.ndarray) -> None:
    found = locate_points(f.xyz[chosen], f.level_db[chosen], surveyed=everywhere)
    score.miss_m.append(float(np.hypot(found.centre[0] - f.position[0], found.centre[1] - f.position[1])))
    score.region_holds.append(float(found.contains(f.position[:2], 0.9)))


def summary(fields: list[Field], scores: dict[tuple[str, str], Score], baselines: list[dict[str, str]]) -> dict:
    per_set = {}
    for set_id in dict.fromkeys(f.set_id for f in fields):
        names = [f.name for f in fields if f.set_id == set_id]
        best = best_baseline(baselines, set_id)
        mine = [scores[set_id, n] for n in names]
        rmse = float(np.median([np.median(s.rmse) for s in mine]))
        kriging = [r for r in baselines if (r["set_id"], r["method"], r["test"]) == (set_id, "kriging", "train12")]
        per_set[set_id] = {
            "fields": len(names), "rmse_db": rmse, "best_baseline": best[0], "best_baseline_rmse_db": best[1],
            "rmse_over_best_baseline": rmse / best[1] if best[1] else None,
            **{k: float(np.mean([np.mean(s.inside[k]) for s in mine])) for k in TAIL},
            "width_90_db": float(np.median([np.median(s.width) for s in mine])),
            "kriging_width_90_db": median_or_none([float(r["width90"]) for r in kriging]),
            "kriging_coverage_90": mean_or_none([float(r["cov90"]) for r in kriging]),
            "locate_median_m": median_or_none([m for s in mine for m in s.miss_m]),
            "locate_region_90_holds": mean_or_none([h for s in mine for h in s.region_holds]),
        }  # fmt: skip
    return total(per_set, list(scores.values()))


def best_baseline(baselines: list[dict[str, str]], set_id: str) -> tuple[str, float | None]:
    by_method: dict[str, list[float]] = defaultdict(list)
    for row in baselines:
        if row["set_id"] == set_id and row["test"] == "train12" and row["rmse"]:
            by_method[row["method"]].append(float(row["rmse"]))
    if not by_method:
        return "", None
    return min(((m, float(np.median(v))) for m, v in by_method.items()), key=lambda pair: pair[1])


def total(per_set: dict[str, dict], scores: list[Score]) -> dict:
    ratios = [s["rmse_over_best_baseline"] for s in per_set.values() if s["rmse_over_best_baseline"]]
    beside = [s for s in per_set.values() if s["kriging_width_90_db"]]
    return {
        "rmse_db": float(np.median([s["rmse_db"] for s in per_set.values()])),
        "rmse_over_best_baseline": median_or_none(ratios),
        **{k: float(np.mean([np.mean(s.inside[k]) for s in scores])) for k in TAIL},
        "width_90_db": float(np.median([np.median(s.width) for s in scores])),
        "sets_narrower_than_kriging": sum(s["width_90_db"] < s["kriging_width_90_db"] for s in beside),
        "sets_beside_kriging": len(beside),
        "coverage_90_worst_set": min(s["coverage_90"] for s in per_set.values()),
        "locate_median_m": median_or_none([m for s in scores for m in s.miss_m]),
        "locate_region_90_holds": mean_or_none([h for s in scores for h in s.region_holds]),
        "per_set": per_set,
    }


def median_or_none(values: list[float]) -> float | None:
    return float(np.median(values)) if values else None


def mean_or_none(values: list[float]) -> float | None:
    return float(np.mean(values)) if values else None


def main() -> None:
    parser = argparse.ArgumentParser(description="Levels at unmeasured points of measured sets.")
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--sets", nargs="*", help="only these sets")
    parser.add_argument("--alone", action="store_true", help="infer every field by itself")
    parser.add_argument("--no-locate", action="store_true", help="leave the search for emitters out")
    options = parser.parse_args()
    started = time.process_time()
    fields = [f for f in read_fields(options.data) if not options.sets or f.set_id in options.sets]
    scores = {(f.set_id, f.name): Score() for f in fields}
    for block in blocks_of(fields, share=not options.alone):
        score_block(block, scores, locate=not options.no_locate)
    result = summary(fields, scores, rows_of(options.data / "baselines_fields.csv"))
    result["shared_inference"] = not options.alone
    result["cpu_s"] = round(time.process_time() - started, 1)
    for name, row in result["per_set"].items():
        print(f"{name:30s} rmse {row['rmse_db']:6.2f} dB  best {row['best_baseline_rmse_db'] or 0:6.2f} "
              f"({row['best_baseline']})  coverage {row['coverage_90']:.3f}  width {row['width_90_db']:.1f} dB "
              f"(kriging {row['kriging_width_90_db'] or 0:.1f}, coverage {row['kriging_coverage_90'] or 0:.3f})  "
              f"miss {row['locate_median_m']} m region {row['locate_region_90_holds']}")  # fmt: skip
    print(json.dumps(result))


if __name__ == "__main__":
    main()
