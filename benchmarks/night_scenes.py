"""Invented nights with known truth: radio power against time, put through simulated meters, cables and recorders.

    python -m benchmarks.night_scenes DIR [--scenes 12] [--seconds 90] [--seed 0] [--repeat 1]

Writes recordings (FLAC) with a label each, in the layout that `benchmarks.night` reads. Timing of the sources is from the
published standards, envelopes of OFDM signals are exponential about their mean; the detector follows one of three laws,
the cable has a capacitor or not, the gain may drift, noise and hum are those of ordinary recorders. Nothing is fitted to
any recording. ``--repeat`` writes the same sound over and over, so that a long night can be timed.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import firwin, lfilter

F64 = NDArray[np.float64]
Rng = np.random.Generator

POWER_RATE_HZ, SOUND_RATE_HZ = 240_000, 48_000
RESPONSE_S = 8e-6
DISPLAY_STD_DB = 0.3
LOG_RANGE_DB = 45.0


@dataclass(frozen=True)
class NightRig:
    """Meter, cable and recorder of one scene.

    Attributes
    ----------
    law : str
    coupling_hz : float
    drift_db : float
        Change of the recorder's gain from begin to end [dB].
    noise_db, hum_db : float
        Under the highest voltage [dB].
    """

    law: str
    coupling_hz: float
    drift_db: float
    noise_db: float
    hum_db: float


def night_scene(seed: int, seconds: int) -> tuple[F64, dict[str, Any]]:
    """Sound at `SOUND_RATE_HZ`, full scale 1, and its label."""
    rng = np.random.default_rng([seed, 19])
    rig = NightRig(
        str(rng.choice(["square", "linear", "log"])), float(rng.choice([0.0, 10.0, 20.0, 40.0])),
        float(rng.choice([0.0, rng.normal(0.0, 0.5)])), float(rng.uniform(-55, -38)), float(rng.uniform(-70, -40)),
    )  # fmt: skip
    names = [n for n in SOURCES if rng.random() < 0.55] or ["dect"]
    level = {n: 10 ** rng.normal(-0.3, 0.35) for n in names}
    course = {n: _wander(rng, seconds) * level[n] for n in names}
    memory = {n: {"at": float(rng.uniform(0, 0.1))} for n in names}
    by_second: dict[str, list[float]] = {n: [] for n in names}
    bursts: dict[str, list[float | None]] = {n: [] for n in names}
    sound, watched, state = [], [], np.zeros(1)
    taps = firwin(257, 14_000.0, fs=POWER_RATE_HZ)
    filter_state = np.zeros(256)
    pole = np.exp(-1 / (RESPONSE_S * POWER_RATE_HZ))
    for second in range(seconds):
        total = np.zeros(POWER_RATE_HZ)
        for name in names:
            height = np.interp(np.arange(POWER_RATE_HZ) / POWER_RATE_HZ, [0, 1], course[name][second : second + 2])
            on = SOURCES[name](rng, second, memory[name]) * height
            total += on
            by_second[name].append(float(on.mean()))
            bursts[name].append(float(on[on > 0].mean()) if (on > 0).any() else None)
        shown, state = lfilter([1 - pole], [1, -pole], total, zi=state)
        watched.append(shown.reshape(-1, 24).max(axis=1))
        volts, filter_state = lfilter(taps, [1.0], _volts(shown, rig.law), zi=filter_state)
        sound.append(volts[:: POWER_RATE_HZ // SOUND_RATE_HZ])
    scale = 10 ** rng.uniform(-6, -3)
    samples = _recorded(rng, np.concatenate(sound), rig)
    whole = np.sum([by_second[n] for n in names], axis=0)
    label = {
        "channel": 0, "sample_rate_hz": SOUND_RATE_HZ, "seconds": seconds,
        "detector_law": rig.law if rng.random() < 0.5 else None, "coupling_hz": rig.coupling_hz,
        "display": _display(rng, np.array(watched), whole, scale, seconds),
        "level_w_m2": (whole * scale).tolist(), "peak_by_second_w_m2": [float(w.max() * scale) for w in watched],
        "technologies": {n: {"level_w_m2": (np.array(by_second[n]) * scale).tolist(),
                             "burst_w_m2": [None if b is None else b * scale for b in bursts[n]]} for n in names},
        "silent_in_sound_w_m2": [0.0] * seconds, "rig": vars(rig),
    }  # fmt: skip
    return samples, label


def _wander(rng: Rng, seconds: int) -> F64:
    slow = np.interp(
        np.arange(seconds + 1), np.arange(0, seconds + 30, 15.0), rng.normal(0, 0.8, int(seconds / 15) + 2)
    )
    if rng.random() < 0.5:
        begin = int(rng.integers(0, seconds))
        slow[begin : begin + int(rng.uniform(4, 40))] -= rng.uniform(4, 8)
    level = 10 ** (slow / 10)
    if rng.random() < 0.3:
        level[: int(rng.integers(5, seconds))] = 0.0
    return np.asarray(level)


def _base(rng: Rng, second: int, memory: dict[str, float]) -> F64:
    """Idle cordless base: one burst every 10 ms (ETSI EN 300 175-2)."""
    moment = np.arange(POWER_RATE_HZ) / POWER_RATE_HZ
    return np.asarray((np.mod(moment - memory["at"], 0.010) < 384e-6).astype(float))


def _beacon(rng: Rng, second: int, memory: dict[str, float]) -> F64:
    """Beacons every 102.4 ms (IEEE Std 802.11), some 2 ms long, OFDM or DSSS envelope."""
    moment = np.arange(POWER_RATE_HZ) / POWER_RATE_HZ + second
    return np.asarray((np.mod(moment - memory["at"], 0.1024) < 1.9e-3).astype(float))


def _data(rng: Rng, second: int, memory: dict[str, float]) -> F64:
    """Wireless data in sessions: frames of 0.1 to 1.7 ms with acknowledgements of half the power."""
    memory["on"] = float(rng.random() < (0.97 if memory.get("on") else 0.05))
    out = np.zeros(POWER_RATE_HZ)
    at = int(rng.uniform(0, 0.02) * POWER_RATE_HZ)
    while memory["on"] and at < POWER_RATE_HZ:
        frame, reply = int(rng.uniform(1e-4, 1.7e-3) * POWER_RATE_HZ), int(5e-5 * POWER_RATE_HZ)
        out[at : at + frame] = rng.exponential(1.0, len(out[at : at + frame]))
        at += frame + 4
        out[at : at + reply] = 0.5
        at += reply + int(rng.exponential(0.004) * POWER_RATE_HZ)
    return out


def _downlink(rng: Rng, second: int, memory: dict[str, float]) -> F64:
    """Mobile downlink: subframes of 1 ms with data or with reference symbols only (3GPP TS 36.211)."""
    load = float(np.clip(memory.get("load", 0.3) + rng.normal(0, 0.08), 0.05, 0.85))
    memory["load"] = load
    busy = rng.random(1000) < load
    symbol = np.tile(np.repeat([1.0, 0, 0, 0, 1.0, 0, 0], [34, 34, 35, 34, 34, 34, 35]), 2000)[:POWER_RATE_HZ] * 0.25
    part = np.repeat(busy, POWER_RATE_HZ // 1000)
    return np.asarray(np.where(part, 1.0, symbol) * rng.exponential(1.0, POWER_RATE_HZ))


def _telegrams(rng: Rng, second: int, memory: dict[str, float]) -> F64:
    """A smart meter's telegram of 60 ms, every 6 s on average (EN 13757-4)."""
    out = np.zeros(POWER_RATE_HZ)
    if rng.random() < 1 / 6:
        at = int(rng.uniform(0, 0.93) * POWER_RATE_HZ)
        out[at : at + int(0.06 * POWER_RATE_HZ)] = 1.0
    return out


SOURCES = {
    "dect": _base,
    "wifi_beacon": _beacon,
    "wifi_data": _data,
    "lte_fdd": _downlink,
    "smart_meter": _telegrams,
}


def _volts(power: F64, law: str) -> F64:
    if law == "square":
        return power / 8
    if law == "linear":
        return np.sqrt(power / 8)
    return np.asarray(np.log10(1 + power / 8 * 10 ** (LOG_RANGE_DB / 10)) / (LOG_RANGE_DB / 10))


def _recorded(rng: Rng, volts: F64, rig: NightRig) -> F64:
    if rig.coupling_hz:
        pole = np.exp(-2 * np.pi * rig.coupling_hz / SOUND_RATE_HZ)
        volts = lfilter([(1 + pole) / 2, -(1 + pole) / 2], [1, -pole], volts)
    count = len(volts)
    top = float(np.abs(volts).max())
    gain = 10 ** (rig.drift_db / 20 * np.linspace(-0.5, 0.5, count))
    moment = np.arange(count) / SOUND_RATE_HZ
    hum = sum(np.sin(2 * np.pi * 50 * k * moment + rng.uniform(0, 6)) / k for k in (1, 2, 3))
    noisy = volts * gain + top * (
        10 ** (rig.noise_db / 20) * rng.standard_normal(count) + 10 ** (rig.hum_db / 20) * hum
    )
    return np.asarray(noisy / np.abs(noisy).max() * 10 ** rng.uniform(-1.2, -0.1))


def _display(rng: Rng, watched: F64, whole: F64, scale: float, seconds: int) -> list[dict[str, float]]:
    flat, rows = watched.ravel(), []
    for at in (30, *([seconds // 2] if seconds > 150 else []), seconds):
        each = len(flat) // seconds
        top = float(flat[(at - 5) * each : at * each].max())
        held = float(flat[(at - 30) * each : at * each].max())
        mean = float(whole[at - 2 : at].mean())
        if mean <= 0:
            continue
        misread = 10 ** (rng.normal(0, DISPLAY_STD_DB, 3) / 10)
        average, peak, high = np.maximum.accumulate(np.array([mean, top, held]) * misread * scale)
        rows.append({"at_s": float(at), "peak_w_m2": peak, "held_w_m2": high, "average_w_m2": average,
                     "peak_from_s": at - 5.0, "held_from_s": at - 30.0, "average_from_s": at - 2.0})  # fmt: skip
    return rows


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("folder", type=Path)
    options.add_argument("--scenes", type=int, default=12)
    options.add_argument("--seconds", type=int, default=90)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--repeat", type=int, default=1)
    asked = options.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    for seed in range(asked.seed, asked.seed + asked.scenes):
        samples, label = night_scene(seed, asked.seconds)
        if not label["display"]:
            continue
        name = f"scene_{seed:03d}.flac"
        with soundfile.SoundFile(str(asked.folder / name), "w", SOUND_RATE_HZ, 1, subtype="PCM_16") as file:
            for _ in range(asked.repeat):
                file.write(samples.astype(np.float32))
        (asked.folder / f"scene_{seed:03d}.json").write_text(json.dumps({"recording": name, **label}))


if __name__ == "__main__":
    main()
