"""The report's numbers once more, from the survey package alone: plain JSON, plain sampling, no code of ours."""

from __future__ import annotations

import csv
import json
import zipfile

import numpy as np
import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.exchange.package import write_package
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.files import report_content, write_report
from roomfield.workbench.publish.plain_values import assessment_plain

DRAWS = 200_000


@pytest.fixture(scope="module")
def packed(tmp_path_factory):
    """The first visit's current readings as (place, radio state, kind) to what the meter showed [µW/m²]."""
    path = tmp_path_factory.mktemp("package") / "survey.zip"
    write_package(demo_survey(), lambda sha: path, path)
    with zipfile.ZipFile(path) as package:
        name = next(n for n in package.namelist() if n.endswith(".json") and "survey" in n)
        document = json.loads(package.read(name))
    survey = document.get("survey", document)
    values = {r["id"]: r for r in survey["readings"]}
    for amendment in survey["amendments"]:
        values[amendment["target_id"]][amendment["field"]] = json.loads(amendment["new"])
    first = [r for r in values.values() if r["visit_id"] == "first"]
    assert {r["censoring"] for r in first} == {"none"}
    return survey, {(r["place_id"], r["radio_state_id"], r["kind"]): 1e6 * r["value_w_m2"] for r in first}


@pytest.fixture(scope="module")
def errors():
    """Errors in dB as the report's budget table states them: rectangular tolerance and body, normal repeatability."""
    rng = np.random.default_rng(2)
    common = rng.uniform(-6.0, 6.0, DRAWS)

    def draw(kind: str, scan: np.ndarray) -> np.ndarray:
        reach = 4.8 if kind == "average" else 1.4
        own = rng.uniform(-1.0, 1.0, DRAWS) + rng.uniform(-0.05, 0.05, DRAWS)
        return common + scan + own + rng.uniform(0.0, reach, DRAWS)

    return rng, draw


@pytest.mark.published("JCGM 101:2008, clause 7: propagation of distributions by sampling, done here with NumPy alone")
def test_levels_and_intervals(packed, errors, tmp_path):
    survey, shown = packed
    rng, draw = errors
    names = {p["name"]: p["id"] for p in survey["places"]}
    states = {s["name"]: s["id"] for v in survey["visits"] for s in v["radio_states"]}
    path = write_report(report_content(assess(demo_survey())), tmp_path / "r.csv")
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(shown) == 84
    for kind in ("peak", "highest_held", "average"):
        factor = 10.0 ** (draw(kind, rng.normal(0.0, 1.0, DRAWS)) / 10.0)
        low, median, high = np.quantile(factor, [0.025, 0.5, 0.975])
        for row in (r for r in rows if r["kind"] == kind):
            value = shown[names[row["place"]], states[row["radio_state"]], kind]
            assert float(row["shown_uW_m2"]) == pytest.approx(value, rel=1e-6)
            assert float(row["median_uW_m2"]) == pytest.approx(value * median, rel=0.02)
            assert float(row["low_uW_m2"]) == pytest.approx(value * low, rel=0.03)
            assert float(row["high_uW_m2"]) == pytest.approx(value * high, rel=0.03)


@pytest.mark.published("JCGM 101:2008, clause 7, with the meter's common error drawn once (JCGM 100, F.1.2.3)")
@pytest.mark.parametrize(("place", "group"), [("cot", "cordless"), ("sofa", "router"), ("desk", "cordless")])
def test_contributions(packed, errors, place, group):
    _, shown = packed
    rng, draw = errors
    other = {"cordless": "router_off", "router": "cordless_off"}[group]
    pairs = [("as_found", f"{group}_off"), (other, "own_off")]
    differences = []
    for on, off in pairs:
        drawn = [
            shown[place, state, "peak"] * 10.0 ** (draw("peak", rng.normal(0.0, 1.0, DRAWS)) / 10.0)
            for state in (on, off)
        ]
        differences.append(drawn[0] - drawn[1])
    low, high = np.quantile(np.mean(differences, axis=0), [0.025, 0.975])
    plain = assessment_plain(assess(demo_survey()))["contributions"]
    names = {"cordless": "Cordless telephone base", "router": "Router, 2.4 GHz + Router, 5 GHz"}
    found = next(c for c in plain if (c["place_id"], c["source"], c["kind"]) == (place, names[group], "peak"))
    width = high - low
    assert found["low_w_m2"] * 1e6 == pytest.approx(low, abs=0.03 * width)
    assert found["high_w_m2"] * 1e6 == pytest.approx(high, abs=0.06 * width)


def test_every_verdict_names_a_reference_that_is_listed():
    content = report_content(assess(demo_survey()))
    listed = {r.id for r in content.references}
    places = {p.id for p in content.places}
    assert {v.reference_id for v in content.verdicts} <= listed
    assert {v.place_id for v in content.verdicts} <= places
    assert all(r.how_known and r.document for r in content.references)
