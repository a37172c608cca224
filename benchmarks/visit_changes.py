"""How well what changed between two visits is told, and how seldom something is told where nothing changed.

Run as ``python -m benchmarks.visit_changes --data DIR``; DIR holds dwellings with known truth or is one. Each pair of
visits is simulated from the truth at eight places drawn anew: one meter with gain errors by band that stay, the load of each source
anew (peaks 1 dB, averages 2 dB), other spots and the meter's repeatability for each scan. Pairs in turn: nothing
changed; a source that the record does not know came; one went; one was made 10 dB stronger; a shield was carried out as
ordered, and one with a tenth of its power left to leak. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from benchmarks.remedies import actions_of
from benchmarks.truth_dwelling import TruthDwelling, find_dwellings
from roomfield.field.inference import infer
from roomfield.quantities import Kind
from roomfield.remedy.visit_changes import VisitChange, VisitChanges, changes_between
from roomfield.survey import Action, Meter, RadioState, Reading, Survey, Visit

CASES = ("same", "new", "gone", "stronger", "as_ordered", "leaky")
GAIN_STD_DB, PEAK_STD_DB, AVERAGE_STD_DB = 3.0, 1.0, 2.0
HAND_STD_DB, REPEAT_STD_DB, OWN_STD_DB, TRAFFIC_STD_DB = 0.8, 1.0, 0.5, 1.0
LEAK, STRONGER_DB, LEAST_SHIELDED_DB = 0.1, 10.0, 3.0
BANDS_HZ = (1.2e9, 2.2e9, 3.0e9, 4.5e9)
MOST_PLACES = 8


@dataclass
class Tally:
    asked: dict[str, int] = field(default_factory=dict)
    right: dict[str, int] = field(default_factory=dict)
    silent: dict[str, int] = field(default_factory=dict)

    def note(self, case: str, found: VisitChanges, wanted: tuple[VisitChange, str] | None) -> str:
        told = [(c.change, c.subject) for c in found.told]
        good = not told if wanted is None else any(t[0] is wanted[0] and wanted[1] in ("", t[1]) for t in told[:1])
        self.asked[case] = self.asked.get(case, 0) + 1
        self.right[case] = self.right.get(case, 0) + int(good)
        self.silent[case] = self.silent.get(case, 0) + int(not told)
        likely = ", ".join(f"{c.change.value} {c.subject} {c.probability:.2f}" for c in (*found.told, *found.open))
        return f"{case}: {'right' if good else 'wrong'}; load {found.load_only:.2f}; {likely}"


class Pair:
    """Two visits to one dwelling.

    Parameters
    ----------
    case : str
        One of `CASES`.
    """

    def __init__(self, home: TruthDwelling, case: str, rng: np.random.Generator) -> None:
        self.home, self.case, self.rng = home, case, rng
        self.sources = list(home.sources)
        self.rows = sorted(rng.permutation(len(home.places))[:MOST_PLACES].tolist())
        self.places = tuple(home.places[n] for n in self.rows)
        self.odd = self._chosen()
        self.wanted = self._wanted()
        shields = [name for name in home.scenarios()[1:] if self._shields_well(name)]
        self.scenario = shields[int(rng.integers(len(shields)))] if case in ("as_ordered", "leaky") else "base"
        self.done: list[Action] = actions_of(home).get(self.scenario, [])
        gains = rng.normal(0.0, GAIN_STD_DB, len(BANDS_HZ) + 1).clip(-6.0, 6.0)
        self.gains = gains[np.searchsorted(BANDS_HZ, [s.frequency_hz for s in self.sources])]

    def _shields_well(self, scenario: str) -> bool:
        """Whether a scenario shields only, and lowers what comes from outside at a quarter of the places by enough."""
        if any(c["op"] != "shield" for c in self.home.changes(scenario)):
            return False
        outdoor = np.array([s.outdoor for s in self.sources])
        before, after = (self._level(name, "s_max_axis_w_m2")[:, outdoor].sum(axis=1) for name in ("base", scenario))
        return float(np.quantile(10.0 * np.log10(before / after), 0.75)) > LEAST_SHIELDED_DB

    def _chosen(self) -> str:
        """Which switch comes, goes or gets stronger: one indoors that makes half of the level somewhere, if one does."""
        level = self.home.truth("base", "s_max_axis_w_m2")[self.rows]
        share = level / level.sum(axis=1, keepdims=True)
        groups = sorted({s.group for s in self.sources})
        most = {g: max(share[:, n].max() for n, s in enumerate(self.sources) if s.group == g) for g in groups}
        some = [g for g in groups if most[g] > 0.5 and g not in self._outside()] or [max(most, key=lambda g: most[g])]
        return some[int(self.rng.integers(len(some)))]

    def _outside(self) -> set[str]:
        return {s.group for s in self.sources if s.outdoor}

    def _wanted(self) -> tuple[VisitChange, str] | None:
        first = next(s.id for s in self.sources if s.group == self.odd)
        return {
            "new": (VisitChange.NEW_SENDER, ""), "gone": (VisitChange.GONE, first),
            "stronger": (VisitChange.STRONGER, first), "leaky": (VisitChange.NOT_AS_ORDERED, ""),
        }.get(self.case)  # fmt: skip

    def survey(self) -> Survey:
        """The record of both visits."""
        groups = sorted({s.group for s in self.sources if s.switchable})
        known = tuple(s for s in self.sources if not (self.case == "new" and s.group == self.odd))
        states = [RadioState("all_on", "all on", ())]
        states += [RadioState(f"off_{g}", f"{g} off", (g,)) for g in groups if any(s.group == g for s in known)][:1]
        states += [RadioState("own_off", "all own off", tuple(groups))]
        visits = tuple(
            Visit(name, f"2025-0{n}-01T10:00:00+00:00", "benchmark", radio_states=tuple(states))
            for n, name in ((1, "first"), (2, "second"))
        )
        readings = [r for visit in visits for r in self._visit(visit.id, states)]
        meter = Meter("M", "M", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)
        emitters = tuple(replace(s, eirp_w=None, duty=None) for s in known)
        return Survey(
            "benchmark", "benchmark", "2025-01-01", dwelling=self.home.dwelling, places=self.places,
            emitters=emitters, meters=(meter,), visits=visits, readings=tuple(readings), actions=tuple(self.done),
        )  # fmt: skip

    def _visit(self, visit_id: str, states: Sequence[RadioState]) -> list[Reading]:
        scenario = self.scenario if visit_id == "second" else "base"
        peak, mean = (self._level(scenario, name) for name in ("s_max_axis_w_m2", "s_mean_w_m2"))
        if self.case == "leaky" and visit_id == "second":
            peak, mean = (
                now + LEAK * self._level("base", name)
                for now, name in ((peak, "s_max_axis_w_m2"), (mean, "s_mean_w_m2"))
            )
        duty = np.array([s.duty or 1.0 for s in self.sources])
        load = 10.0 ** (self.rng.normal(0.0, PEAK_STD_DB, len(self.sources)) / 10.0)
        busy = 10.0 ** (self.rng.normal(0.0, AVERAGE_STD_DB, len(self.sources)) / 10.0)
        there = np.array([self._factor(s.group, visit_id) for s in self.sources])
        gain = 10.0 ** (self.gains / 10.0)
        made = []
        for state in states:
            on = np.array([s.group not in state.off_groups for s in self.sources])
            for row, place in enumerate(self.places):
                scan = self.rng.normal(0.0, np.hypot(HAND_STD_DB, REPEAT_STD_DB))
                for kind, level in (
                    (Kind.HIGHEST_HELD, peak[row] * load), (Kind.AVERAGE, mean[row] / 1.6 * duty * load * busy)
                ):  # fmt: skip
                    own = self.rng.normal(0.0, np.hypot(OWN_STD_DB, TRAFFIC_STD_DB * (kind is Kind.AVERAGE)))
                    value = float(np.sum(level * gain * there * on) * 10.0 ** ((scan + own) / 10.0))
                    name = f"{visit_id}-{state.id}-{place.id}-{kind.value}"
                    made.append(Reading(name, visit_id, "M", state.id, kind, value, place.id))
        return [r for r in made if r.value_w_m2 > 2e-8]

    def _level(self, scenario: str, column: str) -> np.ndarray:
        return self.home.truth(scenario, column)[self.rows]

    def _factor(self, group: str, visit_id: str) -> float:
        if group != self.odd or self.case not in ("new", "gone", "stronger"):
            return 1.0
        if self.case == "stronger":
            return 10.0 ** (STRONGER_DB / 10.0) if visit_id == "second" else 1.0
        return float((visit_id == "second") == (self.case == "new"))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--pairs", type=int, default=40, help="of each dwelling and kind of change")
    parser.add_argument("--cases", default=",".join(CASES))
    parser.add_argument("--seed", type=int, default=1000)
    options = parser.parse_args()
    tally, took = Tally(), []
    for folder in find_dwellings(options.data):
        home = TruthDwelling(folder)
        for case in options.cases.split(","):
            for number in range(options.pairs):
                pair = Pair(home, case, np.random.default_rng([options.seed, number, CASES.index(case)]))
                survey = pair.survey()
                posterior = infer(replace(survey, actions=()), visit_id="first")
                start = time.process_time()
                found = changes_between(survey, posterior, "first", "second", pair.done)
                took.append(time.process_time() - start)
                print(
                    f"{folder.name} {number} {pair.odd} {pair.scenario} {tally.note(case, found, pair.wanted)}",
                    flush=True,
                )
    share = {case: round(tally.right[case] / tally.asked[case], 3) for case in tally.asked}
    unheard = {f"silent_{case}": round(tally.silent[case] / tally.asked[case], 3) for case in tally.asked}
    print(json.dumps(share | unheard | {"cpu_s": round(float(np.mean(took)), 2)}))


if __name__ == "__main__":
    main()
