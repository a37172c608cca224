"""Materials of which only a loss is published: as much is lost as the table says, and its range is carried along."""

from __future__ import annotations

import numpy as np
import pytest

from roomfield.field.path_gains import WALL_OFFSET_STD_DB, wall_offset_std_db
from roomfield.field.scene import main_material
from roomfield.field.transmission import stack_optics
from roomfield.references.films import film_named, loss_films
from roomfield.references.materials import editions, material, materials
from roomfield.survey import Layer


def loss_db(layers, frequency_hz, cosine=1.0):
    te, tm = stack_optics(layers, frequency_hz, cosine)
    return -10.0 * np.log10(0.5 * (te.transmission + tm.transmission))


@pytest.mark.published("3GPP TR 38.901, Table 7.4.3-1: infrared-reflecting glass 23 + 0.3 f dB, f in GHz")
@pytest.mark.parametrize("f_ghz", [0.9, 2.45, 5.5])
def test_a_coated_pane_loses_what_the_standard_gives(f_ghz):
    assert loss_db([Layer("low-e coating", 1e-4)], f_ghz * 1e9) == pytest.approx(23.0 + 0.3 * f_ghz, abs=1e-3)


@pytest.mark.published("Measured coated panes: about 30 dB (2008), 20 dB or more (2010), 0.8 to 6 GHz")
@pytest.mark.parametrize("f_ghz", [0.9, 1.8, 2.45, 3.5])
def test_a_window_with_a_coated_pane_lies_where_such_windows_were_measured(f_ghz):
    window = [Layer("glass", 0.004), Layer("air", 0.016), Layer("low-e coating", 1e-4), Layer("glass", 0.004)]
    plain = [layer for layer in window if layer.material != "low-e coating"]
    assert 18.0 <= loss_db(window, f_ghz * 1e9) <= 36.0
    assert loss_db(window, f_ghz * 1e9) > loss_db(plain, f_ghz * 1e9) + 10.0


@pytest.mark.calculated("aperture rule: 20 lg(wavelength / 2 openings) for openings of 20 mm")
@pytest.mark.parametrize("f_ghz", [0.9, 1.8, 2.45])
def test_a_metal_lath_passes_more_the_shorter_the_wave(f_ghz):
    rule = 20.0 * np.log10(0.299792458 / f_ghz / (2 * 0.020))
    assert loss_db([Layer("metal_lath_under_plaster", 0.001)], f_ghz * 1e9) == pytest.approx(rule, abs=0.1)


def test_the_thickness_that_is_typed_for_a_film_changes_nothing():
    thin, thick = (loss_db([Layer("aluminium foil facing", d)], 2.45e9) for d in (1e-5, 5e-3))
    assert thin == pytest.approx(thick) == pytest.approx(40.0, abs=1e-3)


def test_the_range_of_a_film_widens_what_its_wall_may_lose():
    layers = [Layer("glass", 0.004), Layer("low-e coating", 1e-4), Layer("glass", 0.006)]
    assert main_material(layers) == "low-e coating"
    assert wall_offset_std_db("low-e coating") == pytest.approx(15.0 / (2 * 1.959964), rel=1e-6)
    assert wall_offset_std_db("brick") == WALL_OFFSET_STD_DB
    assert all(one.low_db < one.loss_db < one.high_db for one in loss_films())
    assert film_named("brick") is None


@pytest.mark.published("ITU-R P.1238-7: lightweight concrete 2.0 - j 0.50 at 1 GHz (from memory)")
def test_aerated_concrete_stands_beside_every_edition():
    row = material("aerated concrete")
    imaginary = row.conductivity_s_m(1e9) / (2 * np.pi * 1e9 * 8.8541878128e-12)
    assert (row.relative_permittivity(1e9), imaginary) == (2.0, pytest.approx(0.50, abs=0.002))
    assert "P.1238-7" not in editions()
    assert all("aerated concrete" in {one.name for one in materials(edition)} for edition in editions())
