"""From evidence to probability: one ensemble of small decision trees per technology.

The parameters are a data file made from simulated recordings by the maker script; nothing here
is fitted. A technology that lives on exact rates or on bursts cannot be claimed without them, whatever
the trees say: see ``REQUIREMENTS``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError

F64 = NDArray[np.float64]

WITHOUT_EVIDENCE = 0.2


@dataclass(frozen=True)
class Forest:
    """All trees of all technologies in flat arrays.

    Attributes
    ----------
    feature, left, right : ndarray of int
        Node tables; a leaf has feature -1.
    threshold, value : ndarray
        Split threshold (go left if not above it), leaf value [log odds].
    roots, owners : ndarray of int
        First node of each tree, and the index of its technology.
    base, slope, shift : ndarray, shape (technologies,)
        Log odds before any tree; calibration line.
    """

    names: tuple[str, ...]
    features: tuple[str, ...]
    feature: NDArray[np.int64]
    threshold: F64
    left: NDArray[np.int64]
    right: NDArray[np.int64]
    value: F64
    roots: NDArray[np.int64]
    owners: NDArray[np.int64]
    base: F64
    slope: F64
    shift: F64

    def log_odds(self, numbers: F64) -> F64:
        """Calibrated log odds of each technology for one vector of evidence."""
        node = self.roots.copy()
        while True:
            feature = self.feature[node]
            inner = feature >= 0
            if not inner.any():
                break
            go_left = numbers[np.maximum(feature, 0)] <= self.threshold[node]
            step = np.where(go_left, self.left[node], self.right[node])
            node = np.where(inner, step, node)
        sums = np.bincount(self.owners, self.value[node], minlength=len(self.names)) + self.base
        return np.asarray(self.slope * sums + self.shift)


def forest_from(document: dict[str, Any]) -> Forest:
    """Build the flat tables from the parameter document."""
    nodes: list[tuple[int, float, int, int, float]] = []
    roots, owners = [], []
    for index, model in enumerate(document["models"]):
        for tree in model["trees"]:
            offset = len(nodes)
            roots.append(offset)
            owners.append(index)
            for split, cut, low, high, leaf in zip(*tree, strict=True):
                nodes.append((split, cut, low + offset, high + offset, leaf))
    table = list(zip(*nodes, strict=True))
    models = document["models"]
    return Forest(
        tuple(m["name"] for m in models),
        tuple(document["features"]),
        np.array(table[0], np.int64), np.array(table[1]), np.array(table[2], np.int64), np.array(table[3], np.int64),
        np.array(table[4]), np.array(roots), np.array(owners),
        np.array([m["base"] for m in models]), np.array([m["slope"] for m in models]),
        np.array([m["shift"] for m in models]),
    )  # fmt: skip


@cache
def shipped_forest() -> Forest:
    """The parameters that come with the package."""
    file = resources.files("roomfield.signals").joinpath("data/classifier.json")
    try:
        return forest_from(json.loads(file.read_text("utf-8")))
    except (OSError, ValueError, KeyError) as fault:
        raise FormatError(
            "the classifier's parameters cannot be read.", where="signals/data/classifier.json",
            mend="Reinstall the package, or remake the file with the maker script.",
        ) from fault  # fmt: skip


def probabilities(numbers: dict[str, float], forest: Forest | None = None) -> dict[str, float]:
    """Probability of each technology for the evidence of one block."""
    forest = forest or shipped_forest()
    odds = forest.log_odds(np.array([numbers[name] for name in forest.features]))
    chances = 1 / (1 + np.exp(-np.clip(odds, -30, 30)))
    out = {}
    for name, chance in zip(forest.names, chances, strict=True):
        met = REQUIREMENTS[name](numbers) if name in REQUIREMENTS else True
        out[name] = float(chance if met else min(chance, WITHOUT_EVIDENCE))
    return out


def _comb(*names: str, score: float = 6.0) -> Any:
    """A requirement: at least one of the combs stands out (score before the arcsinh of the evidence)."""
    limit = float(np.arcsinh(score))
    return lambda numbers: any(numbers[f"{name}.score"] >= limit for name in names)


REQUIREMENTS = {
    "dect": _comb("100odd", "200odd", "400"),
    "gsm": _comb("gsm217", "gsm1733"),
    "lte_fdd": _comb("200odd", "1000odd", "2000", "100odd", "400"),
    "lte_tdd": _comb("200odd", "1000odd", "100odd", "400"),
    "nr_tdd": _comb("50odd", "400", "200odd", "500odd", "100odd", "25odd", "2000"),
    "nr_fdd": _comb("50odd", "100odd", "200odd", "25odd", "1000odd", "2000"),
    "nr_ue_tdd": _comb("400", "200odd", "500odd", "2000", "100odd"),
    "wifi_beacon": _comb("beacon100", "beacon100low", "beacon100high", "beacon200", "beacon300", score=5.0),
    "tetra": _comb("tetra17", "tetra70", "tetra18k"),
    "dmr": _comb("16"),
    "dvbt": _comb("dvbt"),
    "umts": _comb("umts1500", "500odd"),
    "bluetooth_classic": _comb("bt266", "bt133", "bt1600", "bt800"),
    "microwave_oven": _comb("mains50odd", "mains100", "mains60odd", "mains120"),
}
