"""Physical constants, taken from CODATA as scipy carries it; no typed digits."""

from __future__ import annotations

from scipy import constants as _codata

SPEED_OF_LIGHT_M_S: float = float(_codata.c)
"""Speed of light in vacuum [m/s], exact."""

VACUUM_PERMITTIVITY_F_M: float = float(_codata.epsilon_0)
"""Vacuum electric permittivity [F/m] (CODATA)."""

VACUUM_PERMEABILITY_H_M: float = float(_codata.mu_0)
"""Vacuum magnetic permeability [H/m] (CODATA)."""

FREE_SPACE_IMPEDANCE_OHM: float = float(_codata.physical_constants["characteristic impedance of vacuum"][0])
"""Characteristic impedance of vacuum Z0 [ohm] (CODATA), about 376.730."""
