"""Level by second from the sound of a meter, against known truth.

    python -m benchmarks.night --data DIR [--noise DB] [--hum DB] [--drift DB]

DIR holds recordings with a label each: levels by second, technologies, and what the display showed. The options
spoil the recordings on the way in: noise and mains hum relative to the highest burst, a gain that drifts over the
recording. The peer is the plain mean square of each second, scaled by the display's averages. Last line: one JSON object.
"""

from __future__ import annotations

import argparse
import json
import resource
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from roomfield.signals.night.display import display_reading
from roomfield.signals.night.level_by_second import LevelBySecond, NightSeries, night_series
from roomfield.signals.night.second_gatherer import NightAudio
from roomfield.signals.night.shares import MANNERS
from roomfield.signals.night.sparse_hearing import heard_in_night
from roomfield.signals.night.voltage import Law

COMPARABLE = 0.1
FAINTEST = 1e-3
"""A level of nought is scored as this part of the whole."""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--data", type=Path, required=True)
    options.add_argument("--noise", type=float, default=None, help="white noise under the highest burst [dB]")
    options.add_argument("--hum", type=float, default=None, help="50 Hz and harmonics under the highest burst [dB]")
    options.add_argument("--drift", type=float, default=0.0, help="change of gain from begin to end [dB]")
    asked = options.parse_args()
    scores = [_score(label, asked) for label in sorted(asked.data.glob("*.json"))]
    whole = np.concatenate([s["level"] for s in scores])
    parts = np.concatenate([s["technology"] for s in scores])
    print(json.dumps({
        "level_rms_db": round(float(np.sqrt(np.mean(whole**2))), 3),
        "coverage_90": round(float(np.mean(np.concatenate([s["held"] for s in scores]))), 3),
        "technology_rms_db": round(float(np.sqrt(np.mean(parts**2))), 3) if len(parts) else None,
        "technology_coverage_90": round(float(np.mean(np.concatenate([s["technology_held"] for s in scores]))), 3) if len(parts) else None,
        "real_time_factor": round(sum(s["cpu"] for s in scores) / sum(s["seconds"] for s in scores), 5),
        "peak_mb": round(scores[0]["peak_mb"]),
        "peer_level_rms_db": round(float(np.sqrt(np.mean(np.concatenate([s["peer"] for s in scores]) ** 2))), 3),
    }))  # fmt: skip


def _score(label_path: Path, asked: argparse.Namespace) -> dict[str, Any]:
    label = json.loads(label_path.read_text())
    begin = time.process_time()
    source, rate = _spoiled(label_path.parent / label["recording"], asked)
    heard = heard_in_night(source, label.get("channel", 0), sample_rate_hz=rate)
    audio = NightAudio(
        label["coupling_hz"], Law(label["detector_law"]) if label["detector_law"] else None, label.get("channel", 0)
    )
    found = night_series(source, [display_reading(row) for row in label["display"]], heard, audio, sample_rate_hz=rate)
    cpu, peak_mb = time.process_time() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    n = min(found.seconds, label["seconds"])
    truth = np.array(label["level_w_m2"][:n]) - np.array(label.get("silent_in_sound_w_m2") or np.zeros(n))[:n]
    error, held = _against(found.average, truth, n)
    technology, technology_held = _technologies(found, label, truth, n)
    print(f"{label_path.stem}: heard {', '.join(heard)}; law {found.calibration.law} ({found.calibration.law_probability:.2f}); "
          f"level {np.sqrt(np.mean(error**2)):.2f} dB rms, held {held.mean():.2f}; {cpu:.1f} s")  # fmt: skip
    return {"level": error, "held": held, "technology": technology, "technology_held": technology_held, "cpu": cpu,
            "seconds": n, "peak_mb": peak_mb, "peer": _peer(source, rate, label, truth, n)}  # fmt: skip


def _against(found: LevelBySecond, truth: np.ndarray, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Error in seconds that are not silent [dB], and whether the interval holds in each second."""
    level, low, high = found.level_w_m2[:n], found.low_w_m2[:n], found.high_w_m2[:n]
    loud = truth > 0.0
    error = 10 * np.log10(np.maximum(level, FAINTEST * truth)[loud] / truth[loud])
    return error, (truth >= low) & (truth <= high)


def _technologies(
    found: NightSeries, label: dict[str, Any], whole: np.ndarray, n: int
) -> tuple[np.ndarray, np.ndarray]:
    """Seconds in which a technology makes at least a tenth of the whole; one that was not heard counts as nought."""
    errors, held = [], []
    nothing = LevelBySecond(np.zeros(n), np.zeros(n), np.zeros(n))
    for name, part in label["technologies"].items():
        key = next((k for k in found.technologies if _same(name, k)), "")
        names = [each for each in label["technologies"] if key and _same(each, key)] or [name]
        truth = np.sum([label["technologies"][each]["level_w_m2"][:n] for each in names], axis=0)
        series = found.technologies.get(key, nothing)
        audible = (np.array(part["level_w_m2"][:n]) >= COMPARABLE * whole) & (whole > 0.0)
        level = np.maximum(series.level_w_m2[:n], FAINTEST * whole)
        errors.append(10 * np.log10(level[audible] / truth[audible]))
        held.append(((truth >= series.low_w_m2[:n]) & (truth <= series.high_w_m2[:n]))[audible])
        if audible.any():
            print(f"    {name}: {audible.sum()} s, {np.sqrt(np.mean(errors[-1] ** 2)):.2f} dB rms, "
                  f"median {np.median(errors[-1]):.2f}, held {held[-1].mean():.2f}")  # fmt: skip
    return np.concatenate(errors), np.concatenate(held)


def _same(name: str, entry: str) -> bool:
    """Whether a technology belongs to an entry: by name, or because it takes the air in the same manner."""
    return any(MANNERS.get(name) == MANNERS.get(each) for each in entry.split("+"))


def _peer(source: Any, rate: float | None, label: dict[str, Any], truth: np.ndarray, n: int) -> np.ndarray:
    samples, rate = soundfile.read(str(source)) if isinstance(source, Path) else (source, rate)
    samples = samples if samples.ndim == 1 else samples[:, label.get("channel", 0)]
    rows = samples[: n * round(rate)].reshape(n, -1)
    power = np.asarray((rows**2).mean(axis=1), np.float64)
    shown = [(r["average_w_m2"], power[int(min(r["at_s"], n) - 1)]) for r in label["display"] if r.get("average_w_m2")]
    return 10 * np.log10(power * np.exp(np.mean([np.log(a / max(b, 1e-30)) for a, b in shown])) / truth)


def _spoiled(path: Path, asked: argparse.Namespace) -> tuple[Any, float | None]:
    if asked.noise is None and asked.hum is None and asked.drift == 0:
        return path, None
    samples, rate = soundfile.read(str(path), dtype="float32")
    rng, count = np.random.default_rng(1), len(samples)
    top = float(np.quantile(np.abs(samples), 0.9999))
    samples = samples * (10 ** (asked.drift / 20 * np.linspace(-0.5, 0.5, count))).astype(np.float32)
    if asked.noise is not None:
        samples = samples + top * 10 ** (asked.noise / 20) * rng.standard_normal(count).astype(np.float32)
    if asked.hum is not None:
        time_s = np.arange(count) / rate
        waves = sum(np.sin(2 * np.pi * 50 * k * time_s + k) / k for k in (1, 2, 3))
        samples = samples + (top * 10 ** (asked.hum / 20) * waves).astype(np.float32)
    return samples.astype(np.float32), float(rate)


if __name__ == "__main__":
    main()
