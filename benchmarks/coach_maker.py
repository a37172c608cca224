"""Makes the parameters of the scan coach from simulated hands in simulated fields.

    python -m benchmarks.coach_maker TARGET.npz [--blocks 3] [--first 20] [--cache DIR]

Scans are drawn by `benchmarks.hand_scans`, every fourth by a hand that does as the coach says; each is cut at ten
moments. Two forests are grown on the square root of the shortfall: one that only hears (hands that do as the coach says
would mark, and are left out of it), and one that is also told when the hand went to each loud spot or swept again (some
mark only the first). Their leaves keep histograms of the shortfall and the habits of the hand. Prints how the intervals
hold on scans that were not learnt from.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.stats import beta
from sklearn.ensemble import RandomForestRegressor
from sklearn.isotonic import IsotonicRegression

from benchmarks.hand_scans import SILENCE_W_M2, hand_scan
from roomfield.signals.coach.course import RATE_HZ, SHORTEST_S, course_numbers
from roomfield.signals.coach.forest import EDGES_DB, ENOUGH_GAP_DB, ScanShortfall, ShortfallForest
from roomfield.signals.coach.scan_advice import ENOUGH_CHANCE
from roomfield.signals.coach.search import search_numbers

CUTS = 10
LARGEST_DB = 25.0
TREES, LEAST_IN_LEAF = 50, 20
PARTS, TUNING, GROUP, LOWER = 7, 2, 80, 0.25
"""Of so many scans, so many calibrate the probability of "enough" and are not learnt from; moments in a group;
and the quantile that a few scans are taken at (Jeffreys' prior)."""
COACHED_EVERY, ONE_MARK_SHARE = 4, 0.35
BLOCK, SEEDS_APART = 560, 1000
FOLLOWED, FOLLOWED_FROM_S = (*range(30_000_000, 30_000_120), *range(5_000_000, 5_000_060)), 40.0
"""Hands that are followed second by second, and from when on [s]."""


@dataclass(frozen=True)
class Moments:
    """Scans cut at moments.

    Attributes
    ----------
    heard, marked : ndarray, shapes (n, p) and (n, q)
        Numbers of the course, and of course and search.
    shortfall : ndarray, shape (n,)
        [dB]
    habits : ndarray, shape (n, 4)
        Turned, whole, speed, gone back.
    scan : ndarray of int, shape (n,)
    """

    heard: np.ndarray
    marked: np.ndarray
    shortfall: np.ndarray
    habits: np.ndarray
    scan: np.ndarray

    def __getitem__(self, kept: np.ndarray) -> Moments:
        return Moments(*(part[kept] for part in vars(self).values()))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("target", type=Path)
    options.add_argument("--blocks", type=int, default=3, help="blocks of simulated scans")
    options.add_argument("--first", type=int, default=20, help="number of the first block; its scans' seeds follow")
    options.add_argument("--cache", type=Path, help="keep the blocks' numbers in this folder, or take them from it")
    asked = options.parse_args()
    blocks = [moments_of(block, asked.cache) for block in range(asked.first, asked.first + asked.blocks)]
    moments = Moments(*(np.concatenate(parts) for parts in zip(*(vars(b).values() for b in blocks), strict=True)))
    packed: dict[str, np.ndarray] = {}
    for name, some in (("heard", moments[moments.scan % COACHED_EVERY > 0]), ("marked", moments)):
        kept, tuned = some[some.scan % PARTS >= TUNING], some[some.scan % PARTS < TUNING]
        forest = grown(getattr(kept, name), kept.shortfall, kept.habits)
        forest = calibrated(forest, getattr(tuned, name), tuned, told=name == "marked")
        report(name, forest, tuned)
        packed |= {f"{name}_{key}": value for key, value in packable(forest).items()}
    np.savez_compressed(asked.target, **packed)
    print(f"{asked.target}: {asked.target.stat().st_size / 1e6:.2f} MB")


def moments_of(block: int, cache: Path | None) -> Moments:
    """Moments of one block of scans, from the cache if they are there."""
    path = cache / f"moments_{block}.npz" if cache else None
    if path and path.exists():
        with np.load(path) as held:
            return Moments(**{key: held[key] for key in held.files})
    found = cut(range(block * SEEDS_APART, block * SEEDS_APART + BLOCK))
    if path:
        np.savez_compressed(path, **vars(found))
    return found


def cut(seeds: range) -> Moments:
    """Scans simulated and cut: numbers, shortfall [dB] and habits of every cut."""
    heard, marked, shortfall, habits, names = [], [], [], [], []
    for seed in seeds:
        scan, rng = hand_scan(seed, coached=seed % COACHED_EVERY == 0), np.random.default_rng([seed, 5])
        if scan.largest_w_m2 <= 2 * SILENCE_W_M2:
            continue
        power, marks = scan.power_w_m2, [(round(at * RATE_HZ), part) for at, part in scan.marks]
        told = marks[:1] if rng.random() < ONE_MARK_SHARE else marks
        for count in np.unique([*rng.integers(int(SHORTEST_S * RATE_HZ), len(power) + 1, CUTS), len(power)]):
            gap = 10 * np.log10(scan.largest_w_m2 / power[:count].max())
            if gap > LARGEST_DB:
                continue
            course = course_numbers(power[:count])
            heard.append(course)
            marked.append(np.concatenate([course, search_numbers(power[:count], told)]))
            shortfall.append(gap)
            habits.append((scan.turned, scan.whole, scan.speed_m_s, bool(marks) and marks[0][0] < count))
            names.append(seed)
    return Moments(
        np.array(heard, np.float32),
        np.array(marked, np.float32),
        np.array(shortfall),
        np.array(habits, np.float64),
        np.array(names),
    )


def calibrated(forest: ShortfallForest, numbers: np.ndarray, tuned: Moments, *, told: bool) -> ShortfallForest:
    """The forest with what its shares are worth on scans that it has not seen.

    Two ways, made monotone, and the lower counts: groups of moments alike; and, since who is told "enough" stops, each
    scan at the moment when its share first came so far, as low as the number of such scans leaves it (`LOWER`). A hand
    that is told is asked every second, so that it is followed every second for this.
    """
    turned = [bool(t) if told else None for t in tuned.habits[:, 0]]
    share = np.array([forest.shortfall(*pair).within(ENOUGH_GAP_DB) for pair in zip(numbers, turned, strict=True)])
    near = tuned.shortfall < ENOUGH_GAP_DB
    stops = followed(forest) if told else (share, near, tuned.scan)
    groups = np.array_split(np.argsort(share), max(2, len(share) // GROUP))
    at = np.unique([*(float(share[group].mean()) for group in groups), *np.arange(0.9, 1.0, 0.005)])
    middles = np.array([share[group].mean() for group in groups])
    right = np.array([(near[group].sum() + 0.5) / (len(group) + 1.0) for group in groups])
    alike = IsotonicRegression(y_min=0.0, y_max=1.0, out_of_bounds="clip").fit(middles, right).predict(at)
    first, count = np.array([_when_first(*stops, level) for level in at]).T
    stopped = IsotonicRegression(y_min=0.0, y_max=1.0).fit(at, first, sample_weight=count).predict(at)
    return replace(forest, sure_from=at, sure_to=np.minimum(alike, stopped))


def followed(forest: ShortfallForest) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Hands that do as the coach says, second by second: share of the leaves, whether little is missing, and which hand."""
    share, near, hand = [], [], []
    for seed in FOLLOWED:
        scan = hand_scan(seed, coached=True)
        marks = [(round(at * RATE_HZ), part) for at, part in scan.marks]
        for count in range(int(FOLLOWED_FROM_S * RATE_HZ), len(scan.power_w_m2) + 1, int(RATE_HZ)):
            power = scan.power_w_m2[:count]
            numbers = np.concatenate([course_numbers(power), search_numbers(power, marks)]).astype(np.float32)
            share.append(forest.shortfall(numbers, turns=True).within(ENOUGH_GAP_DB))
            near.append(10 * np.log10(scan.largest_w_m2 / power.max()) < ENOUGH_GAP_DB)
            hand.append(seed)
    return np.array(share), np.array(near), np.array(hand)


def _when_first(share: np.ndarray, near: np.ndarray, scan: np.ndarray, level: float) -> tuple[float, float]:
    """Part of the scans that were near enough when their share first came to a level, at its lower end; how many did."""
    reached = np.flatnonzero(share >= level)
    first = reached[np.unique(scan[reached], return_index=True)[1]]
    right, count = int(near[first].sum()), len(first)
    return float(beta.ppf(LOWER, right + 0.5, count - right + 0.5)), count + 0.5


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
    same, turned = np.linspace(0.0, 1.0, 2), float(habits[:, 0].mean())
    odds = np.array([0.5 / (1.0 - turned), 0.5 / turned])
    return ShortfallForest(roots=np.array(roots), odds=odds, sure_from=same, sure_to=same, **flat)


def report(name: str, forest: ShortfallForest, left: Moments) -> None:
    """How intervals and "enough" hold on scans that the forest has not seen."""
    for said in (False, True):
        pairs = zip(getattr(left, name), left.habits[:, 0] > 0, strict=True)
        found: list[ScanShortfall] = [forest.shortfall(row, bool(t) if said else None) for row, t in pairs]
        low, high = np.array([f.interval_db for f in found]).T
        enough = np.array([f.enough_chance >= ENOUGH_CHANCE for f in found])
        weight = np.ones(len(found)) if said else forest.odds[(left.habits[:, 0] > 0).astype(int)]
        held = np.average((left.shortfall >= low) & (left.shortfall <= high), weights=weight)
        right = np.mean(left.shortfall[enough] < ENOUGH_GAP_DB) if enough.any() else float("nan")
        deserved = left.shortfall < ENOUGH_GAP_DB
        print(f"{name}, turning {'said' if said else 'not said'}: {len(found)} moments; 90 % interval holds {held:.3f}; "
              f"deserve enough {deserved.sum()}, said {enough.sum()}, right {right:.3f}")  # fmt: skip


def packable(forest: ShortfallForest) -> dict[str, np.ndarray]:
    """Small whole numbers for the histograms, so that the file stays small."""
    types = {"feature": np.int8, "threshold": np.float32, "low": np.int32, "high": np.int32, "roots": np.int32,
             "habits": np.float16}  # fmt: skip
    arrays = {key: np.asarray(value).astype(types.get(key, np.float64)) for key, value in vars(forest).items()}
    return arrays | {"chance": np.round(forest.chance * 250).astype(np.uint8)}


if __name__ == "__main__":
    main()
