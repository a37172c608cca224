"""Conversions against tables of check points."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from astropy import units

from roomfield.quantities import convert

DATA = Path(__file__).parents[1] / "data"
UNIT_OF_COLUMN = {
    "uW_per_m2": "uW/m2",
    "mW_per_m2": "mW/m2",
    "W_per_m2": "W/m2",
    "uW_per_cm2": "uW/cm2",
    "mW_per_cm2": "mW/cm2",
    "nW_per_cm2": "nW/cm2",
    "V_per_m": "V/m",
    "mV_per_m": "mV/m",
    "dBuV_per_m": "dBuV/m",
    "dBm_per_m2": "dBm/m2",
}
LOGARITHMIC = ("dBuV_per_m", "dBm_per_m2")


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def assert_column(found: float, column: str, printed: str) -> None:
    """Agreement to the printed digits: absolute in decibels, relative else."""
    if column in LOGARITHMIC:
        assert found == pytest.approx(float(printed), abs=1e-6)
    else:
        assert found == pytest.approx(float(printed), rel=3e-6)


@pytest.mark.published("ITU-R P.525, plane wave; units of the trade")
@pytest.mark.parametrize("row", rows("conversions/conversions-checks.csv"), ids=lambda r: r["uW_per_m2"])
def test_power_density_into_every_unit_and_back(row):
    density = float(convert.density_from_unit(float(row["uW_per_m2"]), "uW/m2"))
    for column, unit in UNIT_OF_COLUMN.items():
        back = float(convert.density_from_unit(float(row[column]), unit))
        assert back == pytest.approx(density, rel=3e-6)
    field_377 = float(convert.field_from_power_density(density, 377.0))
    assert field_377 == pytest.approx(float(row["V_per_m_if_377"]), rel=3e-6)


@pytest.mark.published("ITU-R P.525, plane wave; units of the trade")
@pytest.mark.parametrize("row", rows("conversions/conversions-field-checks.csv"), ids=lambda r: r["V_per_m"])
def test_field_strength_into_every_unit(row):
    density = float(convert.density_from_unit(float(row["V_per_m"]), "V/m"))
    for column in row:
        assert float(convert.density_from_unit(float(row[column]), UNIT_OF_COLUMN[column])) == pytest.approx(
            density, rel=3e-5
        )


@pytest.mark.published("FCC OET 65 (97-01), eq. 4; E = sqrt(30 EIRP)/d takes Z0 as 120 pi")
@pytest.mark.parametrize(
    "row",
    rows("conversions/conversions-eirp-distance.csv"),
    ids=lambda r: f"{r['EIRP_mW']} mW, {r['distance_m']} m",
)
def test_eirp_and_distance(row):
    eirp_w, distance_m = float(row["EIRP_mW"]) / 1e3, float(row["distance_m"])
    density = float(convert.density_from_eirp(eirp_w, distance_m))
    assert density * 1e6 == pytest.approx(float(row["S_uW_per_m2"]), rel=1e-6)
    assert float(convert.field_from_power_density(density)) == pytest.approx(float(row["E_V_per_m"]), rel=1e-6)
    rounded = float(convert.field_from_power_density(density, 120.0 * math.pi))
    assert rounded == pytest.approx(float(row["E_V_per_m_from_sqrt30EIRP"]), rel=1e-6)
    assert 10 * math.log10(eirp_w * 1e3) == pytest.approx(float(row["EIRP_dBm"]), abs=1e-4)


@pytest.mark.published("E in dBuV/m and power density of a plane wave, as a receiver's tables give both (textbook)")
@pytest.mark.parametrize(
    "row", rows("conversions/conversions-antenna-checks.csv"), ids=lambda r: f"{r['f_MHz']}-{r['gain_dBi']}"
)
def test_receiver_field_strength(row):
    density = float(convert.density_from_unit(float(row["E_dBuV_per_m"]), "dBuV/m"))
    assert density * 1e6 == pytest.approx(float(row["S_uW_per_m2"]), rel=3e-5)


@pytest.mark.calculated("Decibels and factors: arithmetic; mean over median of a log-normal")
def test_decibel_table():
    for row in rows("uncertainty/uncertainty-db.csv"):
        decibels = float(row["dB"])
        up, down = float(convert.ratio_from_decibels(decibels)), float(convert.ratio_from_decibels(-decibels))
        assert (up, down) == pytest.approx((float(row["power_factor_up"]), float(row["power_factor_down"])), rel=1e-5)
        assert math.sqrt(up) == pytest.approx(float(row["field_factor_up"]), rel=1e-5)
        assert 100 * (up - 1) == pytest.approx(float(row["power_percent_up"]), rel=1e-5)
        sigma = 0.5 * decibels * math.log(10) / 10
        assert math.exp(sigma**2 / 2) == pytest.approx(float(row["mean_over_median_if_u_is_half_dB"]), rel=1e-5)


BY_ASTROPY = {
    "W/m2": units.W / units.m**2,
    "mW/m2": units.mW / units.m**2,
    "uW/m2": units.uW / units.m**2,
    "nW/m2": units.nW / units.m**2,
    "mW/cm2": units.mW / units.cm**2,
    "uW/cm2": units.uW / units.cm**2,
    "nW/cm2": units.nW / units.cm**2,
    "dBm/m2": units.dB(units.mW / units.m**2),
    "dBW/m2": units.dB(units.W / units.m**2),
}


@pytest.mark.published("astropy.units: power density in multiples and submultiples, and in decibels")
@pytest.mark.parametrize("unit", convert.DENSITY_UNITS)
def test_units_are_those_of_astropy(unit):
    if unit not in BY_ASTROPY:
        assert unit in ("V/m", "mV/m", "dBuV/m")  # a field strength is no power density to astropy; checked above
        return
    expected = units.Quantity(7.0, BY_ASTROPY[unit]) if "dB" not in unit else (7.0 * BY_ASTROPY[unit]).physical
    found = float(convert.density_from_unit(7.0, unit))
    assert found == pytest.approx(expected.to_value(units.W / units.m**2), rel=1e-12)
