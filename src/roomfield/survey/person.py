"""People and where they stay: for the exposure of a day."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Stay:
    """Where somebody usually is for part of a day.

    Parameters
    ----------
    place_id : str
        The place; empty for anywhere that was not measured, such as work elsewhere.
    from_hour, to_hour : float
        By the local clock, 0 to 24; past midnight if the end is not after the start.
    """

    place_id: str
    from_hour: float
    to_hour: float

    @property
    def hours(self) -> float:
        """How long [h]; a stay that ends where it starts lasts a whole day."""
        return (self.to_hour - self.from_hour) % 24.0 or 24.0


@dataclass(frozen=True)
class Person:
    """Somebody who lives or works here.

    Parameters
    ----------
    name : str
        As the client wishes; no more is kept of a person than the record needs.
    stays : tuple of Stay
        A usual day; hours that are not named are not known.
    """

    id: str
    name: str
    stays: tuple[Stay, ...] = ()
    note: str = ""

    @property
    def hours(self) -> float:
        """Hours of the day [h] that are named."""
        return sum(one.hours for one in self.stays)
