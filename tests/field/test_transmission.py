from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomfield.errors import UnknownNameError
from roomfield.field.transmission import (
    Optics,
    dielectric,
    in_series,
    sheet_optics,
    stack_amplitudes,
    stack_optics,
)
from roomfield.survey.dwelling import Layer

DATA = Path(__file__).parents[1] / "data" / "propagation"
SLAB = "ITU-R P.2040-3 (08/2023), Table 3 and section 2.2.2.2, eq. 43 and 44"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.published(SLAB)
@pytest.mark.parametrize("row", rows("materials-checks.csv"), ids=lambda r: "-".join(list(r.values())[:6]))
def test_single_slab(row: dict[str, str]):
    frequency_hz = float(row["f_GHz"]) * 1e9
    eta = dielectric(row["material"], frequency_hz, row["edition"])
    assert eta.permittivity.real == pytest.approx(float(row["eps_real"]), rel=1e-5)
    assert -eta.permittivity.imag == pytest.approx(float(row["eps_imag"]), rel=1e-5)
    assert eta.in_range is (row["inside_stated_range"] == "yes")
    cosine = np.cos(np.radians(float(row["angle_deg"])))
    layer = Layer(row["material"], float(row["thickness_mm"]) / 1e3)
    te, tm = stack_optics([layer], frequency_hz, cosine, row["edition"])
    for one in {"TE": [te], "TM": [tm], "any": [te, tm]}[row["polarisation"]]:
        assert -10 * np.log10(one.transmission) == pytest.approx(float(row["transmission_loss_dB"]), abs=1e-4)
        assert one.front == pytest.approx(float(row["R_power"]), abs=1e-5)
        assert one.back == pytest.approx(float(row["R_power"]), abs=1e-5)


@pytest.mark.published("ITU-R P.2040-3 (08/2023), section 2.2.2.2, recursive method for several layers")
@pytest.mark.parametrize("row", rows("materials-multilayer-checks.csv"), ids=lambda r: "@".join(list(r.values())[:2]))
def test_stacks(row: dict[str, str]):
    pieces = [piece.rsplit(" ", 1) for piece in row["stack_mm"].split(" / ")]
    layers = [Layer(name, float(millimetres) / 1e3) for name, millimetres in pieces]
    te, _ = stack_optics(layers, float(row["f_GHz"]) * 1e9, 1.0)
    assert -10 * np.log10(te.transmission) == pytest.approx(float(row["transmission_loss_dB"]), abs=1e-4)


@pytest.mark.published(
    "Lossless slab with permittivity 4: half wave 0 dB, quarter wave 16/25 of the power (thin-film optics)"
)
@pytest.mark.parametrize(("waves", "passed"), [(0.5, 1.0), (0.25, 0.64)])
def test_lossless_slab_of_permittivity_four(waves: float, passed: float):
    frequency_hz = 2.4e9
    thickness = waves * 299792458.0 / frequency_hz / 2.0
    _, t = stack_amplitudes([4.0 + 0j], [thickness], frequency_hz, 1.0, magnetic=False)
    assert abs(t) ** 2 == pytest.approx(passed, abs=1e-12)


@pytest.mark.calculated("Brewster's angle of a half-space: tan(angle) = sqrt(permittivity)")
def test_no_tm_reflection_at_brewster_angle():
    _, tm = stack_optics([Layer("plasterboard", 0.0125)], 1e7, np.cos(np.arctan(np.sqrt(2.73))))
    assert tm.front < 1e-6


@pytest.mark.calculated("Area left open: loss capped at -10 log10 of the open share (power passes area by area)")
@pytest.mark.parametrize(("open_share", "cap_db"), [(0.1, 10.0), (0.01, 20.0)])
def test_open_share_caps_a_shield(open_share: float, cap_db: float):
    te, _ = sheet_optics(80.0, 1.0 - open_share, 1.0)
    assert -10 * np.log10(te.transmission) == pytest.approx(cap_db, abs=0.05)


@pytest.mark.calculated("Conservation of energy at a passive plate")
@given(
    st.lists(st.tuples(st.sampled_from(["brick", "glass", "concrete", "air", "plasterboard", "wood"]),
                       st.floats(0.001, 0.3)), min_size=1, max_size=4),
    st.floats(0.02, 1.0), st.floats(0.3e9, 8e9), st.floats(0.0, 60.0),
)  # fmt: skip
def test_no_plate_makes_power(stack, cosine, frequency_hz, sheet_db):
    layers = [Layer(name, thickness) for name, thickness in stack]
    plates = stack_optics(layers, frequency_hz, cosine)
    backwards = stack_optics(layers[::-1], frequency_hz, cosine)
    for one, other, sheet in zip(plates, backwards, sheet_optics(sheet_db, 1.0, cosine), strict=True):
        assert one.transmission == pytest.approx(other.transmission, rel=1e-6)
        for optics in (one, sheet, in_series(sheet, one), in_series(one, sheet)):
            assert optics.transmission + optics.front <= 1.0 + 1e-9
            assert optics.transmission + optics.back <= 1.0 + 1e-9


def test_series_of_nothing_changes_nothing():
    nothing = Optics(np.array(1.0), np.array(0.0), np.array(0.0))
    te, _ = stack_optics([Layer("brick", 0.1)], 2e9, 0.7)
    assert in_series(nothing, te) == te


def test_unknown_material_is_named():
    with pytest.raises(UnknownNameError, match="chalk"):
        dielectric("chalk", 1e9)
