"""Fit the weights by which a channel full of packets is told from noise.

    python -m benchmarks.signals_crowded [--crowded 190] [--empty 320]

Saturated channels and recordings without a transmitter are simulated; the same arguments give the same file.
"""

from __future__ import annotations

import argparse
import json
from importlib import resources
from pathlib import Path

import numpy as np

from roomfield.signals.crowded_channel import COUNTED, LEAST_TOP_HZ, PLAIN, crowd_numbers
from roomfield.signals.simulation import audio_scene, packets

LINEAR_C = 2.0
SEED, EMPTY_SEED = 808, 8081
LENGTHS_S = (4, 6, 8, 10, 12)
PATHS = ("gain", "mp3", "band")


def scene(index: int, crowded: bool) -> audio_scene.AudioScene:
    """A saturated channel, or a recording without a transmitter: every third of the wide random set, some on a path."""
    rng = np.random.default_rng([SEED, index])
    if crowded:
        names, low_db, high_db = ("wifi_saturated",), 8, 32
    elif index % 3 == 0:
        return audio_scene.negative_scene(index, EMPTY_SEED, PATHS[index % 9] if index % 9 < len(PATHS) else "")
    else:
        names, low_db, high_db = (), 0, 40
    duration, snr_db = float(rng.choice(LENGTHS_S)), float(rng.uniform(low_db, high_db))
    clean = crowded and bool(rng.random() < 0.6)
    return audio_scene.compose(rng, names, duration_s=duration, snr_db=snr_db, clean=clean)


def evidence(index: int, crowded: bool) -> dict[str, float]:
    """Numbers of one scene."""
    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather, vector

    made = scene(index, crowded)
    return vector(gather(condition(made.samples, made.sample_rate_hz)))


def fit(rows: list[dict[str, float]], truth: list[bool]) -> dict:
    """Weights and offset of the plain numbers [log odds]."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    whole = [10 ** row["band.top"] >= LEAST_TOP_HZ for row in rows]
    matrix = np.array([crowd_numbers(row) for row, keep in zip(rows, whole, strict=True) if keep])
    answer = np.array([value for value, keep in zip(truth, whole, strict=True) if keep])
    line = make_pipeline(StandardScaler(), LogisticRegression(C=LINEAR_C, max_iter=2000)).fit(matrix, answer)
    scaler, model = line[0], line[1]
    weights = model.coef_[0] / scaler.scale_
    offset = float(model.intercept_[0] - weights @ scaler.mean_)
    return {
        "made_by": "benchmarks/signals_crowded.py", "numbers": [*COUNTED, *PLAIN],
        "weights": [round(float(w), 5) for w in weights], "offset": round(offset, 5),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--crowded", type=int, default=190)
    parser.add_argument("--empty", type=int, default=320)
    options = parser.parse_args()
    audio_scene.SOURCES["wifi_saturated"] = packets.saturated_channel
    jobs = [(i, kind) for kind, count in ((True, options.crowded), (False, options.empty)) for i in range(count)]
    document = fit([evidence(*job) for job in jobs], [kind for _, kind in jobs])
    out = Path(str(resources.files("roomfield.signals"))) / "data" / "crowded_channel.json"
    out.write_text(json.dumps(document, indent=1) + "\n")
    print(out)


if __name__ == "__main__":
    main()
