"""Exposure quotients against worked examples, and what is done when the frequency is unknown."""

from __future__ import annotations

import math

import pytest

from roomfield.errors import InputError, KindMismatchError, RangeError
from roomfield.exposure.decision import Decision
from roomfield.exposure.quotients import AttributedLevel, SwitchedPart, quotient, switched_quotient
from roomfield.quantities import ErrorContribution, Kind, UncertainLevel
from roomfield.references import limits

BAND_HZ = (200e6, 8e9)
THREE = ((450e6, 0.10), (900e6, 0.20), (2450e6, 0.50))


def part(value: float, frequency_hz: float | None, std_db: float = 0.0, kind: Kind = Kind.AVERAGE) -> AttributedLevel:
    causes = (ErrorContribution("meter", std_db),) if std_db else ()
    return AttributedLevel(str(frequency_hz), UncertainLevel.from_density(kind, value, causes), frequency_hz)


@pytest.mark.published("Sum of quotients, ICNIRP 2020 and 47 CFR 1.1310 (OET 65), worked by hand")
@pytest.mark.parametrize(("code", "value"), [("ICNIRP", 0.138889), ("US", 0.116667)])
def test_three_sources_of_known_frequency(code, value):
    found = quotient([part(s, f) for f, s in THREE], limits.select(code), BAND_HZ)
    assert found.value == pytest.approx(value, abs=1e-6)
    assert not found.overstates
    assert [p.quotient for p in found.parts] == pytest.approx(
        [s / p.limit.value_w_m2 for (_, s), p in zip(THREE, found.parts, strict=True)]
    )


@pytest.mark.calculated("The same exposure as one broadband reading: 0.80 / 2 = 0.4, worked by hand")
def test_one_reading_of_unknown_frequency_overstates():
    found = quotient([part(0.80, None)], limits.select("ICNIRP"), BAND_HZ)
    assert found.value == pytest.approx(0.4)
    assert found.overstates
    assert found.parts[0].limit.band_hz == BAND_HZ


@pytest.mark.published("1999/519/EC, Annex IV: sum of squared field quotients equals sum of power quotients")
def test_field_and_power_quotients_agree():
    chosen = limits.select("CH")
    found = quotient([part(s, f) for f, s in THREE], chosen, BAND_HZ)
    squares = sum((math.sqrt(s * 376.730313412) / chosen.at(f, "electric_field").value_v_m) ** 2 for f, s in THREE)
    assert found.value == pytest.approx(squares, rel=1e-6)


def test_attributed_parts_and_an_unknown_rest():
    chosen = limits.select("ICNIRP")
    mixed = quotient([part(0.5, 2.45e9), part(0.1, None)], chosen, BAND_HZ)
    assert mixed.value == pytest.approx(0.5 / 10 + 0.1 / 2)
    assert mixed.overstates
    assert mixed.value < quotient([part(0.6, None)], chosen, BAND_HZ).value


def test_decision_on_the_sum():
    low = quotient([part(s, f, 1.0) for f, s in THREE], limits.select("ICNIRP"), BAND_HZ)
    verdict = low.judge()
    assert verdict.decision is Decision.BELOW
    assert low.probability_below_one().low > 0.999
    assert low.interval().low_w_m2 < low.value < low.interval().high_w_m2
    near = quotient([part(9.0, 2.45e9, 2.0)], limits.select("ICNIRP"), BAND_HZ)
    assert near.judge().decision is Decision.UNDECIDED
    assert near.judge("simple").decision is Decision.BELOW


def test_quotients_refuse_what_they_cannot_take():
    chosen = limits.select("ICNIRP")
    with pytest.raises(KindMismatchError, match="average"):
        quotient([part(1.0, None, kind=Kind.PEAK)], chosen, BAND_HZ)
    with pytest.raises(InputError):
        quotient([], chosen, BAND_HZ)
    with pytest.raises(RangeError):
        quotient([part(1.0, 1e6)], chosen, BAND_HZ)


@pytest.mark.published("ICNIRP 1998, eq. 8: quotients of the parts add, each against the limit at its own frequency")
@pytest.mark.parametrize("off_db", [-6.0, -0.5, 0.0, 0.5])
def test_a_refined_sum_is_never_worse_than_the_comparison_it_refines(off_db):
    """Where switching off shows nothing, half of the draws say that it adds less than nothing; no source does."""
    chosen, band = limits.select("EU"), (500e6, 6e9)
    gain = ErrorContribution("meter_tolerance", 3.0, shared_key="m/gain")
    own = ErrorContribution("repeatability", 1.0)
    found = UncertainLevel.from_density(Kind.AVERAGE, 1e-3, (gain, own))
    without = UncertainLevel.from_density(Kind.AVERAGE, 1e-3 * 10 ** (off_db / 10), (gain, own))
    one = SwitchedPart("router", without, (5.5e9,))
    refined = switched_quotient(found, [one], chosen, band)
    plain = found.interval(0.95).high_w_m2 / chosen.smallest_in_band(*band).value_w_m2
    assert refined.interval(0.95)[1] <= plain * 1.01
    assert refined.interval(0.95)[0] > 0.0
    twice = switched_quotient(found, [one, SwitchedPart("other", without, (5.5e9,))], chosen, band)
    assert twice.interval(0.95)[0] >= found.interval(0.95).low_w_m2 / 10.0 * 0.99
