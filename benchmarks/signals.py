"""Score the ear on labelled recordings, or time it.

    python -m benchmarks.signals --data DIR [--per-file]
    python -m benchmarks.signals --simulated 900 [--seed 20261125] [--processes 2]
    python -m benchmarks.signals --speed [--minutes 60]

``--simulated`` scores fresh invented scenes, and a third as many without a transmitter, of a seed that no fit has seen.
The scoring's last line is one JSON object. A technology counts as found at a probability of one half or more.
``macro_f1`` is over all labels; ``macro_f1_audible`` does not count as missed a labelled technology of which no component
is audible: 3 dB of peak excursion over the audio noise, and a rate that the label does not rank as merely weak.
"""

from __future__ import annotations

import argparse
import json
import resource
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from roomfield.signals.hearing import CLAIM

AUDIBLE_DB = 3.0
RATE_MATCH = 1500e-6


@dataclass
class Tally:
    hits: int = 0
    false: int = 0
    missed: int = 0
    missed_audible: int = 0

    def row(self, audible: bool = False) -> dict:
        missed = self.missed_audible if audible else self.missed
        precision = self.hits / max(self.hits + self.false, 1)
        recall = self.hits / max(self.hits + missed, 1)
        f1 = 2 * self.hits / max(2 * self.hits + self.false + missed, 1)
        return {
            "precision": round(precision, 3),
            "recall": round(recall, 3),
            "f1": round(f1, 3),
            "n": self.hits + missed,
        }


@dataclass
class Score:
    tallies: dict = field(default_factory=dict)
    rate_errors_ppm: list = field(default_factory=list)
    width_errors: list = field(default_factory=list)
    squares: list = field(default_factory=list)
    false_on_negatives: int = 0
    negatives: int = 0
    sound_s: float = 0.0
    worked_s: float = 0.0

    def tally(self, name: str) -> Tally:
        return self.tallies.setdefault(name, Tally())


def labelled(folder: Path):
    """Pairs of label and sound file of a folder in the layout of LABELS.md."""
    for path in sorted(folder.rglob("*.json")):
        label = json.loads(path.read_text())
        if not isinstance(label, dict) or "technologies" not in label:
            continue
        stem = Path(label.get("file", path.name)).name
        sound = path.with_name(stem)
        if not sound.exists():
            sound = next((p for p in path.parent.glob(path.stem + ".*") if p.suffix != ".json"), sound)
        yield label, sound


def _audible(label: dict, name: str) -> bool:
    """Whether the label says that a listener can hear the technology.

    One component must reach the level, and its rate must be more than weak: a component whose label lists rates but
    none of rank primary or jittered is there but hard to hear.
    """
    return any(_component_audible(c) for c in label.get("components", []) if c["tech"] == name) or not any(
        c["tech"] == name for c in label.get("components", [])
    )


def _component_audible(component: dict) -> bool:
    level = component.get("snr_peak_env_db")
    ranks = {p["rank"] for p in component.get("periods", [])}
    return (level is None or level >= AUDIBLE_DB) and (not ranks or bool(ranks & {"primary", "jittered"}))


def _rate_errors(label: dict, hearing) -> list[float]:
    """Relative error of the nearest reported rate for each primary rate of each technology found [ppm]."""
    rates = {h.name: [r.frequency_hz for r in h.rates] for h in hearing.claimed}
    errors = []
    for component in label.get("components", []):
        for period in component.get("periods", []):
            mine = rates.get(component["tech"])
            if period["rank"] != "primary" or not mine:
                continue
            error = min(abs(hz / period["hz"] - 1) for hz in mine)
            if error < RATE_MATCH:
                errors.append(error * 1e6)
    return errors


def _width_errors(label: dict, hearing) -> list[float]:
    widths = {h.name: h.burst_width_s for h in hearing.claimed if h.burst_width_s}
    errors = []
    for component in label.get("components", []):
        truth = component.get("burst_width_us")
        if truth and component["tech"] in widths:
            errors.append(abs(widths[component["tech"]] * 1e6 / truth["median"] - 1))
    return errors


def count_answer(score: Score, label: dict, chances: dict, found: set) -> None:
    """Add what was claimed of one recording to the tallies."""
    truth = set(label["technologies"])
    for name in sorted(set(chances) | truth):
        score.squares.append((chances.get(name, 0.0) - (name in truth)) ** 2)
        if name in truth and name in found:
            score.tally(name).hits += 1
        elif name in found:
            score.tally(name).false += 1
        elif name in truth:
            score.tally(name).missed += 1
            score.tally(name).missed_audible += _audible(label, name)
    if not truth:
        score.negatives += 1
        score.false_on_negatives += len(found)


def score_file(score: Score, label: dict, sound: Path) -> str:
    """Hear one file, add to the score, and say in one line what came out."""
    from roomfield.signals import analyse

    begin = time.perf_counter()
    hearing = analyse(sound)
    score.worked_s += time.perf_counter() - begin
    score.sound_s += hearing.duration_s
    truth = set(label["technologies"])
    chances = {h.name: h.probability for h in hearing.technologies}
    found = {h.name for h in hearing.claimed}
    count_answer(score, label, chances, found)
    score.rate_errors_ppm += _rate_errors(label, hearing)
    score.width_errors += _width_errors(label, hearing)
    mark = "ok " if found == truth else "BAD"
    shown = " ".join(f"{h.name}={h.probability:.2f}" for h in hearing.technologies if h.probability >= 0.1)
    return (
        f"{mark} {sound.name:28s} truth: {','.join(sorted(truth)) or '-':45s} heard: {shown or '-'} | {hearing.verdict}"
    )


def summary(score: Score) -> dict:
    present = {n: t for n, t in score.tallies.items() if t.hits + t.missed > 0}
    audible = [t.row(audible=True) for t in present.values() if t.hits + t.missed_audible > 0]

    def median(values):
        return round(float(np.median(values)), 4) if values else None

    return {
        "macro_f1": round(float(np.mean([t.row()["f1"] for t in present.values()])), 4) if present else None,
        "macro_f1_audible": round(float(np.mean([r["f1"] for r in audible])), 4) if audible else None,
        "false_on_negatives": score.false_on_negatives,
        "rate_error_ppm_median": median(score.rate_errors_ppm),
        "burst_width_error_median": median(score.width_errors),
        "brier": round(float(np.mean(score.squares)), 5) if score.squares else None,
        "real_time_factor": round(score.worked_s / max(score.sound_s, 1e-9), 5),
        "per_technology": {n: t.row() for n, t in sorted(score.tallies.items())},
        "negatives": score.negatives,
        "rates_scored": len(score.rate_errors_ppm),
    }


def run_scoring(folder: Path, per_file: bool) -> int:
    from roomfield.signals import warm_up

    warm_up()
    score, count = Score(), 0
    for label, sound in labelled(folder):
        line = score_file(score, label, sound)
        count += 1
        if per_file:
            print(line, flush=True)
    if count == 0:
        print(json.dumps({"error": f"no labelled recordings in {folder}"}))
        return 2
    print(json.dumps(summary(score) | {"files": count}))
    return 0


def hear_scene(job: tuple[int, int, bool]) -> tuple[dict, dict]:
    """Label of one invented scene in the layout of LABELS.md, and the probabilities that the ear gives."""
    from roomfield.signals.classifier import probabilities
    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather, vector
    from roomfield.signals.simulation.audio_scene import negative_scene, random_scene

    index, seed, negative = job
    scene = (negative_scene if negative else random_scene)(index, seed)
    parts = [
        {"tech": part.technology, "snr_peak_env_db": level}
        for part, level in zip(scene.components, scene.snr_db, strict=True)
    ]
    label = {"technologies": sorted({part["tech"] for part in parts}), "components": parts}
    return label, probabilities(vector(gather(condition(scene.samples, scene.sample_rate_hz))))


def run_simulated(count: int, seed: int, processes: int) -> int:
    """Score fresh scenes: all, those of one component, and mixtures, each with the same scenes without a transmitter."""
    jobs = [(i, seed, False) for i in range(count)] + [(i, seed, True) for i in range(count // 3)]
    with ProcessPoolExecutor(processes) as pool:
        heard = list(pool.map(hear_scene, jobs, chunksize=10))
    scores = {"all": Score(), "single": Score(), "mixture": Score()}
    for label, chances in heard:
        parts = len(label["components"])
        for kind in ("all", *(("single",) if parts <= 1 else ()), *(("mixture",) if parts != 1 else ())):
            count_answer(scores[kind], label, chances, {n for n, p in chances.items() if p >= CLAIM})
    every = summary(scores["all"])
    keys = ("macro_f1", "macro_f1_audible", "false_on_negatives", "negatives", "brier", "per_technology")
    answer = {key: every[key] for key in keys}
    answer |= {f"macro_f1_audible_{kind}": summary(scores[kind])["macro_f1_audible"] for kind in ("single", "mixture")}
    print(json.dumps(answer | {"seed": seed, "files": len(heard)}))
    return 0


def make_long_file(path: Path, minutes: float) -> None:
    """A long recording of changing emitters, written block by block."""
    import soundfile

    from roomfield.signals.simulation.audio_scene import compose

    casts = (["dect", "wifi_beacon"], ["lte_fdd"], ["gsm", "nr_tdd"], [], ["bluetooth_le_adv"])
    pieces = [compose(np.random.default_rng(i), cast, duration_s=30.0).samples for i, cast in enumerate(casts)]
    with soundfile.SoundFile(str(path), "w", 48000, 1, subtype="PCM_16") as file:
        for i in range(int(np.ceil(minutes * 2))):
            file.write(pieces[i % len(pieces)])


def baseline(path: Path) -> tuple[float, float]:
    """Seconds for reading the file and for one spectrogram of it, in blocks of a minute."""
    import soundfile
    from scipy.signal import spectrogram

    begin = time.perf_counter()
    for _ in soundfile.blocks(str(path), 48000 * 60, dtype="float32"):
        pass
    read = time.perf_counter() - begin
    begin = time.perf_counter()
    for part in soundfile.blocks(str(path), 48000 * 60, dtype="float32"):
        spectrogram(part, 48000, nperseg=1024)
    return read, time.perf_counter() - begin - read


def run_speed(minutes: float) -> int:
    from roomfield.signals import analyse, warm_up

    warm_up()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        make_long_file(path, minutes)
        read, spectrum = baseline(path)
        begin = time.perf_counter()
        hearing = analyse(path)
        worked = time.perf_counter() - begin
    own = resource.getrusage(resource.RUSAGE_SELF)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(json.dumps({
        "minutes": minutes, "analysed_s": round(worked, 2), "read_s": round(read, 2), "spectrogram_s": round(spectrum, 2),
        "ratio_to_read_and_spectrogram": round(worked / (read + spectrum), 2),
        "cpu_s": round(own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime, 1),
        "memory_mb_main": round(own.ru_maxrss / 1024), "memory_mb_largest_worker": round(children.ru_maxrss / 1024),
        "claimed": [h.name for h in hearing.claimed],
    }))  # fmt: skip
    return 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, help="folder of labelled recordings")
    parser.add_argument("--per-file", action="store_true")
    parser.add_argument("--simulated", type=int, help="score so many invented scenes")
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--minutes", type=float, default=60.0)
    options = parser.parse_args()
    if options.speed:
        return run_speed(options.minutes)
    if options.simulated:
        return run_simulated(options.simulated, options.seed, options.processes)
    if options.data is None:
        parser.error("give --data DIR, --simulated N or --speed")
    return run_scoring(options.data, options.per_file)


if __name__ == "__main__":
    raise SystemExit(main())
