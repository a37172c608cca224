"""Limits against published check points, their edges, and what a reader must be told."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from roomfield.errors import InputError, RangeError, UnknownNameError
from roomfield.quantities.convert import field_from_power_density
from roomfield.references import limits
from roomfield.references.source import Authority

DATA = Path(__file__).parents[1] / "data" / "limits"
METER_BAND_HZ = (200e6, 8e9)
SIX_DIGITS = 1e-5
CODES = {
    "ICNIRP 2020": ("ICNIRP", "2020"),
    "ICNIRP 1998": ("ICNIRP", "1998"),
    "EU 1999/519/EC": ("EU", "1999"),
    "FCC 47 CFR 1.1310": ("US", None),
    "IEEE C95.1-2019": ("IEEE", None),
    "Health Canada Safety Code 6 (2015)": ("CA", None),
}
NATIONAL = {
    ("Italy", "exposure limit"): "it-exposure-limit",
    ("Italy", "attention value and quality objective (until 29 Apr 2024)"): "it-attention-value-2012",
    ("Italy", "attention value and quality objective (from 30 Apr 2024)"): "it-attention-value-2024",
    ("Switzerland", "immission limit"): "ch-immission-limit",
    ("Switzerland", "installation limit, only bands about 900 MHz and below"): "ch-installation-limit-low",
    ("Switzerland", "installation limit, only bands about 1800 MHz and above"): "ch-installation-limit-high",
    ("Switzerland", "installation limit, mixed or other bands"): "ch-installation-limit-mixed",
    ("Belgium, Brussels", "outdoor cumulative limit, value at 900 MHz"): "be-bru-outdoor",
    ("Belgium, Brussels", "indoor cumulative limit, value at 900 MHz"): "be-bru-indoor",
    ("Belgium, Brussels", "cumulative limit"): "be-bru-2014",
    ("Belgium, Flanders", "cumulative limit"): "be-vlg-cumulative",
    ("Belgium, Flanders", "per-antenna limit, value at 900 MHz"): "be-vlg-per-antenna",
    ("Belgium, Wallonia", "per-operator / cumulative, value at 900 MHz"): "be-wal-per-operator",
    ("Russian Federation", "maximum permitted level, population"): "ru-public",
    ("Russian Federation", "maximum permitted level, scanning or rotating antennas"): "ru-scanning",
    ("China", "public control limit"): "cn-public",
    ("India", "base-station limit"): "in-base-station",
    ("Poland", "permitted level in accessible places"): "pl-public",
    ("Poland", "permitted level"): "pl-public-2003",
    ("Germany", "limit"): "de-public",
}


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


POINTS = rows("limits-checkpoints.csv")
NATIONAL_POINTS = rows("limits-national-checkpoints.csv")


def test_all_check_points_are_here():
    assert (len(POINTS), len(NATIONAL_POINTS)) == (221, 107)


@pytest.mark.published("Tables of ICNIRP 2020/1998, 1999/519/EC, 47 CFR 1.1310, IEEE C95.1-2019, Safety Code 6")
@pytest.mark.parametrize("row", POINTS, ids=lambda r: f"{r['set']}-{r['tier']}-{r['scope']}-{r['f_MHz']}")
def test_check_point(row):
    code, edition = CODES[row["set"]]
    asked = {"edition": edition, "tier": row["tier"], "scope": row["scope"]}
    frequency_hz = float(row["f_MHz"]) * 1e6
    density = limits.lookup(code, "power_density", frequency_hz, **asked)
    field = limits.lookup(code, "electric_field", frequency_hz, **asked)
    assert density.value_w_m2 == pytest.approx(float(row["S_W_per_m2"]), rel=SIX_DIGITS)
    assert density.value_w_m2 * 1e6 == pytest.approx(float(row["S_uW_per_m2"]), rel=SIX_DIGITS)
    plane_wave = float(field_from_power_density(density.value_w_m2))
    assert plane_wave == pytest.approx(float(row["E_plane_wave_from_S_V_per_m"]), rel=SIX_DIGITS)
    stated = row["E_reference_level_V_per_m"]
    assert field.equivalent is (stated == "")
    expected = float(stated or row["E_plane_wave_from_S_V_per_m"])
    assert field.value_v_m == pytest.approx(expected, rel=SIX_DIGITS)


@pytest.mark.published("National instruments as named in each set")
@pytest.mark.parametrize("row", NATIONAL_POINTS, ids=lambda r: f"{r['country']}-{r['kind']}-{r['f_MHz']}-{r['value']}")
def test_national_check_point(row):
    chosen = limits.limit_set(NATIONAL[row["country"], row["kind"]])
    frequency_hz = float(row["f_MHz"]) * 1e6
    # At an edge the check points list both rows; each must be there.
    touching = [law for law in chosen.laws if law.f_low_hz <= frequency_hz <= law.f_high_hz]
    factor = 0.01 if row["unit"] == "uW/cm2" else 1.0
    found = [
        law
        for law in touching
        if law.value(frequency_hz) == pytest.approx(float(row["value"]) * factor, rel=SIX_DIGITS)
    ]
    assert found
    density = found[0].value_w_m2(frequency_hz)
    assert density * 1e6 == pytest.approx(float(row["S_equivalent_uW_per_m2"]), rel=SIX_DIGITS)
    field = float(field_from_power_density(density))
    assert field == pytest.approx(float(row["E_equivalent_V_per_m"]), rel=SIX_DIGITS)


@pytest.mark.published("Mazar, EMC Europe 2016: limits at 1000 MHz in W/m²")
@pytest.mark.parametrize(
    ("code", "edition", "value"),
    [("US", None, 6.67), ("ICNIRP", "1998", 5.0), ("EU", None, 5.0), ("CA", None, 2.94), ("CN", None, 0.4)],
)
def test_independent_comparison_at_1_ghz(code, edition, value):
    found = limits.lookup(code, "power_density", 1e9, edition=edition)
    assert found.value_w_m2 == pytest.approx(value, rel=2e-3)


@pytest.mark.published("Points of national tables as pages of the authorities give them (evidence E78 to E91)")
@pytest.mark.parametrize(
    ("code", "frequency_hz", "value_w_m2", "averaging_s"),
    [
        ("SE", 300e6, 2.0, 360.0),
        ("SE", 600e6, 3.0, 360.0),
        ("SE", 700e6, 3.5, 360.0),
        ("SE", 900e6, 4.5, 360.0),
        ("SE", 1800e6, 9.0, 360.0),
        ("SE", 2000e6, 10.0, 360.0),
        ("NL", 100e6, 2.0, 1800.0),
        ("NL", 3500e6, 10.0, 1800.0),
        ("JP", 200e6, 2.0, 360.0),
        ("JP", 900e6, 6.0, 360.0),  # f/1500 mW/cm²
        ("JP", 2450e6, 10.0, 360.0),
        ("ES", 400e6, 2.0, 360.0),
        ("FR", 900e6, 4.5, 360.0),
        ("AT", 1800e6, 9.0, 360.0),
        ("AU", 900e6, 4.5, 1800.0),
        ("GB", 3500e6, 10.0, 1800.0),
    ],
)
def test_tables_that_countries_took_over(code, frequency_hz, value_w_m2, averaging_s):
    found = limits.lookup(code, "power_density", frequency_hz)
    assert found.value_w_m2 == pytest.approx(value_w_m2, rel=1e-9)
    assert found.averaging_s == averaging_s


@pytest.mark.published("Japanese rule 21-3: 27.5, 1.585 sqrt(f), 61.4 V/m; Spanish decree: 27.5 V/m above 400 MHz")
@pytest.mark.parametrize(
    ("code", "frequency_hz", "value_v_m"),
    [("JP", 200e6, 27.5), ("JP", 900e6, 47.55), ("JP", 5e9, 61.4), ("ES", 400.001e6, 27.5), ("FR", 200e6, 28.0)],
)
def test_fields_that_countries_took_over(code, frequency_hz, value_v_m):
    found = limits.lookup(code, "electric_field", frequency_hz)
    assert found.value_v_m == pytest.approx(value_v_m, rel=1e-4)
    assert not found.equivalent


def test_advice_is_not_told_as_law():
    assert limits.lookup("SE", "power_density", 900e6).standing is Authority.OFFICIAL_RECOMMENDATION
    assert limits.lookup("FR", "power_density", 900e6).standing is Authority.LAW


@pytest.mark.published("Smallest public limits between 200 MHz and 8 GHz, from the published tables")
@pytest.mark.parametrize(
    ("code", "edition", "value"),
    [
        ("ICNIRP", "2020", 2.0),
        ("ICNIRP", "1998", 2.0),
        ("EU", None, 2.0),
        ("US", None, 2.0),
        ("CA", None, 1.291),
    ],
)
def test_smallest_limit_in_the_meter_band(code, edition, value):
    found = limits.smallest_in_band(code, METER_BAND_HZ, edition=edition)
    assert found.value_w_m2 == pytest.approx(value, rel=1e-9)
    assert found.is_smallest_in_band
    assert found.uncovered_hz == ()


def test_smallest_limit_is_under_every_limit_in_the_band():
    for chosen in limits.limit_sets():
        if chosen.tier != "general_public" or chosen.scope != "whole_body":
            continue
        low, high = max(chosen.range_hz[0], 200e6), min(chosen.range_hz[1], 8e9)
        if low >= high:
            continue
        smallest = chosen.smallest_in_band(low, high).value_w_m2
        grid = [low + (high - low) * i / 997 for i in range(998)]
        assert all(smallest <= chosen.at(f).value_w_m2 * (1 + 1e-12) for f in grid)


def test_band_that_is_partly_without_a_limit_says_so():
    found = limits.smallest_in_band("IN", METER_BAND_HZ)
    assert found.uncovered_hz == ((200e6, 400e6),)


def test_band_without_a_limit_is_refused():
    with pytest.raises(RangeError, match="name the emitters' frequencies"):
        limits.smallest_in_band("BE-BRU", METER_BAND_HZ)


@pytest.mark.published("ICNIRP 2020, Table 5: ranges read '> low to high', edges belong to the lower row")
@pytest.mark.parametrize(
    ("frequency_hz", "value_v_m"),
    [(400e6, 27.7), (400.001e6, 1.375 * 400.001**0.5), (2000e6, 1.375 * 2000**0.5)],
)
def test_edge_belongs_to_the_lower_row(frequency_hz, value_v_m):
    assert limits.lookup("ICNIRP", "electric_field", frequency_hz).value_v_m == pytest.approx(value_v_m)


def test_lowest_edge_is_inside_and_below_it_is_refused():
    assert limits.lookup("IEEE", "power_density", 100e6).value_w_m2 == 2.0
    with pytest.raises(RangeError):
        limits.lookup("IEEE", "power_density", 99.999e6)


@pytest.mark.published("47 CFR 1.1310, Table 1: no electric-field limit above 300 MHz")
def test_no_field_limit_is_printed_where_none_exists():
    found = limits.lookup("US", "electric_field", 900e6)
    assert found.equivalent
    assert "states no limit" in found.note
    assert not limits.lookup("US", "electric_field", 200e6).equivalent


@pytest.mark.published("Averaging times: 6 min (1999/519/EC, Safety Code 6), 30 min (ICNIRP 2020, 47 CFR 1.1310)")
@pytest.mark.parametrize(("code", "seconds"), [("EU", 360), ("CA", 360), ("CH", 360), ("ICNIRP", 1800), ("US", 1800)])
def test_averaging_times(code, seconds):
    assert limits.lookup(code, "power_density", 2.45e9).averaging_s == pytest.approx(seconds)


@pytest.mark.published("ICNIRP 1998 and 1999/519/EC: 68 / f^1.05 min above 10 GHz, f in GHz")
def test_averaging_time_above_10_ghz():
    found = limits.lookup("EU", "power_density", 60e9)
    assert found.averaging_s == pytest.approx(60 * 68 / 60**1.05)
    assert limits.lookup("RU", "power_density", 1e9).averaging_s is None


@pytest.mark.published("ICNIRP 2020, Tables 5 and 6: local levels lie above whole-body levels below 6 GHz")
def test_local_levels_lie_above_whole_body_levels():
    for mhz in (100, 400, 401, 900, 1999, 2000, 2001, 5999):
        whole = limits.lookup("ICNIRP", "power_density", mhz * 1e6).value_w_m2
        local = limits.lookup("ICNIRP", "power_density", mhz * 1e6, scope="local")
        assert local.value_w_m2 > whole
        assert local.averaging_s == 360


def test_edition_is_an_argument():
    new, old = (limits.lookup("ICNIRP", "power_density", 900e6, edition=e) for e in ("2020", "1998"))
    assert (new.averaging_s, old.averaging_s) == (1800, 360)
    assert "2020" in new.edition and "1998" in old.edition
    assert limits.lookup("ICNIRP", "power_density", 900e6) == new


@pytest.mark.published("Law 214/2023 and DPCM 8 July 2003: 15 and 6 V/m averaged over 24 h")
def test_italian_attention_values_are_context_only():
    kind = "attention value and quality objective"
    found = limits.lookup("IT", "electric_field", 900e6, kind=kind)
    assert (found.value_v_m, found.averaging_s) == (15.0, 86400.0)
    assert not found.spot_testable and "24 h" in found.spot_note
    old = limits.lookup("IT", "electric_field", 900e6, kind=kind, edition="2012")
    assert old.value_v_m == 6.0


@pytest.mark.published("DPCM 8 July 2003, Annex B, table 1: 20 V/m and 1 W/m², 40 V/m and 4 W/m²")
def test_italian_limits_state_both_quantities():
    for frequency_hz, field_v_m, density in ((9e8, 20.0, 1.0), (3e9, 20.0, 1.0), (5e9, 40.0, 4.0)):
        assert limits.lookup("IT", "electric_field", frequency_hz).value_v_m == field_v_m
        found = limits.lookup("IT", "power_density", frequency_hz)
        assert (found.value_w_m2, found.equivalent) == (density, False)


@pytest.mark.published("26. BImSchV (2013), Annex 1b: 28, 1.375 sqrt(f), 61 V/m over 6 min")
def test_german_limits():
    values = [limits.lookup("DE", "electric_field", f).value_v_m for f in (2e8, 9e8, 2.45e9)]
    assert values == pytest.approx([28.0, 41.25, 61.0])
    assert not any(law.source.from_memory for law in limits.select("DE").laws)


@pytest.mark.published("GB 8702-2014, Table 1: 12 V/m to 3000 MHz, 0.22 sqrt(f) V/m and f/7500 W/m² to 15000 MHz")
def test_chinese_limits():
    assert limits.lookup("CN", "electric_field", 9e8).value_v_m == 12.0
    found = limits.lookup("CN", "electric_field", 6e9)
    assert found.value_v_m == pytest.approx(0.22 * 6000**0.5)
    assert found.value_w_m2 == pytest.approx((0.22 * 6000**0.5) ** 2 / 376.730313412)
    assert limits.lookup("CN", "power_density", 6e9).value_w_m2 == pytest.approx(0.8)


def test_every_value_carries_its_source_and_standing():
    found = limits.lookup("EU", "power_density", 900e6)
    assert found.standing is Authority.OFFICIAL_RECOMMENDATION
    assert found.clause == "Annex III, Table 2"
    assert "E07" in found.how_known
    assert not found.from_memory
    assert limits.lookup("ICNIRP", "power_density", 9e8, tier="occupational").from_memory
    assert limits.lookup("US", "power_density", 9e8).standing is Authority.LAW


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: limits.lookup("XX", "power_density", 9e8), "jurisdiction"),
        (lambda: limits.lookup("EU", "magnetic_field", 9e8), "quantity"),
        (lambda: limits.lookup("EU", "power_density", 9e8, edition="2050"), "edition"),
        (lambda: limits.lookup("EU", "power_density", 9e8, kind="wish"), "kind of limit"),
        (lambda: limits.lookup("CH", "power_density", 9e8, tier="occupational"), "set of limits"),
        (lambda: limits.limit_set("nothing"), "set of limits"),
    ],
)
def test_unknown_names_list_the_choices(call, named):
    with pytest.raises(UnknownNameError, match=rf"there is no {named} named .*Choose one of: "):
        call()


def test_several_sets_that_fit_equally_are_not_guessed_between():
    chosen = [s for s in limits.limit_sets("CH") if s.set_id.startswith("ch-installation")]
    with pytest.raises(InputError, match="Name the kind or the edition"):
        limits.select("CH", sets=chosen)


def test_every_jurisdiction_has_exactly_one_default_public_set():
    for place in limits.jurisdictions():
        defaults = [
            s
            for s in limits.limit_sets(place.code)
            if s.default and s.tier == "general_public" and s.scope == "whole_body"
        ]
        assert len(defaults) == 1, place.code


@pytest.mark.published("ICNIRP 2020/1998 and Safety Code 6: neighbouring laws meet at their common edge")
def test_neighbouring_laws_are_continuous():
    """Within 2.5 %, the authors' own rounding."""
    for set_id in (
        "icnirp-2020-public-whole-body",
        "icnirp-1998-public-whole-body",
        "ca-safety-code-6-2015-public-whole-body",
    ):
        edges = 0
        for quantity, off in (("power_density", 0.025), ("electric_field", 0.025)):
            laws = [law for law in limits.limit_set(set_id).laws if law.quantity == quantity]
            for law in laws:
                for other in laws:
                    if law.f_high_hz == other.f_low_hz:
                        edge = law.f_high_hz
                        assert law.value(edge) == pytest.approx(other.value(edge), rel=off), (set_id, quantity, edge)
                        edges += quantity == "electric_field"
        assert edges, f"{set_id} has no neighbouring laws of field strength"
