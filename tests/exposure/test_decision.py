"""Decisions and probabilities against JCGM 106 and ILAC-G8 cases, and against simulated meters."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from oracles.jcgm106_risks import (
    Tolerance,
    acceptance_limit_for_risk,
    conformance_probability,
    global_risks,
    rejection_threshold,
)
from roomfield.errors import KindMismatchError, RangeError, UnknownNameError
from roomfield.exposure.decision import Bound, Decision, Remark, judge, pulse_bound, takes_mean_over_scan
from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel
from roomfield.references import limits

CASES_FILE = Path(__file__).parents[1] / "data" / "uncertainty" / "uncertainty-cases.toml"
ALL_CASES = {case["id"]: case for case in tomllib.loads(CASES_FILE.read_text("utf-8"))["case"]}
CASES = {name: case["expected"] for name, case in ALL_CASES.items()}
RULES = ("simple", "guard-0.83U", "guard-U", "guard-1.5U", "guard-3U", "guarded-rejection", "three-way")


def level(
    value: float, std_db: float, *, kind: Kind = Kind.AVERAGE, censoring: Censoring = Censoring.NONE
) -> UncertainLevel:
    return UncertainLevel.from_density(kind, value, (ErrorContribution("meter", std_db),), censoring)


def bound(value: float, kind: Kind = Kind.AVERAGE) -> Bound:
    return Bound(value, kind, "a bound")


@pytest.mark.published("Conformance in dB, flat prior: Phi((L - y)/u) of JCGM 106, 7.3, own examples")
@pytest.mark.parametrize("name", [n for n in CASES if n.startswith("DB-CONF")])
def test_conformance_in_decibels(name):
    reading, upper, expanded = (
        float(x)
        for x in re.search(r"reading ([\d.]+), limit ([\d.]+),.*U = ([\d.]+) dB", ALL_CASES[name]["inputs"]).groups()
    )
    want = CASES[name]
    found = level(reading, expanded / 2)
    verdict = judge(found, bound(upper), "three-way")
    assert verdict.margin_db == pytest.approx(want["margin_dB"], abs=1e-6)
    assert verdict.margin_db / (expanded / 2) == pytest.approx(want["z"], abs=1e-6)
    assert verdict.expanded_db == pytest.approx(expanded)
    # The distribution is tabulated; interpolation keeps the probability within 1e-5.
    assert verdict.probability_below.low == pytest.approx(want["p_conform"], abs=1e-5)
    exact = conformance_probability(-verdict.margin_db, expanded / 2, Tolerance(high=0.0))
    assert exact == pytest.approx(want["p_conform"], abs=1e-6)
    assert (verdict.decision is Decision.BELOW) is want["accept_with_w_equal_U"]
    assert (verdict.decision is Decision.ABOVE) is want["reject_with_w_equal_U"]
    simple = judge(found, bound(upper), "simple").decision
    assert (simple is Decision.BELOW) is want["simple_acceptance"]
    guarded = judge(found, bound(upper), "guard-0.83U").decision
    assert (guarded is Decision.BELOW) is want["accept_with_w_0_83_U"]
    assert guarded in (Decision.BELOW, Decision.NOT_SHOWN_BELOW)
    rejection = judge(found, bound(upper), "guarded-rejection").decision
    assert (rejection is Decision.ABOVE) is want["reject_with_w_equal_U"]


@pytest.mark.published("JCGM 106:2012, 9.5.4, ball bearing with a gamma prior")
def test_ball_bearing_global_risks():
    want = CASES["JCGM106-BEARING"]
    prior = stats.gamma(4, scale=0.25)
    assert prior.sf(2.0) == pytest.approx(want["p_out_exact"], abs=1e-8)
    assert prior.sf(2.0) == pytest.approx(want["p_out_of_tolerance"], abs=5e-5)
    support, std = (0.0, 12.0), 0.25
    simple = global_risks(prior.pdf, support, std, Tolerance(high=2.0), Tolerance(high=2.0))
    assert simple.consumer == pytest.approx(want["global_consumer_risk_simple_acceptance"], abs=5e-6)
    assert simple.producer == pytest.approx(want["global_producer_risk_simple_acceptance"], abs=5e-6)
    guarded = acceptance_limit_for_risk(prior.pdf, support, std, 2.0, 0.001)
    assert guarded == pytest.approx(want["acceptance_limit_for_consumer_risk_0_001"], abs=5e-5)
    assert 2.0 - guarded == pytest.approx(want["guard_band"], abs=5e-5)
    then = global_risks(prior.pdf, support, std, Tolerance(high=2.0), Tolerance(high=guarded))
    assert then.producer == pytest.approx(want["producer_risk_then"], abs=5e-5)


@pytest.mark.published("JCGM 106:2012, clause 9, resistors with two limits (setting from memory)")
@pytest.mark.parametrize(("width", "key"), [(0.0, "w0"), (0.02, "w0_02"), (0.04, "w0_04"), (0.08, "w0_08")])
def test_resistor_global_risks(width, key):
    want = CASES["JCGM106-RESISTOR"]
    prior = stats.norm(1500.0, 0.12)
    limits_ohm = Tolerance(1499.8, 1500.2)
    accepted = Tolerance(1499.8 + width, 1500.2 - width)
    found = global_risks(prior.pdf, (1499.0, 1501.0), 0.04, limits_ohm, accepted)
    assert found.consumer == pytest.approx(want[f"Rc_{key}"], abs=2e-7)
    assert found.producer == pytest.approx(want[f"Rp_{key}"], abs=2e-7)
    assert prior.sf(1500.2) + prior.cdf(1499.8) == pytest.approx(want["p_out"], abs=1e-7)


@pytest.mark.published("JCGM 106:2012, clauses 7 and 8.3.3 (settings from memory)")
def test_zener_and_speed():
    found = conformance_probability(-5.47, 0.05, Tolerance(high=-5.40))
    assert found == pytest.approx(CASES["JCGM106-ZENER"]["p_conform"], abs=1e-6)
    speed = rejection_threshold(100.0, 0.02, 0.999)
    assert speed == pytest.approx(CASES["JCGM106-SPEED"]["reject_above_km_h_exact"], abs=1e-4)
    assert math.ceil(speed) == CASES["JCGM106-SPEED"]["rounded_up"]
    assert float(stats.norm.ppf(0.999)) == pytest.approx(CASES["JCGM106-SPEED"]["z"], abs=1e-6)


def test_every_worked_case_is_checked_somewhere():
    tests = Path(__file__).parents[1]
    text = "".join(
        (tests / name).read_text("utf-8")
        for name in ("exposure/test_decision.py", "quantities/test_published_uncertainty.py")
    )
    families = {"S1-9.4-r": 'CASES[f"S1-9.4-r', "DB-CONF": 'startswith("DB-CONF")'}
    for name in CASES:
        family = next((mark for start, mark in families.items() if name.startswith(start)), f'CASES["{name}"]')
        assert family in text, name
    assert len(CASES) == 28


@pytest.mark.published("ILAC-G8:09/2019 and ISO 14253-1:2017: risk of false acceptance at the limit (from memory)")
@pytest.mark.parametrize(
    ("rule", "factor", "risk"),
    [
        ("simple", 0.0, 0.5),
        ("guard-0.83U", 0.83, 0.05),
        ("guard-U", 1.0, 0.025),
        ("guard-1.5U", 1.5, 0.0016),
        ("guard-3U", 3.0, 1e-6),
    ],
)
def test_guard_bands_hold_their_stated_risk(rule, factor, risk):
    verdict = judge(level(1e-3, 1.5), bound(1.0), rule)
    assert verdict.guard_band_db == pytest.approx(factor * 3.0)
    assert verdict.acceptance_limit_w_m2 == pytest.approx(10 ** (-factor * 3.0 / 10))
    on_the_edge = judge(level(verdict.acceptance_limit_w_m2, 1.5), bound(1.0), rule)
    assert on_the_edge.decision is Decision.BELOW
    assert on_the_edge.risk[1] <= risk + 1e-5
    just_over = judge(level(verdict.acceptance_limit_w_m2 * 1.001, 1.5), bound(1.0), rule)
    assert just_over.decision in (Decision.NOT_SHOWN_BELOW, Decision.ABOVE)


@given(db=st.floats(-40, 40), std=st.floats(0.1, 6), censoring=st.sampled_from(Censoring))
@settings(max_examples=80, deadline=None)
def test_rules_agree_with_each_other(db, std, censoring):
    found = UncertainLevel(Kind.AVERAGE, db, (ErrorContribution("meter", std),), censoring)
    decisions = {rule: judge(found, bound(1.0), rule).decision for rule in RULES}
    accepted = [decisions[r] is Decision.BELOW for r in ("guard-3U", "guard-1.5U", "guard-U", "guard-0.83U", "simple")]
    assert accepted == sorted(accepted), "a narrower guard band never accepts less"
    assert (decisions["three-way"] is Decision.BELOW) == (decisions["guard-U"] is Decision.BELOW)
    assert (decisions["three-way"] is Decision.ABOVE) == (decisions["guarded-rejection"] is Decision.ABOVE)
    if censoring is Censoring.BELOW:
        assert Decision.ABOVE not in decisions.values()
    if censoring is Censoring.ABOVE:
        assert Decision.BELOW not in decisions.values()


def test_bounds_on_a_level_decide_only_on_their_own_side():
    under_floor = judge(level(1e-9, 1.0, censoring=Censoring.BELOW), bound(1.0))
    assert under_floor.decision is Decision.BELOW and Remark.BOUND_ONLY in under_floor.remarks
    assert under_floor.probability_below.high == 1.0
    floor_over_limit = judge(level(10.0, 1.0, censoring=Censoring.BELOW), bound(1.0))
    assert floor_over_limit.decision is Decision.UNDECIDED
    overload = judge(level(10.0, 1.0, censoring=Censoring.ABOVE), bound(1.0))
    assert overload.decision is Decision.ABOVE
    assert judge(level(0.1, 1.0, censoring=Censoring.ABOVE), bound(1.0)).decision is Decision.UNDECIDED


def test_kinds_are_refused_not_converted():
    limit = limits.lookup("EU", "power_density", 2.45e9)
    for kind in (Kind.PEAK, Kind.HIGHEST_HELD):
        with pytest.raises(KindMismatchError, match="convert with a stated model"):
            judge(level(1e-3, 1.0, kind=kind), limit)
    assert judge(level(1e-3, 1.0), limit).decision is Decision.BELOW


@pytest.mark.published("ICNIRP 2020, Table 6: local levels are spatial peaks averaged over 6 min")
def test_local_limits_take_a_time_average_at_the_largest_spot():
    limit = limits.lookup("ICNIRP", "power_density", 2.45e9, scope="local")
    held = level(1e-3, 1.0, kind=Kind.HIGHEST_HELD)
    with pytest.raises(KindMismatchError):
        judge(held, limit)
    assert not takes_mean_over_scan("local") and takes_mean_over_scan("whole_body")


@pytest.mark.published("1999/519/EC, Annex III: pulses above 10 MHz at most 1000 times the reference level")
def test_pulses_have_a_limit_of_their_own():
    found = pulse_bound(limits.lookup("EU", "power_density", 2.45e9))
    assert found is not None
    assert (found.value_w_m2, found.kind) == (pytest.approx(1e4), Kind.PEAK)
    assert judge(level(1.0, 3.0, kind=Kind.PEAK), found).decision is Decision.BELOW
    assert pulse_bound(limits.lookup("US", "power_density", 2.45e9)) is None


@pytest.mark.published("26. BImSchV (2013), Annex 3: pulses above 10 MHz at most 32 times the field of Annex 1b")
def test_german_pulse_limit_is_stated_for_the_field():
    limit = limits.lookup("DE", "electric_field", 2.45e9)
    found = pulse_bound(limit)
    assert found is not None
    assert math.sqrt(found.value_w_m2 * 376.730313412) == pytest.approx(32 * 61.0)


def test_faults_are_named():
    with pytest.raises(UnknownNameError, match="decision rule"):
        judge(level(1.0, 1.0), bound(1.0), "by feel")
    with pytest.raises(RangeError):
        judge(level(1.0, 1.0), bound(0.0))


@pytest.mark.published("IEC 62232 and EN 50492: expanded uncertainty not above 4 dB for conformity (from memory)")
def test_remarks_a_report_must_print():
    limit = limits.smallest_in_band("IN", (200e6, 8e9))
    verdict = judge(level(1e-3, 3.0), limit)
    assert set(verdict.remarks) == {
        Remark.UNCERTAINTY_CEILING,
        Remark.SMALLEST_IN_BAND,
        Remark.BAND_UNCOVERED,
        Remark.EQUIVALENT,
    }
    assert judge(level(1e-3, 2.0), limits.lookup("EU", "power_density", 9e8)).remarks == ()
    memory = judge(level(1e-3, 1.0), limits.lookup("PL", "power_density", 3e8))
    assert Remark.FROM_MEMORY in memory.remarks


def test_what_a_spot_reading_cannot_test_is_never_decided():
    kind = "installation limit, mixed or other bands"
    limit = limits.lookup("CH", "electric_field", 900e6, kind=kind)
    for value in (1e-9, 1e3):
        verdict = judge(level(value, 1.0), limit)
        assert verdict.decision is Decision.NOT_TESTABLE
        assert Remark.NOT_SPOT_TESTABLE in verdict.remarks
        assert verdict.risk == (0.0, 1.0)


@pytest.mark.published("IEC 62232 and EN 50492: expanded uncertainty not above 4 dB for conformity (from memory)")
@pytest.mark.parametrize(("expanded_db", "told"), [(3.9, False), (4.0, False), (4.1, True)])
def test_from_which_uncertainty_on_a_result_serves_orientation(expanded_db, told):
    verdict = judge(level(1e-3, expanded_db / 2.0), limits.lookup("EU", "power_density", 9e8))
    assert (Remark.UNCERTAINTY_CEILING in verdict.remarks) is told
    assert Remark.UNCERTAINTY_CEILING not in judge(level(1e-3, 9.0), bound(1.0)).remarks


@pytest.mark.published("ILAC-G8:09/2019: acceptance at L - w, rejection at L + w, w = r U (from memory)")
@pytest.mark.parametrize("rule", RULES)
def test_which_edges_a_rule_has_and_what_is_decided_on_them(rule):
    verdict = judge(level(1.0, 1.5), bound(1.0), rule)
    accepts, rejects = rule != "guarded-rejection", rule in ("guarded-rejection", "three-way")
    assert (verdict.acceptance_limit_w_m2 is not None, verdict.rejection_limit_w_m2 is not None) == (accepts, rejects)
    if rejects:
        assert verdict.rejection_limit_w_m2 == pytest.approx(10.0**0.3)
        on_the_edge = judge(level(verdict.rejection_limit_w_m2, 1.5), bound(1.0), rule)
        assert on_the_edge.decision is Decision.ABOVE
        just_under = judge(level(verdict.rejection_limit_w_m2 * 0.999, 1.5), bound(1.0), rule)
        assert just_under.decision in (Decision.UNDECIDED, Decision.NOT_SHOWN_ABOVE)


@pytest.mark.published("scipy.stats.norm: the risk of a statement is the probability on its other side (JCGM 106, 9.3)")
@pytest.mark.parametrize(
    ("value_db", "censoring", "ends"),
    [
        (-6.0, Censoring.NONE, (-3.0, -3.0)),
        (-6.0, Censoring.BELOW, (-math.inf, -3.0)),
        (6.0, Censoring.NONE, (-3.0, -3.0)),
        (6.0, Censoring.ABOVE, (-math.inf, -3.0)),
        (0.0, Censoring.NONE, (-math.inf, math.inf)),
    ],
)
def test_the_risk_of_a_statement_is_the_probability_of_its_opposite(value_db, censoring, ends):
    """Three standard deviations away; a bound may lie as much farther as it likes; nothing stated risks anything."""
    verdict = judge(UncertainLevel(Kind.AVERAGE, value_db, (ErrorContribution("meter", 2.0),), censoring), bound(1.0))
    assert verdict.risk == pytest.approx(stats.norm.cdf(ends), abs=1e-5)


TRUE_W_M2 = 1.0


def simulated_meters(count: int, rng: np.random.Generator, true_w_m2: float) -> list[UncertainLevel]:
    """Levels as many meters would state them: gain within +-6 dB, repeatability, pickup and body errors."""
    causes = (
        ErrorContribution.from_half_width("gain", 6.0, shared_key="meter"),
        ErrorContribution("repeatability", 1.0),
        ErrorContribution.from_half_width("body", 1.0),
        ErrorContribution.from_half_width("pickup", 2.4),
    )
    errors = (
        rng.uniform(-6, 6, count) + rng.normal(0, 1, count) + rng.uniform(-1, 1, count) + rng.uniform(-2.4, 2.4, count)
    )
    true_db = 10 * math.log10(true_w_m2)
    return [UncertainLevel(Kind.AVERAGE, true_db - error, causes) for error in errors]


@pytest.mark.published("JCGM 101:2008, 7.7: a 95 % interval covers 95 % of repeated cases; binomial scatter 0.35 %")
def test_stated_intervals_of_simulated_meters_cover_the_truth():
    stated = simulated_meters(4000, np.random.default_rng(11), TRUE_W_M2)
    inside = [span.low_w_m2 <= TRUE_W_M2 <= span.high_w_m2 for span in (s.interval(0.95) for s in stated)]
    assert 0.93 <= np.mean(inside) <= 0.97


@pytest.mark.published("ILAC-G8:09/2019: false acceptance under the stated risk, truth just above the limit")
@pytest.mark.parametrize(
    ("rule", "risk"),
    [("guard-0.83U", 0.05), ("guard-U", 0.025), ("three-way", 0.025), ("guard-1.5U", 0.0016)],
)
def test_false_acceptance_of_simulated_meters_stays_under_its_risk(rule, risk):
    stated = simulated_meters(4000, np.random.default_rng(12), 1.0001 * TRUE_W_M2)
    accepted = [judge(item, bound(TRUE_W_M2), rule).decision is Decision.BELOW for item in stated]
    assert np.mean(accepted) <= risk


@pytest.mark.published("JCGM 106:2012, 7.3: among readings with a stated probability p, p conform (flat prior)")
def test_stated_probabilities_come_true():
    """True levels spread evenly in dB, as the flat prior says; ten groups by stated probability."""
    rng = np.random.default_rng(13)
    count = 400_000
    true_db = rng.uniform(-30, 30, count)
    causes = (ErrorContribution.from_half_width("gain", 6.0), ErrorContribution("repeatability", 1.0))
    read_db = true_db - rng.uniform(-6, 6, count) - rng.normal(0, 1, count)
    grid = np.arange(-40.0, 40.0, 0.1)
    tabled = [judge(UncertainLevel(Kind.AVERAGE, y, causes), bound(1.0)).probability_below.low for y in grid]
    stated = np.interp(read_db, grid, tabled)
    conforms = true_db < 0.0
    for low in np.arange(0.0, 1.0, 0.1):
        group = (stated > low + 0.001) & (stated < low + 0.099)
        expected = stated[group].mean()
        scatter = 3.5 * math.sqrt(0.25 / group.sum())
        assert np.mean(conforms[group]) == pytest.approx(expected, abs=scatter)
