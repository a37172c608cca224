"""Score the ear on labelled recordings, or time it.

    python -m benchmarks.signals --data DIR [--per-file] [--disguise mp3]
    python -m benchmarks.signals --simulated 900 [--seed 20261125] [--processes 2] [--disguise 8k]
    python -m benchmarks.signals --pulses 200 [--seed 20261125] [--disguise call]
    python -m benchmarks.signals --rates 300 [--seed 20261125] [--disguise narrow]
    python -m benchmarks.signals --live DIR
    python -m benchmarks.signals --speed [--minutes 60]

``--disguise`` sends every recording of the folder on a path that recordings take (codecs, low rates, a narrow band, gain
riding, a telephone's socket or line, loudspeaker and room, a wrong clock; ``narrow`` draws one that leaves less than 6 kHz)
before it is heard. ``--simulated`` scores fresh
invented scenes, and a third as many without a transmitter, of a seed that no fit has seen; ``--pulses`` counts how many
pulse trains of exact rates outside the table are given a name; ``--rates`` tells whether printed uncertainties hold;
``--live`` plays labelled recordings to the live ear and tells after how many seconds of sound it first names what is there.
The scoring's last line is one JSON object. ``macro_f1`` is over all technologies labelled or claimed; ``macro_f1_audible``
does not count as missed a labelled technology of which no component is audible: 3 dB of peak excursion over the audio
noise, and a rate that the label does not rank as merely weak.
"""

from __future__ import annotations

import argparse
import json
import resource
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from benchmarks.signals_codecs import disguise, disguises
from benchmarks.signals_rates import run_rates
from benchmarks.signals_scoring import Score, count_answer, labelled, score_file, summary
from roomfield.signals.hearing import CLAIM

LIVE_CHUNK_S = 0.2


def disguised(label: dict, sound: Path, path: str, folder: Path) -> tuple[dict, Path]:
    """The recording after a path, in another folder, and its label; a wrong clock moves the label's rates."""
    import soundfile

    samples, rate = soundfile.read(str(sound), dtype="float32")
    samples = samples if samples.ndim == 1 else samples.mean(1)
    changed, new_rate, stretch = disguise(path, np.asarray(samples, np.float32), float(rate))
    target = folder / f"{sound.stem}.wav"
    soundfile.write(str(target), changed, round(new_rate), subtype="FLOAT")
    label = json.loads(json.dumps(label))
    for component in label.get("components", []):
        for period in component.get("periods", []):
            period["hz"] *= stretch
    return label, target


def _recordings(folder: Path, path: str, scratch: Path) -> Iterator[tuple[dict, Path]]:
    for label, sound in labelled(folder):
        yield disguised(label, sound, path, scratch) if path else (label, sound)


def run_scoring(folder: Path, per_file: bool, path: str = "") -> int:
    with tempfile.TemporaryDirectory() as scratch:
        return _score(_recordings(folder, path, Path(scratch)), folder, per_file)


def _score(recordings: Iterator[tuple[dict, Path]], folder: Path, per_file: bool) -> int:
    from roomfield.signals import warm_up

    warm_up()
    score, count = Score(), 0
    for label, sound in recordings:
        line = score_file(score, label, sound)
        count += 1
        if per_file:
            print(line, flush=True)
    if count == 0:
        print(json.dumps({"error": f"no labelled recordings in {folder}"}))
        return 2
    print(json.dumps(summary(score) | {"files": count}))
    return 0


def hear_scene(job: tuple[int, int, bool, str]) -> tuple[dict, dict]:
    """Label of one invented scene in the layout of LABELS.md, and the probabilities that the ear gives."""
    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather
    from roomfield.signals.simulation.audio_scene import negative_scene, random_scene
    from roomfield.signals.simulation.unlisted import UNLISTED
    from roomfield.signals.tones import judgement

    index, seed, negative, path = job
    scene = (negative_scene if negative else random_scene)(index, seed, path)
    parts = [
        {"tech": part.technology, "snr_peak_env_db": level}
        for part, level in zip(scene.components, scene.snr_db, strict=True)
    ]
    label = {"technologies": sorted({part["tech"] for part in parts} - {UNLISTED}), "components": parts}
    return label, judgement(gather(condition(scene.samples, scene.sample_rate_hz))).chances


def run_simulated(count: int, seed: int, processes: int, path: str = "") -> int:
    """Score fresh scenes: all, those of one component, and mixtures, each with the same scenes without a transmitter."""
    jobs = [(i, seed, negative, path) for negative, n in ((False, count), (True, count // 3)) for i in range(n)]
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
    claims = [(name, label) for label, chances in heard for name, p in chances.items() if p >= CLAIM]
    false = sum(name not in label["technologies"] for name, label in claims)
    answer |= {"claims": len(claims), "false_names": false, "micro_f1": every["micro_f1"]}
    print(json.dumps(answer | {"path": path, "seed": seed, "files": len(heard)}))
    return 0


def hear_train(job: tuple[int, int, str]) -> dict:
    """One invented pulse train of an exact rate outside the table, and what is said of it."""
    from roomfield.signals import analyse
    from roomfield.signals.simulation.audio_scene import compose
    from roomfield.signals.simulation.unlisted import UNLISTED

    index, seed, path = job
    rng = np.random.default_rng([seed, index, 2])
    scene = compose(rng, (UNLISTED,), duration_s=8.0, snr_db=float(rng.uniform(14, 36)), clean=True)
    samples, sample_rate_hz, stretch = scene.samples, float(scene.sample_rate_hz), 1.0
    if path:
        samples, sample_rate_hz, stretch = disguise(path, samples, sample_rate_hz, rng)
    hearing = analyse(samples, sample_rate_hz=sample_rate_hz)
    rate, width = scene.components[0].rates_hz[0] * stretch, float(scene.components[0].widths_s[0])
    return {
        "index": index, "rate_hz": round(rate, 4), "width_ms": round(width * 1e3, 3), "kind": hearing.answer.kind,
        "right_rate": any(abs(p.frequency_hz / rate - 1) < 1e-4 for p in hearing.periodicities),
        "named": [(h.name, round(h.probability, 2)) for h in hearing.claimed],
    }  # fmt: skip


def run_pulses(count: int, seed: int, processes: int, per_file: bool, path: str = "") -> int:
    """How many invented pulse trains are given a name."""
    with ProcessPoolExecutor(processes) as pool:
        heard = list(pool.map(hear_train, [(i, seed, path) for i in range(count)], chunksize=5))
    named = [row for row in heard if row["named"]]
    for row in heard if per_file else named:
        print(row)
    kinds = {kind: sum(row["kind"] == kind for row in heard) for kind in sorted({row["kind"] for row in heard})}
    right = sum(row["right_rate"] for row in heard)
    answer = {"trains": count, "named": len(named), "right_rate": right, "answers": kinds}
    print(json.dumps(answer | {"path": path, "seed": seed}))
    return 0


def first_verdicts(label: dict, sound: Path) -> tuple[float | None, float | None]:
    """Seconds of sound after which the live ear first claims anything, and first claims just what is there."""
    import soundfile

    from roomfield.signals import StreamingAnalyser
    from roomfield.signals.conditioning import one_channel

    samples, rate = soundfile.read(str(sound), dtype="float32")
    samples, step = one_channel(samples), round(LIVE_CHUNK_S * rate)
    ear, truth, any_name = StreamingAnalyser(rate), set(label["technologies"]), None
    for first in range(0, samples.size, step):
        answer = ear.push(samples[first : first + step], hurry=True)
        if answer.claimed and any_name is None:
            any_name = answer.time_s
        if answer.fresh and set(answer.claimed) == truth:
            return any_name, answer.time_s
    return any_name, None


def run_live(folder: Path) -> int:
    """Time to the first verdict of the live ear, over the recordings that hold a transmitter."""
    times = [first_verdicts(label, sound) for label, sound in labelled(folder) if label["technologies"]]
    named, right = (sorted(np.inf if t is None else round(t, 2) for t in column) for column in zip(*times, strict=True))
    print(json.dumps({
        "recordings": len(times), "named_s": [t for t in named if t < np.inf], "right_s": [t for t in right if t < np.inf],
        "named_within_5_s": sum(t <= 5 for t in named), "right_within_5_s": sum(t <= 5 for t in right),
    }))  # fmt: skip
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


def processor_s() -> float:
    """Processor time of this process and of its workers that have ended [s]."""
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(own.ru_utime + own.ru_stime for own in used)


def baseline(path: Path) -> float:
    """Processor time for reading the file and for one spectrogram of it, in blocks of a minute [s]."""
    import soundfile
    from scipy.signal import spectrogram

    begin = processor_s()
    for part in soundfile.blocks(str(path), 48000 * 60, dtype="float32"):
        spectrogram(part, 48000, nperseg=1024)
    return processor_s() - begin


def run_speed(minutes: float) -> int:
    from roomfield.signals import analyse, warm_up

    warm_up()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        make_long_file(path, minutes)
        plain = baseline(path)
        begin, begin_cpu = time.perf_counter(), processor_s()
        hearing = analyse(path)
        worked, used = time.perf_counter() - begin, processor_s() - begin_cpu
    own = resource.getrusage(resource.RUSAGE_SELF)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(json.dumps({
        "minutes": minutes, "clock_s": round(worked, 2), "cpu_s": round(used, 2),
        "read_and_spectrogram_cpu_s": round(plain, 2), "cpu_ratio": round(used / plain, 2),
        "memory_mb_main": round(own.ru_maxrss / 1024), "memory_mb_largest_worker": round(children.ru_maxrss / 1024),
        "claimed": [h.name for h in hearing.claimed], "stretches": len(hearing.course),
    }))  # fmt: skip
    return 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, help="folder of labelled recordings")
    parser.add_argument("--per-file", action="store_true")
    parser.add_argument("--disguise", default="", help="path to send every recording on first", choices=disguises())
    parser.add_argument("--pulses", type=int, help="hear so many pulse trains outside the table")
    parser.add_argument("--rates", type=int, help="hear so many emitters of known rates and widths")
    parser.add_argument("--live", type=Path, help="folder of labelled recordings to play to the live ear")
    parser.add_argument("--simulated", type=int, help="score so many invented scenes")
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--minutes", type=float, default=60.0)
    options = parser.parse_args()
    if options.speed:
        return run_speed(options.minutes)
    if options.live:
        return run_live(options.live)
    if options.simulated:
        return run_simulated(options.simulated, options.seed, options.processes, options.disguise)
    if options.pulses:
        return run_pulses(options.pulses, options.seed, options.processes, options.per_file, options.disguise)
    if options.rates:
        return run_rates(options.rates, options.seed, options.processes, options.per_file, options.disguise)
    if options.data is None:
        parser.error("give --data DIR, --live DIR, --simulated N, --pulses N, --rates N or --speed")
    return run_scoring(options.data, options.per_file, options.disguise)


if __name__ == "__main__":
    raise SystemExit(main())
