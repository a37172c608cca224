"""Assess and report of a 40-place survey, beside a plain pandas script that does the same arithmetic.

    python -m benchmarks.spine

Prints seconds (wall and CPU) for each step; last line one JSON object. The pandas script knows no uncertainty,
censoring, probabilities or document: it converts, averages replicates, subtracts radio states and divides by the
limit, as a spreadsheet would.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from roomfield.quantities.kind import Kind
from roomfield.survey import (
    Assignment,
    Meter,
    Place,
    PlaceKind,
    RadioState,
    Reading,
    Survey,
    Visit,
)
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.files import report_content, write_report

PLACES, SCANS = 40, 2
STATES = (
    RadioState("as_found", "As found"),
    RadioState("router_off", "Router off", ("router",)),
    RadioState("own_off", "All own radios off", ("router", "cordless")),
)


def survey_of(places: int, seed: int = 1) -> Survey:
    """An invented survey: every place in three radio states, three kinds, two scans."""
    rng = np.random.default_rng(seed)
    visit = Visit("v1", "2026-03-01T09:00:00+01:00", "Invented assessor", radio_states=STATES)
    readings = []
    for place in range(places):
        level = rng.normal(-40.0, 8.0)
        for number, state in enumerate(STATES):
            for scan in range(SCANS):
                for kind, below in zip(Kind, (0.0, 6.0, 9.0), strict=True):
                    value = 10.0 ** ((level - 3.0 * number - below + rng.normal(0.0, 1.0)) / 10.0)
                    name = f"r{place}-{state.id}-{scan}-{kind.value}"
                    readings.append(
                        Reading(name, "v1", "m1", state.id, kind, value, place_id=f"p{place}", replicate=scan)
                    )
    return Survey(
        "benchmark",
        "Invented survey of 40 places",
        visit.started_at,
        Assignment(client="Invented client", guideline="building-biology-2015"),
        invented=True,
        places=tuple(Place(f"p{n}", f"Place {n}", PlaceKind.BED) for n in range(places)),
        meters=(
            Meter("m1", "Invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),
        ),
        visits=(visit,),
        readings=tuple(readings),
    )


def plain_script(survey: Survey, target: Path) -> None:
    """The same arithmetic without uncertainty, to a spreadsheet."""
    frame = pd.DataFrame(
        [(r.place_id, r.radio_state_id, r.kind.value, r.replicate, r.value_w_m2) for r in survey.readings],
        columns=["place", "state", "kind", "scan", "value"],
    )
    mean = frame.groupby(["place", "state", "kind"])["value"].mean().unstack("state")
    mean["router"] = mean["as_found"] - mean["router_off"]
    mean["quotient"] = mean["as_found"] / 2.0
    mean.to_excel(target)


def timed(what: str, call, repeat: int = 3) -> dict[str, float]:
    """Best of some runs after one to warm up."""
    call()
    best = (float("inf"), float("inf"))
    for _ in range(repeat):
        wall, cpu = time.perf_counter(), time.process_time()
        call()
        best = min(best, (time.perf_counter() - wall, time.process_time() - cpu))
    print(f"{what:48s} {best[0]:7.3f} s wall {best[1]:7.3f} s CPU")
    return {"wall_s": round(best[0], 4), "cpu_s": round(best[1], 4)}


def main() -> None:
    survey = survey_of(PLACES)
    folder = Path(tempfile.mkdtemp(prefix="roomfield-benchmark-"))
    content = report_content(assess(survey), issued_at="2026-03-01T12:00:00+01:00")
    result = {
        "readings": len(survey.readings),
        "assess": timed("assess", lambda: assess(survey)),
        "pdf": timed("report as PDF", lambda: write_report(content, folder / "r.pdf")),
        "assess_and_pdf": timed(
            "assess and report",
            lambda: write_report(
                report_content(assess(survey), issued_at="2026-03-01T12:00:00+01:00"), folder / "r.pdf"
            ),
        ),
        "plain_pandas": timed("plain pandas script to a spreadsheet", lambda: plain_script(survey, folder / "r.xlsx")),
        "help": timed(
            "roomfield --help (a new process)",
            lambda: subprocess.run([sys.executable, "-m", "roomfield", "--help"], capture_output=True, check=True),
        ),
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
