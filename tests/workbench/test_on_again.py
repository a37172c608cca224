"""On, off and on again: what drifts evenly cancels, what the readings disagree by is told, nothing is counted twice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.workbench.surveys import typed

from roomfield.instrument import between, has_drifted
from roomfield.quantities import ErrorContribution, Kind, UncertainLevel, ratio
from roomfield.show.words import load_words
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.plan.on_again import places_to_read_again
from roomfield.workbench.publish.contents.unsettled import doubt_texts

AVERAGE, HELD = Kind.AVERAGE, Kind.HIGHEST_HELD
ROUTER = 4e-5


def level(w_m2: float, scan: str, std_db: float = 0.7) -> UncertainLevel:
    parts = (
        ErrorContribution("gain", 3.0, shared_key="m"),
        ErrorContribution("repeatability", std_db, shared_key=scan),
    )
    return UncertainLevel.from_density(AVERAGE, w_m2, parts)


def visited(*rows: tuple[str, str, Kind, float, str]):
    """Readings as (place, state, kind, W/m², clock)."""
    plain = typed([row[:4] for row in rows])
    timed = [
        replace(reading, taken_at=f"2026-03-01T{row[4]}+01:00" if row[4] else "", replicate=n)
        for n, (reading, row) in enumerate(zip(plain.readings, rows, strict=True))
    ]
    return replace(plain, readings=tuple(timed))


def router_of(*rows, kind: Kind = AVERAGE):
    (found,) = [f for f in assess(visited(*rows)).switches if f.kind is kind]
    return found


@pytest.mark.calculated("linear Gaussian: var[x - (a + b)/2] = 1.5 sigma^2, var[x - a] = 2 sigma^2")
def test_two_readings_with_it_on_narrow_the_comparison_by_a_quarter_of_its_variance():
    once = ratio(level(1e-4, "a"), level(1e-5, "x")).std_db
    again = ratio(between(level(1e-4, "a"), level(1e-4, "b"), 0.5), level(1e-5, "x")).std_db
    assert once**2 == pytest.approx(2.0 * 0.7**2)
    assert again**2 == pytest.approx(1.5 * 0.7**2)


@pytest.mark.calculated("a straight line a + d t in power is met exactly by interpolation, at the middle by the mean")
@pytest.mark.parametrize("passed", [0.25, 0.5, 0.9])
@pytest.mark.parametrize("drift", [-6e-5, 0.0, 3e-4])
def test_an_even_drift_cancels(passed, drift):
    found = between(level(1e-4, "a"), level(1e-4 + drift, "b"), passed)
    assert found.median_w_m2 == pytest.approx(1e-4 + passed * drift)


@pytest.mark.calculated("a step at a moment as likely as any other: Bernoulli variance p (1 - p) d^2; JCGM 100, 5.1.2")
def test_what_they_disagree_by_widens_the_interval():
    apart = 10.0 * np.log10(4.0)
    found = between(level(1e-4, "a", 0.0), level(4e-4, "b", 0.0), 0.5)
    assert found.independent_std_db == pytest.approx(apart / 2.0)
    assert has_drifted(level(1e-4, "a"), level(4e-4, "b"))
    assert not has_drifted(level(1e-4, "a"), level(1.3e-4, "b"))


@pytest.mark.calculated("others' load rises evenly by the clock; the router's part is what was put in")
@pytest.mark.parametrize("kind", [AVERAGE, HELD])
def test_the_part_of_a_switch_is_right_while_all_else_drifts(kind):
    rows = [("desk", "as_found", kind, ROUTER + 1e-5, "09:00:00"), ("desk", "router_off", kind, 2e-5, "09:04:00"),
            ("desk", "as_found", kind, ROUTER + 6e-5, "09:20:00")]  # fmt: skip
    again, once = router_of(*rows, kind=kind), router_of(*rows[:2], kind=kind)
    assert again.difference.nominal_w_m2 / once.difference.nominal_w_m2 == pytest.approx(ROUTER / (ROUTER - 1e-5))
    assert once.again is None


def test_where_they_agree_the_interval_is_narrower_and_where_they_do_not_it_is_told():
    off = ("desk", "router_off", AVERAGE, 4e-5, "09:05:00")
    before = ("desk", "as_found", AVERAGE, 6e-5, "09:00:00")
    once = router_of(before, off).difference.interval()
    agreed = router_of(before, off, ("desk", "as_found", AVERAGE, 6e-5, "09:10:00")).difference.interval()
    assert agreed.high_w_m2 - agreed.low_w_m2 < once.high_w_m2 - once.low_w_m2
    found = assess(visited(before, off, ("desk", "as_found", AVERAGE, 3e-4, "09:10:00")))
    wide = found.switches[0].difference.interval()
    assert wide.high_w_m2 - wide.low_w_m2 > once.high_w_m2 - once.low_w_m2
    assert [d.kind.value for d in found.doubts if d.kind == "drifted"] == ["drifted"]
    for language, said in (("en", "something else drifted"), ("de", "Drift"), ("fr", "dérive")):
        assert any(said in load_words(language).text(text) for text in doubt_texts(found))


@pytest.mark.parametrize("clocks", [("", "", ""), ("09:00:00", "09:05:00", ""), ("09:00:00", "09:10:00", "09:05:00")])
def test_without_times_on_both_sides_all_readings_are_put_together_as_before(clocks):
    """One rule at a time: the level of the place, or the level at the moment of "off"."""
    rows = [
        ("desk", "as_found", AVERAGE, 6e-5),
        ("desk", "router_off", AVERAGE, 4e-5),
        ("desk", "as_found", AVERAGE, 8e-5),
    ]
    found = assess(visited(*((*row, clock) for row, clock in zip(rows, clocks, strict=True))))
    place = next(item for item in found.table.levels if item.state_id == "as_found")
    assert found.switches[0].again is None
    assert found.switches[0].difference.first == place.combined.level


def test_the_sum_check_uses_the_same_difference():
    rows = [("desk", "as_found", AVERAGE, 6e-5, "09:00:00"), ("desk", "router_off", AVERAGE, 4e-5, "09:05:00"),
            ("desk", "as_found", AVERAGE, 9e-5, "09:10:00")]  # fmt: skip
    found = assess(visited(*rows))
    (part,) = found.attributions[0].attribution.parts
    assert part.contribution.nominal_w_m2 == pytest.approx(found.switches[0].difference.nominal_w_m2)


def test_old_or_drifted_readings_ask_for_on_again():
    fresh = ("desk", "as_found", AVERAGE, 6e-5, "09:30:00")
    old = ("bed", "as_found", AVERAGE, 6e-5, "09:00:00")
    untimed = ("sofa", "as_found", AVERAGE, 6e-5, "")
    assert places_to_read_again(visited(fresh, old, untimed), "v1") == {"bed"}
    more = ("desk", "as_found", AVERAGE, 6e-4, "09:31:00")
    assert places_to_read_again(visited(fresh, more, untimed), "v1") == {"desk"}
    assert places_to_read_again(visited(untimed), "v1") == frozenset()


def test_switches_tried_between_the_same_readings_are_told_to_have_drifted_once():
    rows = [("desk", "as_found", AVERAGE, 6e-5, "09:00:00"), ("desk", "router_off", AVERAGE, 4e-5, "09:03:00"),
            ("desk", "base_off", AVERAGE, 5e-5, "09:06:00"), ("desk", "as_found", AVERAGE, 3e-4, "09:09:00")]  # fmt: skip
    (told,) = [d for d in assess(visited(*rows)).doubts if d.kind == "drifted"]
    assert told.names == ("Router", "Telephone base")
