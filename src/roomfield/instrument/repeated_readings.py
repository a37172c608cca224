"""Several readings of one thing: three axes make a total, repeated scans make a mean."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from roomfield.errors import InputError
from roomfield.instrument.correct import MeteredLevel, to_level
from roomfield.instrument.floor import bounded_value
from roomfield.instrument.pickup import three_axis_sum_w_m2
from roomfield.quantities import Censor, ErrorContribution, Kind, UncertainLevel
from roomfield.survey import Censoring, Meter, Orientation, Reading

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
    densities = [v.density_w_m2 / 2.0 if v.censor is Censor.BELOW else v.density_w_m2 for v in values.values()]
    censors = {v.censor for v in values.values()}
    censoring = Censoring.OVERLOAD if Censor.ABOVE in censors else Censoring.NONE
    total = float(three_axis_sum_w_m2(densities))
    if censors == {Censor.BELOW}:
        censoring, total = Censoring.BELOW_FLOOR, 2.0 * total
    return replace(axes[Orientation.X], value_w_m2=total, orientation=Orientation.THREE_AXIS_SUM, censoring=censoring)


def combine(
    readings: Sequence[Reading], meter: Meter, *, frequency_hz: float | None = None, on_date: str = ""
) -> CombinedLevel:
    """One level from every reading of one place, radio state and kind by one meter.

    Parameters
    ----------
    readings : sequence of Reading
        At least one; complete axis triples are summed, repeated scans averaged in dB.
    meter : Meter
        That took them.
    frequency_hz : float, optional
        Frequency of what dominates them [Hz].
    on_date : str
        Date of the visit, ISO 8601.

    Raises
    ------
    InputError
        If there is no reading, or they are of different kinds.

    Notes
    -----
    Mean of n readings: what they share stays, what is independent falls with the root of n
    (JCGM 100, 4.2.3); where repeated scans scatter more than the stated repeatability, their own scatter is taken
    (JCGM 100, 4.2.2). A number beside readings under the floor wins over them, which errs upwards; beside
    readings in overload it makes a lower bound with them. Bounds alone give the widest claim that all of them
    support.
    """
    kinds = {r.kind for r in readings}
    if len(kinds) != 1:
        raise InputError(
            f"{len(readings)} readings of {len(kinds)} kinds cannot make one level.",
            mend="Combine readings of one place, radio state and kind.",
        )
    levels = [to_level(r, meter, frequency_hz=frequency_hz, on_date=on_date) for r in sum_axes(readings, meter)]
    flags = tuple(dict.fromkeys(flag for item in levels for flag in item.flags))
    return CombinedLevel(_mean(levels), tuple(readings), flags)


def _mean(items: Sequence[MeteredLevel]) -> UncertainLevel:
    levels = [i.level for i in items]
    known = [level for level in levels if level.censor is Censor.NONE]
    over = [level for level in levels if level.censor is Censor.ABOVE]
    if over and known:
        # Each bound in overload is at least its number, so the mean of numbers and bounds is a lower bound.
        return replace(_average([*known, *over]), censor=Censor.ABOVE)
    if not known:
        return _bound(levels)
    return _average(known)


def _average(levels: Sequence[UncertainLevel]) -> UncertainLevel:
    count = len(levels)
    if count == 1:
        return levels[0]
    shared = {(c.name, c.shared_key): c for level in levels for c in level.contributions if c.shared_key}
    repeated = [c for c in shared.values() if c.shared_key.startswith("scan/")]
    kept = [c for c in shared.values() if not c.shared_key.startswith("scan/")]
    own = {c.name: c for level in levels for c in level.contributions if not c.shared_key}
    scatter_db = float(np.std([level.level_db for level in levels], ddof=1))
    averaged = tuple(
        ErrorContribution(c.name, c.std_db / count**0.5, c.shape)
        for c in (*own.values(), *_widest(repeated, scatter_db))
    )
    mean_db = float(np.mean([level.level_db for level in levels]))
    return UncertainLevel(levels[0].kind, mean_db, (*kept, *averaged))


def _widest(repeated: Sequence[ErrorContribution], scatter_db: float) -> tuple[ErrorContribution, ...]:
    """Repeatability as stated, or as the repeated scans themselves show it if that is more."""
    return tuple(replace(c, std_db=max(c.std_db, scatter_db)) for c in repeated[:1])


def _bound(levels: Sequence[UncertainLevel]) -> UncertainLevel:
    over = [level for level in levels if level.censor is Censor.ABOVE]
    if over:
        return max(over, key=lambda level: level.level_db)
    return max(levels, key=lambda level: level.level_db)
