"""What the coach says while a hand scans, against the largest value there is.

    python -m benchmarks.coach --data DIR

DIR holds scans (power against time, 50 values a second) with a label each. At ten moments a second the coach tells how
far the highest so far lies under the largest usual value, with a 90 % interval, and whether it is enough. The figures
come from the power alone; those that begin with ``told_`` from a coach that was also told by the person whether the
antenna is turned (the label's ``turns_per_s``). The peer is a clock: "enough after 30 s". Last line: one JSON object.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from roomfield.signals.coach.forest import ENOUGH_GAP_DB
from roomfield.signals.coach.scan_advice import CoachAnswer, ScanAdvice, ScanCoach

STEP = 5
CLOCK_S = 30.0
TURNS_PER_S = 0.05
"""A hand that turns more often than this would say that it turns [1/s]."""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--data", type=Path, required=True)
    asked = options.parse_args()
    labels = sorted(asked.data.glob("*.json"))
    begin = time.process_time()
    heard = [_scan(label, told=False) for label in labels]
    spent = time.process_time() - begin
    told = [_scan(label, told=True) for label in labels]
    rows = np.concatenate(heard)
    clock = rows[:, 5] >= CLOCK_S
    print(json.dumps({
        **_figures(heard),
        **{f"told_{name}": value for name, value in _figures(told).items()},
        "clock_right": round(float(np.mean(rows[clock, 0] < ENOUGH_GAP_DB)), 3) if clock.any() else None,
        "ms_per_answer": round(1e3 * spent / len(rows), 2),
    }))  # fmt: skip


def _figures(scans: list[np.ndarray]) -> dict[str, Any]:
    gap, middle, low, high, enough, _, close = np.concatenate(scans).T
    said, near = enough > 0, (enough > 0) | (close > 0)
    return {
        "shortfall_rms_db": round(float(np.sqrt(np.mean((middle - gap) ** 2))), 3),
        "shortfall_coverage_90": round(float(np.mean((gap >= low) & (gap <= high))), 3),
        "said_enough": int(said.sum()),
        "enough_right": round(float(np.mean(gap[said] < ENOUGH_GAP_DB)), 3) if said.any() else None,
        "false_enough": int(np.sum(gap[said] >= ENOUGH_GAP_DB)),
        "said_close_or_enough": int(near.sum()),
        "close_right": round(float(np.mean(gap[near] < ENOUGH_GAP_DB)), 3) if near.any() else None,
        "scans_that_ended": int(sum(bool((t[:, 4] > 0).any()) for t in scans)),
    }


def _scan(label_path: Path, *, told: bool) -> np.ndarray:
    label = json.loads(label_path.read_text())
    with np.load(label_path.with_suffix(".npz")) as held:
        power = np.asarray(held["power_w_m2"], np.float64)
    coach, rows = ScanCoach(label["turns_per_s"] > TURNS_PER_S if told else None), []
    for first in range(0, len(power) - STEP + 1, STEP):
        said: CoachAnswer = coach.push(power[first : first + STEP])
        if np.isfinite(said.shortfall_db):
            gap = max(0.0, 10 * np.log10(label["true_max_usual_w_m2"] / said.highest))
            rows.append(
                (
                    gap,
                    said.shortfall_db,
                    said.low_db,
                    said.high_db,
                    said.enough,
                    said.seconds,
                    said.advice is ScanAdvice.CLOSE,
                )
            )
    return np.array(rows).reshape(-1, 7)


if __name__ == "__main__":
    main()
