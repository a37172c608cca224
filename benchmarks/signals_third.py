"""Fit the third hearing: what the first two say, set right on recordings as people make them.

    python -m benchmarks.signals_third --scenes 2000 --negatives 500 --seed 7 --cache DIR

The first two hearings know recordings at 44.1 and 48 kHz without codecs, gain riding or rooms, and no emitter outside the
table. The third sees their calibrated answers beside the evidence on scenes with all of that, and is added to the parameters
file. Each technology's answer is the calibrated sum of both, fitted on scenes that the third had not seen; a technology
for which that does not lower the log loss there by 2 % keeps the first two alone.
"""

from __future__ import annotations

import argparse
import json
from importlib import resources
from pathlib import Path

import numpy as np

from benchmarks.signals_maker import PARTS, Rows, audible_rows, collect, forest_columns, model_of, rounded
from roomfield.signals.classifier import ANY, FIRST_LIMIT, Forest, forest_from

LEAST_GAIN = 0.02
LEAST_EXAMPLES = 10
ANY_SHARE = 0.5  # it limits every name: halfway between both, as what is heard without noise is no example of the third


def _learner(seed: int):
    from sklearn.ensemble import HistGradientBoostingClassifier

    return HistGradientBoostingClassifier(
        max_iter=60, learning_rate=0.07, max_leaf_nodes=5, min_samples_leaf=12, l2_regularization=6.0, max_features=0.2,
        early_stopping=False, random_state=seed,
    )  # fmt: skip


def _loss(odds, truth) -> float:
    return float(np.mean(np.logaddexp(0.0, np.where(truth, -odds, odds))))


def _one(name: str, levels, old, matrix, seed: int) -> dict | None:
    """Trees and calibration of one technology; None if they do not help on unseen scenes."""
    from sklearn.linear_model import LogisticRegression

    truth, keep = audible_rows(levels)
    if min(truth[keep].sum(), (~truth[keep]).sum()) < LEAST_EXAMPLES:
        return None
    parts = np.arange(truth.size) % PARTS
    unseen = np.zeros(truth.size)
    for part in range(PARTS):
        learn = keep & (parts != part)
        unseen[parts == part] = _learner(seed).fit(matrix[learn], truth[learn]).decision_function(matrix[parts == part])
    both = np.column_stack([old, unseen])
    after = np.zeros(truth.size)
    for part in range(PARTS):
        learn = keep & (parts != part)
        after[parts == part] = (
            LogisticRegression(C=1.0).fit(both[learn], truth[learn]).decision_function(both[parts == part])
        )
    before_loss, after_loss = _loss(old[keep], truth[keep]), _loss(after[keep], truth[keep])
    print(f"{name:20s} n {int(truth.sum()):4d} loss {before_loss:.4f} -> {after_loss:.4f}", flush=True)
    if after_loss > before_loss * (1 - LEAST_GAIN):
        return None
    line = LogisticRegression(C=1.0).fit(both[keep], truth[keep])
    made = model_of(name, [_learner(seed + bag).fit(matrix[keep], truth[keep]) for bag in range(2)])
    share = ANY_SHARE if name == ANY else 1.0
    made["sum"] = rounded([1 - share + share * line.coef_[0, 0], share * line.coef_[0, 1], share * line.intercept_[0]])
    return made


def fit_third(rows: Rows, forest: Forest, seed: int = 0) -> dict:
    """The third hearing's part of the parameters."""
    columns = forest_columns(rows, forest)
    old = np.array([forest.two_hearings(row) for row in columns.astype(np.float64)])
    known = np.clip(old, -FIRST_LIMIT, FIRST_LIMIT)
    matrix = np.hstack([known, rows.matrix]).astype(np.float32)
    models = [_one(name, rows.levels(name), known[:, i], matrix, seed) for i, name in enumerate(forest.names)]
    return {"features": rows.names, "models": [m for m in models if m is not None]}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=2000)
    parser.add_argument("--negatives", type=int, default=500)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--cache", type=Path)
    options = parser.parse_args()
    path = Path(str(resources.files("roomfield.signals"))) / "data" / "classifier.json"
    document = json.loads(path.read_text())
    document.pop("third", None)
    rows = collect(options.scenes, options.negatives, options.seed, options.processes, options.cache)
    document["third"] = fit_third(rows, forest_from(document)) | {"scenes": len(rows.audible), "seed": options.seed}
    path.write_text(json.dumps(document, separators=(",", ":")))
    print(f"{path}: {path.stat().st_size / 1e3:.0f} kB, {len(document['third']['models'])} models")


if __name__ == "__main__":
    main()
