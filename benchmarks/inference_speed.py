"""How long the joint inference takes, and how that grows with readings and emitters.

    python -m benchmarks.inference_speed

Invented homes of 10 places, everything on and each switch off. Prints seconds of processor time and the memory peak;
last line one JSON object. The peer is `scipy.optimize.minimize` (L-BFGS-B) on the same log posterior with our
gradient: it gives the most probable values only, no interval and no draw.
"""

from __future__ import annotations

import itertools
import json
import resource
import time
from dataclasses import replace

import numpy as np
from scipy.optimize import minimize

from roomfield.field.inference import infer
from roomfield.quantities.kind import Kind
from roomfield.survey import Dwelling, Emitter, Layer, Meter, Place, RadioState, Reading, Storey, Survey, Visit, Wall

PLACES = 10
CASES = ((8, 1), (24, 1), (8, 40), (8, 140))
"""Emitters, and scans of each thing."""
OUTLINE = ((0.0, 0.0), (10.0, 0.0), (10.0, 8.0), (0.0, 8.0))


def home() -> Dwelling:
    brick = (Layer("brick", 0.2),)
    corners = [*OUTLINE, OUTLINE[0]]
    walls = [Wall(f"w{i}", "g", a, b, 0.0, 2.5, brick, True) for i, (a, b) in enumerate(itertools.pairwise(corners))]
    walls.append(Wall("middle", "g", (5.0, 0.0), (5.0, 8.0), 0.0, 2.5, brick, False))
    return Dwelling(storeys=(Storey("g", "ground", 0.0, 2.5, OUTLINE),), walls=tuple(walls))


def survey_of(emitters: int, scans: int, seed: int = 3) -> Survey:
    """Readings of three kinds at every place with everything on and with every switch off in turn."""
    random = np.random.default_rng(seed)
    places = tuple(
        Place(f"p{i}", f"p{i}", storey_id="g", position=(*random.uniform((0.5, 0.5), (9.5, 7.5)).tolist(), 1.0))
        for i in range(PLACES)
    )
    known = tuple(
        Emitter(f"e{k}", f"e{k}", "wifi_data", float(random.choice([0.87e9, 1.89e9, 2.45e9, 5.5e9])),
                (*random.uniform((0.2, 0.2), (9.8, 7.8)).tolist(), 1.0), switchable=True)
        for k in range(emitters)
    )  # fmt: skip
    states = (RadioState("all", "all"), *(RadioState(f"off:{e.id}", e.id, (e.id,)) for e in known[:6]))
    readings = []
    for place in places:
        apart = np.array([np.sum((np.array(place.position) - e.position) ** 2) for e in known])
        each = 0.1 / (4.0 * np.pi * np.maximum(apart, 0.1))
        for state in states:
            total = float(sum(each[k] for k, e in enumerate(known) if e.id not in state.off_groups))
            for kind, factor in ((Kind.AVERAGE, 0.05), (Kind.PEAK, 3.0), (Kind.HIGHEST_HELD, 3.5)):
                readings += [
                    Reading(f"{place.id}-{state.id}-{kind}-{n}", "v", "m", state.id, kind,
                            total * factor * 10.0 ** random.normal(0.0, 0.1), place.id, replicate=n)
                    for n in range(scans)
                ]  # fmt: skip
    meter = Meter("m", "m", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-9, overload_w_m2=10.0)
    visit = Visit("v", "2026-01-01T10:00:00+00:00", "nobody", radio_states=states)
    return Survey("speed", "speed", "2026-01-01", invented=True, dwelling=home(), places=places, emitters=known,
                  meters=(meter,), visits=(visit,), readings=tuple(readings))  # fmt: skip


def main() -> None:
    infer(replace(survey_of(2, 1), id="warm"), draws=20)
    cases = []
    for emitters, scans in CASES:
        survey = survey_of(emitters, scans)
        started = time.process_time()
        posterior = infer(survey)
        seconds = time.process_time() - started
        forward = posterior.forward
        started = time.process_time()
        minimize(
            lambda x, f=forward: tuple(-v[0] for v in f.log_posterior(x[None])), np.zeros(forward.blocks.total),
            jac=True, method="L-BFGS-B",
        )  # fmt: skip
        peer_s = time.process_time() - started
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        case = {"emitters": emitters, "readings": len(survey.readings), "cpu_s": round(seconds, 2),
                "memory_mb": round(memory), "unknowns": forward.blocks.total, "peer_mode_only_s": round(peer_s, 2)}  # fmt: skip
        print(case, flush=True)
        cases.append(case)
    print(json.dumps({"cases": cases}))


if __name__ == "__main__":
    main()
