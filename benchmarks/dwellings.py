"""Score the joint inference on dwellings with known truth.

Run ``python -m benchmarks.dwellings --data DIR``. DIR is one dwelling's folder or a folder of them (layout:
``benchmarks/dwelling_data.py``). From 12 places of one meter, without source powers:

* levels at all other places: peak against the largest value on the best axis with everything on, average against
  the duty-weighted mean; ``level_rms_db`` after the mean difference (the meter's common gain) is taken out;
* attribution: which switch contributes most to the mean with everything on;
* position of each indoor switch in turn, and bearing of outdoor emitters, withheld.

A dwelling has few meters, and a meter's gain error is shared by all its levels, so that coverage over four meters is
four draws. ``--gains N`` adds coverage over N gain errors spread evenly over the stated tolerance (alike in all
bands, the readings of the first meter times each), which is what the interval of an absolute level promises.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchmarks.dwelling_data import Folder, open_folder, survey_of, to_db
from roomfield.field.inference import infer
from roomfield.field.locate import Whereabouts, locate
from roomfield.field.points import infer_points
from roomfield.field.posterior import Posterior, levels_at
from roomfield.quantities import Kind
from roomfield.survey import Censoring, Survey
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.model.source_contributions import shares_at_places

PLACES = 12
TOLERANCE_DB = 6.0
GAIN_DRAWS = 250
COVERAGES = {"coverage_50": 0.5, "coverage_90": 0.9, "coverage_95": 0.95}
CASES = ((Kind.HIGHEST_HELD, "ALL_ON", "s_max_axis_w_m2"), (Kind.AVERAGE, "ALL_DUTY", "s_mean_w_m2"))
Notes = dict[str, list[float]]


def folders_in(data: Path) -> list[Folder]:
    if (data / "scene.json").exists():
        return [open_folder(data)]
    return [open_folder(p.parent) for p in sorted(data.glob("*/scene.json"))]


def chosen_places(folder: Folder, seed: int) -> set[str]:
    ids = sorted(p["id"] for p in folder.scene["places"])
    return set(np.random.default_rng(seed).permutation(ids)[:PLACES].tolist())


def score(folder: Folder, draws: int) -> Notes:
    notes: Notes = defaultdict(list)
    for number, meter in enumerate(folder.meters):
        for draw in range(draws):
            places = chosen_places(folder, 1000 * number + draw)
            survey = survey_of(folder, meter, places)
            started = time.process_time()
            posterior = posterior_of(survey)
            notes["infer_cpu_s"].append(time.process_time() - started)
            rest = [p for p in folder.scene["places"] if p["id"] not in places]
            for case in CASES:
                note_levels(notes, folder, posterior, rest, case)
            note_attribution(notes, folder, posterior, rest)
            note_baselines(notes, folder, survey, rest)
        note_whereabouts(notes, folder, meter, chosen_places(folder, 1000 * number))
    return notes


def note_levels(notes: Notes, folder: Folder, posterior: Posterior, rest: list[dict], case: tuple) -> None:
    kind, source, column = case
    level = levels_at(posterior, [p["pos"] for p in rest], kind=kind).level_db
    truth = to_db([folder.truth["base", p["id"], source][column] for p in rest])
    error = level.mean(axis=0) - truth
    notes["rms_average" if kind is Kind.AVERAGE else "rms_peak"].append(float(np.std(error)))
    notes["rmse"].append(float(np.sqrt(np.mean(error**2))))
    for name, coverage in COVERAGES.items():
        low, high = np.quantile(level, [0.5 - coverage / 2, 0.5 + coverage / 2], axis=0)
        notes[name].append(float(np.mean((truth >= low) & (truth <= high))))
        if coverage == 0.9:
            notes["width"].append(float(np.median(high - low)))
    relative = level - level.mean(axis=1, keepdims=True)
    low, high = np.quantile(relative, [0.05, 0.95], axis=0)
    notes["relative_coverage"].append(float(np.mean((truth - truth.mean() >= low) & (truth - truth.mean() <= high))))
    notes["relative_width"].append(float(np.median(high - low)))


def note_gains(notes: Notes, folder: Folder, count: int) -> None:
    """Absolute coverage over gain errors in the middle of equal parts of the tolerance."""
    places = chosen_places(folder, 0)
    rest = [p for p in folder.scene["places"] if p["id"] not in places]
    survey = survey_of(folder, folder.meters[0], places)
    for gain_db in (2.0 * (np.arange(count) + 0.5) / count - 1.0) * TOLERANCE_DB:
        posterior = infer(shown_by(survey, 10.0 ** (gain_db / 10.0)), draws=GAIN_DRAWS)
        own: Notes = defaultdict(list)
        for case in CASES:
            note_levels(own, folder, posterior, rest, case)
        notes["gain_coverage"] += own["coverage_90"]
        print(f"{folder.scene['name']}: gain {gain_db:+.1f} dB, 90 % intervals hold {np.mean(own['coverage_90']):.3f}")


def shown_by(survey: Survey, factor: float) -> Survey:
    """The survey as a meter that shows so many times as much would have made it; bounds are left as they are."""
    readings = tuple(
        replace(r, value_w_m2=r.value_w_m2 * factor) if r.censoring is Censoring.NONE else r for r in survey.readings
    )
    bearings = tuple(
        replace(b, strongest_w_m2=b.strongest_w_m2 * factor, null_w_m2=b.null_w_m2 * factor) for b in survey.bearings
    )
    return replace(survey, readings=readings, bearings=bearings)


def note_attribution(notes: Notes, folder: Folder, posterior: Posterior, rest: list[dict]) -> None:
    """As every door shows it: the switch told first at each place, with the probability told beside it."""
    told = {one.place_id: one.shares for one in shares_at_places(posterior, Kind.PEAK)}
    for place in rest:
        first = told[place["id"]][0].share
        truth = dict.fromkeys(folder.switch_of.values(), 0.0)
        for source, switch in folder.switch_of.items():
            truth[switch] += folder.truth["base", place["id"], source]["s_mean_w_m2"]
        ordered = sorted(truth.values(), reverse=True)
        right = float(max(truth, key=truth.get) == first.name)
        notes["attribution"].append(right)
        notes["attribution_promised"].append(first.probability_largest)
        if first.probability_largest >= 0.8:
            notes["attribution_when_sure"].append(right)
        if len(ordered) < 2 or ordered[0] > 2.0 * ordered[1]:
            notes["attribution_margin_3db"].append(right)


def note_baselines(notes: Notes, folder: Folder, survey: Survey, rest: list[dict]) -> None:
    """Plain mean, inverse distance and Gaussian process on the peak readings with everything on."""
    rows = [r for r in survey.readings if r.kind is Kind.PEAK and r.radio_state_id == "all_on"]
    points = np.array([survey.place(r.place_id).position for r in rows])
    level = to_db([r.value_w_m2 for r in rows])
    goal = np.array([p["pos"] for p in rest])
    truth = to_db([folder.truth["base", p["id"], "ALL_ON"]["s_max_axis_w_m2"] for p in rest])
    apart = np.linalg.norm(goal[:, None] - points[None], axis=2)
    weight = 1.0 / np.maximum(apart, 0.05) ** 2
    guesses = {
        "mean": np.full(len(rest), level.mean()),
        "idw": (weight @ level) / weight.sum(axis=1),
        "gp": infer_points(points, level).levels(goal).mean_db,
    }
    for name, guess in guesses.items():
        notes[f"baseline_{name}"].append(float(np.std(guess - truth)))


def note_whereabouts(notes: Notes, folder: Folder, meter: str, places: set[str]) -> None:
    by_switch: dict[str, list[dict]] = defaultdict(list)
    for source in folder.scene["sources"]:
        by_switch[source.get("group") or source["id"]].append(source)
    for switch, sources in by_switch.items():
        outdoor = all(s.get("outdoor") for s in sources)
        if not outdoor and not all(s.get("switchable") for s in sources):
            continue
        posterior = infer(survey_of(folder, meter, places, {switch}), draws=40)
        found = locate(posterior, sources[0]["id"])
        truth = np.mean([s["pos"] for s in sources], axis=0)
        if found.whereabouts is Whereabouts.REGION:
            notes["miss_m"].append(float(np.hypot(found.centre[0] - truth[0], found.centre[1] - truth[1])))
            notes["region_holds"].append(float(any(near(p, truth) for p in found.polygons)))
        else:
            here = posterior.searches[0].centre
            bearing = float(np.rad2deg(np.arctan2(truth[0] - here[0], truth[1] - here[1])) % 360.0)
            notes["bearing_error"].append(abs((found.bearing_deg - bearing + 180.0) % 360.0 - 180.0))
            held = [(bearing - a.low_deg) % 360.0 <= (a.high_deg - a.low_deg) % 360.0 for a in found.arcs]
            notes["bearing_holds"].append(float(any(held)))


def near(polygon: tuple, truth: np.ndarray) -> bool:
    from shapely import Point, Polygon

    return Polygon(polygon).distance(Point(truth[0], truth[1])) < 1e-3


def figures(notes: Notes) -> dict:
    kriging_like = {m: float(np.mean(notes[f"baseline_{m}"])) for m in ("mean", "idw", "gp")}
    best = min(kriging_like, key=kriging_like.get)
    return {
        "rmse_db": float(np.mean(notes["rmse"])),
        "level_rms_db": float(np.sqrt(np.mean(np.square(notes["rms_peak"] + notes["rms_average"])))),
        "level_rms_peak_db": float(np.sqrt(np.mean(np.square(notes["rms_peak"])))),
        "level_rms_average_db": float(np.sqrt(np.mean(np.square(notes["rms_average"])))),
        "best_baseline": best,
        "rmse_over_best_baseline": float(np.mean(notes["rms_peak"])) / kriging_like[best],
        **{name: float(np.mean(notes[name])) for name in COVERAGES},
        "width_90_db": float(np.median(notes["width"])),
        "relative_coverage_90": float(np.mean(notes["relative_coverage"])),
        "relative_width_90_db": float(np.median(notes["relative_width"])),
        "attribution_right": float(np.mean(notes["attribution"])),
        "attribution_promised": float(np.mean(notes["attribution_promised"])),
        "attribution_right_when_sure": mean_or_none(notes["attribution_when_sure"]),
        "sure_share": len(notes["attribution_when_sure"]) / max(len(notes["attribution"]), 1),
        "attribution_right_margin_3db": mean_or_none(notes["attribution_margin_3db"]),
        "locate_median_m": median_or_none(notes["miss_m"]),
        "locate_region_90_holds": mean_or_none(notes["region_holds"]),
        "mast_bearing_error_deg": median_or_none(notes["bearing_error"]),
        "mast_bearing_90_holds": mean_or_none(notes["bearing_holds"]),
        "infer_cpu_s": float(np.median(notes["infer_cpu_s"])),
    }


def median_or_none(values: list[float]) -> float | None:
    return float(np.median(values)) if values else None


def mean_or_none(values: list[float]) -> float | None:
    return float(np.mean(values)) if values else None


def main() -> None:
    parser = argparse.ArgumentParser(description="Joint inference on dwellings with known truth.")
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--draws", type=int, default=2, help="random choices of places per meter")
    parser.add_argument("--gains", type=int, default=0, help="gain errors over which absolute coverage is counted")
    options = parser.parse_args()
    started = time.process_time()
    everything: Notes = defaultdict(list)
    per_set = {}
    for folder in folders_in(options.data):
        notes = score(folder, options.draws)
        per_set[folder.scene["name"]] = figures(notes)
        for key, values in notes.items():
            everything[key] += values
        print(folder.scene["name"], json.dumps(per_set[folder.scene["name"]]))
    result = figures(everything)
    result["rmse_over_best_baseline"] = float(np.median([s["rmse_over_best_baseline"] for s in per_set.values()]))
    result["coverage_90_worst_set"] = min(s["coverage_90"] for s in per_set.values())
    if options.gains:
        for folder in folders_in(options.data):
            note_gains(everything, folder, options.gains)
        result["coverage_90_over_gains"] = float(np.mean(everything["gain_coverage"]))
    result["cpu_s"] = round(time.process_time() - started, 1)
    result["per_set"] = per_set
    print(json.dumps(result))


if __name__ == "__main__":
    main()
