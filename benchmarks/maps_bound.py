"""How much better levels at unmeasured points could be if the scales of a field were known.

Run ``python -m benchmarks.maps_bound --data DIR`` (layout as for `benchmarks.maps`). Every field is inferred by
itself from the 12 readings of each draw, once as usual and once with the scales that all its points say
(`--most` of them at most), so that only what the readings cannot say of the field itself is left. Both errors stand
beside that of the best other method of the set; the last line is one JSON object.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

from benchmarks.maps import Field, best_baseline, read_fields, rows_of
from roomfield.field.links import LinkVariance, centre_of, prior_mean
from roomfield.field.pair_sums import PairSums
from roomfield.field.points import PointPosterior, infer_points
from roomfield.field.residuals import condition


def inferred(f: Field, chosen: np.ndarray, extent_m: float) -> PointPosterior:
    walls = None if f.walls is None else f.walls[chosen]
    known = None if f.position is None else {"": f.position}
    return infer_points(
        f.xyz[chosen], f.level_db[chosen], emitter_positions=known, wall_counts=walls, extent_m=extent_m
    )


def with_known_scales(all_points: PointPosterior, order: np.ndarray, f: Field, chosen: np.ndarray) -> np.ndarray:
    """Mean at the points not chosen, by the scales of ``all_points`` and the readings of the chosen alone."""
    everywhere = all_points.readings.links
    place = {int(k): i for i, k in enumerate(order)}
    given = everywhere.take(np.array([place[int(k)] for k in chosen]))
    asked = everywhere.take(np.array([place[int(k)] for k in order if int(k) not in set(chosen.tolist())]))
    centre = centre_of(given, f.level_db[chosen])
    own, across, variance = PairSums(given, given, centre), PairSums(given, asked, centre), LinkVariance(asked)
    total = np.zeros(len(asked))
    for weight, (hyper, _) in zip(all_points.weights, all_points.components, strict=True):
        part = condition(own.covariance(hyper), prior_mean(given, hyper, centre), f.level_db[chosen], hyper.noise_db**2)
        mean = prior_mean(asked, hyper, centre)
        total += weight * part.predict(mean, across.covariance(hyper), variance(hyper, centre))[0]
    return total


def errors(f: Field, most: int, draws: int) -> tuple[float, float]:
    """Median error over the draws, as usual and with known scales [dB]; both at the same points."""
    extent_m = float(np.linalg.norm(np.ptp(f.xyz, axis=0)))
    usual, bound = [], []
    for k, draw in enumerate(f.draws[:draws]):
        chosen = np.array(draw)
        if k == 0 or len(f.ids) > most:
            others = np.random.default_rng(k).permutation(np.setdiff1d(np.arange(len(f.ids)), chosen))
            order = np.concatenate([chosen, others[: most - len(chosen)]])
            all_points = inferred(f, order, extent_m)
        asked = order[~np.isin(order, chosen)]
        walls = None if f.walls is None else f.walls[asked]
        levels = inferred(f, chosen, extent_m).levels(f.xyz[asked], None, walls)
        usual.append(rms(levels.mean_db - f.level_db[asked]))
        bound.append(rms(with_known_scales(all_points, order, f, chosen) - f.level_db[asked]))
    return float(np.median(usual)), float(np.median(bound))


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def main() -> None:
    parser = argparse.ArgumentParser(description="Levels at unmeasured points if the scales were known.")
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--sets", nargs="*", help="only these sets")
    parser.add_argument("--most", type=int, default=120, help="points that the scales are learned from")
    parser.add_argument("--fields", type=int, default=5, help="fields of a set, evenly picked")
    parser.add_argument("--draws", type=int, default=10, help="draws of each field")
    options = parser.parse_args()
    started = time.process_time()
    baselines = rows_of(options.data / "baselines_fields.csv")
    grouped: dict[str, list[Field]] = defaultdict(list)
    for item in read_fields(options.data):
        if not options.sets or item.set_id in options.sets:
            grouped[item.set_id].append(item)
    per_set = {}
    for set_id, fields in grouped.items():
        picked = [fields[k] for k in np.unique(np.linspace(0, len(fields) - 1, options.fields).astype(int))]
        names = {f.name for f in picked}
        method, best = best_baseline([r for r in baselines if r["transmitter_id"] in names], set_id)
        pairs = [errors(f, options.most, options.draws) for f in picked]
        usual, bound = np.median(pairs, axis=0)
        per_set[set_id] = {"rmse_db": usual, "known_scales_rmse_db": bound, "best_baseline_rmse_db": best}
        print(f"{set_id:30s} {usual:6.2f} dB, scales known {bound:6.2f} dB, best other {best or 0:6.2f} ({method})")
    ratio = {
        name: float(np.median([row[name] / row["best_baseline_rmse_db"] for row in per_set.values()]))
        for name in ("rmse_db", "known_scales_rmse_db")
    }
    print(json.dumps({**ratio, "per_set": per_set, "cpu_s": round(time.process_time() - started, 1)}))


if __name__ == "__main__":
    main()
