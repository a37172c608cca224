"""What the course of a scan tells about the values not yet met: numbers taken from the level against time.

A scan through a fading field is a draw of neighbouring values. How often it crosses its median says how many
independent places were passed; how deep it fades says how far the largest may rise above the rest (Rice factor); how
closely the second, third and fifth separate crest stand under the highest says how near the top is (spacings of
order statistics); whether new crests still set records says how much of the volume was new. No position enters.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

F64 = NDArray[np.float64]

RATE_HZ = 50.0
"""Values a second that the coach works on; each is the highest instantaneous power of its 20 ms."""
CREST_S = 0.2
DIP_DB = 2.0
"""Two crests are told apart if the level falls by this much between them [dB]."""
RECENT_S = 6.0
SHORTEST_S = 2.0
FLOOR_DB = 60.0
"""Values farther under the highest than this say nothing more about it [dB]."""
LOUD_DB = 6.0
"""The hand is back at loud places while most of a second's highest values lie this close under the highest [dB]."""
_AGO_S = (3.0, 7.0, 14.0, 24.0)
_PARTS = (0.3, 0.5, 0.7)
_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.9, 0.97)
NAMES = (
    *("seconds", "mean_under_db", "spread_db"),
    *(f"quantile_{q:g}_under_db" for q in _QUANTILES),
    *("crest_spread_db", "crest_median_under_db"),
    *(f"likeness_{lag:g}_s" for lag in (0.2, 0.4, 0.8, 1.6)),
    *("crossings_per_s", "crest_crossings_per_s", "crossings"),
    *("crests", "crests_per_s", "second_under_db", "third_under_db", "fifth_under_db", "eighth_under_db"),
    *("crests_within_1_db", "crests_within_3_db", "again_within_1_db"),
    *("since_highest_s", "since_highest_share", "records", "last_rise_db", "rise_before_db"),
    *("recent_highest_under_db", "recent_median_over_db", "recent_spread_db"),
    *("share_within_1_db", "share_within_3_db", "recent_share_within_3_db", "steps_share"),
    *(f"under_{ago:g}_s_ago_db" for ago in _AGO_S),
    *(f"under_at_{part:g}_db" for part in _PARTS),
    *(
        "loud_s",
        "loud_dips",
        "loud_deepest_db",
        "loud_spread_db",
        "loud_steps_db",
        "tops_within_half_db",
        "loud_first_db",
    ),
)


def course_numbers(power: F64) -> F64:
    """Numbers named in `NAMES` for a scan so far.

    Parameters
    ----------
    power : ndarray, shape (n,)
        Power density (any unit), `RATE_HZ` values a second, n at least `SHORTEST_S` long.

    Returns
    -------
    ndarray, shape (len(NAMES),)
        Free of the unit: only ratios and times enter.
    """
    top = float(power.max())
    under = np.minimum(-10.0 * np.log10(np.maximum(power / top, 10 ** (-FLOOR_DB / 10))), FLOOR_DB)
    bins = len(under) // int(CREST_S * RATE_HZ)
    crest = under[: bins * int(CREST_S * RATE_HZ)].reshape(bins, -1).min(axis=1)
    recent = under[-int(RECENT_S * RATE_HZ) :]
    seconds = len(under) / RATE_HZ
    crossings, crest_crossings = _crossings(under), _crossings(crest)
    heights, moments = _separate_crests(crest)
    order = np.sort(heights)
    since = (len(under) - 1 - int(under.argmin())) / RATE_HZ
    records, rises = _records(crest)
    return np.array(
        [
            *(seconds, -10.0 * np.log10(float(power.mean()) / top), float(under.std())),
            *np.quantile(under, _QUANTILES),
            *(float(crest.std()), float(np.median(crest))),
            *(_likeness(crest, lag) for lag in (1, 2, 4, 8)),
            *(crossings / seconds, crest_crossings / seconds, float(crossings)),
            *(float(len(heights)), len(heights) / seconds),
            *(float(order[k]) if len(order) > k else FLOOR_DB for k in (1, 2, 4, 7)),
            *(float((order < 1.0).sum()), float((order < 3.0).sum()), _again(heights, moments)),
            *(since, since / seconds, float(records), *rises),
            *(float(recent.min()), float(np.median(under) - np.median(recent)), float(recent.std())),
            *(float((under < 1.0).mean()), float((under < 3.0).mean()), float((recent < 3.0).mean())),
            float((np.abs(np.diff(under)) > 6.0).mean()),
            *_rise(under),
            *_loud_stay(crest, under),
        ]
    )


def _rise(under: F64) -> list[float]:
    """How far the running highest lay under the present one at earlier moments [dB]."""
    running = np.minimum.accumulate(under)
    ago = [len(under) - 1 - int(seconds * RATE_HZ) for seconds in _AGO_S]
    return [
        *(float(running[at]) if at >= 0 else FLOOR_DB for at in ago),
        *(float(running[int(part * (len(under) - 1))]) for part in _PARTS),
    ]


def _loud_stay(crest: F64, under: F64) -> list[float]:
    """What the last unbroken stay at loud places says: its length, its dips (an antenna that turns at a still place
    dips deeply and smoothly), its spread, and how far its first second lay under its highest."""
    near = uniform_filter1d((crest < LOUD_DB).astype(np.float64), 9, mode="nearest") >= 0.5
    away = np.flatnonzero(~near)
    first = int(away[-1]) + 1 if len(away) else 0
    stay = crest[first:]
    if len(stay) < 5:
        return [len(stay) * CREST_S, 0.0, 0.0, 0.0, 0.0, float((crest < 0.5).sum()), FLOOR_DB]
    low = stay > np.median(stay) + DIP_DB
    fine = under[first * int(CREST_S * RATE_HZ) :]
    return [
        len(stay) * CREST_S,
        float(np.count_nonzero(low[1:] & ~low[:-1])),
        float(np.quantile(stay, 0.95)),
        float(stay.std()),
        float(np.abs(np.diff(fine)).mean()),
        float((crest < 0.5).sum()),
        float(stay[:5].min()),
    ]


def _crossings(level: F64) -> int:
    above = level > np.median(level)
    return int(np.count_nonzero(above[1:] != above[:-1]))


def _likeness(level: F64, lag: int) -> float:
    """Autocorrelation at a lag; 0 where nothing varies."""
    centred = level - level.mean()
    power = float(centred @ centred)
    return float(centred[lag:] @ centred[:-lag]) / power if power > 0 and len(level) > lag else 0.0


def _separate_crests(under: F64) -> tuple[F64, F64]:
    """Crests with a dip of `DIP_DB` on either side: how far under the highest [dB], and in which bin."""
    heights, moments = [], []
    best, at, low, rising = float(under[0]), 0, float(under[0]), True
    for k, value in enumerate(under):
        if rising:
            if value < best:
                best, at = float(value), k
            elif value > best + DIP_DB:
                heights.append(best)
                moments.append(float(at))
                rising, low = False, float(value)
        elif value > low:
            low = float(value)
        elif value < low - DIP_DB:
            rising, best, at = True, float(value), k
    if rising:
        heights.append(best)
        moments.append(float(at))
    return np.array(heights), np.array(moments)


def _again(heights: F64, moments: F64) -> float:
    """How many crests after the highest came within 1 dB of it."""
    top = int(heights.argmin())
    return float(((heights < 1.0) & (moments > moments[top])).sum())


def _records(crest: F64) -> tuple[int, tuple[float, float]]:
    """How many bins set a new record, and by how much the last two did [dB]."""
    running = np.minimum.accumulate(crest)
    steps = running[:-1] - running[1:]
    rises = steps[steps > 0]
    last = [*rises[-2:][::-1], 0.0, 0.0][:2]
    return len(rises), (float(last[0]), float(last[1]))
