"""Who makes the level, second by second: power split among the technologies that were heard.

Each technology has a manner in which it takes the air, and the splitting goes from the most regular to the least:

- *pulsed*: short bursts at an exact period (a cordless base: 10 ms). The second is folded at that period; what
  stands out in the folded course belongs to it.
- *beacons*: bursts of one to three milliseconds near a period of 102.4 ms that wait while the channel is busy.
- *telegrams*: bursts longer than 15 ms, seldom.
- *packets*: all other bursts.
- *stream*: what is left between bursts (mobile networks, broadcasting).

Technologies that take the air in the same manner are not told apart here and share one entry.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

F64 = NDArray[np.float64]
Bools = NDArray[np.bool_]

PULSED_S = {"dect": 0.010}
BEACON_S = 0.1024
MANNERS = {
    "dect": "pulsed",
    "wifi_beacon": "beacons",
    "smart_meter": "telegrams", "lora": "telegrams", "ism_remote": "telegrams",
    "wifi_data": "packets", "bluetooth_classic": "packets", "bluetooth_le_adv": "packets", "zigbee": "packets",
    "radar": "packets", "mode_s_1090": "packets",
    "gsm": "stream", "lte_fdd": "stream", "lte_tdd": "stream", "nr_tdd": "stream", "nr_fdd": "stream",
    "nr_ue_tdd": "stream", "tetra": "stream", "dmr": "stream", "dvbt": "stream", "microwave_oven": "stream",
}  # fmt: skip
"""How each technology takes the air; timing by the standards named in the technologies table."""
SMOOTH_S, TELEGRAM_SMOOTH_S, TELEGRAM_S = 0.0003, 0.004, 0.015
BEACON_WIDTHS_S = (0.0008, 0.0032)
PULSE_LONGEST_S = 0.0011
OVER_NOISE = 5.0
REST_LOW, REST_MIDDLE, REST_SPREADS = 0.05, 0.20, 0.803
"""Quantiles of what lies between bursts while up to half of the time is taken, and how many standard deviations of a
normal law lie between them."""


@dataclass(frozen=True)
class Portion:
    """One manner in one second.

    Attributes
    ----------
    level : float
        Mean power over the second, in the unit of the power given.
    burst : float
        Mean power while it transmits; not a number without a transmission.
    """

    level: float
    burst: float


@dataclass
class ShareSplitter:
    """Splits one second after the other; remembers the phase and the usual height of what repeats.

    Parameters
    ----------
    sample_rate_hz : float
        [Hz]
    heard : tuple of str
        Technologies that were heard in the recording.
    """

    sample_rate_hz: float
    heard: tuple[str, ...]
    _beacon_heights: list[float] = field(default_factory=list)

    @property
    def manners(self) -> dict[str, tuple[str, ...]]:
        """Technologies heard, by manner."""
        found: dict[str, tuple[str, ...]] = {}
        for name in self.heard:
            manner = MANNERS.get(name, "packets")
            found[manner] = (*found.get(manner, ()), name)
        return found

    def split(self, power: F64) -> dict[str, Portion]:
        """Portions of one second by manner.

        Parameters
        ----------
        power : ndarray, shape (n,)
            Power against time over rest; one second.
        """
        manners, found = self.manners, {}
        rest = power.copy()
        taken = np.zeros(len(power), np.bool_)
        if "pulsed" in manners:
            found["pulsed"], gates = self._pulsed(rest, PULSED_S[manners["pulsed"][0]])
            taken |= gates
        free = rest[~taken][::4] if (~taken).any() else rest[::4]
        base, noise = _rest(free, steady="stream" not in manners)
        if "telegrams" in manners:
            found["telegrams"], long = self._telegrams(rest, base, noise)
            taken |= long
        if "beacons" in manners or "packets" in manners:
            found |= self._bursts(rest, taken, base, noise, manners)
        if "stream" in manners:
            free = rest[~taken] if (~taken).any() else rest
            level = float(free.mean())
            found["stream"] = Portion(max(level, 0.0), max(level, 0.0) if level > 0 else float("nan"))
        return found

    def _pulsed(self, rest: F64, period_s: float) -> tuple[Portion, Bools]:
        """Fold, find the pulse, take it off ``rest`` in place."""
        period = round(period_s * self.sample_rate_hz)
        count = len(rest) // period
        rows = rest[: count * period].reshape(count, period)
        ordered = np.sort(rows, axis=0)
        course = ordered[int(0.1 * count) : max(int(0.85 * count), 1)].mean(axis=0)
        floor = float(np.median(course))
        over = course - floor
        spread = 1.4826 * float(np.median(np.abs(over))) + 1e-30
        gate = over > max(0.3 * float(over.max()), 6 * spread)
        width = int(gate.sum())
        gates = np.zeros(len(rest), np.bool_)
        if not 0 < width <= PULSE_LONGEST_S * self.sample_rate_hz:
            return Portion(0.0, float("nan")), gates
        wide = _widened(gate, 4)
        energy = float((course - floor)[wide].sum())
        core = _widened(~_widened(~gate, 3), 0) if width > 10 else gate
        height = float((course - floor)[core if core.any() else gate].mean())
        rows[:, wide] -= (course - floor)[wide]
        gates[: count * period] = np.tile(wide, count)
        return Portion(energy / period, height), gates

    def _telegrams(self, rest: F64, base: float, noise: float) -> tuple[Portion, Bools]:
        lag = max(3, int(TELEGRAM_SMOOTH_S * self.sample_rate_hz) | 1)
        slow = median_filter(rest[::8], size=max(3, lag // 8 | 1), mode="nearest")
        usual = float(np.median(slow))
        spread = 1.4826 * float(np.median(np.abs(slow - usual)))
        on = slow > usual + max(5 * spread, 0.5 * OVER_NOISE * noise / np.sqrt(lag / 8), 1e-30)
        mask = np.zeros(len(rest), np.bool_)
        energy, length = 0.0, 0
        for start, end in _runs(on):
            if (end - start) * 8 < TELEGRAM_S * self.sample_rate_hz:
                continue
            a, b = start * 8, min(end * 8, len(rest))
            mask[a:b] = True
            energy += float((np.minimum(rest[a:b], 3 * np.median(rest[a:b])) - usual).sum())
            length += b - a
        return Portion(energy / len(rest), energy / length if length else float("nan")), mask

    def _bursts(
        self, rest: F64, taken: Bools, base: float, noise: float, manners: dict[str, tuple[str, ...]]
    ) -> dict[str, Portion]:
        smooth = max(3, int(SMOOTH_S * self.sample_rate_hz) | 1)
        flat = uniform_filter1d(np.where(taken & (rest < base), base, rest), smooth, mode="nearest")
        usual, spread = _rest(flat[::4], steady="stream" not in manners)
        limit = usual + max(6 * spread, OVER_NOISE * noise / np.sqrt(smooth), 1e-30)
        if self._beacon_heights:
            limit = max(limit, min(usual + 0.25 * float(np.median(self._beacon_heights)), float(flat.max())))
        sums: dict[str, list[float]] = {"beacons": [0.0, 0.0], "packets": [0.0, 0.0]}
        runs = [(a, b) for a, b in _runs(flat > limit) if b - a >= smooth]
        roles = self._roles(runs, rest, manners)
        for (a, b), role in zip(runs, roles, strict=True):
            if role == "":
                continue
            first, last = max(0, a - 2), min(len(rest), b + 2)
            energy = float((rest[first:last] - base).sum())
            sums[role][0] += energy
            sums[role][1] += b - a
            taken[first:last] = True
            if role == "beacons":
                self._beacon_heights = [*self._beacon_heights[-60:], energy / max(1, b - a)]
        return {
            role: Portion(max(0.0, energy) / len(rest), energy / length if length else float("nan"))
            for role, (energy, length) in sums.items()
            if role in manners
        }

    def _roles(self, runs: list[tuple[int, int]], rest: F64, manners: dict[str, tuple[str, ...]]) -> list[str]:
        """Beacon or packet for each burst: a beacon has the usual width and stands near the comb of 102.4 ms."""
        if "beacons" not in manners:
            return ["packets"] * len(runs)
        low, high = (w * self.sample_rate_hz for w in BEACON_WIDTHS_S)
        fits = np.array([low <= b - a <= high for a, b in runs], np.bool_)
        starts = np.array([a for a, _ in runs], np.float64)
        near = np.zeros(len(runs), np.bool_)
        if fits.any():
            period = BEACON_S * self.sample_rate_hz
            phase = np.exp(2j * np.pi * starts[fits] / period)
            best = max(phase, key=lambda z: float((np.abs(np.angle(phase / z)) < 0.12).sum()))
            near = np.abs(np.angle(np.exp(2j * np.pi * starts / period) / best)) < 0.2
        other = "packets" if "packets" in manners else ""
        if other == "":
            return ["beacons" if f else "" for f in fits]
        return ["beacons" if f and n else other for f, n in zip(fits, near, strict=True)]


def _rest(values: F64, *, steady: bool) -> tuple[float, float]:
    """Level and spread between bursts: of the lower part if nothing else goes on there, else median and its spread."""
    if not steady:
        usual = float(np.median(values))
        return usual, 1.4826 * float(np.median(np.abs(values - usual)))
    low, usual = np.quantile(values, (REST_LOW, REST_MIDDLE))
    return float(usual), float(usual - low) / REST_SPREADS


def _widened(mask: Bools, by: int) -> Bools:
    wide = mask.copy()
    for shift in range(1, by + 1):
        wide |= np.roll(mask, shift) | np.roll(mask, -shift)
    return wide


def _runs(mask: Bools) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
