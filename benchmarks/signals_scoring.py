"""Counting what the ear says against labels.

A technology counts as found at a probability of one half or more. Nothing is left out because it flatters: a name that no
label holds counts as a technology with no hit, a rate that is off by any amount counts, and so does an answer "unknown"
on a recording without a transmitter.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

AUDIBLE_DB = 3.0


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
    rate_deviations: list = field(default_factory=list)
    width_errors: list = field(default_factory=list)
    squares: list = field(default_factory=list)
    truths: dict = field(default_factory=dict)
    false_on_negatives: int = 0
    unknown_on_negatives: int = 0
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


def _rate_errors(label: dict, hearing) -> list[tuple[float, float]]:
    """Error [ppm] of the nearest reported rate for each primary rate of each technology found, and error over its deviation.

    A technology that is claimed without any rate is off by all.
    """
    rates = {h.name: [(r.frequency_hz, r.frequency_std_hz) for r in h.rates] for h in hearing.claimed}
    errors = []
    for component in label.get("components", []):
        for period in component.get("periods", []):
            mine = rates.get(component["tech"])
            if period["rank"] != "primary" or mine is None:
                continue
            hz, std = min(mine, key=lambda rate: abs(rate[0] / period["hz"] - 1), default=(0.0, 1e-9))
            errors.append((abs(hz / period["hz"] - 1) * 1e6, abs(hz - period["hz"]) / max(std, 1e-12)))
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
        score.truths.setdefault(name, []).append(name in truth)
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


def is_unknown(hearing) -> bool:
    """Whether the answer says that something is there and gives it no name."""
    return hearing.answer.kind in ("pulsed", "transmitter", "bursts", "set")


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
    errors = _rate_errors(label, hearing)
    score.rate_errors_ppm += [ppm for ppm, _ in errors]
    score.rate_deviations += [deviation for _, deviation in errors]
    score.width_errors += _width_errors(label, hearing)
    mark = "ok " if found == truth else "BAD"
    shown = " ".join(f"{h.name}={h.probability:.2f}" for h in hearing.technologies if h.probability >= 0.1)
    return (
        f"{mark} {sound.name:28s} truth: {','.join(sorted(truth)) or '-':45s} heard: {shown or '-'} | {hearing.verdict}"
    )


def brier_skill(score: Score) -> float | None:
    """One minus the Brier score over that of always telling each technology's share of the recordings."""
    if not score.squares:
        return None
    shares = [np.mean(values) for values in score.truths.values()]
    plain = float(np.mean([share * (1 - share) for share in shares]))
    return round(1 - float(np.mean(score.squares)) / plain, 4) if plain > 0 else None


def summary(score: Score) -> dict:
    present = {n: t for n, t in score.tallies.items() if t.hits + t.false + t.missed > 0}
    audible = [t.row(audible=True) for t in present.values() if t.hits + t.false + t.missed_audible > 0]
    hits, wrong = (
        (sum(v) for v in zip(*((t.hits, t.false + t.missed) for t in present.values()), strict=True))
        if present
        else (0, 0)
    )

    def spread(values, share=0.5):
        return round(float(np.quantile(values, share)), 4) if values else None

    return {
        "macro_f1": round(float(np.mean([t.row()["f1"] for t in present.values()])), 4) if present else None,
        "micro_f1": round(2 * hits / max(2 * hits + wrong, 1), 4),
        "macro_f1_audible": round(float(np.mean([r["f1"] for r in audible])), 4) if audible else None,
        "false_on_negatives": score.false_on_negatives,
        "unknown_on_negatives": score.unknown_on_negatives,
        "rate_error_ppm_median": spread(score.rate_errors_ppm),
        "rate_within_1sd": _share_within(score.rate_deviations, 1),
        "rate_within_2sd": _share_within(score.rate_deviations, 2),
        "burst_width_error_median": spread(score.width_errors),
        "width_error_p90": spread(score.width_errors, 0.9),
        "brier": round(float(np.mean(score.squares)), 5) if score.squares else None,
        "brier_skill": brier_skill(score),
        "real_time_factor": round(score.worked_s / max(score.sound_s, 1e-9), 5),
        "per_technology": {n: t.row() for n, t in sorted(score.tallies.items())},
        "negatives": score.negatives,
        "rates_scored": len(score.rate_errors_ppm),
    }


def _share_within(deviations: list, limit: float) -> float | None:
    return round(float(np.mean(np.array(deviations) <= limit)), 4) if deviations else None
