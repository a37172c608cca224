"""Hear cellular signals that are made as waveforms, not by the ear's own simulator, and tell what was taken for what.

    python -m benchmarks.signals_waveforms [--disguise call] [--seconds 4] [--per-file] [--keep DIR]

Every case is a downlink on the standard's resource grid (``benchmarks.waveforms``), alone or two together, at loads from
idle to full, through detector, coupling and noise. ``--keep`` leaves sounds and labels in a folder for ``benchmarks.signals --data``.
"""

from __future__ import annotations

import argparse
import json
import zlib
from pathlib import Path

import numpy as np

from benchmarks.signals_codecs import disguise, disguises
from benchmarks.signals_scoring import Score, count_answer, summary
from benchmarks.waveforms import LAYOUTS, RATE_HZ, gsm, lte, nr, umts
from roomfield.signals.hearing import CLAIM

FDD = dict(spacing=15, blocks=52, pattern="D")
TENS = "DDDDDDDSUU"
CASES: dict[str, list] = {
    "lte_fdd idle": [("lte_fdd", lte, dict(load=0.02))],
    "lte_fdd idle, 4 ports, narrow receiver": [("lte_fdd", lte, dict(blocks=100, seen=25, load=0.05, ports=4))],
    "lte_fdd light, 1 port": [("lte_fdd", lte, dict(load=0.12, ports=1))],
    "lte_fdd medium": [("lte_fdd", lte, dict(blocks=25, load=0.4))],
    "lte_fdd medium, 6 blocks of 100": [("lte_fdd", lte, dict(blocks=100, seen=6, load=0.4))],
    "lte_fdd busy": [("lte_fdd", lte, dict(blocks=25, load=0.85))],
    "lte_fdd busy, long spells": [("lte_fdd", lte, dict(load=0.75, spell=40))],
    "lte_fdd full": [("lte_fdd", lte, dict(load=1.0, boost_db=3))],
    "lte_tdd 0 idle": [("lte_tdd", lte, dict(layout=LAYOUTS[0], load=0.03))],
    "lte_tdd 1 busy, handset near": [("lte_tdd", lte, dict(blocks=25, layout=LAYOUTS[1], load=0.8, uplink_db=-6))],
    "lte_tdd 2 idle, 6 blocks of 100": [("lte_tdd", lte, dict(blocks=100, seen=6, layout=LAYOUTS[2], load=0.05))],
    "lte_tdd 2 medium": [("lte_tdd", lte, dict(layout=LAYOUTS[2], load=0.45))],
    "lte_tdd 2 full": [("lte_tdd", lte, dict(layout=LAYOUTS[2], load=1.0))],
    "lte_tdd 3 medium": [("lte_tdd", lte, dict(blocks=25, layout=LAYOUTS[3], load=0.5, special=9))],
    "lte_tdd 5 busy": [("lte_tdd", lte, dict(layout=LAYOUTS[5], load=0.8, special=12))],
    "lte_tdd 6 light": [("lte_tdd", lte, dict(blocks=25, layout=LAYOUTS[6], load=0.2))],
    "nr_tdd idle": [("nr_tdd", nr, dict())],
    "nr_tdd idle, 4 beams": [("nr_tdd", nr, dict(beams=4))],
    "nr_tdd idle, 10 ms": [("nr_tdd", nr, dict(period_ms=10, beams=2))],
    "nr_tdd light": [("nr_tdd", nr, dict(load=0.12, beams=4))],
    "nr_tdd medium": [("nr_tdd", nr, dict(load=0.45))],
    "nr_tdd medium, ten slots": [("nr_tdd", nr, dict(load=0.45, pattern=TENS, beams=4))],
    "nr_tdd medium, four slots": [("nr_tdd", nr, dict(load=0.5, pattern="DDSU"))],
    "nr_tdd busy": [("nr_tdd", nr, dict(load=0.85, beams=2, spell=15))],
    "nr_tdd busy, ten slots": [("nr_tdd", nr, dict(load=0.85, pattern=TENS, beams=4))],
    "nr_tdd full": [("nr_tdd", nr, dict(load=1.0, beams=4))],
    "nr_tdd medium, handset near": [("nr_tdd", nr, dict(load=0.4, beams=2, uplink_db=-10))],
    "nr_fdd idle": [("nr_fdd", nr, FDD)],
    "nr_fdd light": [("nr_fdd", nr, FDD | dict(load=0.12))],
    "nr_fdd medium": [("nr_fdd", nr, FDD | dict(load=0.45))],
    "nr_fdd busy": [("nr_fdd", nr, FDD | dict(load=0.85, spell=12))],
    "nr_fdd full": [("nr_fdd", nr, FDD | dict(load=1.0, beams=2))],
    "umts light": [("umts", umts, dict(load=0.2))],
    "umts busy": [("umts", umts, dict(load=0.8))],
    "gsm call": [("gsm", gsm, dict())],
    "gsm base, all slots": [("gsm", gsm, dict(slots=range(8), base=True, dip_db=-15))],
    "gsm base, shallow dips": [("gsm", gsm, dict(slots=range(8), base=True, dip_db=-6))],
    "gsm + lte_fdd": [("gsm", gsm, dict()), ("lte_fdd", lte, dict(blocks=25))],
    "gsm + lte_tdd": [("gsm", gsm, dict()), ("lte_tdd", lte, dict(blocks=25, layout=LAYOUTS[2], load=0.3))],
    "gsm base + lte_fdd": [("gsm", gsm, dict(slots=range(8), base=True)), ("lte_fdd", lte, dict(blocks=25))],
    "lte_fdd + nr_tdd": [("lte_fdd", lte, dict(blocks=25, load=0.3)), ("nr_tdd", nr, dict(load=0.3, beams=2))],
    "lte_fdd + lte_tdd": [("lte_fdd", lte, dict(blocks=25)), ("lte_tdd", lte, dict(blocks=25, layout=LAYOUTS[2]))],
    "umts + lte_fdd": [("umts", umts, dict()), ("lte_fdd", lte, dict(blocks=25, load=0.05))],
}  # fmt: skip
SNRS_DB = (20.0, 24.0, 28.0, 32.0)


def recording(name: str, seconds: float) -> tuple[np.ndarray, dict]:
    """Sound at 48 kHz of one case, and its label in the layout of labelled recordings."""
    from roomfield.signals.simulation.audio_scene import SimulatedMeter, _audio_noise, _peak, couple, detect

    rng = np.random.default_rng(zlib.crc32(name.encode()))
    count, parts = int(seconds * RATE_HZ), []
    for _, make, how in CASES[name]:
        course = make(rng, seconds + 0.3, **how)
        at = np.arange(count) * (1 + rng.normal(0, 1e-6)) + rng.uniform(0, 0.2) * RATE_HZ
        course = np.interp(at, np.arange(course.size), course)
        parts.append((course / np.quantile(course, 0.999)).astype(np.float32))
    meter = SimulatedMeter(str(rng.choice(["square", "square", "linear", "log"])))
    volts = couple(detect(np.sum(parts, axis=0), meter), meter, RATE_HZ)
    noise = 10 ** (-float(rng.choice(SNRS_DB)) / 20)
    audio = (volts / _peak(volts))[::2]
    audio = audio + noise * _audio_noise(rng, audio.size)
    technologies = [technology for technology, _, _ in CASES[name]]
    label = {"technologies": sorted(set(technologies)), "components": [{"tech": t} for t in technologies]}
    return (0.3 * audio / np.abs(audio).max()).astype(np.float32), label


def run(path: str, seconds: float, per_file: bool, keep: Path | None) -> dict:
    import soundfile

    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather
    from roomfield.signals.tones import judgement

    score, taken_for = Score(), {}
    for name in CASES:
        samples, label = recording(name, seconds)
        if keep:
            stem = name.replace(",", "").replace(" ", "_")
            soundfile.write(str(keep / f"{stem}.flac"), samples, RATE_HZ // 2)
            (keep / f"{stem}.json").write_text(json.dumps(label | {"file": f"{stem}.flac"}))
        samples, rate = disguise(path, samples, RATE_HZ / 2)[:2] if path else (samples, RATE_HZ / 2)
        chances = judgement(gather(condition(np.asarray(samples, np.float32), rate))).chances
        claimed = {n for n, p in chances.items() if p >= CLAIM}
        count_answer(score, label, chances, claimed)
        row = taken_for.setdefault("+".join(label["technologies"]), {})
        for answer in sorted(claimed) or ["nothing"]:
            row[answer] = row.get(answer, 0) + 1
        if per_file:
            best = sorted(chances.items(), key=lambda item: -item[1])[:3]
            print(f"{'ok ' if claimed == set(label['technologies']) else 'BAD'} {name:42s} {best}", flush=True)
    return {"path": path, "files": len(CASES), "taken_for": taken_for, "score": summary(score)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--disguise", default="", choices=disguises())
    parser.add_argument("--seconds", type=float, default=4.0)
    parser.add_argument("--per-file", action="store_true")
    parser.add_argument("--keep", type=Path, help="folder for sounds and labels")
    options = parser.parse_args()
    answer = run(options.disguise, options.seconds, options.per_file, options.keep)
    for truth, row in answer["taken_for"].items():
        print(f"{truth:18s} {row}")
    score = answer.pop("score")
    print(json.dumps(answer | {key: score[key] for key in ("macro_f1", "micro_f1", "brier")}))


if __name__ == "__main__":
    main()
