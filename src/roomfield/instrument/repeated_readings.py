"""Several readings of one thing: three axes make a total, repeated scans make a mean."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from roomfield.errors import InputError
from roomfield.instrument.correct import to_level
from roomfield.instrument.floor import bounded_value
from roomfield.instrument.pickup import three_axis_sum_w_m2
from roomfield.instrument.repeat_statistics import repeated
from roomfield.quantities import Censoring, Kind, UncertainLevel
from roomfield.survey import Meter, Orientation, Reading

AXES = (Orientation.X, Orientation.Y, Orientation.Z)


@dataclass(frozen=True)
class CombinedLevel:
    """The level at one place in one radio state of one kind, from every reading of it.

    Parameters
    ----------
    level : UncertainLevel
        Combined level.
    readings : tuple of Reading
        All readings behind it, as observed.
    flags : tuple of str
        Flags of any of them.
    """

    level: UncertainLevel
    readings: tuple[Reading, ...]
    flags: tuple[str, ...]

    @property
    def kind(self) -> Kind:
        """Peak, highest held or average."""
        return self.level.kind

    @property
    def replicates(self) -> int:
        """Number of scans behind it."""
        return len({r.replicate for r in self.readings})


def sum_axes(readings: Sequence[Reading], meter: Meter) -> tuple[Reading, ...]:
    """Replace complete triples of axis readings by their sum; everything else stays as it is.

    Parameters
    ----------
    readings : sequence of Reading
        Of one place, radio state and kind.
    meter : Meter
        That took them.

    Notes
    -----
    An axis under the floor enters with half its bound, which is at most half the floor wrong either way.
    One axis in overload makes the sum a lower bound.
    """
    by_scan: dict[int, dict[Orientation, Reading]] = defaultdict(dict)
    for reading in readings:
        if reading.orientation in AXES:
            by_scan[reading.replicate].setdefault(reading.orientation, reading)
    complete = {n: axes for n, axes in by_scan.items() if len(axes) == len(AXES)}
    used = {axes[a].id for axes in complete.values() for a in AXES}
    kept = [r for r in readings if r.id not in used]
    return (*kept, *(_sum_of(axes, meter) for axes in complete.values()))


def _sum_of(axes: dict[Orientation, Reading], meter: Meter) -> Reading:
    values = {a: bounded_value(axes[a], meter) for a in AXES}
    densities = [v.density_w_m2 / 2.0 if v.censoring is Censoring.BELOW else v.density_w_m2 for v in values.values()]
    bounds = {v.censoring for v in values.values()}
    censoring = Censoring.ABOVE if Censoring.ABOVE in bounds else Censoring.NONE
    total = float(three_axis_sum_w_m2(densities))
    if bounds == {Censoring.BELOW}:
        censoring, total = Censoring.BELOW, 2.0 * total
    return replace(axes[Orientation.X], value_w_m2=total, orientation=Orientation.THREE_AXIS_SUM, censoring=censoring)


def combine(
    readings: Sequence[Reading],
    meter: Meter,
    *,
    frequency_hz: float | None = None,
    on_date: str = "",
    pulse_s: float | None = None,
) -> CombinedLevel:
    """One level from every reading of one place, radio state and kind by one meter.

    Parameters
    ----------
    readings : sequence of Reading
        At least one; complete axis triples are summed, repeated scans put together.
    meter : Meter
        That took them.
    frequency_hz : float, optional
        Frequency of what dominates them [Hz].
    on_date : str
        Date of the visit, ISO 8601.
    pulse_s : float, optional
        Shortest pulse that may have been received [s], see `to_level`.

    Raises
    ------
    InputError
        If there is no reading, or they are of different kinds.

    Notes
    -----
    Averages are averaged in power, of peaks and held maxima the highest counts (`repeat_statistics`).
    """
    kinds = {r.kind for r in readings}
    if len(kinds) != 1:
        raise InputError(
            f"{len(readings)} readings of {len(kinds)} kinds cannot make one level.",
            mend="Combine readings of one place, radio state and kind.",
        )
    levels = [
        to_level(r, meter, frequency_hz=frequency_hz, on_date=on_date, pulse_s=pulse_s)
        for r in sum_axes(readings, meter)
    ]
    flags = tuple(dict.fromkeys(flag for item in levels for flag in item.flags))
    return CombinedLevel(repeated([i.level for i in levels]), tuple(readings), flags)
