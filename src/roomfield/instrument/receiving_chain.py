"""A frequency-selective instrument: antenna, cable and receiver, and what each adds to the error of a band's level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import InputError
from roomfield.quantities import ErrorContribution, ErrorShape
from roomfield.quantities.convert import density_from_unit
from roomfield.quantities.receiver import (
    GAUSSIAN_NOISE_BANDWIDTH,
    LOG_AVERAGE_SHORTFALL_DB,
    NOISE_BANDWIDTHS,
    antenna_factor_from_gain,
    voltage_level_from_power_level,
)

Array = NDArray[np.float64]

ACCURACY_DB = 3.0
"""Stated accuracy of a receiver that nobody has stated, plus or minus [dB]; our judgement."""
FACTOR_STD_DB, LOSS_STD_DB = 1.0, 0.3
"""Of an antenna factor and of a cable's loss whose table names no uncertainty [dB]; our judgement."""
MISMATCH_HALF_WIDTH_DB = 0.6
"""Antenna of VSWR 2 on a receiver of VSWR 1.5: 20 log10(1 + 0.33 x 0.2) [dB]; U-shaped (JCGM 100, 4.3; values of our
judgement)."""


@dataclass(frozen=True)
class FactorCurve:
    """A factor over frequency.

    Parameters
    ----------
    frequency_hz, value_db : tuple of float
        Rising frequencies [Hz], and antenna factor [dB/m], gain [dBi] or loss [dB] at each.
    std_db : tuple of float or None
        Standard uncertainty at each [dB]; None if nobody stated it.
    is_gain : bool
        True for the gain of an antenna.
    """

    frequency_hz: tuple[float, ...]
    value_db: tuple[float, ...]
    std_db: tuple[float, ...] | None = None
    is_gain: bool = False

    def at(self, frequency_hz: ArrayLike) -> Array:
        """The factor at frequencies: straight lines in dB over the logarithm of frequency.

        Parameters
        ----------
        frequency_hz : array_like
            Within the curve [Hz].

        Raises
        ------
        InputError
            If a frequency lies outside the curve: a factor is not continued.
        """
        asked = np.asarray(frequency_hz, dtype=np.float64)
        low, high = self.frequency_hz[0], self.frequency_hz[-1]
        if asked.size and (asked.min() < low * (1.0 - 1e-9) or asked.max() > high * (1.0 + 1e-9)):
            raise InputError(
                f"the factors reach from {low / 1e6:g} to {high / 1e6:g} MHz, the levels from "
                f"{asked.min() / 1e6:g} to {asked.max() / 1e6:g} MHz.",
                mend="Give factors for every frequency that was read.",
            )
        return np.asarray(np.interp(np.log(asked), np.log(self.frequency_hz), self.value_db))

    def std_at(self, frequency_hz: float, otherwise: float) -> float:
        """Standard uncertainty at a frequency [dB].

        Parameters
        ----------
        frequency_hz : float
            Frequency [Hz].
        otherwise : float
            Taken if the curve names none [dB].
        """
        if self.std_db is None:
            return otherwise
        return float(np.interp(np.log(frequency_hz), np.log(self.frequency_hz), self.std_db))


@dataclass(frozen=True)
class ReceivingChain:
    """How a field came to be shown.

    Parameters
    ----------
    antenna : FactorCurve or None
        Factor or gain of the antenna; None where the instrument shows a field itself.
    cable : FactorCurve or None
        Loss between antenna and receiver.
    accuracy_db : float or None
        Stated accuracy of the receiver, or of the whole instrument where it shows a field, plus or minus [dB].
    resolution_bandwidth_hz : float or None
        Width of the filter at -3 dB [Hz]; needed for a trace.
    noise_bandwidth : float or None
        Noise bandwidth over that width [1]; None for a filter of nearly Gaussian shape.
    log_averaged : bool
        True if decibels were averaged and not power.
    """

    antenna: FactorCurve | None = None
    cable: FactorCurve | None = None
    accuracy_db: float | None = None
    resolution_bandwidth_hz: float | None = None
    noise_bandwidth: float | None = None
    log_averaged: bool = False

    @property
    def noise_bandwidth_hz(self) -> float:
        """Noise bandwidth of the filter [Hz].

        Raises
        ------
        InputError
            If the resolution bandwidth is not known.
        """
        if self.resolution_bandwidth_hz is None:
            raise InputError(
                "the resolution bandwidth of the trace is not known; without it no band's power follows.",
                mend="Give it: --rbw 100kHz.",
            )
        return self.resolution_bandwidth_hz * (self.noise_bandwidth or GAUSSIAN_NOISE_BANDWIDTH)

    def density_w_m2(self, value: ArrayLike, unit: str, frequency_hz: ArrayLike, added_db: ArrayLike = 0.0) -> Array:
        """Power density of what was shown [W/m²].

        Parameters
        ----------
        value : array_like
            In ``unit``.
        unit : str
            dBm or dBuV at the receiver's input, or a unit of power density or field strength.
        frequency_hz : array_like
            Where [Hz].
        added_db : array_like
            Factors that stand beside each value in its table [dB].

        Raises
        ------
        InputError
            If a level at the input has no antenna factor, or a field has one.
        """
        shown = np.asarray(value, dtype=np.float64)
        if unit not in ("dBm", "dBuV"):
            if self.antenna is not None or self.cable is not None or np.any(added_db):
                raise InputError(
                    f"levels in {unit} are those of a field already; antenna and cable are in them.",
                    mend="Leave antenna and cable out, or give levels in dBm or dBµV.",
                )
            return density_from_unit(shown, unit)
        factor = np.asarray(added_db, dtype=np.float64)
        if self.antenna is not None:
            own = self.antenna.at(frequency_hz)
            factor = factor + (antenna_factor_from_gain(own, frequency_hz) if self.antenna.is_gain else own)
        elif not np.any(factor):
            raise InputError(
                f"levels in {unit} are those at the receiver's input, and no antenna is named.",
                mend="Give its table of factors (dB/m) or gains (dBi) over frequency: --antenna FILE.",
            )
        if self.cable is not None:
            factor = factor + self.cable.at(frequency_hz)
        voltage = voltage_level_from_power_level(shown) if unit == "dBm" else shown
        return density_from_unit(voltage + factor, "dBuV/m")

    def budget(self, frequency_hz: float, *, at_input: bool, of_trace: bool) -> tuple[ErrorContribution, ...]:
        """What each part adds to the error of a band's level [dB].

        Parameters
        ----------
        frequency_hz : float
            Middle of the band [Hz].
        at_input : bool
            True for levels at the receiver's input.
        of_trace : bool
            True if the band was added up from the points of a trace.
        """
        stated = ACCURACY_DB if self.accuracy_db is None else self.accuracy_db
        parts = [ErrorContribution.from_half_width("receiver", stated)]
        if at_input:
            antenna = FACTOR_STD_DB if self.antenna is None else self.antenna.std_at(frequency_hz, FACTOR_STD_DB)
            cable = LOSS_STD_DB if self.cable is None else self.cable.std_at(frequency_hz, LOSS_STD_DB)
            parts += [ErrorContribution("antenna_factor", antenna), ErrorContribution("cable_loss", cable)]
            parts.append(ErrorContribution.from_half_width("mismatch", MISMATCH_HALF_WIDTH_DB, ErrorShape.U_SHAPED))
        if of_trace and self.noise_bandwidth is None:
            low, high = NOISE_BANDWIDTHS
            parts.append(ErrorContribution.from_half_width("noise_bandwidth", 5.0 * float(np.log10(high / low))))
        if self.log_averaged:
            parts.append(ErrorContribution.from_half_width("log_average", LOG_AVERAGE_SHORTFALL_DB / 2.0))
        return tuple(parts)

    @property
    def offset_db(self) -> float:
        """Added to a level whose decibels were averaged [dB]: half of what noise would miss, and a carrier not."""
        return LOG_AVERAGE_SHORTFALL_DB / 2.0 if self.log_averaged else 0.0
