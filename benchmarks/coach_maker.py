"""Makes the parameters of the scan coach from simulated hands in simulated fields.

    python -m benchmarks.coach_maker TARGET.npz [--scans 4000] [--seed 0] [--cache FILE.npz]

Scans are drawn by `benchmarks.hand_scans`; each is cut at ten moments. A random forest is grown on the
square root of the shortfall; its leaves keep histograms of the shortfall and the habits of the hand. Prints how
the intervals hold on scans that were left out.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
from sklearn.ensemble import RandomForestRegressor
from sklearn.isotonic import IsotonicRegression

from benchmarks.hand_scans import SILENCE_W_M2, hand_scan
from roomfield.signals.coach.course import RATE_HZ, SHORTEST_S, course_numbers
from roomfield.signals.coach.forest import EDGES_DB, ENOUGH_GAP_DB, ScanShortfall, ShortfallForest
from roomfield.signals.coach.scan_advice import ENOUGH_CHANCE

CUTS = 10
LARGEST_DB = 25.0
TREES, LEAST_IN_LEAF = 60, 20
PARTS, GROUP = 7, 80
"""One scan of so many calibrates the probability of "enough", one judges; neither is learnt from. Moments in a group."""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("target", type=Path)
    options.add_argument("--scans", type=int, default=4000)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument(
        "--cache", type=Path, help="keep the simulated scans' numbers in this file, or take them from it"
    )
    asked = options.parse_args()
    if asked.cache and asked.cache.exists():
        with np.load(asked.cache) as held:
            numbers, shortfall, habits, scan = (held[key] for key in ("numbers", "shortfall", "habits", "scan"))
    else:
        numbers, shortfall, habits, scan = simulated(asked.scans, asked.seed)
        if asked.cache:
            np.savez_compressed(asked.cache, numbers=numbers, shortfall=shortfall, habits=habits, scan=scan)
    kept = scan % PARTS > 1
    forest = grown(numbers[kept], shortfall[kept], habits[kept])
    forest = calibrated(forest, *(part[scan % PARTS == 0] for part in (numbers, shortfall)))
    for left in (scan % PARTS == 1,):
        report(forest, numbers[left], shortfall[left], habits[left, 0] > 0)
    save(forest, asked.target)


def simulated(scans: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Numbers, shortfall [dB], habits and scan of every cut."""
    rows, shortfall, habits, names = [], [], [], []
    for name in range(seed, seed + scans):
        scan, rng = hand_scan(name), np.random.default_rng([name, 5])
        power = scan.power_w_m2
        if scan.largest_w_m2 <= 2 * SILENCE_W_M2:
            continue
        for count in np.unique([*rng.integers(int(SHORTEST_S * RATE_HZ), len(power) + 1, CUTS), len(power)]):
            gap = 10 * np.log10(scan.largest_w_m2 / power[:count].max())
            if gap > LARGEST_DB:
                continue
            rows.append(course_numbers(power[:count]))
            shortfall.append(gap)
            habits.append((scan.turned, scan.whole, scan.speed_m_s, scan.back_from_s * RATE_HZ < count))
            names.append(name)
    return np.array(rows, np.float32), np.array(shortfall), np.array(habits, np.float64), np.array(names)


def calibrated(forest: ShortfallForest, numbers: np.ndarray, shortfall: np.ndarray) -> ShortfallForest:
    """The forest with what its shares are worth on scans that it has not seen: groups of moments alike, made monotone.

    A group of `GROUP` moments can say no more than its size allows, so that a few lucky scans make no certainty.
    """
    share = np.array([forest.shortfall(row).within(ENOUGH_GAP_DB) for row in numbers])
    order = np.argsort(share)
    groups = np.array_split(order, max(2, len(order) // GROUP))
    at = np.array([share[group].mean() for group in groups])
    right = np.array([((shortfall[group] < ENOUGH_GAP_DB).sum() + 0.5) / (len(group) + 1.0) for group in groups])
    sure = IsotonicRegression(y_min=0.0, y_max=1.0, increasing=True).fit(at, right).predict(at)
    return replace(forest, sure_from=at, sure_to=np.asarray(sure, np.float64))


def grown(numbers: np.ndarray, shortfall: np.ndarray, habits: np.ndarray) -> ShortfallForest:
    """A forest with the histograms of its leaves."""
    model = RandomForestRegressor(
        TREES, min_samples_leaf=LEAST_IN_LEAF, max_features=0.4, max_samples=0.6, random_state=0, n_jobs=1
    ).fit(numbers, np.sqrt(np.maximum(shortfall, 0.0) + 0.1))
    bins = np.clip(np.digitize(shortfall, EDGES_DB) - 1, 0, len(EDGES_DB) - 2)
    leaf_of = model.apply(numbers)
    parts: dict[str, list[np.ndarray]] = {k: [] for k in ("feature", "threshold", "low", "high", "chance", "habits")}
    roots, nodes, leaves = [], 0, 0
    for tree, estimator in enumerate(model.estimators_):
        held = estimator.tree_
        is_leaf = held.children_left < 0
        row = np.cumsum(is_leaf) - 1 + leaves
        chance = np.zeros((int(is_leaf.sum()), 2, len(EDGES_DB) - 1))
        sums = np.zeros((len(chance), habits.shape[1] - 1))
        own = row[leaf_of[:, tree]] - leaves
        np.add.at(chance, (own, habits[:, 0].astype(int), bins), 1.0)
        np.add.at(sums, own, habits[:, 1:])
        parts["feature"].append(np.where(is_leaf, -1, held.feature))
        parts["threshold"].append(held.threshold)
        parts["low"].append(np.where(is_leaf, row, held.children_left + nodes))
        parts["high"].append(np.where(is_leaf, 0, held.children_right + nodes))
        parts["chance"].append(chance)
        parts["habits"].append(sums / chance.sum(axis=(1, 2))[:, None])
        roots.append(nodes)
        nodes, leaves = nodes + held.node_count, leaves + len(chance)
    flat = {key: np.concatenate(value) for key, value in parts.items()}
    flat["chance"] /= flat["chance"].sum(axis=(1, 2), keepdims=True)
    same = np.linspace(0.0, 1.0, 2)
    return ShortfallForest(roots=np.array(roots), sure_from=same, sure_to=same, **flat)


def report(forest: ShortfallForest, numbers: np.ndarray, shortfall: np.ndarray, turned: np.ndarray) -> None:
    """How intervals and "enough" hold on scans that the forest has not seen."""
    for said in (False, True):
        pairs = zip(numbers, turned, strict=True)
        found: list[ScanShortfall] = [forest.shortfall(row, bool(t) if said else None) for row, t in pairs]
        low, high = (np.array([f.quantile_db(q) for f in found]) for q in (0.05, 0.95))
        enough = np.array([f.enough_chance >= ENOUGH_CHANCE for f in found])
        _line(said, shortfall, low, high, enough)


def _line(said: bool, shortfall: np.ndarray, low: np.ndarray, high: np.ndarray, enough: np.ndarray) -> None:
    print(f"turning {'said' if said else 'not said'}: {len(shortfall)} moments; 90 % interval holds {np.mean((shortfall >= low) & (shortfall <= high)):.3f}; "
          f"said enough {enough.sum()}, right {np.mean(shortfall[enough] < 1.5) if enough.any() else float('nan'):.3f}")  # fmt: skip


def save(forest: ShortfallForest, target: Path) -> None:
    """Small whole numbers for the histograms, so that the file stays small."""
    chance = np.round(forest.chance * 250).astype(np.uint8)
    np.savez_compressed(
        target, feature=forest.feature.astype(np.int8), threshold=forest.threshold.astype(np.float32),
        low=forest.low.astype(np.int32), high=forest.high.astype(np.int32), roots=forest.roots.astype(np.int32),
        chance=chance, habits=forest.habits.astype(np.float16), sure_from=forest.sure_from, sure_to=forest.sure_to,
    )  # fmt: skip
    print(f"{target}: {target.stat().st_size / 1e6:.2f} MB, {len(forest.feature)} nodes")


if __name__ == "__main__":
    main()
