"""Who makes the level, second by second: power split among the technologies that were heard.

Each technology has a manner in which it takes the air, and the splitting goes from the most regular to the least:

- *pulsed*: short bursts at an exact period (a cordless base: 10 ms). The second is folded at that period; what
  stands out in the folded course belongs to it.
- *beacons*: bursts of one to three milliseconds near a period of 102.4 ms that wait while the channel is busy.
- *telegrams*: bursts longer than 15 ms, seldom.
- *packets*: all other bursts.
- *stream*: what is left between bursts (mobile networks, broadcasting).

Technologies that take the air in the same manner are not told apart here and share one entry. Telegrams are looked for
even if the ear names none, for it hears few of them in its pieces; their entry names all that send in this manner.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.night.hum import middle_and_spread, upper_median
from roomfield.signals.night.night_kernels import (
    lifted,
    low_of_neighbours,
    mark_runs,
    mean_outside,
    neighbours_on_circle,
    run_sums,
    running_mean,
    runs_above,
)

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
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
TELEGRAM_SENDERS = tuple(name for name, manner in MANNERS.items() if manner == "telegrams")
CONSTANT_STREAMS = {"dvbt", "tetra", "dmr"}
"""Streams without a load that swings: over these, bursts stand out from the lower values of a second."""
SMOOTH_S, TELEGRAM_SMOOTH_S, TELEGRAM_STEP_S, TELEGRAM_S = 0.0003, 0.009, 0.001, 0.015
TELEGRAM_QUANTILE = 0.3
"""A telegram lifts even the lower values of a stretch; what swings beside it leaves them down [1]."""
REST_RATE_HZ = 2500.0
"""The rest between bursts is taken from so many values a second [Hz]."""
PULSE_MARGIN_S, BURST_MARGIN_S = 8e-5, 4e-5
"""What belongs to a pulse or burst beyond the stretch that stands out [s]."""
BEACON_WIDTHS_S = (0.0008, 0.0032)
COMB_RAD, LEAST_ON_COMB, LEAST_BEFORE, BEACONS_KEPT = 0.15, 3, 5, 60
"""How near to a comb a beacon stands (2.4 ms), and how many others must stand there: in its second, or among the last."""
HEIGHT_SHARE = 0.12
"""Over a stream, what stays under this part of the usual beacon is its own fluctuation [1]."""
PULSE_LONGEST_S = 0.0011
OVER_NOISE = 5.0
SPLIT_RATE_HZ = 24_000.0
"""Power is split at about this rate, as means of neighbours: enough for pulses of a third of a millisecond [Hz]."""
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
        Of the power that is given [Hz].
    heard : tuple of str
        Technologies that were heard in the recording.
    """

    sample_rate_hz: float
    heard: tuple[str, ...]
    _second: int = -1
    _beacons_known: list[tuple[float, float]] = field(default_factory=list)

    @property
    def manners(self) -> dict[str, tuple[str, ...]]:
        """Technologies heard, by manner."""
        found: dict[str, tuple[str, ...]] = {}
        for name in self.heard:
            manner = MANNERS.get(name, "packets")
            found[manner] = (*found.get(manner, ()), name)
        if "telegrams" in found or (found and "packets" not in found):
            found["telegrams"] = TELEGRAM_SENDERS
        return found

    def split(self, power: F32) -> dict[str, Portion]:
        """Portions of one second by manner.

        Parameters
        ----------
        power : ndarray, shape (n,)
            Power against time over rest; one second.
        """
        self._second += 1
        manners, found = self.manners, {}
        rest = np.array(power, np.float32)
        taken = np.zeros(len(rest), np.bool_)
        if "pulsed" in manners:
            found["pulsed"], gates = self._pulsed(rest, PULSED_S[manners["pulsed"][0]])
            taken |= gates
        every = max(1, round(self.sample_rate_hz / REST_RATE_HZ))
        free = rest[::every][~taken[::every]] if not taken[::every].all() else rest[::every]
        steady = set(manners.get("stream", ())) <= CONSTANT_STREAMS
        base, noise = _rest(free, steady=steady)
        if "telegrams" in manners:
            found["telegrams"], long = self._telegrams(rest, noise)
            taken |= long
        if "beacons" in manners or "packets" in manners:
            found |= self._bursts(rest, taken, base, noise, manners)
        if "stream" in manners:
            level = float(mean_outside(rest, taken))
            found["stream"] = Portion(max(level, 0.0), max(level, 0.0) if level > 0 else float("nan"))
        return found

    def _pulsed(self, rest: F32, period_s: float) -> tuple[Portion, Bools]:
        """Fold, find the pulse, take it off ``rest`` in place.

        Its height is that of each period over its flanks, so that what goes on beside it cancels; the middle of these
        counts, for other bursts hide some.
        """
        period = round(period_s * self.sample_rate_hz)
        count = len(rest) // period
        rows = rest[: count * period].reshape(count, period)
        ordered = np.sort(np.ascontiguousarray(rows.T), axis=1)
        usual = ordered[:, int(0.1 * count) : max(int(0.85 * count), 1)]
        course = usual @ np.full(usual.shape[1], 1.0 / usual.shape[1], np.float32)
        floor, spread = middle_and_spread(course)
        over = course - np.float32(floor)
        gate = over > max(0.3 * float(over.max()), 6 * spread)
        width = int(gate.sum())
        gates = np.zeros(len(rest), np.bool_)
        if not 0 < width <= PULSE_LONGEST_S * self.sample_rate_hz:
            return Portion(0.0, float("nan")), gates
        margin = max(1, round(PULSE_MARGIN_S * self.sample_rate_hz))
        wide, core = _widened(gate, margin), ~_widened(~gate, margin)
        core = core if core.any() else gate
        flanks = _widened(wide, 4 * margin) & ~wide
        each = np.sort(rows @ (core / np.float32(core.sum()) - flanks / np.float32(flanks.sum())))
        height = float(each[int(0.2 * count) : max(int(0.8 * count), 1)].mean())
        shape = over * np.float32(max(0.0, height) / float(over[core].mean()))
        rows -= np.where(wide, shape, np.float32(0.0))
        gates[: count * period] = np.tile(wide, count)
        return Portion(float(shape[wide].sum()) / period, height), gates

    def _telegrams(self, rest: F32, noise: float) -> tuple[Portion, Bools]:
        step = max(1, round(TELEGRAM_STEP_S * self.sample_rate_hz))
        cells = rest[: len(rest) // step * step].reshape(-1, step) @ np.full(step, 1.0 / step, np.float32)
        size = round(TELEGRAM_SMOOTH_S / TELEGRAM_STEP_S)
        low = low_of_neighbours(cells, size, int(TELEGRAM_QUANTILE * size))
        usual, spread = middle_and_spread(low)
        limit = usual + max(
            5 * spread, 0.5 * OVER_NOISE * noise / np.sqrt(TELEGRAM_SMOOTH_S * self.sample_rate_hz), 1e-30
        )
        runs = runs_above(low, limit, round((TELEGRAM_S - 0.6 * TELEGRAM_SMOOTH_S) / TELEGRAM_STEP_S)) * step
        mask, energy = np.zeros(len(rest), np.bool_), 0.0
        if len(runs):
            mark_runs(mask, runs[:, 0], runs[:, 1])
            beside = mean_outside(rest, mask) if not mask.all() else usual
            parts = [rest[start:end] for start, end in runs]
            energy = sum(float(np.minimum(part, 3 * upper_median(part)).sum()) - beside * len(part) for part in parts)
        length = int(mask.sum())
        return Portion(max(energy, 0.0) / len(rest), energy / length if length else float("nan")), mask

    def _bursts(
        self, rest: F32, taken: Bools, base: float, noise: float, manners: dict[str, tuple[str, ...]]
    ) -> dict[str, Portion]:
        smooth = max(3, int(SMOOTH_S * self.sample_rate_hz) | 1)
        flat = running_mean(lifted(rest, taken, base), smooth)
        steady = set(manners.get("stream", ())) <= CONSTANT_STREAMS
        usual, spread = _rest(flat[:: max(1, round(self.sample_rate_hz / REST_RATE_HZ))], steady=steady)
        limit = usual + max(6 * spread, OVER_NOISE * noise / np.sqrt(smooth), 1e-30)
        if "stream" in manners and self._beacons_known:
            limit = max(limit, usual + HEIGHT_SHARE * median(h for _, h in self._beacons_known))
        runs = runs_above(flat, limit, smooth)
        margin = max(1, round(BURST_MARGIN_S * self.sample_rate_hz))
        widths = runs[:, 1] - runs[:, 0]
        first, last = np.maximum(runs[:, 0] - margin, 0), np.minimum(runs[:, 1] + margin, len(rest))
        energies = run_sums(rest, runs, margin) - base * (last - first)
        beacon, phase = self._beacons(runs, manners)
        other = ~beacon & ("packets" in manners)
        mark_runs(taken, first[beacon | other], last[beacon | other])
        heights = energies[beacon] / widths[beacon]
        new = zip(phase[beacon].tolist(), heights.tolist(), strict=True)
        self._beacons_known = [*self._beacons_known, *new][-BEACONS_KEPT:]
        return {
            role: _portion(float(energies[chosen].sum()), int(widths[chosen].sum()), len(rest))
            for role, chosen in (("beacons", beacon), ("packets", other))
            if role in manners
        }

    def _beacons(self, runs: I64, manners: dict[str, tuple[str, ...]]) -> tuple[Bools, F64]:
        """Which bursts are beacons, and the phase of each on the comb of 102.4 ms.

        A beacon has the usual width and stands on a comb on which more bursts stand, in this second or before, than
        would by chance; there may be several combs.
        """
        phase = 2 * np.pi * np.mod(self._second + runs[:, 0] / self.sample_rate_hz, BEACON_S) / BEACON_S
        if "beacons" not in manners or not len(runs):
            return np.zeros(len(runs), np.bool_), phase
        low, high = (w * self.sample_rate_hz for w in BEACON_WIDTHS_S)
        widths = runs[:, 1] - runs[:, 0]
        fits = (widths >= low) & (widths <= high)
        here = neighbours_on_circle(phase, phase[fits], COMB_RAD)
        before = neighbours_on_circle(phase, np.array([p for p, _ in self._beacons_known]), COMB_RAD)
        by_chance = int(fits.sum()) * COMB_RAD / np.pi
        return fits & ((here >= LEAST_ON_COMB + 2 * by_chance) | (before >= LEAST_BEFORE)), phase


def _portion(energy: float, length: int, count: int) -> Portion:
    return Portion(max(0.0, energy) / count, energy / length if length else float("nan"))


def thinned(power: F32, factor: int) -> F32:
    """Means of ``factor`` neighbours, shape (n // factor,)."""
    whole = len(power) // factor * factor
    total = power[:whole:factor].copy()
    for shift in range(1, factor):
        total += power[shift:whole:factor]
    return total if factor == 1 else total * np.float32(1.0 / factor)


def _rest(values: F32, *, steady: bool) -> tuple[float, float]:
    """Level and spread between bursts: of the lower part if nothing else goes on there, else median and its spread."""
    if not steady:
        return middle_and_spread(values)
    ordered = np.sort(values)
    low, usual = (float(ordered[int(q * (len(ordered) - 1))]) for q in (REST_LOW, REST_MIDDLE))
    return usual, (usual - low) / REST_SPREADS


def _widened(mask: Bools, by: int) -> Bools:
    """True within ``by`` places of a true one, round the circle."""
    ring = np.concatenate([mask[-by:], mask, mask[:by]]).astype(np.float32)
    return np.asarray(np.convolve(ring, np.ones(2 * by + 1, np.float32), "valid") > 0.5)
