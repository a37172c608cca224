"""Repeated scans of one thing put together: their mean and their number say all that they say.

Readings of one kind by one meter at one site, in one state, held alike, differ by repeatability and by each reading's
own scatter only. Their mean is a sufficient statistic of normal scatter; heavy tails are met by weighing each reading
by its distance from the others, as Student's t does.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from roomfield.field.level_rows import LevelRows

Array = NDArray[np.float64]
LEAST_REPEATS = 3
"""Fewer are left as they are: a slip among them cannot be told."""
TAILS, ROUNDS = 4.0, 8
SCATTER_DB = 1.5
"""Scatter of repeats about each other at least, for weighing them (our judgement)."""


def together(rows: LevelRows) -> LevelRows:
    """Rows in which repeats are one row, and the kinds read in the same repeats one scan.

    Parameters
    ----------
    rows : LevelRows
        One row per reading.
    """
    groups: dict[Hashable, list[int]] = {}
    for i, key in enumerate(_keys(rows)):
        groups.setdefault(key, []).append(i)
    many = [g for g in groups.values() if len(g) >= LEAST_REPEATS]
    if not many:
        return rows
    repeated = {i for g in many for i in g}
    order = sorted([[i] for i in range(len(rows)) if i not in repeated] + many)
    first = np.array([g[0] for g in order])
    taken = {f.name: getattr(rows, f.name)[first] for f in fields(rows) if f.name != "ids"}
    made = replace(rows, ids=tuple(rows.ids[i] for i in first), **taken)
    value = np.array([robust_mean(rows.value_db[g]) for g in order])
    scan = _common_scans(made, [len(g) for g in order])
    return replace(made, value_db=value, count=np.array([float(len(g)) for g in order]), scan=scan)


def robust_mean(values: Array) -> float:
    """Mean of repeats [dB], each weighed by its distance from it as Student's t with 4 degrees of freedom does."""
    middle = float(np.median(values))
    for _ in range(ROUNDS):
        weight = (TAILS + 1.0) / (TAILS + ((values - middle) / SCATTER_DB) ** 2)
        middle = float(np.sum(weight * values) / np.sum(weight))
    return middle


def _keys(rows: LevelRows) -> list[Hashable]:
    """What repeats have in common; a bound or a reading on an axis is alone."""
    alone = (rows.censor != 0) | ~np.isnan(rows.axis_deg)
    alike = [
        (int(s), int(k), int(m), float(e), float(a), float(w), float(v), on.tobytes(), mode.tobytes(), front.tobytes())
        for s, k, m, e, a, w, v, on, mode, front in zip(
            rows.site, rows.kind, rows.meter, rows.edge_m, rows.added_std_db, rows.watched_s, rows.record_db2,
            rows.on, rows.mode, rows.front_db, strict=True,
        )
    ]  # fmt: skip
    return [("alone", i) if alone[i] else key for i, key in enumerate(alike)]


def _common_scans(rows: LevelRows, counts: list[int]) -> NDArray[np.int64]:
    """Scans anew: all kinds of the same repeats are of one."""
    numbers: dict[Hashable, int] = {}
    scan = np.empty(len(rows), dtype=np.int64)
    for i, count in enumerate(counts):
        where = (int(rows.site[i]), int(rows.meter[i]), rows.on[i].tobytes(), rows.mode[i].tobytes())
        key: Hashable = ("repeats", *where) if count > 1 else ("scan", int(rows.scan[i]))
        scan[i] = numbers.setdefault(key, len(numbers))
    return scan
