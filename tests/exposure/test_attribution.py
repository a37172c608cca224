"""Contributions from on/off tests, against sources whose powers are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from roomfield.errors import InputError, KindMismatchError
from roomfield.exposure.attribution import attribute
from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel

GAIN = ErrorContribution.from_half_width("gain", 6.0, shared_key="meter")
SOURCES = {"router": 8.0, "telephone base": 2.0, "sensor": 0.01}
OUTSIDE = 0.5


def level(value: float, std_db: float = 0.5, **more) -> UncertainLevel:
    return UncertainLevel.from_density(Kind.AVERAGE, value, (GAIN, ErrorContribution("repeatability", std_db)), **more)


def states(read) -> tuple[UncertainLevel, dict[str, UncertainLevel], UncertainLevel]:
    everything = sum(SOURCES.values()) + OUTSIDE
    return read(everything), {n: read(everything - s) for n, s in SOURCES.items()}, read(OUTSIDE)


@pytest.mark.published("Power densities of independent sources add (ICNIRP 2020, simultaneous exposure; from memory)")
def test_exact_readings_give_exact_parts():
    found, without, rest = states(level)
    result = attribute(found, without, background=rest)
    assert [part.name for part in result.parts] == ["router", "telephone base", "sensor"]
    for part in result.parts:
        assert part.contribution.nominal_w_m2 == pytest.approx(SOURCES[part.name])
    assert result.adds_up
    assert [part.name for part in result.demonstrated()] == ["router"]


@pytest.mark.published("JCGM 101:2008, 7.7: 95 % coverage in repeated cases; binomial scatter 0.9 %")
def test_contributions_of_simulated_visits_cover_the_truth():
    rng = np.random.default_rng(31)
    covered, adds_up, count = 0, 0, 600
    for visit in range(count):
        gain = rng.uniform(-6, 6)
        found, without, rest = states(lambda s, g=gain: level(s * 10 ** (-(g + rng.normal(0, 0.5)) / 10)))
        result = attribute(found, without, background=rest, draws=3000, seed=visit)
        adds_up += bool(result.adds_up)
        for part in result.parts:
            span = part.contribution.interval()
            covered += span.low_w_m2 <= SOURCES[part.name] <= span.high_w_m2
    assert 0.93 <= covered / (count * len(SOURCES)) <= 0.97
    assert 0.93 <= adds_up / count <= 0.98


def test_a_source_that_was_not_tested_shows_in_the_remainder():
    found, without, rest = states(lambda s: level(s, 0.1))
    without.pop("router")
    result = attribute(found, without, background=rest)
    assert result.adds_up is False
    assert result.remainder is not None and result.remainder.low_w_m2 > 0.0


def test_without_a_background_nothing_is_claimed_of_the_rest():
    found, without, _ = states(level)
    result = attribute(found, without)
    assert result.remainder is None and result.adds_up is None


def test_a_background_under_the_floor_is_a_bound():
    found, without, _ = states(lambda s: level(s, 0.1))
    result = attribute(found, without, background=level(1.0, 0.1, censoring=Censoring.BELOW))
    assert result.adds_up
    assert result.remainder is not None and math.isfinite(result.remainder.low_w_m2)


def test_one_switch_and_a_reading_in_overload():
    result = attribute(
        level(3.0, 0.1, censoring=Censoring.ABOVE), {"router": level(1.0, 0.1)}, background=level(1.0, 0.1)
    )
    span = result.parts[0].contribution.interval()
    assert span.low_w_m2 > 0.0 and span.high_w_m2 == math.inf
    assert result.adds_up


def test_faults():
    found, without, rest = states(level)
    with pytest.raises(InputError, match="Repeat the reading"):
        attribute(found, {})
    other = UncertainLevel(Kind.PEAK, rest.level_db, rest.contributions)
    with pytest.raises(KindMismatchError):
        attribute(found, without, background=other)
