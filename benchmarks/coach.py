"""What the coach says while a hand scans, against the largest value there is.

    python -m benchmarks.coach --data DIR
    python -m benchmarks.coach --invented 100 [--seed 6000000]

DIR holds scans (power against time, 50 values a second) with a label each. At ten moments a second the coach tells how
far the highest so far lies under the largest usual value, with a 90 % interval, and whether it is enough. The figures
come from the power alone; those that begin with ``told_`` from a coach that was also told by the person, who knows it,
whether the antenna is turned (the label's ``turns_per_s``) and when the hand went back to the loudest spots
(``back_to_loudest_from_s``). ``deserved`` counts the moments at which less than 1.5 dB are missing in truth. A scan's moments
are much alike, so that the standard error of the coverage is taken over scans (bootstrap). The peer is a clock: "enough
after 30 s". ``--invented``: simulated hands that do as the coach says (sweep, loudest spot, sweep again with the antenna as it
stood there, then spot after spot), mark what they begin, and stop at "enough". Last line: one JSON object.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.hand_scans import RATE_HZ, hand_scan
from roomfield.signals.coach.forest import ENOUGH_GAP_DB
from roomfield.signals.coach.scan_advice import CoachAnswer, ScanAdvice, ScanCoach
from roomfield.signals.coach.search import ScanPart

STEP, INVENTED_STEP = 5, 25
"""Values between two answers: ten a second; for invented hands two a second."""
CLOCK_S = 30.0
TURNS_PER_S = 0.05
"""A hand that turns more often than this would say that it turns [1/s]."""
GAP, MIDDLE, LOW, HIGH, ENOUGH, SECONDS, CLOSE = range(7)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--data", type=Path)
    options.add_argument("--invented", type=int, default=0)
    options.add_argument("--seed", type=int, default=6_000_000)
    asked = options.parse_args()
    if asked.invented:
        print(json.dumps(_coached(range(asked.seed, asked.seed + asked.invented))))
        return
    labels = sorted(asked.data.glob("*.json"))
    begin = time.process_time()
    heard = [_scan(label, told=False) for label in labels]
    spent = time.process_time() - begin
    told = [_scan(label, told=True) for label in labels]
    rows = np.concatenate(heard)
    clock = rows[:, SECONDS] >= CLOCK_S
    print(json.dumps({
        **_figures(heard),
        **{f"told_{name}": value for name, value in _figures(told).items()},
        "clock_right": round(float(np.mean(rows[clock, GAP] < ENOUGH_GAP_DB)), 3) if clock.any() else None,
        "ms_per_answer": round(1e3 * spent / len(rows), 2),
    }))  # fmt: skip


def _figures(scans: list[np.ndarray]) -> dict[str, Any]:
    rows = np.concatenate(scans)
    gap, said, near = rows[:, GAP], rows[:, ENOUGH] > 0, (rows[:, ENOUGH] > 0) | (rows[:, CLOSE] > 0)
    by_scan = np.array([(_held(t).sum(), len(t)) for t in scans], np.float64)
    drawn = by_scan[np.random.default_rng(0).integers(0, len(scans), (1000, len(scans)))].sum(axis=1)
    deserving = [bool((t[:, GAP] < ENOUGH_GAP_DB).any()) for t in scans]
    return {
        "shortfall_rms_db": round(float(np.sqrt(np.mean((rows[:, MIDDLE] - gap) ** 2))), 3),
        "shortfall_coverage_90": round(float(np.mean(_held(rows))), 3),
        "coverage_std": round(float((drawn[:, 0] / drawn[:, 1]).std()), 3),
        "deserved": int((gap < ENOUGH_GAP_DB).sum()),
        "said_enough": int(said.sum()),
        "enough_right": round(float(np.mean(gap[said] < ENOUGH_GAP_DB)), 3) if said.any() else None,
        "false_enough": int(np.sum(gap[said] >= ENOUGH_GAP_DB)),
        "said_close_or_enough": int(near.sum()),
        "close_right": round(float(np.mean(gap[near] < ENOUGH_GAP_DB)), 3) if near.any() else None,
        "scans_that_deserved": int(sum(deserving)),
        "scans_that_ended": int(sum(bool((t[:, ENOUGH] > 0).any()) for t in scans)),
    }


def _held(rows: np.ndarray) -> np.ndarray:
    return (rows[:, GAP] >= rows[:, LOW]) & (rows[:, GAP] <= rows[:, HIGH])


def _scan(label_path: Path, *, told: bool) -> np.ndarray:
    label = json.loads(label_path.read_text())
    with np.load(label_path.with_suffix(".npz")) as held:
        power = np.asarray(held["power_w_m2"], np.float64)
    back_s = label.get("back_to_loudest_from_s")
    turned = label["turns_per_s"] > TURNS_PER_S if told else None
    marks: list[tuple[float, ScanPart]] = [] if back_s is None else [(back_s, ScanPart.SPOT)]
    return _rows(power, label["true_max_usual_w_m2"], turned, marks if told else None)


def _rows(
    power: np.ndarray,
    largest: float,
    turned: bool | None,
    marks: Sequence[tuple[float, ScanPart]] | None,
    every: int = STEP,
) -> np.ndarray:
    coach, rows = ScanCoach(turned, marked=marks is not None), []
    begins = {int(at * RATE_HZ) // every: part for at, part in marks or ()}
    for step, first in enumerate(range(0, len(power) - every + 1, every)):
        said: CoachAnswer = coach.push(power[first : first + every], begins=begins.get(step))
        if np.isfinite(said.shortfall_db):
            gap = max(0.0, 10 * np.log10(largest / said.highest))
            close = said.advice is ScanAdvice.CLOSE
            rows.append((gap, said.shortfall_db, said.low_db, said.high_db, said.enough, said.seconds, close))
    return np.array(rows).reshape(-1, 7)


def _coached(seeds: range) -> dict[str, Any]:
    scans = [hand_scan(seed, coached=True) for seed in seeds]
    found = [_rows(s.power_w_m2, s.largest_w_m2, True, s.marks, INVENTED_STEP) for s in scans]
    ends = [int(t[:, ENOUGH].argmax()) for t in found if (t[:, ENOUGH] > 0).any()]
    stopped = np.array([t[t[:, ENOUGH].argmax()] for t in found if (t[:, ENOUGH] > 0).any()]).reshape(-1, 7)
    whole = _figures(found)
    return {
        "hands": len(found),
        "end_within_1_5_db": round(float(np.mean([t[-1, GAP] < ENOUGH_GAP_DB for t in found])), 3),
        "stopped": len(ends),
        "stopped_right": round(float(np.mean(stopped[:, GAP] < ENOUGH_GAP_DB)), 3) if len(stopped) else None,
        "stopped_after_s": round(float(np.median(stopped[:, SECONDS])), 1) if len(stopped) else None,
        **{key: whole[key] for key in ("scans_that_deserved", "shortfall_rms_db", "shortfall_coverage_90", "coverage_std", "said_enough",
                                       "enough_right", "deserved")},
    }  # fmt: skip


if __name__ == "__main__":
    main()
