"""What is known of a series once it is stored: its condensed form under the usual rule, kept beside the readings.

Everything here is made from the stored readings by the same pass that answers any other question, so that a figure is
the same to the last bit whether it was kept or is made anew. A digest that is missing, or is not the one the notes of
the series name, is passed over.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
import zipfile
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from roomfield.logs import percentile, row_groups
from roomfield.logs.clock import MICRO
from roomfield.logs.log_series import DIGEST_FILE, NOTES_FILE, GapRule, LogSeries
from roomfield.logs.scan import scan
from roomfield.logs.sufficient_statistics import (
    LEAST_SHARE,
    WINDOWS_S,
    Cells,
    Condensed,
    PassRequest,
    Tier,
    Windowed,
)

_LAYOUT = 1
_KEPT_SCALARS = ("shift", "count", "moments", "seen_us", "energy", "floor_us", "floor_energy", "overload_us", "key0",
                 "key_shift")  # fmt: skip


@dataclass(frozen=True)
class Digest:
    """A condensed series with what takes a second look at the readings.

    Parameters
    ----------
    condensed : Condensed
        Its condensed form.
    bins : dict of int to Weights
        Distinct values of those histogram bins that the usual percentiles lie in.
    highest_at_us : int or None
        First time of the greatest reading [µs]; None if it was not looked for.
    means : dict of int to float
        Mean power of the best window of each length [µs], summed anew.
    """

    condensed: Condensed
    bins: dict[int, percentile.Weights] = field(default_factory=dict)
    highest_at_us: int | None = None
    means: dict[int, float] = field(default_factory=dict)


def digest_of(
    series: LogSeries, rule: GapRule, windows_s: tuple[float, ...] = (), least_share: float = LEAST_SHARE
) -> Digest:
    """The digest of a series: the kept one if it answers the question, else from a pass over the readings.

    Parameters
    ----------
    series : LogSeries
        The series or a span of it.
    rule : GapRule
        How long a reading stands.
    windows_s : tuple of float
        Lengths of rolling means [s].
    least_share : float
        Share of a window that must be observed.
    """
    kept = kept_digest(series) if series.whole and rule == series.gap_rule else None
    if kept is not None:
        asked = kept.condensed.question
        if set(windows_s) <= set(asked.windows_s) and (not windows_s or least_share == asked.least_share):
            return kept
    return Digest(scan(series, PassRequest(rule, windows_s, least_share)))


@lru_cache(maxsize=8)
def minute_cells(series: LogSeries, rule: GapRule) -> Cells:
    """Minute sums of a series; kept for the last few asked for, since every look at its course needs them.

    Parameters
    ----------
    series : LogSeries
        The series or a span of it.
    rule : GapRule
        How long a reading stands.
    """
    return digest_of(series, rule).condensed.cells


def draw_up(series: LogSeries, tier_us: int) -> tuple[str, Tier]:
    """Condense a series that was just stored and keep that beside it.

    Parameters
    ----------
    series : LogSeries
        The whole series.
    tier_us : int
        Width of the finest bins of its timeline [µs].

    Returns
    -------
    sha256 : str
        Of the kept file, for the notes of the series.
    tier : Tier
        The finest bins of the timeline.
    """
    rule = series.gap_rule
    fitting = tuple(w for w in WINDOWS_S if w >= rule.nominal_interval_s) if series.kind != "highest_held" else ()
    condensed = scan(series, PassRequest(rule, fitting, LEAST_SHARE, tier_us))
    bins = percentile.bins_holding(series, condensed, (*percentile.PERCENTS, *percentile.FOR_BACKGROUND))
    means = {w.window_us: window_mean(series, condensed, w) for w in condensed.windows if w.seen_us >= 0}
    content = _packed(Digest(condensed, bins, first_time_of(series, series.maximum), means))
    (series.directory / DIGEST_FILE).write_bytes(content)
    return hashlib.sha256(content).hexdigest(), condensed.tier


def first_time_of(series: LogSeries, value: float) -> int:
    """First stamp at which a series has a value [µs].

    Parameters
    ----------
    series : LogSeries
        The series or a span of it.
    value : float
        A value that it has.
    """
    ends = row_groups.row_groups(series)
    with row_groups.opened(series) as file:
        for group in ends.within(series.start_us, series.end_us):
            if ends.high[group] < value:
                continue
            t, values = row_groups.read(file, [group], ["t_us", "value"])
            inside = (t >= series.start_us) & (t <= series.end_us) & (values == value)
            if inside.any():
                return int(t[np.argmax(inside)])
    return series.start_us


def window_mean(series: LogSeries, condensed: Condensed, found: Windowed) -> float:
    """Mean power of a window that was found, summed anew so that it carries no error of the running sum.

    Parameters
    ----------
    series : LogSeries
        The series that was condensed.
    condensed : Condensed
        Its condensed form.
    found : Windowed
        The window.
    """
    hold_us = round(condensed.question.rule.hold_limit_s * MICRO)
    begin = found.end_us - found.window_us
    ends = row_groups.row_groups(series)
    with row_groups.opened(series) as file:
        wanted = ends.within(max(begin - hold_us, series.start_us), min(found.end_us, series.end_us))
        t, value, step = row_groups.read(file, wanted, ["t_us", "value", "dt_us"])
    inside = (t > begin - hold_us) & (t < found.end_us) & (t >= series.start_us) & (t <= series.end_us)
    t, value, step = t[inside], value[inside], step[inside]
    part = np.maximum(0, np.minimum(t + np.minimum(step, hold_us), found.end_us) - np.maximum(t, begin))
    return math.fsum(part * series.unit.power(value)) / int(part.sum())


def _packed(digest: Digest) -> bytes:
    condensed = digest.condensed
    filled = np.flatnonzero(condensed.histogram)
    kept = list(digest.bins)
    facts = {
        "layout": _LAYOUT,
        "rule": vars(condensed.question.rule),
        "windows_s": condensed.question.windows_s,
        "least_share": condensed.question.least_share,
        **{name: getattr(condensed, name) for name in _KEPT_SCALARS},
        "windows": [vars(w) for w in condensed.windows],
        "bins": kept,
        "highest_at_us": digest.highest_at_us,
        "means": list(digest.means.items()),
        "histogram_size": condensed.histogram.size,
    }
    arrays: dict[str, Any] = {f"cells_{name}": values for name, values in vars(condensed.cells).items()}
    arrays |= {f"bin_{k}_{i}": part for k in kept for i, part in enumerate(digest.bins[k])}
    out = io.BytesIO()
    np.savez(
        out,
        facts=np.frombuffer(json.dumps(facts).encode(), np.uint8),
        filled=filled,
        histogram=condensed.histogram[filled],
        sample=condensed.sample[filled],
        mixed=condensed.mixed[filled],
        gap_begin_us=condensed.gap_begin_us,
        gap_end_us=condensed.gap_end_us,
        **arrays,
    )
    return out.getvalue()


def kept_digest(series: LogSeries) -> Digest | None:
    """The digest kept beside a series, if it is there and the one that the notes of the series name.

    Parameters
    ----------
    series : LogSeries
        The series or a span of it; the digest is that of the whole.
    """
    path = series.directory / DIGEST_FILE
    return _kept(series.directory, series.id, path.stat().st_mtime_ns) if path.is_file() else None


@lru_cache(maxsize=8)
def _kept(directory: Path, series_id: str, _changed_ns: int) -> Digest | None:
    try:
        notes = json.loads((directory / NOTES_FILE).read_text(encoding="utf-8"))
        content = (directory / DIGEST_FILE).read_bytes()
        if notes["id"] != series_id or notes["digest_sha256"] != hashlib.sha256(content).hexdigest():
            return None
        with np.load(io.BytesIO(content), allow_pickle=False) as arrays:
            return _unpacked({name: arrays[name] for name in arrays.files})
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        return None


def _unpacked(arrays: dict[str, Any]) -> Digest | None:
    facts = json.loads(arrays["facts"].tobytes())
    if facts["layout"] != _LAYOUT:
        return None
    size, filled = facts["histogram_size"], arrays["filled"]
    spread: dict[str, Any] = {name: np.zeros(size, arrays[name].dtype) for name in ("histogram", "sample", "mixed")}
    for name, whole in spread.items():
        whole[filled] = arrays[name]
    scalars = {name: facts[name] for name in _KEPT_SCALARS}
    none = np.zeros(0, np.int64)
    condensed = Condensed(
        question=PassRequest(GapRule(**facts["rule"]), tuple(facts["windows_s"]), facts["least_share"]),
        **{**scalars, "moments": tuple(scalars["moments"])},
        windows=tuple(Windowed(**w) for w in facts["windows"]),
        **spread,
        gap_begin_us=arrays["gap_begin_us"],
        gap_end_us=arrays["gap_end_us"],
        cells=Cells(**{name: arrays[f"cells_{name}"] for name in ("index", "seen_us", "energy", "high")}),
        tier=Tier(0, none, none.astype(float), none.astype(float), none.astype(float), none),
    )
    bins = {k: (arrays[f"bin_{k}_0"], arrays[f"bin_{k}_1"]) for k in facts["bins"]}
    return Digest(condensed, bins, facts["highest_at_us"], dict(map(tuple, facts["means"])))
