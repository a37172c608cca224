"""The one answer about a place and how it is written: which level, which verdict, which part, and in which words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.exposure import Decision, judge
from roomfield.exposure.decision import Bound
from roomfield.quantities import Censoring, ErrorContribution, Kind, ProbabilityRange, UncertainLevel
from roomfield.show.findings import (
    CategoryChance,
    Chance,
    Contribution,
    Level,
    Outcome,
    PlaceFinding,
    PlaceLevel,
    Verdict,
)
from roomfield.show.place_cells import LevelCell, level_cell, place_cells
from roomfield.show.shown_place import Frame, answering_level, shown_place
from roomfield.show.words import load_words
from roomfield.survey import Control, Emitter, Meter, Place, RadioState
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.contents.place_findings import (
    AIM,
    aim_reference,
    finding_id,
    group_names,
    law_outcome,
    leaning,
    likely_outcome,
    place_findings,
    state_entries,
    switch_contributions,
    verdicts,
)

from .surveys import typed, visit

PEAK, HOLD, AVERAGE = Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE
WORDS = load_words("en")
FRAME = Frame("on", 0.95, "law", "guide")


def stated(kind: Kind, median: float, state: str = "on", censoring: Censoring = Censoring.NONE) -> PlaceLevel:
    return PlaceLevel(state, kind, Level(median, median / 2.0, median * 2.0, censoring))


def against(reference: str, outcome: Outcome = Outcome.BELOW, kind: Kind = HOLD, place: str = "bed", state: str = "on"):
    return Verdict(place, state, kind, reference, outcome, 1e-5, Chance(0.96, 0.99))


def part(source: str, share: float | None, *, place: str = "bed", state_with: str = "", low=None, high=None):
    return Contribution(
        place, source, PEAK, 3e-6, 1e-6, 5e-6, share=share, share_low=low, share_high=high, state_with=state_with
    )


BED = PlaceFinding(
    "bed", "Bed", "Bedroom", sleeping=True, levels=(stated(AVERAGE, 1e-6), stated(PEAK, 4e-6), stated(HOLD, 9e-6))
)


class TestAnswer:
    """Guidelines ask for the highest held, or the peak if that is all there is (common practice, no source)."""

    @pytest.mark.parametrize(
        ("read", "asked", "answers"),
        [
            ((AVERAGE, PEAK, HOLD), None, HOLD),
            ((AVERAGE, PEAK), None, PEAK),
            ((AVERAGE,), None, AVERAGE),
            ((AVERAGE, PEAK, HOLD), PEAK, PEAK),
            ((HOLD, PEAK, AVERAGE), AVERAGE, AVERAGE),
            ((AVERAGE, PEAK), HOLD, PEAK),
        ],
    )
    def test_which_kind_answers(self, read, asked, answers):
        place = replace(BED, levels=tuple(stated(kind, 1e-6) for kind in read))
        found = answering_level(place, "on", asked)
        assert found is not None and found.kind is answers
        assert answering_level(place, "off", asked) is None

    def test_only_what_is_of_the_place_the_state_and_the_references_is_taken(self):
        told = [
            against("law", place="desk"),
            against("guide", state="off"),
            against("other"),
            against("law", Outcome.LIKELY_BELOW, AVERAGE),
            against("guide", Outcome.ABOVE),
        ]
        parts = [part("small", 0.2), part("large", 0.7), part("elsewhere", 0.9, place="desk"), part("switched", None)]
        place = replace(BED, levels=(stated(AVERAGE, 8e-6, "off"), *BED.levels))
        found = shown_place(place, told, parts, FRAME)
        assert (found.law, found.aim) == (told[3], told[4])
        assert found.average is not None and found.average.level.median_w_m2 == 1e-6
        assert found.level is not None and found.level.kind is HOLD
        assert found.largest is parts[1]
        assert found.contributions == (parts[0], parts[1], parts[3])
        assert shown_place(place, told, parts, replace(FRAME, guideline_id="")).aim is None

    @pytest.mark.parametrize(
        ("told", "held"),
        [([], False), ([against("guide", Outcome.NOT_COMPARABLE)], False), ([against("guide")], True)],
    )
    def test_whether_it_was_held_against_the_aim(self, told, held):
        assert shown_place(BED, told, [], FRAME).held_against_aim is held

    def test_as_plain_values(self):
        scale = (CategoryChance("low", Chance(0.1, 0.1), 1e-7), CategoryChance("high", Chance(0.9, 0.9)))
        told = [against("law", kind=AVERAGE), replace(against("guide", Outcome.ABOVE), categories=scale)]
        parts = [part("router", 0.7, low=0.5, high=0.8), part("base", None, state_with="on")]
        plain = shown_place(BED, told, parts, FRAME).to_dict()
        assert (plain["place_id"], plain["sleeping"], plain["state"]) == ("bed", True, "on")
        assert (plain["kind"], plain["median_w_m2"], plain["censoring"]) == ("highest_held", 9e-6, "none")
        assert (plain["low_w_m2"], plain["high_w_m2"]) == (4.5e-6, 18e-6)
        assert plain["average"]["median_w_m2"] == 1e-6
        assert (plain["law"]["outcome"], plain["law"]["category"], plain["law"]["category_probability"]) == (
            "below",
            "",
            None,
        )
        assert (plain["aim"]["outcome"], plain["aim"]["category"]) == ("above", "high")
        assert plain["aim"]["category_probability"] == (0.9, 0.9) and plain["aim"]["probability_below"] == (0.96, 0.99)
        assert [(c["source"], c["way"]) for c in plain["contributions"]] == [("router", "model"), ("base", "switched")]
        router = plain["contributions"][0]
        assert (router["low_w_m2"], router["median_w_m2"], router["high_w_m2"]) == (1e-6, 3e-6, 5e-6)
        assert (router["share_low"], router["share"], router["share_high"]) == (0.5, 0.7, 0.8)
        bare = shown_place(replace(BED, levels=()), [], [], FRAME).to_dict()
        assert (bare["kind"], bare["median_w_m2"], bare["average"], bare["law"], bare["aim"]) == (
            "",
            None,
            None,
            None,
            None,
        )


class TestCells:
    def test_a_number_has_its_interval_and_a_bound_has_none(self):
        number = level_cell(stated(PEAK, 4e-6), WORDS)
        assert number == LevelCell("peak", "4.0", "2.0 to 8.0") and number.whole == "4.0 (2.0 to 8.0)"
        below = level_cell(stated(AVERAGE, 4e-6, censoring=Censoring.BELOW), WORDS)
        assert below == LevelCell("average", "< 8.0", "") and below.whole == "< 8.0"
        assert level_cell(None, WORDS) is None

    def test_a_row_says_who_makes_most_and_how_much(self):
        row = place_cells(shown_place(BED, [against("guide")], [part("router", 0.7, low=0.5, high=0.8)], FRAME), WORDS)
        assert (row.place, row.room, row.largest, row.share) == (
            "Bed",
            "Bedroom",
            "router",
            "70\N{NO-BREAK SPACE}% (50\N{NO-BREAK SPACE}% to 80\N{NO-BREAK SPACE}%)",
        )
        assert row.level is not None and row.level.kind == "highest held"
        assert row.average is not None and row.average.kind == "average"
        assert row.aim.startswith("below") and row.law == WORDS.say("outcome.none")

    def test_a_share_without_ends_may_be_anything(self):
        row = place_cells(shown_place(BED, [], [part("router", 0.7)], FRAME), WORDS)
        assert row.share.replace("\N{NO-BREAK SPACE}", " ") == "70 % (< 1 % to > 99 %)"
        narrow = place_cells(shown_place(BED, [], [part("router", 0.7, low=0.6, high=0.9)], FRAME), WORDS)
        assert "60" in narrow.share and "90" in narrow.share

    def test_a_place_that_no_aim_is_for_and_no_part_is_known_of(self):
        row = place_cells(shown_place(BED, [], [], FRAME), WORDS)
        assert row.aim == "the guideline is for places to sleep"
        assert (row.largest, row.share) == ("", "")


class TestOutcomes:
    @pytest.mark.parametrize(
        ("low", "high", "leans"),
        [
            (0.8, 1.0, Outcome.LIKELY_BELOW),
            (0.79, 1.0, Outcome.UNDECIDED),
            (0.0, 0.21, Outcome.UNDECIDED),
            (0.0, 0.19, Outcome.LIKELY_ABOVE),
        ],
    )
    def test_from_four_in_five_on_it_is_likely(self, low, high, leans):
        assert leaning(ProbabilityRange(low, high)) is leans

    @pytest.mark.parametrize(
        ("low", "high", "said"),
        [
            (0.95, 1.0, Outcome.BELOW),
            (0.94, 1.0, Outcome.LIKELY_BELOW),
            (0.0, 0.049, Outcome.ABOVE),
            (0.0, 0.051, Outcome.LIKELY_ABOVE),
        ],
    )
    def test_from_the_coverage_on_it_is_said(self, low, high, said):
        assert likely_outcome(ProbabilityRange(low, high), 0.95) is said

    @pytest.mark.parametrize(
        ("db", "decision", "said"),
        [
            (-9.0, Decision.BELOW, Outcome.BELOW),
            (9.0, Decision.ABOVE, Outcome.ABOVE),
            (-3.0, Decision.UNDECIDED, Outcome.LIKELY_BELOW),
            (0.0, Decision.UNDECIDED, Outcome.UNDECIDED),
            (3.0, Decision.UNDECIDED, Outcome.LIKELY_ABOVE),
        ],
    )
    def test_the_rule_decides_and_where_it_does_not_the_probability(self, db, decision, said):
        """A guard band of 4 dB about 1 W/m², an error of 2 dB: 3 dB is one and a half standard deviations."""
        verdict = judge(UncertainLevel(AVERAGE, db, (ErrorContribution("own", 2.0),)), Bound(1.0, AVERAGE, "limit"))
        assert verdict.decision is decision and law_outcome(verdict) is said


def aimed(rows, aim_w_m2: float | None = 1e-5, **order):
    survey = typed(rows, **order)
    return assess(replace(survey, assignment=replace(survey.assignment, aim_w_m2=aim_w_m2)))


class TestAimAlone:
    def test_sleeping_places_are_held_against_it_by_the_highest_kind_that_was_read(self):
        found = aimed(
            [("bed", "as_found", k, v) for k, v in ((AVERAGE, 1e-9), (PEAK, 1e-8), (HOLD, 1e-2))]
            + [("desk", "as_found", PEAK, 1e-2), ("bed", "router_off", PEAK, 1e-7)]
        )
        told = [(v.place_id, v.state_id, v.kind, v.outcome) for v in verdicts(found) if v.reference_id == AIM]
        assert told == [("bed", "as_found", HOLD, Outcome.ABOVE), ("bed", "router_off", PEAK, Outcome.BELOW)]
        (first, _) = [v for v in verdicts(found) if v.reference_id == AIM]
        assert first.bound_w_m2 == 1e-5 and first.probability_below.high < 0.01

    def test_what_places_are_held_against_beside_the_law(self):
        rows = [("bed", "as_found", PEAK, 1e-6)]
        assert aim_reference(aimed(rows)) == AIM
        assert aim_reference(aimed(rows, None)) == ""
        assert not [v for v in verdicts(aimed(rows, None)) if v.reference_id == AIM]
        chosen = assess(typed(rows, guideline="building-biology-2015"))
        assert aim_reference(chosen) == "building-biology-2015"
        assert not [v for v in verdicts(chosen) if v.reference_id == AIM]


class TestInstallations:
    """Limits that bind installations say nothing of the client's own devices, unless all together are within."""

    @pytest.mark.parametrize(
        ("state", "value", "said"),
        [
            ("as_found", 2.4, Outcome.NOT_COMPARABLE),
            ("router_off", 2.4, Outcome.NOT_COMPARABLE),
            ("own_off", 2.4, None),
            ("as_found", 1e-4, Outcome.BELOW),
        ],
    )
    def test_what_is_left_counts_once_all_of_the_client_s_own_is_off(self, state, value, said):
        found = assess(typed([("bed", state, AVERAGE, value)], jurisdiction="DE"))
        (law,) = [v for v in verdicts(found) if v.reference_id == "de-public"]
        assert found.limits.installations_only
        assert law.outcome is said if said else law.outcome is not Outcome.NOT_COMPARABLE


class TestWhatIsSaidBeside:
    def test_an_on_off_test_says_by_how_much_the_sum_of_quotients_is_kept(self):
        rows = [("bed", "as_found", AVERAGE, 1e-4), ("bed", "router_off", AVERAGE, 2e-5)]
        found = assess(typed(rows))
        with_all, without = [v for v in verdicts(found) if v.kind is AVERAGE]
        (item,) = found.quotients
        said = dict(with_all.conversion.values)
        assert with_all.conversion.key == "conversion.quotient"
        assert said["ratio"] == pytest.approx(1.0 / item.quotient.interval(0.95)[1])
        assert without.conversion == ""

    def test_a_sum_that_may_be_anything_says_nothing(self):
        rows = [("bed", "as_found", AVERAGE, 2.5, Censoring.ABOVE), ("bed", "router_off", AVERAGE, 2e-5)]
        told = [v for v in verdicts(assess(typed(rows))) if v.state_id == "as_found"]
        assert told and all(v.conversion == "" for v in told)

    @pytest.mark.parametrize(
        ("guideline", "upper", "scale"),
        [("building-biology-2015", True, True), ("europaem-2016", True, False), ("bioinitiative-2012", False, False)],
    )
    def test_what_is_said_of_a_guideline_follows_its_form(self, guideline, upper, scale):
        """A total bounds each service; a scale has categories; values for named services list those it is within."""
        found = assess(
            typed([("bed", "as_found", PEAK, 1e-4), ("bed", "as_found", AVERAGE, 1e-4)], guideline=guideline)
        )
        (told,) = [v for v in verdicts(found) if v.reference_id == guideline]
        assert told.upper_bound_only is upper
        assert bool(told.categories) is scale and bool(told.target) is not scale
        assert (told.conversion != "") is (guideline == "europaem-2016")

    def test_the_level_itself_is_held_against_an_aim_of_the_client_s_own(self):
        found = aimed([("bed", "as_found", PEAK, 1e-4)], guideline="building-biology-2015")
        (told,) = [v for v in verdicts(found) if v.reference_id == "building-biology-2015"]
        assert told.bound_w_m2 == 1e-5 and not told.upper_bound_only

    def test_a_switch_read_in_several_states_says_in_how_many(self):
        one = [("bed", "as_found", PEAK, 1e-4), ("bed", "router_off", PEAK, 2e-5)]
        (single,) = switch_contributions(assess(typed(one)))
        assert single.basis == "" and (single.state_with, single.state_without) == ("as_found", "router_off")
        assert 0.0 < single.low_w_m2 < single.median_w_m2 < single.high_w_m2
        two = [*one, ("bed", "base_off", PEAK, 9e-5), ("bed", "own_off", PEAK, 1e-5)]
        pooled = {c.source: c for c in switch_contributions(assess(typed(two)))}
        assert {dict(c.basis.values)["n"] for c in pooled.values()} == {2}


class TestPlaces:
    def test_sleeping_places_come_first_and_what_was_not_read_is_left_out(self):
        made = typed([("desk", "as_found", PEAK, 1e-4), ("bed", "as_found", PEAK, 1e-4)])
        made = replace(made, places=(*made.places, Place("hall", "Hall")))
        assert [(p.id, p.name, p.sleeping) for p in place_findings(assess(made))] == [
            ("bed", "Bed", True),
            ("desk", "Desk", False),
        ]

    def test_a_second_meter_at_a_place_has_a_row_and_an_id_of_its_own(self):
        made = typed(
            [("bed", "as_found", PEAK, 1e-4), ("bed", "as_found", PEAK, 4e-4), ("desk", "as_found", PEAK, 2e-4)]
        )
        first, second, third = made.readings
        other = Meter("m2", "Second meter", tolerance_db=3.0)
        made = replace(
            made,
            meters=(*made.meters, other),
            readings=(first, replace(second, meter_id="m2"), replace(third, meter_id="m2")),
        )
        found = assess(made)
        assert [finding_id(found, place, meter) for place, meter in (("bed", "m1"), ("bed", "m2"), ("desk", "m2"))] == [
            "bed",
            "bed/m2",
            "desk",
        ]
        assert [p.name for p in place_findings(found)] == [
            "Bed (Invented meter)",
            "Bed (Second meter)",
            "Desk (Second meter)",
        ]
        assert all(len(p.levels) == 1 for p in place_findings(found))

    def test_states_name_what_hangs_on_their_switches(self):
        both = (
            Emitter("r24", "Router 2.4", switch_group="router", control=Control.CLIENT),
            Emitter("r5", "Router 5", switch_group="router", control=Control.CLIENT),
        )
        states = (RadioState("as_found", "As found"), RadioState("quiet", "Quiet", ("router", "unlisted")))
        made = typed([("bed", "as_found", PEAK, 1e-4)], emitters=both, visits=(visit(states=states),))
        assert group_names(made) == {"router": "Router 2.4, Router 5"}
        assert [s.off for s in state_entries(assess(made))] == [(), ("Router 2.4, Router 5", "unlisted")]
