"""Clocks of access points from the single times of their beacons.

A beacon is due at a whole multiple of its interval on the access point's own clock and comes late when the channel is busy,
never early (IEEE 802.11-2020 clause 11.1.3.2, from memory). Folded beacons are blurred by that; single times are not: those
that were not deferred lie on a straight line. Lines are sought by counting bursts along every drift and phase (a Hough
transform), weighed against what bursts at random would pile up, and fitted with weights that fall with the distance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import poisson

from roomfield.signals.bursts import BurstTable

F64 = NDArray[np.float64]

WIDTHS_S = (180e-6, 3.6e-3)
SHARP = 0.35
BIN_S = 40e-6
WIDEST_PPM = 130.0
LEAST_BEACONS = 8
LEAST_SHARE = 0.25
FALSE_ALARM = 1e-4
MOST_LINES = 5
REACH_S = 120e-6
LATE_S = 3e-3
SAME_PPM = 3.0
SCATTER_S = 10e-6
ROUNDS = 8
FITTED = 5  # rate, phase, scatter, and the choice of drift and phase before them
WIDER = 1.3  # scatter is no bell: lateness has one sign; by simulation
MOST_BURSTS = 8000


@dataclass(frozen=True)
class BeaconLine:
    """Beacons of one clock: rate and standard deviation [Hz], how many lie on the line, phase [cycles]."""

    frequency_hz: float
    frequency_std_hz: float
    beacons: int
    phase: float


def beacon_lines(bursts: BurstTable, duration_s: float, nominal_hz: float) -> tuple[BeaconLine, ...]:
    """Lines of beacons near a nominal rate, the most certain first.

    Parameters
    ----------
    bursts : BurstTable
    duration_s : float
        Length of the recording [s].
    nominal_hz : float
        Rate of a network's beacons [Hz].
    """
    keep = (bursts.widths_s > WIDTHS_S[0]) & (bursts.widths_s < WIDTHS_S[1]) & (bursts.sharpness > SHARP)
    times = bursts.starts_s[keep]
    if times.size > MOST_BURSTS:
        return ()
    found: list[BeaconLine] = []
    for _ in range(2 * MOST_LINES):
        line = _strongest(times, duration_s, nominal_hz)
        if line is None or len(found) == MOST_LINES:
            break
        off = (times - duration_s / 2) * line.frequency_hz - line.phase
        times = times[np.abs(off - np.rint(off)) > REACH_S * nominal_hz]
        if not any(_late_ones(line, other, nominal_hz) for other in found):
            found.append(line)
    return tuple(found)


def _late_ones(line: BeaconLine, other: BeaconLine, nominal_hz: float) -> bool:
    """Whether a line is made of another's deferred beacons: of the same rate, and shortly after."""
    behind = (line.phase - other.phase + 0.02) % 1.0 - 0.02
    near = abs(line.frequency_hz / other.frequency_hz - 1) < SAME_PPM * 1e-6
    return near and -REACH_S < behind / nominal_hz < LATE_S and line.beacons < other.beacons


def _strongest(times: F64, duration_s: float, nominal_hz: float) -> BeaconLine | None:
    if times.size < LEAST_BEACONS:
        return None
    bins = round(1 / (nominal_hz * BIN_S))
    middle = times - duration_s / 2
    drifts = np.arange(-WIDEST_PPM, WIDEST_PPM, 1e6 * BIN_S / duration_s) * 1e-6
    counts = np.empty((drifts.size, bins))
    for i, drift in enumerate(drifts):
        at = (middle * (nominal_hz * (1 + drift)) % 1.0 * bins).astype(int) % bins
        once = np.bincount(at, minlength=bins)
        counts[i] = once + np.roll(once, -1)
    best, phase = np.unravel_index(int(np.argmax(counts)), counts.shape)
    most = float(counts[best, phase])
    chance = float(poisson.sf(most - 1, 2 * times.size / bins)) * counts.size
    if most < max(LEAST_BEACONS, LEAST_SHARE * duration_s * nominal_hz) or chance > FALSE_ALARM:
        return None
    return _fitted(middle, nominal_hz * (1 + float(drifts[best])), (float(phase) + 1) / bins, REACH_S)


def _fitted(middle: F64, rate_hz: float, phase: float, reach_s: float) -> BeaconLine | None:
    """Straight line through the beacons within reach, weights falling with the distance (Cauchy's)."""
    rest, order, weight = middle, middle, middle
    for _ in range(ROUNDS):
        off = middle * rate_hz - phase
        order = np.rint(off)
        rest = (off - order) / rate_hz
        near = np.abs(rest) < reach_s
        rest, order = rest[near], order[near]
        if rest.size < LEAST_BEACONS or np.ptp(order) < LEAST_BEACONS:
            return None
        scale = max(SCATTER_S, 1.4826 * float(np.median(np.abs(rest - np.median(rest)))))
        weight = 1 / (1 + (rest - np.median(rest)) ** 2 / (2 * scale) ** 2)
        slope, level = np.polyfit(order, rest, 1, w=np.sqrt(weight))
        phase += float(level) * rate_hz
        rate_hz = 1 / (1 / rate_hz + float(slope))
        reach_s = max(reach_s / 1.3, 40e-6)
    centred = order - np.average(order, weights=weight)
    rest = rest - np.average(rest, weights=weight)
    # sandwich of the weighted fit: scatter of single beacons, not the noise of one
    spread = float(np.sqrt((weight**2 * centred**2 * np.maximum(rest**2, (0.3 * SCATTER_S) ** 2)).sum()))
    std_s = spread / float((weight * centred**2).sum()) * WIDER * float(np.sqrt(rest.size / (rest.size - FITTED)))
    return BeaconLine(rate_hz, std_s * rate_hz**2, int(rest.size), phase % 1.0)
