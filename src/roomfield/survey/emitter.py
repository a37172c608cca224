"""Emitters: transmitters known or suspected, inside or outside."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.survey.dwelling import Point3


class Standing(StrEnum):
    """How sure it is that the emitter exists."""

    KNOWN = "known"
    SUSPECTED = "suspected"


class AntennaPattern(StrEnum):
    """Shape of the radiation."""

    ISOTROPIC = "isotropic"
    VERTICAL_DIPOLE = "vertical_dipole"


class Polarisation(StrEnum):
    """Direction of the radiated electric field."""

    VERTICAL = "vertical"
    HORIZONTAL = "horizontal"
    UNKNOWN = "unknown"


class Control(StrEnum):
    """Who decides about the emitter."""

    CLIENT = "client"
    NEIGHBOUR = "neighbour"
    UTILITY = "utility"
    OPERATOR = "operator"
    UNKNOWN = "unknown"


class Activity(StrEnum):
    """What a transmitter does at a time: one that is silent now may speak later."""

    SILENT = "silent"
    """Off, asleep, or waiting without a sign."""
    IDLE = "idle"
    """On, with nothing to do: it may send beacons, or now and then."""
    IN_USE = "in_use"
    """As when somebody uses it: a call, a stream, a reading on its way."""
    FORCED = "forced"
    """Made to transmit as much as it can, to see the worst."""


@dataclass(frozen=True)
class EmitterActivity:
    """How an emitter transmits in one activity.

    Parameters
    ----------
    duty : float or None
        Share of time on air in it, 0 to 1; None if not known.
    interval_s : float or None
        Usual time from the start of one transmission to the next [s]; None if not known or without a gap.
    """

    activity: Activity
    duty: float | None = None
    interval_s: float | None = None


@dataclass(frozen=True)
class Emitter:
    """One transmitter, or one band of it.

    Parameters
    ----------
    technology : str
        Key of the technologies table, for example ``dect``; empty if not known.
    frequency_hz : float or None
        Carrier frequency [Hz]; None if not known.
    position : (float, float, float) or None
        Position [m]; None if not known (then it is inferred, or ``bearing_deg`` is given).
    bearing_deg : float or None
        Direction towards a far emitter, degrees clockwise from plan north.
    eirp_w : float or None
        Equivalent isotropically radiated power in the direction of maximum, while transmitting [W].
    eirp_std_db : float
        Standard uncertainty of ``eirp_w`` [dB].
    duty : float or None
        Share of time on air, 0 to 1; None if not known.
    duty_std_db : float
        Standard uncertainty of ``duty`` [dB].
    switch_group : str
        Emitters with the same group have one switch; empty means the emitter's own id.
    switchable : bool
        True if it can be switched off during a visit.
    activities : tuple of EmitterActivity
        How it transmits idle, in use or forced, as far as known; ``duty`` is that of the usual mix.
    """

    id: str
    name: str
    technology: str = ""
    frequency_hz: float | None = None
    position: Point3 | None = None
    bearing_deg: float | None = None
    outdoor: bool = False
    eirp_w: float | None = None
    eirp_std_db: float = 6.0
    duty: float | None = None
    duty_std_db: float = 3.0
    pattern: AntennaPattern = AntennaPattern.ISOTROPIC
    polarisation: Polarisation = Polarisation.VERTICAL
    switch_group: str = ""
    switchable: bool = False
    standing: Standing = Standing.KNOWN
    control: Control = Control.UNKNOWN
    note: str = ""
    activities: tuple[EmitterActivity, ...] = ()

    @property
    def group(self) -> str:
        """The switch this emitter hangs on."""
        return self.switch_group or self.id
