"""The recorder's clock, told from transmitters whose clocks are known.

Every rate is read against the recorder's crystal. A base of a mobile network keeps 0.05 to 0.1 ppm, a cordless base 10, a
wireless network 20; what all rates are off together is the recorder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from roomfield.references.technologies import technology
from roomfield.signals.hearing import Heard

FINE_PPM = 5.0
TELLING_PPM = 30.0

# Largest error that the standard allows a transmitter [ppm]: TS 45.010 and TS 36.104 (0.05 wide area, 0.1 home), TS 38.104,
# EN 300 392-2 (0.2 with the offset of a handset), EN 300 744 by custom, EN 300 175-2 (10), IEEE 802.11 (20 and 25), Bluetooth
# Core Vol 2 (20), TS 102 361-1 (2 for handsets); all from memory.
ALLOWED_PPM: dict[str, float] = {
    "gsm": 0.1, "lte_fdd": 0.1, "lte_tdd": 0.1, "nr_tdd": 0.1, "nr_fdd": 0.1, "nr_ue_tdd": 0.2, "umts": 0.1, "tetra": 0.3,
    "dvbt": 0.1, "dmr": 2.0, "dect": 10.0, "wifi_beacon": 20.0, "wifi_data": 20.0, "bluetooth_classic": 20.0,
}  # fmt: skip


@dataclass(frozen=True)
class Clock:
    """By how much all rates read too high because of the recorder [ppm], standard deviation, and who told."""

    ppm: float
    std_ppm: float
    told_by: tuple[str, ...]

    @property
    def known(self) -> bool:
        """Whether it is known well enough to compare two recordings."""
        return self.std_ppm < FINE_PPM


def _readings(heard: Sequence[Heard]) -> list[tuple[str, float, float]]:
    found = []
    for one in heard:
        if not one.claimed or one.name not in ALLOWED_PPM or not one.rates:
            continue
        rate = one.rates[0]
        nominal = min((r.hz for r in technology(one.name).rates), key=lambda hz: abs(hz / rate.frequency_hz - 1))
        offset = (rate.frequency_hz / nominal - 1) * 1e6
        own = rate.frequency_std_hz / rate.frequency_hz * 1e6
        if abs(offset) < 500:
            found.append((one.name, offset, float(np.hypot(own, 0.5 * ALLOWED_PPM[one.name]))))
    return found


def recorder_clock(heard: Sequence[Heard]) -> Clock | None:
    """Weighted mean of what the claimed technologies say of the recorder's clock; None if none of them knows.

    One that contradicts the surest by more than three deviations is left out: its rate was not its own.
    """
    readings = _readings(heard)
    if not readings:
        return None
    _, middle, width = min(readings, key=lambda row: row[2])
    agreed = [row for row in readings if abs(row[1] - middle) < 3 * float(np.hypot(row[2], width))]
    weights = np.array([row[2] ** -2 for row in agreed])
    mean = float(np.average([row[1] for row in agreed], weights=weights))
    return Clock(mean, float(weights.sum() ** -0.5), tuple(row[0] for row in agreed))


def clock_sentence(clock: Clock | None) -> str:
    """What is known of the recorder's clock, for a reader."""
    if clock is None:
        return "the recorder's own clock error adds to every rate"
    off, std = f"{round(clock.ppm, 1) + 0.0:+.1f}", f"{clock.std_ppm:.1f}"
    if clock.known:
        return f"every rate reads {off} ± {std} ppm off because of the recorder's clock"
    if abs(clock.ppm) > TELLING_PPM and abs(clock.ppm) > 2 * clock.std_ppm:
        return f"every rate reads about {off} ± {std} ppm off: the recorder's clock seems to be wrong"
    return "the recorder's own clock error adds to every rate"
