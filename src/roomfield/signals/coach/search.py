"""What a search at loud spots tells once the person says when it began: numbers from the level and the marks.

Between two marks the hand is at one loud spot. How high each spot could be climbed, how close the second and third stand
under the highest, and how much the search still brought of late say how much an unvisited spot could be higher: the
heights are a draw from the tail of the field, and its spacings tell the scale of that tail (order statistics).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.coach.course import DIP_DB, RATE_HZ

F64 = NDArray[np.float64]

LOWEST_DB = 25.0
"""Spots farther under the highest than this say nothing more [dB]."""
SHORTEST_VISIT_S = 1.5
"""A spot counts once it was searched for so long [s]."""


class ScanPart(StrEnum):
    """What the person sets about, as told by a mark."""

    SPOT = "spot"
    """Searching and turning at a loud spot, the loudest first."""
    AGAIN = "again"
    """Sweeping all of the volume once more with the antenna as it stood at the highest value."""


ScanMark = tuple[int, ScanPart]
"""First value of a part, and which part."""
SEARCH_NAMES = (
    *("spots", "sweep_s", "search_s", "here_s", "rise_db", "first_gain_db", "mean_gain_db"),
    *(f"spot_{k}_under_db" for k in (2, 3, 4, 5, 6)),
    *("spots_within_1_db", "spots_within_3_db", "spots_spread_db", "spots_mean_under_db"),
    *("at_highest_s", "highest_is_here", "searched_since_s"),
    *(f"under_at_{part:g}_of_search_db" for part in (0.25, 0.5, 0.75)),
    *("again_s", "again_under_db", "spots_after_again", "again_rise_db"),
    *("dips_per_s", "search_deepest_db", "search_median_under_db", "swept_crests_above_db"),
)


def search_numbers(power: F64, marks: Sequence[ScanMark]) -> F64:
    """Numbers named in `SEARCH_NAMES`.

    Parameters
    ----------
    power : ndarray, shape (n,)
        Power density (any unit), `RATE_HZ` values a second.
    marks : sequence of ScanMark
        What the person set about after the first sweep, and when, rising; none: nothing but swept so far.

    Returns
    -------
    ndarray, shape (len(SEARCH_NAMES),)
        Free of the unit.
    """
    top = float(power.max())
    under = np.minimum(-10.0 * np.log10(np.maximum(power / top, 10 ** (-LOWEST_DB / 10))), LOWEST_DB)
    done = [(at, part) for at, part in marks if at < len(under)]
    if not done:
        return np.array([0.0, len(under) / RATE_HZ, *np.zeros(len(SEARCH_NAMES) - 2)])
    begins = [at for at, _ in done]
    first, search = begins[0], under[begins[0] :]
    visits = [under[a:b] for a, b in zip(begins, [*begins[1:], len(under)], strict=True)]
    again = [k for k, (_, part) in enumerate(done) if part is ScanPart.AGAIN]
    spots = [visit for k, visit in enumerate(visits) if k not in again]
    kept = [visit for visit in spots if len(visit) >= SHORTEST_VISIT_S * RATE_HZ] or spots[-1:]
    order = np.sort([float(visit.min()) for visit in kept] or [LOWEST_DB])
    swept = _crests(under[:first])
    gains = [max(0.0, before - now) for before, now in zip(np.sort(swept), order, strict=False)]
    at, running = int(under.argmin()), np.minimum.accumulate(under)
    best = int(np.searchsorted(begins, at, side="right")) - 1
    low = search > np.median(search) + 2 * DIP_DB
    return np.array(
        [
            *(float(len(kept)), first / RATE_HZ, len(search) / RATE_HZ, len(visits[-1]) / RATE_HZ),
            *(float(swept.min(initial=LOWEST_DB)), float(gains[0]) if gains else 0.0),
            float(np.mean(gains)) if gains else 0.0,
            *(float(order[k]) if len(order) > k else LOWEST_DB for k in (1, 2, 3, 4, 5)),
            *(float((order < 1.0).sum()), float((order < 3.0).sum()), float(order.std()), float(order.mean())),
            *(len(visits[best]) / RATE_HZ if best >= 0 else 0.0, float(best == len(visits) - 1)),
            (len(under) - 1 - max(at, first)) / RATE_HZ,
            *(float(running[first + int(part * (len(search) - 1))]) for part in (0.25, 0.5, 0.75)),
            *_again_numbers(visits, again, running, begins),
            np.count_nonzero(low[1:] & ~low[:-1]) / (len(search) / RATE_HZ),
            *(float(np.quantile(search, 0.95)), float(np.median(search))),
            float((swept < order.mean()).sum()),
        ]
    )


def _again_numbers(visits: list[F64], again: list[int], running: F64, begins: list[int]) -> list[float]:
    """The second sweep: its length, its highest under the highest, spots since, and what came after its begin."""
    if not again:
        return [0.0, LOWEST_DB, 0.0, 0.0]
    seconds = sum(len(visits[k]) for k in again) / RATE_HZ
    highest = min(float(visits[k].min()) for k in again)
    begin = begins[again[0]]
    return [seconds, highest, float(len(visits) - 1 - again[-1]), float(running[max(begin - 1, 0)])]


def _crests(under: F64) -> F64:
    """Highest value of each second of the sweep, as far under the highest of all [dB]."""
    step = int(RATE_HZ)
    whole = len(under) // step * step
    return under[:whole].reshape(-1, step).min(axis=1) if whole else under[:0]
