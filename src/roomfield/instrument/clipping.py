"""A detector that clips a peak lowers the average too: the average of such a scan is only a lower bound."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from roomfield.instrument.floor import bounded_value
from roomfield.quantities import Censoring
from roomfield.survey import Meter, Reading

_Spot = tuple[str, str, str, str, object]


def with_clipped_averages(readings: Sequence[Reading], meters: Iterable[Meter]) -> tuple[Reading, ...]:
    """Readings with the averages of clipped scans turned into lower bounds, in their order.

    Parameters
    ----------
    readings : sequence of Reading
        As observed.
    meters : iterable of Meter
        That took them; a meter's overload value says what was clipped.

    Notes
    -----
    An average goes with the peaks and held maxima of its own scan; where its scan has none, with those of its place,
    radio state and meter.
    """
    known = {m.id: m for m in meters}
    by_scan: dict[tuple[_Spot, int], bool] = {}
    by_spot: dict[_Spot, bool] = {}
    for reading in readings:
        if reading.kind.instantaneous:
            clipped = bounded_value(reading, known[reading.meter_id]).censoring is Censoring.ABOVE
            spot = _spot(reading)
            scan = (spot, reading.replicate)
            by_scan[scan] = by_scan.get(scan, False) or clipped
            by_spot[spot] = by_spot.get(spot, False) or clipped
    return tuple(_bounded(r, by_scan, by_spot) for r in readings)


def _bounded(reading: Reading, by_scan: dict[tuple[_Spot, int], bool], by_spot: dict[_Spot, bool]) -> Reading:
    if reading.kind.instantaneous or reading.censoring is not Censoring.NONE:
        return reading
    spot = _spot(reading)
    clipped = by_scan.get((spot, reading.replicate), by_spot.get(spot, False))
    return replace(reading, censoring=Censoring.ABOVE) if clipped else reading


def _spot(reading: Reading) -> _Spot:
    return (reading.visit_id, reading.meter_id, reading.radio_state_id, reading.place_id, reading.position)
