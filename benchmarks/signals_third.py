"""Fit the later hearings: what the first two say, set right on recordings as people make them.

    python -m benchmarks.signals_third --processes 2 --cache DIR

The first two hearings know recordings at 44.1 and 48 kHz without codecs, gain riding or rooms, and no emitter outside the
table. The later ones see their calibrated answers beside the evidence on scenes with all of that, and are added to the parameters
file: the third for recordings of any path, the other for those whose band ends below 6 kHz. Both weigh with the same trees, fitted on
scenes of both kinds, and twice, the second time beside what the first says of all technologies. Of each technology three twins are
fitted, each on two thirds of the scenes, and their mean is kept. The answer is the calibrated sum of what was said before and of
both weighings, fitted for each kind of scenes on what each twin says of the third that it has not seen. A technology for
which that does not lower the log loss there by 2 %, or sets fewer than three answers right, or adds to the false names a quarter
and more than one for two answers set right, whatever caution up to 1 is taken off its log odds, keeps what was said before.
The codec of telephone calls needs the decoder of the extra ``m4a``.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.signals_maker import (
    PARTS,
    Rows,
    _each,
    audible_rows,
    collect,
    default_out,
    forest_columns,
    keep_forest,
    model_of,
    rounded,
    trees_from,
)
from roomfield.signals.classifier import (
    ANY,
    CAUTION,
    FIRST_LIMIT,
    NARROW_DOUBT,
    Forest,
    LaterHearing,
    is_narrow,
    kept_forest,
    on_narrow_paths,
)

LEAST_GAIN = 0.02
LEAST_MENDED = 3
MOST_FALSE = 1.25  # false names on unseen scenes, as a share of those before: a wrong name harms more than one left out
FALSE_PER_MENDED = 0.5  # of a question that was hardly ever answered with yes, every name is new
LEAST_EXAMPLES = 10
CAUTIONS = (0.0, 0.25, 0.5, 0.75, 1.0)  # log odds


def _learner(seed: int):
    from sklearn.ensemble import HistGradientBoostingClassifier

    return HistGradientBoostingClassifier(
        max_iter=90, learning_rate=0.07, max_leaf_nodes=6, min_samples_leaf=5, l2_regularization=2.0, max_features=0.2,
        early_stopping=False, random_state=seed,
    )  # fmt: skip


def _loss(odds, truth) -> float:
    return float(np.mean(np.logaddexp(0.0, np.where(truth, -odds, odds))))


def _unseen(fit, columns, truth, keep):
    """What twins say that have not seen a scene, and the twins: each is fitted on two parts of three."""
    parts = np.arange(truth.size) % PARTS
    said, twins = np.zeros(truth.size), []
    for part in range(PARTS):
        learn = keep & (parts != part)
        twins.append(fit(part).fit(columns[learn], truth[learn]))
        said[parts == part] = twins[-1].decision_function(columns[parts == part])
    return said, twins


def _once(
    job: tuple[str, NDArray[np.float64]], matrix: NDArray[np.float32], seed: int
) -> tuple[NDArray[np.float64], dict]:
    """What twins that have not seen a scene say of one technology, and its model; noughts if it has too few examples."""
    name, levels = job
    truth, keep = audible_rows(levels)
    if min(truth[keep].sum(), (~truth[keep]).sum()) < LEAST_EXAMPLES:
        return np.zeros(truth.size), {"name": name, "base": 0.0, "trees": []}
    unseen, twins = _unseen(lambda part: _learner(seed + part), matrix, truth, keep)
    return unseen, model_of(name, twins)


def _sum_of(
    name: str, levels: NDArray[np.float64], before: NDArray[np.float64], parts: NDArray[np.float64], doubt: float
) -> tuple[list[float], NDArray[np.float64]] | None:
    """Calibrated sum of the parts for one technology, and the odds that scenes got unseen; None if it does not help on those.

    ``before`` is what is said so far, ``doubt`` what will be taken off the answer. The least caution is taken with which false
    names stay few.
    """
    from sklearn.linear_model import LogisticRegression

    truth, keep = audible_rows(levels)
    if min(truth[keep].sum(), (~truth[keep]).sum()) < LEAST_EXAMPLES:
        return None
    unseen, _ = _unseen(lambda _: LogisticRegression(C=1.0), parts, truth, keep)
    least = CAUTION if name == ANY else 0.0
    false_before, wrong_before = _wrong(before, truth, keep, least)
    for caution in CAUTIONS:
        after = unseen - caution
        gain = 1 - _loss(after[keep], truth[keep]) / _loss(before[keep], truth[keep])
        false, wrong = _wrong(after - doubt, truth, keep, least)
        mended = wrong_before - wrong
        most_false = false_before + max((MOST_FALSE - 1) * false_before, mended * FALSE_PER_MENDED)
        kept = gain >= LEAST_GAIN and mended >= LEAST_MENDED and false <= most_false
        if kept:
            break
    print(
        f"{name:20s} n {int(truth.sum()):4d} loss less by {gain:.0%}, mended {mended}, false {false_before} -> {false}, "
        + (f"kept with a caution of {caution}" if kept else "left"), flush=True,
    )  # fmt: skip
    if not kept:
        return None
    line = LogisticRegression(C=1.0).fit(parts[keep], truth[keep])
    return rounded([*line.coef_[0], line.intercept_[0] - caution]), after - doubt


def _wrong(odds: NDArray[np.float64], truth, keep, least: float) -> tuple[int, int]:
    """False names, and answers of either kind that are wrong."""
    named = odds > least
    return int((named & ~truth & keep).sum()), int(((named != truth) & keep).sum())


Said = list[tuple[NDArray[np.float64], dict]]


def weigh_twice(
    rows: Rows, names: tuple[str, ...], known: NDArray[np.float64], seed: int = 0, processes: int = 1
) -> tuple[Said, Said]:
    """What twins that have not seen a scene say of each technology, and its model: by themselves, and beside the first."""
    evidence = np.hstack([known, rows.matrix]).astype(np.float32)
    jobs = [(name, rows.levels(name)) for name in names]
    first = _each(partial(_once, matrix=evidence, seed=seed), jobs, processes)
    said = np.column_stack([unseen for unseen, _ in first])
    again = np.hstack([np.clip(said, -FIRST_LIMIT, FIRST_LIMIT), evidence]).astype(np.float32)
    return first, _each(partial(_once, matrix=again, seed=seed + PARTS), jobs, processes)


def set_right(
    rows: Rows,
    names: tuple[str, ...],
    known: NDArray[np.float64],
    said: tuple[Said, Said],
    before: NDArray[np.float64],
    doubt: float = 0.0,
) -> tuple[LaterHearing | None, NDArray[np.float64]]:
    """A later hearing of what was said twice of some scenes, and the odds of every scene by twins that have not seen it.

    Parameters
    ----------
    rows : Rows
    names : tuple of str
        All technologies, in the order of the forest.
    known : ndarray, shape (scenes, technologies)
        Log odds that the hearing is told.
    said : tuple
        What ``weigh_twice`` gives.
    before : ndarray, shape (scenes, technologies)
        Log odds that it must better.
    doubt : float
        Log odds that are taken off every name.
    """  # fmt: skip
    first, second = said
    told, owners, sums = before.copy(), [], []
    for i, name in enumerate(names):
        parts = np.column_stack([known[:, i], first[i][0], second[i][0]])
        found = _sum_of(name, rows.levels(name), before[:, i], parts, 0.0 if name == ANY else doubt)
        if found is not None:
            owners.append(i)
            sums.append(found[0])
            told[:, i] = found[1]
    if not owners:
        return None, told
    once, twice = trees_from([model for _, model in first]), trees_from([second[i][1] for i in owners])
    return LaterHearing(tuple(rows.names), once, twice, np.array(owners), np.array(sums)), told


def joined(one: Rows, other: Rows) -> Rows:
    """Scenes of two kinds, of the same numbers of evidence."""
    return Rows(np.concatenate([one.matrix, other.matrix]), one.names, one.audible + other.audible)


def _part(said: tuple[Said, Said], chosen: slice) -> tuple[Said, Said]:
    """What was said of some of the scenes."""
    first, second = ([(unseen[chosen], model) for unseen, model in told] for told in said)
    return first, second


def _said_by(
    hearing: LaterHearing | None, two: NDArray[np.float64], known: NDArray[np.float64], said: tuple[Said, Said]
) -> NDArray[np.float64]:
    """What a later hearing would say of scenes by twins that have not seen them."""
    out = two.copy()
    if hearing is not None:
        for i, weights in zip(hearing.owners, hearing.sums, strict=True):
            parts = np.column_stack([known[:, i], said[0][i][0], said[1][i][0], np.ones(len(two))])
            out[:, i] = parts @ weights
    return out


def fit_later(forest: Forest, wide: Rows, narrow: Rows, processes: int = 1) -> Forest:
    """The forest with both later hearings, weighed on scenes of both kinds and summed on those of each."""
    both, names = joined(wide, narrow), forest.names
    two = np.array([forest.two_hearings(row) for row in forest_columns(both, forest).astype(np.float64)])
    known = np.clip(two, -FIRST_LIMIT, FIRST_LIMIT)
    said = weigh_twice(both, names, known, processes=processes)
    all_paths, cut = slice(0, len(wide.audible)), slice(len(wide.audible), None)
    third, _ = set_right(wide, names, known[all_paths], _part(said, all_paths), two[all_paths])
    by_twins = forest.doubted(_said_by(third, two[cut], known[cut], _part(said, cut)))
    before = np.array([on_narrow_paths(odds, n, forest) for odds, n in zip(by_twins, narrow.by_name(), strict=True)])
    own, _ = set_right(narrow, names, known[cut], _part(said, cut), before, NARROW_DOUBT)
    return replace(forest, third=third, narrow=own)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, nargs=2, default=(6500, 8000), help="of all paths, and of narrow ones")
    parser.add_argument("--negatives", type=int, nargs=2, default=(1500, 1200), help="the same without a transmitter")
    parser.add_argument("--seeds", type=int, nargs=2, default=(22, 23))
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--cache", type=Path)
    options = parser.parse_args()
    wide, narrow = (
        collect(scenes, negatives, seed, options.processes, options.cache, narrow=cut)
        for scenes, negatives, seed, cut in zip(
            options.scenes, options.negatives, options.seeds, (False, True), strict=True
        )
    )
    path = default_out()
    forest = fit_later(kept_forest(path), wide, narrow.only(is_narrow), options.processes)
    keep_forest(forest, path)
    right = [0 if hearing is None else hearing.owners.size for hearing in (forest.third, forest.narrow)]
    print(f"{path}: {path.stat().st_size / 1e3:.0f} kB, {right[0]} and {right[1]} set right")


if __name__ == "__main__":
    main()
