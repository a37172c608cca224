"""Antenna factor, cable, filter and budget of a frequency-selective instrument."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, signal, stats

from roomfield.constants import FREE_SPACE_IMPEDANCE_OHM, SPEED_OF_LIGHT_M_S
from roomfield.errors import InputError
from roomfield.instrument.receiving_chain import ACCURACY_DB, FactorCurve, ReceivingChain
from roomfield.quantities.contribution import combined_std_db
from roomfield.quantities.receiver import (
    GAUSSIAN_NOISE_BANDWIDTH,
    LOG_AVERAGE_SHORTFALL_DB,
    antenna_factor_from_gain,
    power_in_band,
    voltage_level_from_power_level,
)

FLAT = FactorCurve((1e8, 6e9), (20.0, 20.0), (0.5, 0.5))


@pytest.mark.calculated("1 mW in 50 ohm is 0.2236 V")
def test_power_at_the_input_is_a_voltage():
    assert voltage_level_from_power_level(0.0) == pytest.approx(20.0 * np.log10(np.sqrt(1e-3 * 50.0) / 1e-6))


@pytest.mark.published("antenna factor of the EMC literature: 20 log10(f in MHz) - gain in dBi - 29.79 dB at 50 ohm")
@pytest.mark.parametrize(("megahertz", "gain"), [(100.0, 2.15), (925.0, 0.0), (3500.0, 6.0)])
def test_antenna_factor_from_gain(megahertz, gain):
    expected = 20.0 * np.log10(megahertz) - gain - 29.79
    assert antenna_factor_from_gain(gain, megahertz * 1e6) == pytest.approx(expected, abs=0.02)


@pytest.mark.calculated("received power is S times the effective area of an isotropic antenna")
@given(st.floats(1e8, 6e9), st.floats(1e-9, 1.0))
def test_a_field_comes_back_from_what_an_isotropic_antenna_receives(frequency_hz, density):
    area = (SPEED_OF_LIGHT_M_S / frequency_hz) ** 2 / (4.0 * np.pi)
    shown_dbm = 10.0 * np.log10(density * area / 1e-3)
    chain = ReceivingChain(FactorCurve((5e7, 7e9), (0.0, 0.0), is_gain=True))
    assert chain.density_w_m2(shown_dbm, "dBm", frequency_hz) == pytest.approx(density, rel=1e-9)


@pytest.mark.calculated("integral of the Gaussian response with half power at half the width")
def test_noise_bandwidth_of_a_gaussian_filter():
    area, _ = integrate.quad(lambda f: np.exp(-np.log(2.0) * (2.0 * f) ** 2), -np.inf, np.inf)
    assert area == pytest.approx(GAUSSIAN_NOISE_BANDWIDTH, rel=1e-9)


@pytest.mark.calculated("expectation of the logarithm of an exponential variable (scipy)")
def test_averaged_decibels_of_noise_lie_under_the_mean_power():
    mean = stats.expon.expect(lambda power: 10.0 * np.log10(power))
    assert -mean == pytest.approx(LOG_AVERAGE_SHORTFALL_DB, abs=1e-3)


@pytest.mark.calculated("Parseval: the spectrum of scipy.signal.welch, scaled to power, over its noise bandwidth")
@pytest.mark.parametrize("window", ["hann", "flattop", "boxcar"])
def test_channel_power_of_noise_is_its_variance(window):
    rate, length = 1e6, 512
    noise = np.random.default_rng(5).normal(0.0, 2.0, 200_000)
    f, power = signal.welch(noise, rate, window=window, nperseg=length, scaling="spectrum", detrend=False)
    taper = signal.get_window(window, length)
    bandwidth = rate * np.sum(taper**2) / np.sum(taper) ** 2
    assert power_in_band(f, power, 0.0, rate / 2.0, bandwidth) == pytest.approx(4.0, rel=0.02)


@pytest.mark.calculated("a carrier swept by a Gaussian filter, its peak being its power")
@pytest.mark.parametrize("steps_per_width", [2, 3, 10])
def test_channel_power_of_a_carrier_is_its_power(steps_per_width):
    width = 1e5
    f = 900e6 + np.arange(-400, 401) * width / steps_per_width
    shown = 3e-4 * np.exp(-np.log(2.0) * (2.0 * (f - 900.012e6) / width) ** 2)
    assert power_in_band(f, shown, 895e6, 905e6, width * GAUSSIAN_NOISE_BANDWIDTH) == pytest.approx(3e-4, rel=0.005)


@given(st.floats(0.01, 0.99))
def test_bands_that_meet_add_up_to_the_whole(share):
    f = np.linspace(800e6, 900e6, 101)
    shown = np.random.default_rng(2).exponential(1e-6, len(f))
    cut = 800e6 + share * 100e6
    parts = power_in_band(f, shown, 800e6, cut, 1e5) + power_in_band(f, shown, cut, 900e6, 1e5)
    assert parts == pytest.approx(power_in_band(f, shown, 800e6, 900e6, 1e5), rel=1e-9)


def test_a_cable_raises_the_field_by_its_loss():
    with_cable = ReceivingChain(FLAT, FactorCurve((1e8, 6e9), (3.0, 3.0)))
    ratio = with_cable.density_w_m2(-50.0, "dBm", 9e8) / ReceivingChain(FLAT).density_w_m2(-50.0, "dBm", 9e8)
    assert 10.0 * np.log10(ratio) == pytest.approx(3.0)


def test_a_field_is_taken_as_it_is():
    assert ReceivingChain().density_w_m2(1.0, "V/m", 9e8) == pytest.approx(1.0 / FREE_SPACE_IMPEDANCE_OHM)


@pytest.mark.parametrize(
    ("chain", "unit", "mend"),
    [
        (ReceivingChain(), "dBm", "--antenna"),
        (ReceivingChain(FLAT), "V/m", "Leave antenna and cable out"),
        (ReceivingChain(FactorCurve((1e8, 2e8), (5.0, 5.0))), "dBuV", "every frequency"),
    ],
)
def test_what_gives_no_field_is_refused(chain, unit, mend):
    with pytest.raises(InputError) as told:
        chain.density_w_m2(-40.0, unit, 9e8)
    assert mend in told.value.mend


def test_a_trace_without_its_bandwidth_has_no_power():
    with pytest.raises(InputError, match="resolution bandwidth"):
        _ = ReceivingChain(FLAT).noise_bandwidth_hz


@pytest.mark.calculated("root sum of squares by hand")
def test_the_budget_of_a_band():
    chain = ReceivingChain(FLAT, FactorCurve((1e8, 6e9), (1.0, 1.0), (0.2, 0.2)), accuracy_db=1.5)
    budget = chain.budget(9e8, at_input=True, of_trace=True)
    spread = 5.0 * np.log10(1.13) / np.sqrt(3.0)
    parts = (1.5 / np.sqrt(3.0), 0.5, 0.2, 0.6 / np.sqrt(2.0), spread)
    assert combined_std_db(budget) == pytest.approx(np.sqrt(np.sum(np.square(parts))))


def test_what_nobody_stated_widens_the_budget_and_a_stated_filter_narrows_it():
    unknown = ReceivingChain(FLAT).budget(9e8, at_input=True, of_trace=True)
    assert unknown[0].half_width_db == pytest.approx(ACCURACY_DB)
    known = ReceivingChain(FLAT, noise_bandwidth=1.0).budget(9e8, at_input=True, of_trace=True)
    assert combined_std_db(known) < combined_std_db(unknown)
    log = ReceivingChain(FLAT, log_averaged=True)
    assert combined_std_db(log.budget(9e8, at_input=True, of_trace=True)) > combined_std_db(unknown)
    assert log.offset_db == pytest.approx(LOG_AVERAGE_SHORTFALL_DB / 2.0)
