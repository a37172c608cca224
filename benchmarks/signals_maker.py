"""Make the classifier's parameters from simulated recordings.

    python -m benchmarks.signals_maker --scenes 11400 --negatives 3420 --seed 5 [--processes 2] [--cache FILE.npz]

The same arguments give the same file. No recording from outside is read.
"""

from __future__ import annotations

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from importlib import resources
from pathlib import Path

import numpy as np

from roomfield.signals.classifier import ANY, LINEAR_LIMIT, TREES_SHARE

LINEAR_C = 0.02
BAGS = 3  # forests whose mean is taken: each looks at other columns, which steadies answers near one half


def evidence_of(index: int, seed: int, negative: bool = False) -> tuple[dict[str, float], list[str], list[float]]:
    """Numbers, labels and levels of one simulated scene."""
    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather, vector
    from roomfield.signals.simulation.scene import negative_scene, random_scene

    scene = (negative_scene if negative else random_scene)(index, seed)
    numbers = vector(gather(condition(scene.samples, scene.sample_rate_hz)))
    return numbers, [c.technology for c in scene.components], list(scene.snr_db)


UNFIT = ("length",)  # longer scenes were drawn for slow emitters: a mark of the maker, not of the emitter


def collect(scenes: int, negatives: int, seed: int, processes: int):
    """Evidence matrix, its column names, and a label string per scene."""
    with ProcessPoolExecutor(processes) as pool:
        rows = list(pool.map(partial(evidence_of, seed=seed), range(scenes), chunksize=20))
        rows += list(pool.map(partial(evidence_of, seed=seed, negative=True), range(negatives), chunksize=20))
    names = list(rows[0][0])
    matrix = np.array([[r[0][n] for n in names] for r in rows], np.float32)
    return matrix, names, np.array([";".join(r[1]) for r in rows])


def _cut(threshold: float) -> float:
    """Thresholds lie on single-precision data: half a step above, in ten digits, they part it in the same way."""
    return float(f"{threshold + 3e-8 * abs(threshold):.10g}")


def _tree(nodes) -> list[list]:
    """One tree as five columns: feature (-1 for a leaf), threshold, left, right, share of the mean's value."""
    leaf = nodes["is_leaf"].astype(bool)
    return [
        np.where(leaf, -1, nodes["feature_idx"]).astype(int).tolist(),
        [_cut(v) if not is_leaf else 0 for v, is_leaf in zip(nodes["num_threshold"], leaf, strict=True)],
        np.where(leaf, 0, nodes["left"]).astype(int).tolist(),
        np.where(leaf, 0, nodes["right"]).astype(int).tolist(),
        [float(f"{v / BAGS:.4g}") if is_leaf else 0 for v, is_leaf in zip(nodes["value"], leaf, strict=True)],
    ]


def _learner(seed: int):
    from sklearn.ensemble import HistGradientBoostingClassifier

    return HistGradientBoostingClassifier(
        max_iter=110, learning_rate=0.1, max_leaf_nodes=8, min_samples_leaf=12, l2_regularization=4.0,
        max_features=0.25, early_stopping=False, random_state=seed,
    )  # fmt: skip


def _forests(matrix, truth, seed: int) -> list:
    return [_learner(seed + bag).fit(matrix, truth) for bag in range(BAGS)]


def _rounded(values, digits: int = 5) -> list[float]:
    return [float(f"{v:.{digits}g}") for v in values]


def _linear(scaled, truth):
    from sklearn.linear_model import LogisticRegression

    return LogisticRegression(C=LINEAR_C, max_iter=400).fit(scaled, truth)


def _fit_one(technology: str, matrix, scaled, labels, seed: int) -> dict:
    """Trees and weighted sum; their calibration line comes from a third of the scenes that twins have not seen."""
    from sklearn.linear_model import LogisticRegression

    truth = np.array([bool(label) if technology == ANY else technology in label.split(";") for label in labels])
    held = np.arange(truth.size) % 3 == 0
    forests, linear = _forests(matrix[~held], truth[~held], seed), _linear(scaled[~held], truth[~held])
    mixed = TREES_SHARE * np.mean([f.decision_function(matrix[held]) for f in forests], axis=0)
    mixed += (1 - TREES_SHARE) * linear.decision_function(scaled[held])
    line = LogisticRegression(C=1.0).fit(mixed[:, None], truth[held])
    forests, linear = _forests(matrix, truth, seed), _linear(scaled, truth)
    base = float(np.mean([f._baseline_prediction.ravel()[0] for f in forests]))
    made = {
        "name": technology, "base": round(base, 5),
        "slope": round(float(line.coef_[0, 0]), 4), "shift": round(float(line.intercept_[0]), 4),
        "offset": round(float(linear.intercept_[0]), 5), "weights": _rounded(linear.coef_[0], 4),
        "trees": [_tree(stage[0].nodes) for forest in forests for stage in forest._predictors],
    }  # fmt: skip
    print(technology, int(truth.sum()), "slope", made["slope"], "shift", made["shift"], flush=True)
    return made


def fit(matrix, names: list[str], labels, seed: int = 0, processes: int = 1) -> dict:
    """Fit trees and weighted sum for each technology, and for whether there is any transmitter."""
    technologies = [*sorted({t for label in labels for t in label.split(";") if t}), ANY]
    centre = np.array(_rounded(matrix.mean(0, dtype=np.float64)))
    spread = np.array(_rounded(matrix.std(0, dtype=np.float64) + 1e-6))
    scaled = np.clip((matrix - centre) / spread, -LINEAR_LIMIT, LINEAR_LIMIT)
    work = partial(_fit_one, matrix=matrix, scaled=scaled, labels=labels, seed=seed)
    if processes == 1:
        models = [work(t) for t in technologies]
    else:
        with ProcessPoolExecutor(processes) as pool:
            models = list(pool.map(work, technologies))
    return {"features": names, "centre": centre.tolist(), "spread": spread.tolist(), "models": models}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=11400)
    parser.add_argument("--negatives", type=int, default=3420)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--cache", type=Path, action="append", default=[], help="evidence made before; used as it is")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    if options.cache and all(p.exists() for p in options.cache):
        parts = [np.load(p) for p in options.cache]
        matrix, labels = np.concatenate([p["X"] for p in parts]), np.concatenate([p["labels"] for p in parts])
        names = [str(n) for n in parts[0]["names"]]
    else:
        matrix, names, labels = collect(options.scenes, options.negatives, options.seed, options.processes)
        for path in options.cache[:1]:
            np.savez(path, X=matrix, names=names, labels=labels)
    kept = [i for i, name in enumerate(names) if name not in UNFIT]
    matrix, names = matrix[:, kept], [names[i] for i in kept]
    document = {"made_by": "benchmarks/signals_maker.py", "scenes": len(labels), "seed": options.seed}
    document |= fit(matrix, names, labels, processes=options.processes)
    out = options.out or Path(str(resources.files("roomfield.signals"))) / "data" / "classifier.json"
    out.parent.mkdir(exist_ok=True)
    out.write_text(json.dumps(document, separators=(",", ":")))
    print(f"{out}: {out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
