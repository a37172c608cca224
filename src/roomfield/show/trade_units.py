"""Units of the trade at the edges: what is typed or shown in them, in SI within.

Doors do no arithmetic; they name the unit of what they take or show.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload


@dataclass(frozen=True)
class TradeUnit:
    """A unit that forms and tables use, as a ratio of whole numbers to the unit in SI.

    Parameters
    ----------
    name : str
        As it is written.
    times, over : float
        A value in this unit, times ``times`` and over ``over``, is the value in SI.
    """

    name: str
    times: float = 1.0
    over: float = 1.0

    @overload
    def si(self, shown: float) -> float: ...
    @overload
    def si(self, shown: float | None) -> float | None: ...
    def si(self, shown: float | None) -> float | None:
        """The value in SI of what was typed in this unit; None stays None.

        Parameters
        ----------
        shown : float or None
            In this unit.
        """
        return None if shown is None else shown * self.times / self.over

    @overload
    def shown(self, si: float) -> float: ...
    @overload
    def shown(self, si: float | None) -> float | None: ...
    def shown(self, si: float | None) -> float | None:
        """What is shown in this unit of a value in SI; None stays None.

        Parameters
        ----------
        si : float or None
            In the unit in SI.
        """
        return None if si is None else si * self.over / self.times


MICROWATT_M2 = TradeUnit("µW/m²", over=1e6)
MEGAHERTZ = TradeUnit("MHz", times=1e6)
MICROSECOND = TradeUnit("µs", over=1e6)
MILLISECOND = TradeUnit("ms", over=1e3)
MILLIMETRE = TradeUnit("mm", over=1e3)
MILLIWATT = TradeUnit("mW", over=1e3)
PERCENT = TradeUnit("%", over=100.0)
MINUTE = TradeUnit("min", times=60.0)
HOUR = TradeUnit("h", times=3600.0)
DECIBEL = TradeUnit("dB")
SECOND = TradeUnit("s")
METRE = TradeUnit("m")
COUNT = TradeUnit("")


def clock_of(minute_of_day: int) -> str:
    """A time of day as a clock shows it.

    Parameters
    ----------
    minute_of_day : int
        Minutes since midnight [min].
    """
    return f"{minute_of_day // 60:02d}:{minute_of_day % 60:02d}"
