"""Comparisons of a visit: bounds, pulses, named services, several meters, later visits; and how a report says so."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.errors import UnknownNameError
from roomfield.exposure.decision import Decision
from roomfield.quantities import Kind
from roomfield.references.guidelines import guideline_sets
from roomfield.references.limits import limit_sets
from roomfield.report.render.html import render_html
from roomfield.show.evidence import ReferenceStanding
from roomfield.show.findings import Outcome
from roomfield.show.words.message_catalogue import load_words
from roomfield.survey import Censoring, Meter, Place
from roomfield.workbench.assess.assessment import Terms, assess
from roomfield.workbench.publish.contents.place_findings import place_findings, verdicts
from roomfield.workbench.publish.contents.steps import next_steps
from roomfield.workbench.publish.contents.unsettled import unsettled
from roomfield.workbench.publish.files import report_content, write_report
from roomfield.workbench.publish.plain_values import assessment_plain, place_rows

from .surveys import STATES, typed, visit

PEAK, HOLD, AVERAGE = Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE
ISSUED = "2026-04-01T10:00:00+02:00"


@pytest.fixture(scope="module")
def demo():
    return assess(demo_survey())


class TestBoundsForTheLaw:
    def test_an_average_is_taken_before_what_only_bounds_it(self):
        found = assess(typed([("bed", "as_found", k, v) for k, v in ((PEAK, 1e-2), (HOLD, 1e-3), (AVERAGE, 1e-4))]))
        (law,) = found.law
        assert law.measured is Kind.AVERAGE
        assert not law.is_upper_bound

    @pytest.mark.parametrize("kinds", [(HOLD,), (HOLD, PEAK)])
    def test_a_higher_kind_is_only_an_upper_bound(self, kinds):
        """No average is above its own peak or highest held (common practice, no source)."""
        found = assess(typed([("bed", "as_found", k, 1e-3) for k in kinds]))
        (law,) = found.law
        assert law.is_upper_bound
        assert law.measured.value == kinds[-1].value
        assert law.verdict.decision is Decision.BELOW
        assert law.verdict.probability_below.high == 1.0

    def test_an_upper_bound_above_the_limit_shows_nothing(self):
        found = assess(typed([("bed", "as_found", PEAK, 2.4)]))
        assert found.law[0].verdict.decision is Decision.UNDECIDED

    def test_an_overload_of_a_higher_kind_bounds_nothing(self):
        found = assess(typed([("bed", "as_found", PEAK, 2.5, Censoring.ABOVE)]))
        assert found.law == ()
        assert next_steps(found)[0].title.key != "step.nothing_needed.title"

    def test_the_report_says_that_it_is_a_bound(self):
        survey = typed([("bed", "as_found", PEAK, 1e-3)])
        (law, *_) = verdicts(assess(survey))
        assert law.kind is PEAK
        assert law.conversion.key == "conversion.from_bound"
        page = render_html(report_content(assess(survey), issued_at=ISSUED), language="en")
        assert "serves as an upper bound" in page

    def test_local_limits_take_the_highest_held(self):
        survey = typed(
            [("bed", "as_found", HOLD, 1e-3), ("bed", "as_found", AVERAGE, 1e-4)],
            jurisdiction="icnirp-2020-public-local",
        )
        assert {f.measured for f in assess(survey).law} == {Kind.HIGHEST_HELD}


class TestPulses:
    @pytest.mark.published(
        "1999/519/EC, Annex III: above 10 MHz the mean over a pulse at most 1000 times the reference level"
    )
    def test_peaks_are_held_against_the_pulse_rule(self, demo):
        assert demo.pulse.value_w_m2 == pytest.approx(1000.0 * 400.0 / 200.0)
        assert {f.verdict.level.kind for f in demo.pulses} == {Kind.PEAK}
        assert {f.verdict.decision for f in demo.pulses} == {Decision.BELOW}

    @pytest.mark.published("ICNIRP 2020: no pulse rule beside the averages in this form")
    def test_a_document_without_one_gives_none(self):
        found = assess(typed([("bed", "as_found", PEAK, 1e-3)], jurisdiction="ICNIRP"))
        assert found.pulse is None
        assert found.pulses == ()

    def test_its_reference_stays_off_the_axis(self, demo):
        content = report_content(demo, issued_at=ISSUED)
        entry = content.reference(f"{content.law_id}/pulses")
        assert entry.value_w_m2 == pytest.approx(2000.0)
        assert not entry.on_axis


class TestServices:
    def test_a_total_is_an_upper_bound_for_every_service_of_every_such_guideline(self):
        for chosen in guideline_sets(superseded=True):
            found = assess(typed([("bed", "as_found", PEAK, 1e-5)], guideline=chosen.set_id))
            rows = assessment_plain(found)["services"]
            assert {r["upper_bound"] for r in rows} == {chosen.per_service}
            assert len({r["service"] for r in rows}) == len(chosen.services)

    @pytest.mark.published(
        "EUROPAEM EMF Guideline 2016: night values DECT 10, Wi-Fi 1 µW/m²; day values ten times that"
    )
    def test_the_target_follows_the_use_of_the_place(self):
        survey = typed([("bed", "as_found", PEAK, 1e-5), ("desk", "as_found", PEAK, 1e-5)], guideline="europaem-2016")
        found = {f.place_id: f for f in assess(survey).precaution}
        assert found["bed"].headline().row.name == "nighttime"
        assert found["desk"].headline().row.name == "daytime"
        dect = next(r for r in found["bed"].results if r.service == "dect")
        assert found["bed"].headline(dect).row.upper_w_m2 == pytest.approx(10e-6)
        assert found["desk"].headline(dect).row.upper_w_m2 == pytest.approx(100e-6)

    def test_named_services_are_never_called_above(self):
        (verdict,) = [
            v
            for v in verdicts(assess(typed([("bed", "as_found", PEAK, 1.0)], guideline="europaem-2016")))
            if v.reference_id == "europaem-2016"
        ]
        assert verdict.outcome is Outcome.UNDECIDED
        assert dict(verdict.conversion.values)["within"].key == "conversion.none"

    @pytest.mark.published("EUROPAEM EMF Guideline 2016: night value FM 1000 µW/m²")
    def test_services_it_is_within_are_named(self):
        (verdict,) = [
            v
            for v in verdicts(assess(typed([("bed", "as_found", PEAK, 100e-6)], guideline="europaem-2016")))
            if v.reference_id == "europaem-2016"
        ]
        named = dict(verdict.conversion.values)
        assert named["within"] == "FM broadcast"
        assert "DECT" in named["open"]


class TestStandings:
    @pytest.mark.parametrize(
        ("jurisdiction", "standing", "words"),
        [
            ("EU", ReferenceStanding.RECOMMENDATION, "not binding by itself"),
            ("CH", ReferenceStanding.LAW, "The legal limit is binding"),
            ("ICNIRP", ReferenceStanding.EXPERT, "expert body is not binding"),
            ("IEEE", ReferenceStanding.VOLUNTARY, "reference limit is not binding"),
        ],
    )
    def test_only_law_is_called_binding(self, jurisdiction, standing, words):
        content = report_content(
            assess(typed([("bed", "as_found", AVERAGE, 1e-4)], jurisdiction=jurisdiction)), issued_at=ISSUED
        )
        assert content.reference(content.law_id).standing is standing
        page = render_html(content, language="en")
        assert words in page
        assert ("The legal limit is binding" in page) is (standing is ReferenceStanding.LAW)

    @pytest.mark.parametrize(
        "rule",
        ["simple", "guard-0.83U", "guard-U", "guard-1.5U", "guard-3U", "guarded-rejection", "three-way", "iec-62311"],
    )
    @pytest.mark.parametrize("language", ["en", "de"])
    def test_every_rule_is_worded(self, rule, language):
        found = assess(typed([("bed", "as_found", AVERAGE, 1e-4)]), terms=Terms(rule=rule))
        content = report_content(found, issued_at=ISSUED)
        assert len(load_words(language).text(content.rules.decision_rule)) > 60

    def test_a_wrong_rule_is_refused_even_without_a_comparison(self):
        with pytest.raises(UnknownNameError, match="decision rule"):
            assess(typed([("bed", "as_found", PEAK, 2.5, Censoring.ABOVE)]), terms=Terms(rule="guess"))

    def test_what_was_added_is_said(self, demo):
        keys = [p.key for p in report_content(demo, issued_at=ISSUED).method]
        assert {
            "method.smallest",
            "method.time_added",
            "method.ceiling",
            "method.pulses",
            "method.services_each",
            "method.pooled",
        } <= set(keys)


@pytest.fixture(scope="module")
def two():
    survey = typed(
        [
            ("bed", "as_found", PEAK, 1e-3),
            ("bed", "router_off", PEAK, 1e-4),
            ("bed", "as_found", PEAK, 5e-3),
            ("bed", "as_found", AVERAGE, 1e-4),
        ],
        guideline="building-biology-2015",
    )
    readings = tuple(replace(r, meter_id="m2") if n == 2 else r for n, r in enumerate(survey.readings))
    return assess(
        replace(
            survey,
            meters=(
                Meter("m1", "First meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),
                Meter("m2", "Second meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),
            ),
            readings=readings,
        )
    )


class TestSeveralMeters:
    def test_levels_stay_apart(self, two):
        peaks = {
            i.meter_id: i.combined.level.median_w_m2
            for i in two.table.levels
            if i.kind is Kind.PEAK and i.state_id == "as_found"
        }
        assert peaks["m2"] == pytest.approx(5.0 * peaks["m1"])
        assert two.table.find("bed", "as_found", Kind.PEAK, "m2").combined.level.median_w_m2 == pytest.approx(
            peaks["m2"]
        )

    def test_each_has_its_own_comparison(self, two):
        rows = {r.meter: r for r in place_rows(two) if r.kind == "peak"}
        assert rows["m1"].median_w_m2 != rows["m2"].median_w_m2
        assert len({f.meter_id for f in two.precaution}) == 2
        assert two.precaution_at("bed", meter_id="m2").results[0].level.median_w_m2 == pytest.approx(
            rows["m2"].median_w_m2
        )

    def test_no_difference_across_meters(self, two):
        assert {f.meter_id for f in two.switches} == {"m1"}

    def test_the_report_names_the_meter_and_says_so(self, two):
        names = [p.name for p in place_findings(two)]
        assert names == ["Bed (First meter)", "Bed (Second meter)"]
        assert "method.meters" in [p.key for p in report_content(two, issued_at=ISSUED).method]
        places = {p.id for p in place_findings(two)}
        assert {v.place_id for v in verdicts(two)} == places


class TestVisits:
    def test_the_follow_up_can_be_chosen(self):
        found = assess(demo_survey(), "follow-up")
        assert found.table.visit.id == "follow-up"
        content = report_content(found, issued_at=ISSUED)
        assert {r.visit for r in content.readings} == {"follow-up"}
        assert "open.one_visit" in [t.key for t in content.undetermined]

    def test_as_found_is_the_state_with_least_off_that_was_read(self):
        found = assess(typed([("bed", "router_off", PEAK, 1e-3), ("bed", "own_off", PEAK, 1e-4)]))
        assert found.table.base_state.id == "router_off"
        assert {f.group for f in found.switches} == {"base"}

    def test_a_state_without_off_switches_counts_wherever_it_stands(self):
        reordered = visit(states=STATES[::-1])
        found = assess(typed([("bed", "own_off", PEAK, 1e-4), ("bed", "as_found", PEAK, 1e-3)], visits=(reordered,)))
        assert found.table.base_state.id == "as_found"


class TestUnsettled:
    def keys(self, survey):
        return [t.key for t in unsettled(assess(survey))]

    def test_no_switching(self):
        assert self.keys(typed([("bed", "as_found", PEAK, 1e-3)])).count("open.not_switched") == 1

    def test_switching_without_effect(self):
        assert "open.no_effect" in self.keys(
            typed([("bed", "as_found", PEAK, 1e-3), ("bed", "router_off", PEAK, 1e-3)])
        )

    def test_switching_with_effect(self):
        assert "open.no_effect" not in self.keys(
            typed([("bed", "as_found", PEAK, 1e-3), ("bed", "router_off", PEAK, 1e-6)])
        )

    def test_overload(self):
        assert "open.overload" in self.keys(typed([("bed", "as_found", PEAK, 2.5, Censoring.ABOVE)]))

    def test_tests_that_do_not_add_up_are_named_by_place(self):
        rows = [
            ("bed", "as_found", AVERAGE, 1e-3),
            ("bed", "router_off", AVERAGE, 1e-4),
            ("bed", "base_off", AVERAGE, 9e-4),
            ("bed", "own_off", AVERAGE, 1e-1),
        ]
        (found,) = [t for t in unsettled(assess(typed(rows))) if t.key == "open.does_not_add_up"]
        assert dict(found.values)["place"] == "Bed"
        settled = [*rows[:3], ("bed", "own_off", AVERAGE, 5e-5)]
        assert "open.does_not_add_up" not in self.keys(typed(settled))


@pytest.mark.parametrize("chosen", limit_sets(superseded=True), ids=lambda s: s.set_id)
def test_every_set_of_limits_can_be_reported(chosen):
    survey = typed(
        [("bed", "as_found", PEAK, 1e-3), ("bed", "as_found", HOLD, 5e-4), ("bed", "as_found", AVERAGE, 1e-4)],
        jurisdiction=chosen.set_id,
    )
    content = report_content(assess(survey), issued_at=ISSUED)
    law = [v for v in content.verdicts if v.reference_id == chosen.set_id]
    assert len(law) == 1
    one_frequency = chosen.range_hz[0] == chosen.range_hz[1]
    assert (law[0].outcome is Outcome.NOT_COMPARABLE) is (one_frequency or not chosen.spot_testable)


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("chosen", guideline_sets(superseded=True), ids=lambda s: s.set_id)
def test_every_guideline_can_be_reported(chosen, language, tmp_path):
    survey = typed(
        [("bed", "as_found", PEAK, 1e-3), ("bed", "router_off", PEAK, 1e-4), ("bed", "as_found", AVERAGE, 1e-4)],
        guideline=chosen.set_id,
    )
    content = report_content(assess(survey), issued_at=ISSUED)
    page = render_html(content, language=language)
    assert chosen.title in page
    assert "{" not in page.partition("<body")[2].replace("{}", "")
    listed = write_report(content, tmp_path / "r.csv", language=language).read_text(encoding="utf-8").splitlines()
    assert len(listed) == 1 + len(survey.readings)
    assert json.loads(write_report(content, tmp_path / "r.json", language=language).read_text(encoding="utf-8"))
    assert write_report(content, tmp_path / "r.xlsx", language=language).read_bytes().startswith(b"PK")


@pytest.mark.parametrize(
    "rows",
    [
        [("bed", "as_found", PEAK, 1e-3)],
        [("bed", "as_found", HOLD, 1e-3)],
        [
            ("bed", "as_found", PEAK, 3e-8, Censoring.BELOW),
            ("bed", "as_found", AVERAGE, 3e-8, Censoring.BELOW),
        ],
        [("bed", s, k, 2.5, Censoring.ABOVE) for s in ("as_found", "router_off") for k in (PEAK, AVERAGE)],
        [(f"bed {n}", "as_found", PEAK, 10.0**-n) for n in range(2, 8)],
    ],
    ids=["one reading", "max-hold only", "under the floor", "overload only", "several places"],
)
def test_odd_visits_still_make_a_report(rows, tmp_path):
    content = report_content(assess(typed(rows, guideline="building-biology-2015")), issued_at=ISSUED)
    assert write_report(content, tmp_path / "r.pdf", language="en").read_bytes().startswith(b"%PDF")


def test_hostile_names_stay_data(tmp_path):
    names = [
        "<script>alert(1)</script>",
        '#import "x"; $a$ *b* _c_ @d `e` \\ ]',
        "=cmd|' /C calc'!A0",
        "床頭 кровать 😀",
        "L" * 300,
    ]
    survey = typed([(f"bed{n}", "as_found", PEAK, 1e-3) for n in range(len(names))])
    survey = replace(survey, places=tuple(Place(f"bed{n}", name) for n, name in enumerate(names)), title=names[1])
    content = report_content(assess(survey), issued_at=ISSUED)
    assert "<script>" not in render_html(content, language="en")
    assert write_report(content, tmp_path / "r.pdf", language="de").stat().st_size > 10_000
