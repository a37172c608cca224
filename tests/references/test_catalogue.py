"""Materials, shielding, emitters, practice, cautions."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from roomfield.errors import RangeError, UnknownNameError
from roomfield.references import catalogue, cautions, materials, rules, shielding

DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.published("ITU-R P.2040-3 (08/2023), Table 3: permittivity and conductivity laws")
def test_materials_against_check_points():
    for row in rows("materials/materials-checks.csv"):
        frequency_hz = float(row["f_GHz"]) * 1e9
        found = materials.material(row["material"], edition=row["edition"], frequency_hz=frequency_hz)
        eps = found.relative_permittivity(frequency_hz, beyond_range=True)
        sigma = found.conductivity_s_m(frequency_hz, beyond_range=True)
        assert eps == pytest.approx(float(row["eps_real"]), rel=1e-5)
        assert sigma == pytest.approx(float(row["sigma_S_per_m"]), rel=1e-5)
        assert found.covers(frequency_hz) is (row["inside_stated_range"] == "yes")


@pytest.mark.published("ITU-R P.2040-1 at 9 GHz, as a vendor's documentation prints it (eps, sigma)")
@pytest.mark.parametrize(
    ("name", "eps", "sigma"),
    [
        ("concrete", 5.31, 0.19305),
        ("brick", 3.75, 0.038),
        ("plasterboard", 2.94, 0.054914),
        ("wood", 1.99, 0.049528),
        ("glass", 6.27, 0.059075),
    ],
)
def test_first_edition_at_9_ghz(name, eps, sigma):
    found = materials.material(name, edition="P.2040-1")
    assert found.relative_permittivity(9e9) == pytest.approx(eps)
    assert found.conductivity_s_m(9e9) == pytest.approx(sigma, rel=1e-4)


def test_use_outside_the_range_must_be_asked_for():
    concrete = materials.material("concrete")
    with pytest.raises(RangeError, match="beyond_range"):
        concrete.relative_permittivity(0.9e9)
    assert concrete.conductivity_s_m(0.9e9, beyond_range=True) > 0


def test_a_material_with_two_ranges_is_chosen_by_frequency():
    assert materials.material("glass").f_low_hz == 0.1e9
    assert materials.material("glass", frequency_hz=300e9).f_low_hz == 220e9


def test_unknown_material_and_edition():
    with pytest.raises(UnknownNameError, match="material"):
        materials.material("adobe")
    with pytest.raises(UnknownNameError, match=r"P\.2040-3"):
        materials.materials("P.2040-9")


def test_shielding_parts_have_ordered_ranges():
    for part in shielding.shielding_parts():
        if part.low_db is not None and part.high_db is not None:
            assert part.low_db <= part.high_db
    names = {s.source.document for s in shielding.shielding_standards()}
    assert any("D4935" in name for name in names)


@pytest.mark.published("FCC OET 65, eq. 4: 100 mW at 1 m is 7957.75 µW/m²")
def test_emitter_burst_level():
    found = catalogue.emitter("DECT base, EU (idle beacon)")
    assert found.burst_density_w_m2(1.0) == pytest.approx(7957.747e-6, rel=1e-6)
    assert found.burst_density_w_m2(3.0) == pytest.approx(884.1941e-6, rel=1e-6)
    assert catalogue.emitter("Microwave oven leakage").burst_density_w_m2(1.0) is None


@pytest.mark.published("ETSI EN 300 328 and EN 301 893 (100, 200, 1000 mW EIRP); DECT 24 dBm peak")
def test_emitter_powers():
    limits_mw = {
        "Wi-Fi 2.4 GHz access point, EU": 100,
        "Wi-Fi 5 GHz lower band, EU": 200,
        "Wi-Fi 5 GHz upper band, EU": 1000,
        "DECT base, EU (call)": 250,
    }
    for name, power_mw in limits_mw.items():
        assert catalogue.emitter(name).eirp_max_w == pytest.approx(power_mw / 1e3)
    for item in catalogue.emitters():
        assert item.f_low_hz < item.f_high_hz and item.duty_low <= item.duty_high
        if item.eirp_max_w is not None and item.eirp_typical_w is not None:
            assert item.eirp_typical_w <= item.eirp_max_w
    assert not catalogue.emitter("FM broadcast").overlaps(200e6, 8e9)
    assert catalogue.emitter("DAB").overlaps(200e6, 8e9)


def test_unknown_names_of_the_catalogue():
    with pytest.raises(UnknownNameError):
        catalogue.emitter("lamp")
    with pytest.raises(UnknownNameError):
        catalogue.time_variability("lamp")
    with pytest.raises(UnknownNameError):
        catalogue.scheme_points("seven")
    with pytest.raises(UnknownNameError):
        cautions.cautions("lamp")
    with pytest.raises(UnknownNameError):
        rules.decision_rule("lamp")


@pytest.mark.published("EMF-Portal record 25930: spread over 24 h in homes and schools")
def test_time_variability():
    spreads = [catalogue.time_variability(s).spread_db for s in ("dect", "wifi", "broadcast", "mobile_downlink")]
    assert spreads == [10.6, 12.7, 2.9, 3.3]


@pytest.mark.published("ECC/REC/(02)04; EN 50492: points at 1.1, 1.5 and 1.7 m (from memory)")
def test_spatial_schemes():
    assert [p.height_m for p in catalogue.scheme_points("three")] == [1.1, 1.5, 1.7]
    assert [len(catalogue.scheme_points(s)) for s in ("single", "three", "six", "twenty")] == [1, 3, 6, 20]


@pytest.mark.published("ISO 14253-1:2017 and ILAC-G8:09/2019: guard bands in multiples of U (from memory)")
def test_decision_rules():
    for row in rows("uncertainty/decision-rules.csv"):
        found = [r for r in rules.decision_rules().values() if r.title == row["name"]]
        assert len(found) == 1
        assert found[0].guard_band_in_u == float(row["guard_band_in_U"])
        assert found[0].risk_bound == row["risk_bound_at_the_limit"]


def test_cautions_that_must_never_be_missing():
    texts = " ".join(c.text for c in cautions.cautions("never")).lower()
    for word in (
        "smoke",
        "fall",
        "medical devices",
        "utility meters",
        "jam" if "jam" in texts else "block signals",
    ):
        assert word in texts
    shown = cautions.cautions(where="results")
    assert any(c.topic == "Zero reading" for c in shown)
    assert any(c.topic == "No medical advice" for c in shown)
    assert all(c.source.document for c in cautions.cautions())


def test_no_caution_or_position_speaks_a_verdict():
    words = cautions.NEUTRAL_NOTE + " ".join(p.position for p in catalogue.mainstream_positions())
    assert not re.search(r"\b(dangerous|harmless|radiation-free)\b", words)
    assert {"ICNIRP", "WHO", "IARC", "SCHEER"} <= {p.body for p in catalogue.mainstream_positions()}
    assert len(catalogue.practice_rules("spatial")) >= 6 and len(catalogue.extrapolations()) == 9
    assert len(catalogue.published_levels()) == 12 and len(catalogue.evidence()) == 91
