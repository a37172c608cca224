"""Make the classifier's parameters from simulated recordings.

    python -m benchmarks.signals_maker --scenes 20000 --negatives 5000 --seed 5 [--processes 2] [--cache DIR]

The same arguments give the same file. No recording from outside is read. With ``--cache`` the evidence, most of the work, is
kept in pieces, and a run that was broken off goes on from there; empty the folder when detectors or simulation change.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, is_dataclass
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.signals_codecs import draw_narrow
from roomfield.signals.classifier import ANY, FIRST_LIMIT, LINEAR_LIMIT, TREES_SHARE, Forest, Trees
from roomfield.signals.simulation.unlisted import UNLISTED
from roomfield.signals.worker_memory import keep_freed_memory

LINEAR_C = 0.02
BAGS = 2  # forests whose mean is taken: each looks at other columns, which steadies answers near one half
PARTS = 3  # the second hearing learns from answers of first ones that have not seen the scene
INAUDIBLE_DB = 0.0


PIECE = 250
UNFIT = ("length",)  # longer scenes were drawn for slow emitters: a mark of the maker, not of the emitter


@dataclass(frozen=True)
class Rows:
    """Evidence of many scenes.

    ``audible`` says per technology how loud its loudest component is over the audio noise [dB]; missing: not there.
    """

    matrix: NDArray[np.float32]
    names: list[str]
    audible: list[dict[str, float]]

    def levels(self, technology: str) -> NDArray[np.float64]:
        """Level of a technology in each scene [dB]; minus infinity where it is not."""
        if technology == ANY:
            return np.array([max(row.values(), default=-np.inf) for row in self.audible])
        return np.array([row.get(technology, -np.inf) for row in self.audible])

    def by_name(self) -> Iterator[dict[str, float]]:
        """Named numbers of each scene."""
        return (dict(zip(self.names, row.tolist(), strict=True)) for row in self.matrix)

    def only(self, wanted: Callable[[dict[str, float]], bool]) -> Rows:
        """The scenes whose evidence is wanted."""
        keep = [wanted(numbers) for numbers in self.by_name()]
        return Rows(self.matrix[keep], self.names, [row for row, kept in zip(self.audible, keep, strict=True) if kept])


def evidence_of(
    index: int, seed: int, negative: bool = False, narrow: bool = False
) -> tuple[dict[str, float], dict[str, float]]:
    """Numbers of one simulated scene, and the level of the loudest component of each technology [dB]."""
    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather, vector
    from roomfield.signals.simulation import paths
    from roomfield.signals.simulation.audio_scene import negative_scene, random_scene

    scene = (negative_scene if negative else random_scene)(index, seed, draw=draw_narrow if narrow else paths.draw)
    levels: dict[str, float] = {}
    for component, level in zip(scene.components, scene.snr_db, strict=True):
        levels[component.technology] = round(max(level, levels.get(component.technology, -np.inf)), 2)
    return vector(gather(condition(scene.samples, scene.sample_rate_hz))), levels


def _piece(
    job: tuple[int, int, bool, bool, int, Path | None],
) -> tuple[NDArray[np.float32], list[str], list[dict[str, float]]]:
    """Evidence of scenes ``first`` to ``last``, from the cache if it is there, else made and laid there."""
    first, last, negative, narrow, seed, cache = job
    kind = ("narrow-" if narrow else "") + ("negatives" if negative else "scenes")
    path = cache / f"{kind}-{seed}-{first:06d}-{last:06d}.npz" if cache else None
    if path and path.exists():
        with np.load(path) as kept:
            return kept["matrix"], [str(n) for n in kept["names"]], json.loads(str(kept["levels"]))
    rows = [evidence_of(index, seed, negative, narrow) for index in range(first, last)]
    names = list(rows[0][0])
    matrix = np.array([[numbers[n] for n in names] for numbers, _ in rows], np.float32)
    levels = [levels for _, levels in rows]
    if path:
        part = path.with_suffix(".part.npz")
        np.savez(part, matrix=matrix, names=np.array(names), levels=np.array(json.dumps(levels)))
        part.rename(path)
    return matrix, names, levels


def collect(
    scenes: int, negatives: int, seed: int, processes: int, cache: Path | None = None, *, narrow: bool = False
) -> Rows:
    """Evidence of all scenes, made in pieces that can be kept in a folder and taken up again."""
    if cache:
        cache.mkdir(parents=True, exist_ok=True)
    jobs = [
        (first, min(first + PIECE, count), negative, narrow, seed, cache)
        for count, negative in ((scenes, False), (negatives, True))
        for first in range(0, count, PIECE)
    ]
    pieces = _each(_piece, jobs, processes)
    names = pieces[0][1]
    kept = [i for i, name in enumerate(names) if name not in UNFIT]
    matrix = np.concatenate([piece[0][:, kept] for piece in pieces])
    return Rows(matrix, [names[i] for i in kept], [row for piece in pieces for row in piece[2]])


def _cut(threshold: float) -> float:
    """Thresholds lie on single-precision data: half a step above, in ten digits, they part it in the same way."""
    return float(f"{threshold + 3e-8 * abs(threshold):.10g}")


def _tree(nodes, bags: int) -> list[list]:
    """One tree as five columns: feature (-1 for a leaf), threshold, left, right, share of the mean's value."""
    leaf = nodes["is_leaf"].astype(bool)
    return [
        np.where(leaf, -1, nodes["feature_idx"]).astype(int).tolist(),
        [_cut(v) if not is_leaf else 0 for v, is_leaf in zip(nodes["num_threshold"], leaf, strict=True)],
        np.where(leaf, 0, nodes["left"]).astype(int).tolist(),
        np.where(leaf, 0, nodes["right"]).astype(int).tolist(),
        [float(f"{v / bags:.4g}") if is_leaf else 0 for v, is_leaf in zip(nodes["value"], leaf, strict=True)],
    ]


def _learner(seed: int):
    from sklearn.ensemble import HistGradientBoostingClassifier

    return HistGradientBoostingClassifier(
        max_iter=110, learning_rate=0.1, max_leaf_nodes=8, min_samples_leaf=12, l2_regularization=4.0,
        max_features=0.25, early_stopping=False, random_state=seed,
    )  # fmt: skip


def _forests(matrix, truth, seed: int, bags: int = BAGS) -> list:
    return [_learner(seed + bag).fit(matrix, truth) for bag in range(bags)]


def rounded(values, digits: int = 5) -> list[float]:
    return [float(f"{v:.{digits}g}") for v in values]


def _linear(scaled, truth):
    from sklearn.linear_model import LogisticRegression

    return LogisticRegression(C=LINEAR_C, max_iter=200).fit(scaled, truth)


def model_of(name: str, forests: list) -> dict:
    base = float(np.mean([f._baseline_prediction.ravel()[0] for f in forests]))
    return {
        "name": name, "base": round(base, 5),
        "trees": [_tree(stage[0].nodes, len(forests)) for forest in forests for stage in forest._predictors],
    }  # fmt: skip


def trees_from(models: list[dict[str, Any]]) -> Trees:
    """Flat tables of the trees of some models, one of which may have none."""
    nodes: list[tuple[int, float, int, int, float]] = []
    roots, owners = [], []
    for index, model in enumerate(models):
        for tree in model["trees"]:
            offset = len(nodes)
            roots.append(offset)
            owners.append(index)
            for split, cut, low, high, leaf in zip(*tree, strict=True):
                nodes.append((split, cut, low + offset, high + offset, leaf))
    table = list(zip(*nodes, strict=True)) or [()] * 5
    return Trees(
        np.array(table[0], np.int64), np.array(table[1], np.float64), np.array(table[2], np.int64), np.array(table[3], np.int64),
        np.array(table[4], np.float64), np.array(roots, np.int64), np.array(owners, np.int64), np.array([m["base"] for m in models]),
    )  # fmt: skip


def forest_from(document: dict[str, Any]) -> Forest:
    """The parameters of the first two hearings that were fitted."""
    first, second = document["first"], document["second"]
    return Forest(
        tuple(m["name"] for m in first), tuple(document["features"]), trees_from(first), trees_from(second),
        np.array(document["centre"]), np.array(document["spread"]),
        np.array([m["weights"] for m in first]), np.array([m["offset"] for m in first]),
        np.array([m["slope"] for m in second]), np.array([m["shift"] for m in second]),
    )  # fmt: skip


_KEPT_AS = {"feature": np.int16, "left": np.int32, "right": np.int32, "roots": np.int32, "owners": np.int16}


def _tables(prefix: str, part: Any) -> dict[str, NDArray[Any]]:
    """Every field of the parameters as an array under its name."""
    out: dict[str, NDArray[Any]] = {}
    for field in fields(part):
        value = getattr(part, field.name)
        if is_dataclass(value):
            out |= _tables(f"{prefix}{field.name}.", value)
        elif value is not None:
            array = np.asarray(value)
            kind = np.float32 if isinstance(part, Trees) and array.dtype.kind == "f" else array.dtype
            out[prefix + field.name] = array.astype(_KEPT_AS.get(field.name, kind))
    return out


def keep_forest(forest: Forest, path: str | Path) -> None:
    """Write the parameters as a compressed file of arrays.

    Thresholds and leaves are kept in single precision, in which the evidence was when they were fitted.
    """
    np.savez_compressed(path, allow_pickle=False, **_tables("", forest))


def default_out() -> Path:
    """Where the shipped parameters lie."""
    return Path(str(resources.files("roomfield.signals"))) / "data" / "classifier.npz"


def audible_rows(levels):
    """Truth, and which scenes say anything: a technology too faint to be heard is neither there nor not there."""
    truth = np.isfinite(levels)
    return truth, ~truth | (levels >= INAUDIBLE_DB)


def _first_hearing(job: tuple[str, NDArray[np.float64]], matrix, scaled, seed: int) -> tuple[dict, NDArray[np.float32]]:
    """Model of one technology, and what twins that have not seen a scene say of it."""
    technology, levels = job
    truth, usable = audible_rows(levels)
    unseen = np.zeros(truth.size, np.float32)
    for part in range(PARTS):
        held = np.arange(truth.size) % PARTS == part
        learn = usable & ~held
        trees, linear = _learner(seed).fit(matrix[learn], truth[learn]), _linear(scaled[learn], truth[learn])
        unseen[held] = TREES_SHARE * trees.decision_function(matrix[held])
        unseen[held] += (1 - TREES_SHARE) * linear.decision_function(scaled[held])
    linear = _linear(scaled[usable], truth[usable])
    made = model_of(technology, _forests(matrix[usable], truth[usable], seed))
    made |= {"offset": round(float(linear.intercept_[0]), 5), "weights": rounded(linear.coef_[0], 4)}
    print("first", technology, int(truth.sum()), flush=True)
    return made, unseen


def _second_hearing(job: tuple[str, NDArray[np.float64], NDArray[np.float32]], matrix, seed: int) -> dict:
    """Model of one technology that knows the first hearing's answers, and the calibration line of both."""
    from sklearn.linear_model import LogisticRegression

    technology, levels, first = job
    truth, usable = audible_rows(levels)
    unseen = np.zeros(truth.size)
    for part in range(PARTS):
        held = np.arange(truth.size) % PARTS == part
        learn = usable & ~held
        unseen[held] = _learner(seed + 50).fit(matrix[learn], truth[learn]).decision_function(matrix[held])
    line = LogisticRegression(C=1.0).fit(0.5 * (first + unseen)[usable, None], truth[usable])
    made = model_of(technology, _forests(matrix[usable], truth[usable], seed + 50))
    made |= {"slope": round(float(line.coef_[0, 0]), 4), "shift": round(float(line.intercept_[0]), 4)}
    print("second", technology, "slope", made["slope"], "shift", made["shift"], flush=True)
    return made


def _each(work, jobs: list, processes: int) -> list:
    """Results in order; one process works by itself, as a fork of a process whose learner has threads would hang."""
    if processes == 1:
        return [work(job) for job in jobs]
    with ProcessPoolExecutor(processes, initializer=keep_freed_memory) as pool:
        return list(pool.map(work, jobs))


def forest_columns(rows: Rows, forest: Forest) -> NDArray[np.float32]:
    """The evidence in the order of a fitted forest."""
    places = {name: i for i, name in enumerate(rows.names)}
    return np.asarray(rows.matrix[:, [places[name] for name in forest.features]])


def fit(rows: Rows, seed: int = 0, processes: int = 1) -> dict:
    """Fit both hearings for each technology, and for whether there is any transmitter."""
    matrix = rows.matrix
    technologies = [*sorted({t for row in rows.audible for t in row} - {UNLISTED}), ANY]
    centre = np.array(rounded(matrix.mean(0, dtype=np.float64)))
    spread = np.array(rounded(matrix.std(0, dtype=np.float64) + 1e-6))
    scaled = np.clip((matrix - centre) / spread, -LINEAR_LIMIT, LINEAR_LIMIT).astype(np.float32)
    levels = [rows.levels(t) for t in technologies]
    work = partial(_first_hearing, matrix=matrix, scaled=scaled, seed=seed)
    first = _each(work, list(zip(technologies, levels, strict=True)), processes)
    known = np.column_stack([np.clip(unseen, -FIRST_LIMIT, FIRST_LIMIT) for _, unseen in first])
    work = partial(_second_hearing, matrix=np.hstack([known, matrix]), seed=seed)
    jobs = list(zip(technologies, levels, (unseen for _, unseen in first), strict=True))
    second = _each(work, jobs, processes)
    return {
        "features": rows.names, "centre": centre.tolist(), "spread": spread.tolist(),
        "first": [model for model, _ in first], "second": second,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=20000)
    parser.add_argument("--negatives", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--cache", type=Path, help="folder in which pieces of evidence are kept and taken up again")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    rows = collect(options.scenes, options.negatives, options.seed, options.processes, options.cache)
    out = options.out or default_out()
    keep_forest(forest_from(fit(rows, processes=options.processes)), out)
    print(f"{out}: {out.stat().st_size / 1e3:.0f} kB; the later hearings are fitted by benchmarks.signals_third")


if __name__ == "__main__":
    main()
