"""How few readings it takes to decide on a plan, against truth computed by an independent ray tracer.

Run as ``python -m benchmarks.decisions --data DIR``; DIR holds dwellings with known truth or is one. In each, with
one meter, a plan is chosen for some rooms in turn (up to three places each): nothing, a move, a shield, switches
off, or a shield with switches off. It costs its price (invented), and a stake where it misses the target. The target
parts the cheapest plan that meets it clearly from all cheaper ones. Three ways take one scan after the other
from what the surveyor could have read (as found at any place, one device off at the places asked for):

* decision: what avoids most expected regret per minute (`roomfield.remedy.value_of_information`), which also says stop;
* variance: what narrows the levels at the places asked for most (`roomfield.field.design`);
* fixed: the places in the order of the list, then the switches.

After every scan each way names its plan by the same rule. Counted is the scan from which on that is as good as the
one that full knowledge names (a budget never enough counts as one scan more). A stop is right if the plan then is
that good, or the rest of the budget would not have mended it; never stopping, if the plan is not right before the
end. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import itertools
import json
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from benchmarks.remedies import actions_of, survey_of
from benchmarks.truth_dwelling import TruthDwelling, find_dwellings
from roomfield.field.design import measure_next
from roomfield.field.foreseen import Foreseen, Foresight, Measurement
from roomfield.field.inference import infer
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.remedy.evaluator import Evaluator
from roomfield.remedy.open_decision import OpenDecision
from roomfield.remedy.value_of_information import NextMeasurement, next_step
from roomfield.survey.survey_record import Survey

KIND = Kind.HIGHEST_HELD
WAYS = ("decision", "variance", "fixed")
ASKED, ROOMS, TARGETS, METERS = 3, 2, 2, 2
LEAST_CLEAR_DB = 3.0
BUDGET = 10
CALIBRATED, CALIBRATED_DB = "M0", 1.5
"""The meter without systematic error is handed over as one with a certificate, the others with 6 dB."""
DRAWS = 500
RATE_PER_MINUTE = 1.5
PRICES = {"off": 60.0, "move": 150.0, "windows": 700.0, "wall": 1500.0, "wall+windows": 2400.0}
"""Of a change, by its operation or shielded parts; more walls cost more, a denser sheet by its decibels (invented)."""
STAKE = 5000.0
"""What meeting the target is worth, over the price of any plan (invented)."""
Scan = tuple[str, str]
"""Place and state."""


@dataclass
class Counts:
    needed: dict[str, list[int]] = field(default_factory=lambda: {way: [] for way in WAYS})
    regret: list[float] = field(default_factory=list)
    stop_right: list[bool] = field(default_factory=list)


@dataclass(frozen=True)
class Plan:
    """What is done: a scenario of the dwelling, and switches that are off besides."""

    scenario: str
    off: tuple[str, ...]
    price: float

    @property
    def name(self) -> str:
        return " + ".join((self.scenario, *(f"off {g}" for g in self.off)))


@dataclass(frozen=True)
class Question:
    """One dwelling, meter, room and target."""

    home: TruthDwelling
    survey: Survey
    plans: tuple[Plan, ...]
    asked: tuple[str, ...]
    target_w_m2: float

    @property
    def pool(self) -> list[Scan]:
        """What could be read, in the fixed order."""
        there = {(r.place_id, r.radio_state_id) for r in self.survey.readings}
        states = sorted({state for _, state in there if state.startswith("off_") and state != "off_all_switchable"})
        as_found = [(p, "all_on") for p in (*self.asked, *(q.id for q in self.home.places if q.id not in self.asked))]
        return [scan for scan in (*as_found, *((p, s) for s in states for p in self.asked)) if scan in there]

    def loss(self, levels: np.ndarray) -> np.ndarray:
        """What each plan costs, shape of the levels (..., plans)."""
        return np.array([p.price for p in self.plans]) + STAKE * (levels > self.target_w_m2)

    @property
    def true_loss(self) -> np.ndarray:
        """What each plan truly costs, shape (plans,)."""
        return self.loss(true_levels(self.home, self.plans, self.asked))


def plans_of(home: TruthDwelling) -> tuple[Plan, ...]:
    """Nothing, each move, and each shield with every set of switches off."""
    groups = sorted({s.group for s in home.sources if s.switchable})
    found = []
    for scenario in home.scenarios():
        changes = home.changes(scenario)
        if any(c["op"] == "off" for c in changes):
            continue
        price = sum(shield_price(c) for c in changes if c["op"] == "shield")
        price += PRICES["move"] * any(c["op"] == "move" for c in changes)
        moved = {s.group for s in home.sources for c in changes if c.get("source") == s.id}
        for size in range(len(groups) + 1):
            for off in itertools.combinations(groups, size):
                if not moved & {*off}:
                    found.append(Plan(scenario, off, price + PRICES["off"] * size))
    return tuple(sorted(found, key=lambda p: p.price))


def shield_price(change: dict) -> float:
    return PRICES[change["parts"]] * change["db"] / 30.0 + 100.0 * len(change["walls"])


def true_levels(home: TruthDwelling, plans: tuple[Plan, ...], asked: tuple[str, ...]) -> np.ndarray:
    """Highest level at the places asked for after each plan: sources added as they stand in its scenario [W/m²]."""
    rows = [n for n, p in enumerate(home.places) if p.id in asked]
    found = []
    for plan in plans:
        keep = [n for n, s in enumerate(home.present(plan.scenario)) if s.group not in plan.off]
        found.append(home.truth(plan.scenario, "s_max_axis_w_m2")[rows][:, keep].sum(axis=1).max())
    return np.array(found)


def rooms_of(home: TruthDwelling) -> list[tuple[str, ...]]:
    """Up to three places of each room, the rooms with most places first."""
    rooms: dict[str, list[str]] = {}
    for place in home.places:
        rooms.setdefault(place.room_id, []).append(place.id)
    return [tuple(ids[:ASKED]) for ids in sorted(rooms.values(), key=len, reverse=True)]


def clear_targets(home: TruthDwelling, plans: tuple[Plan, ...], asked: tuple[str, ...]) -> list[float]:
    """Levels that part the cheapest plan that meets them most clearly from all cheaper ones."""
    level = 10.0 * np.log10(true_levels(home, plans, asked))
    least_before = np.minimum.accumulate(level)[:-1]
    clear = least_before - level[1:]
    steps = [n for n in np.argsort(-clear)[:TARGETS] if clear[n] >= LEAST_CLEAR_DB]
    return [float(10.0 ** ((least_before[n] - 0.5 * clear[n]) / 10.0)) for n in steps]


def questions(home: TruthDwelling, meter: str) -> list[Question]:
    survey, plans = survey_of(home, meter), plans_of(home)
    if meter == CALIBRATED:
        survey = replace(survey, meters=tuple(replace(m, tolerance_db=CALIBRATED_DB) for m in survey.meters))
    return [
        Question(home, survey, plans, asked, target)
        for asked in rooms_of(home)[:ROOMS]
        for target in clear_targets(home, plans, asked)
    ]


class Model:
    """Posteriors and levels after each plan by what was read, worked out once."""

    def __init__(self, question: Question) -> None:
        self.question = question
        self._known: dict[frozenset[Scan], tuple[Posterior, OpenDecision]] = {}

    def after(self, scans: list[Scan]) -> tuple[Posterior, OpenDecision]:
        """The posterior, and the decision."""
        key = frozenset(scans)
        if key not in self._known:
            survey = self.question.survey
            read = tuple(r for r in survey.readings if (r.place_id, r.radio_state_id) in key)
            posterior = infer(replace(survey, readings=read), seed=1, draws=DRAWS)
            names = tuple((plan.name,) for plan in self.question.plans)
            self._known[key] = posterior, OpenDecision(names, self._loss(posterior))
        return self._known[key]

    def _loss(self, posterior: Posterior) -> np.ndarray:
        """What each plan would cost in each draw, by the chance that it misses the target, shape (draws, plans)."""
        home, by_scenario = self.question.home, actions_of(self.question.home)
        places = [p for p in home.places if p.id in self.question.asked]
        evaluator = Evaluator(posterior, [a for some in by_scenario.values() for a in some], kind=KIND, places=places)
        silent = {plan.off: tuple(s.id for s in home.sources if s.group in plan.off) for plan in self.question.plans}
        return np.stack([
            p.price + STAKE * evaluator.chance_over(
                self.question.target_w_m2, [a.id for a in by_scenario.get(p.scenario, ())], silent=silent[p.off]
            )
            for p in self.question.plans
        ], axis=1)  # fmt: skip


def candidates(posterior: Posterior, left: list[Scan]) -> list[tuple[Scan, Foreseen]]:
    """What may still be read, with what it would show."""
    homes = {p.id: p for p in posterior.survey.places}
    foresight = Foresight(posterior, [homes[name] for name in dict.fromkeys(p for p, _ in left)])
    foreseen = [*foresight.readings(), *foresight.switchings()]
    by_scan = {
        (one.place_id, f"off_{one.switch}" if one.switch else "all_on"): one
        for one in foreseen
        if one.measurement in (Measurement.READ, Measurement.SWITCH_OFF)
    }
    return [(scan, by_scan[scan]) for scan in left if scan in by_scan]


def best_for_decision(posterior: Posterior, decision: OpenDecision, left: list[Scan]) -> tuple[NextMeasurement, Scan]:
    offered = candidates(posterior, left)
    found = next_step(decision, [one for _, one in offered], client_rate=RATE_PER_MINUTE)
    first = found.ranked[0].candidate
    return found, next(scan for scan, one in offered if one is first)


def best_for_variance(posterior: Posterior, asked: tuple[str, ...], left: list[Scan]) -> Scan:
    where = {p.id: p.position for p in posterior.survey.places}
    open_places = [scan for scan in left if scan[1] == "all_on"]
    if not open_places:
        return left[0]
    points = [where[place] for place, _ in open_places]
    found = measure_next(posterior, candidates=points, places=[where[p] for p in asked], kind=KIND, count=1)[0]
    return open_places[int(np.argmin(np.linalg.norm(np.array(points) - found.position, axis=1)))]


def walk(question: Question, model: Model, way: str) -> tuple[list[float], int | None]:
    """True cost of the plan named after each scan, and the number of scans at which it said stop."""
    pool, truth = question.pool, question.true_loss
    taken, costs, stopped = [pool[0]], [], None
    while True:
        posterior, decision = model.after(taken)
        costs.append(float(truth[decision.options.index(decision.best)]))
        left = [scan for scan in pool if scan not in taken]
        done = len(taken) >= BUDGET or not left
        if way == "decision" and (stopped is None or not done):
            found, chosen = best_for_decision(posterior, decision, left or pool)
            if found.stop and stopped is None:
                stopped = len(taken)
            if found.stop:
                chosen = best_for_variance(posterior, question.asked, left or pool)
        elif way == "variance" and not done:
            chosen = best_for_variance(posterior, question.asked, left)
        elif not done:
            chosen = left[0]
        if done:
            return costs, stopped
        taken.append(chosen)


def settled(costs: list[float], best: float) -> int:
    """Number of the scan from which on the plan is as good as the best."""
    wrong = [n for n, cost in enumerate(costs, 1) if cost > best + 1e-9]
    return (wrong[-1] if wrong else 0) + 1


def note(counts: Counts, question: Question, model: Model) -> str:
    best, told = float(question.true_loss.min()), []
    for way in WAYS:
        costs, stopped = walk(question, model, way)
        counts.needed[way].append(settled(costs, best))
        told.append(f"{way} {counts.needed[way][-1]}")
        if way == "decision":
            then = costs[(stopped or len(costs)) - 1]
            counts.regret.append(then - best)
            late = stopped is None and settled(costs, best) < len(costs)
            counts.stop_right.append(not late and (then <= best + 1e-9 or stopped is None or then <= costs[-1] + 1e-9))
            told.append(f"stop {stopped} regret {then - best:.0f}")
    return ", ".join(told)


def meters_of(home: TruthDwelling, number: int, among: int) -> list[str]:
    """Two meters of each dwelling; one of them in turn where there are more than two dwellings, to end in minutes."""
    names = home.meters()[:METERS]
    return names if among <= METERS else [names[number % len(names)]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--meters", default="", help="comma-separated; left out: two of a dwelling, or one")
    options = parser.parse_args()
    counts = Counts()
    folders = find_dwellings(options.data)
    for number, folder in enumerate(folders):
        home = TruthDwelling(folder)
        for meter in options.meters.split(",") if options.meters else meters_of(home, number, len(folders)):
            for question in questions(home, meter):
                start = time.process_time()
                told = note(counts, question, Model(question))
                took = time.process_time() - start
                place, target = question.asked[0], 1e6 * question.target_w_m2
                print(f"{folder.name} {meter} {place} {target:.3g} µW/m²: {told}; {took:.0f} s", flush=True)
    if not counts.regret:
        raise SystemExit("No room of these dwellings has a target that parts the plans clearly.")
    print(json.dumps({
        "readings_to_decision": round(float(np.mean(counts.needed["decision"])), 2),
        "readings_variance_design": round(float(np.mean(counts.needed["variance"])), 2),
        "readings_fixed_order": round(float(np.mean(counts.needed["fixed"])), 2),
        "mean_regret": round(float(np.mean(counts.regret)), 1),
        "stop_right": round(float(np.mean(counts.stop_right)), 3),
    }))  # fmt: skip


if __name__ == "__main__":
    main()
