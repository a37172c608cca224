"""Fit the third hearing: what the first two say, set right on recordings as people make them.

    python -m benchmarks.signals_third --scenes 5750 --negatives 1250 --seed 11 --cache DIR
    python -m benchmarks.signals_third --narrow --scenes 2500 --negatives 500 --seed 12 --cache DIR

The first two hearings know recordings at 44.1 and 48 kHz without codecs, gain riding or rooms, and no emitter outside the
table. The third sees their calibrated answers beside the evidence on scenes with all of that, and is added to the parameters
file. Of each technology three twins are fitted, each on two thirds of the scenes, and their mean is kept; the answer is the
calibrated sum of the first two and of them, fitted on what each twin says of the third that it has not seen. A technology for
which that does not lower the log loss there by 2 %, or sets fewer than three answers right, or adds to the false names a
quarter and more than one for two answers set right, keeps the first two alone.

With ``--narrow`` the same is done for recordings whose band ends below 6 kHz, from scenes on such paths only; a question is kept
against what all hearings so far say of them. The codec of telephone calls needs the decoder of the extra ``m4a``.
"""

from __future__ import annotations

import argparse
import json
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.signals_maker import PARTS, Rows, audible_rows, collect, forest_columns, model_of, rounded
from roomfield.signals.classifier import ANY, CAUTION, FIRST_LIMIT, NARROW_DOUBT, Forest, forest_from, is_narrow

LEAST_GAIN = 0.02
LEAST_MENDED = 3
MOST_FALSE = 1.25  # false names on unseen scenes, as a share of those before: a wrong name harms more than one left out
FALSE_PER_MENDED = 0.5  # of a question that was hardly ever answered with yes, every name is new
LEAST_EXAMPLES = 10


def _learner(seed: int):
    from sklearn.ensemble import HistGradientBoostingClassifier

    return HistGradientBoostingClassifier(
        max_iter=90, learning_rate=0.07, max_leaf_nodes=6, min_samples_leaf=12, l2_regularization=6.0, max_features=0.2,
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


def _one(
    name: str, levels, old, known, matrix, seed: int, doubt: float = 0.0
) -> tuple[dict, NDArray[np.float64]] | None:
    """Trees and calibration of one technology, and the odds that scenes got unseen; None if they do not help on those.

    ``old`` is what is said so far, ``known`` what the first two hearings say, ``doubt`` what will be taken off the answer.
    """
    from sklearn.linear_model import LogisticRegression

    truth, keep = audible_rows(levels)
    if min(truth[keep].sum(), (~truth[keep]).sum()) < LEAST_EXAMPLES:
        return None
    unseen, twins = _unseen(lambda part: _learner(seed + part), matrix, truth, keep)
    both = np.column_stack([known, unseen])
    after, _ = _unseen(lambda _: LogisticRegression(C=1.0), both, truth, keep)
    before_loss, after_loss = _loss(old[keep], truth[keep]), _loss(after[keep], truth[keep])
    print(f"{name:20s} n {int(truth.sum()):4d} loss {before_loss:.4f} -> {after_loss:.4f}", flush=True)
    after -= doubt
    least = CAUTION if name == ANY else 0.0
    mended = int(((old > least) != truth)[keep].sum()) - int(((after > least) != truth)[keep].sum())
    false = [int(((odds > least) & ~truth & keep).sum()) for odds in (old, after)]
    most_false = false[0] + max((MOST_FALSE - 1) * false[0], mended * FALSE_PER_MENDED)
    if after_loss > before_loss * (1 - LEAST_GAIN) or mended < LEAST_MENDED or false[1] > most_false:
        return None
    line = LogisticRegression(C=1.0).fit(both[keep], truth[keep])
    made = model_of(name, twins)
    made["sum"] = rounded([line.coef_[0, 0], line.coef_[0, 1], line.intercept_[0]])
    return made, after


def fit_third(
    rows: Rows, forest: Forest, seed: int = 0, so_far: NDArray[np.float64] | None = None
) -> tuple[dict, NDArray[np.float64]]:
    """A later hearing's part of the parameters, and the odds of every scene by twins that have not seen it.

    ``so_far`` are the odds that the hearing for narrow bands must better; the third must better the first two.
    """
    columns = forest_columns(rows, forest)
    two = np.array([forest.two_hearings(row) for row in columns.astype(np.float64)])
    known = np.clip(two, -FIRST_LIMIT, FIRST_LIMIT)
    matrix = np.hstack([known, rows.matrix]).astype(np.float32)
    models, told = [], known.copy() if so_far is None else so_far.copy()
    for i, name in enumerate(forest.names):
        doubt = 0.0 if so_far is None or name == ANY else NARROW_DOUBT
        found = _one(name, rows.levels(name), told[:, i].copy(), known[:, i], matrix, seed, doubt)
        if found is not None:
            models.append(found[0])
            told[:, i] = found[1]
    return {"features": rows.names, "models": models}, told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=5750)
    parser.add_argument("--negatives", type=int, default=1250)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--cache", type=Path)
    parser.add_argument("--narrow", action="store_true", help="fit the hearing for recordings of a narrow band")
    parser.add_argument("--told", type=Path, help="keep what twins say of each scene that they have not seen")
    options = parser.parse_args()
    path = Path(str(resources.files("roomfield.signals"))) / "data" / "classifier.json"
    document = json.loads(path.read_text())
    part = "narrow" if options.narrow else "third"
    document.pop(part, None)
    rows = collect(
        options.scenes, options.negatives, options.seed, options.processes, options.cache, narrow=options.narrow
    )
    rows = rows.only(is_narrow) if options.narrow else rows
    forest = forest_from(document)
    so_far = np.array([forest.odds_on_path(numbers) for numbers in rows.by_name()]) if options.narrow else None
    fitted, told = fit_third(rows, forest, so_far=so_far)
    document[part] = fitted | {"scenes": len(rows.audible), "seed": options.seed}
    if options.told:
        np.save(options.told, told)
    path.write_text(json.dumps(document, separators=(",", ":")))
    print(f"{path}: {path.stat().st_size / 1e3:.0f} kB, {len(fitted['models'])} models")


if __name__ == "__main__":
    main()
