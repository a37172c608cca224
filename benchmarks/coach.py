"""What the coach says while a hand scans, against the largest value there is.

    python -m benchmarks.coach --data DIR

DIR holds scans (power against time, 50 values a second) with a label each. At ten moments a second the coach tells how
far the highest so far lies under the largest usual value, with a 90 % interval, and whether it is enough. The peer is a
clock: "enough after 30 s". Last line: one JSON object.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np

from roomfield.signals.coach.scan_advice import ENOUGH_GAP_DB, CoachAnswer, ScanCoach

STEP = 5
CLOCK_S = 30.0


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--data", type=Path, required=True)
    asked = options.parse_args()
    begin = time.process_time()
    told = [_scan(label) for label in sorted(asked.data.glob("*.json"))]
    spent = time.process_time() - begin
    rows = np.concatenate(told)
    gap, middle, low, high, enough, seconds = rows.T
    said, clock = enough > 0, seconds >= CLOCK_S
    print(json.dumps({
        "shortfall_rms_db": round(float(np.sqrt(np.mean((middle - gap) ** 2))), 3),
        "shortfall_coverage_90": round(float(np.mean((gap >= low) & (gap <= high))), 3),
        "said_enough": int(said.sum()),
        "enough_right": round(float(np.mean(gap[said] < ENOUGH_GAP_DB)), 3) if said.any() else None,
        "false_enough": int(np.sum(gap[said] >= ENOUGH_GAP_DB)),
        "scans_that_ended": int(sum(bool((t[:, 4] > 0).any()) for t in told)),
        "clock_right": round(float(np.mean(gap[clock] < ENOUGH_GAP_DB)), 3) if clock.any() else None,
        "ms_per_answer": round(1e3 * spent / len(rows), 2),
    }))  # fmt: skip


def _scan(label_path: Path) -> np.ndarray:
    label = json.loads(label_path.read_text())
    with np.load(label_path.with_suffix(".npz")) as held:
        power = np.asarray(held["power_w_m2"], np.float64)
    coach, rows = ScanCoach(), []
    for first in range(0, len(power) - STEP + 1, STEP):
        said: CoachAnswer = coach.push(power[first : first + STEP])
        if np.isfinite(said.shortfall_db):
            gap = max(0.0, 10 * np.log10(label["true_max_usual_w_m2"] / said.highest))
            rows.append((gap, said.shortfall_db, said.low_db, said.high_db, said.enough, said.seconds))
    return np.array(rows).reshape(-1, 6)


if __name__ == "__main__":
    main()
