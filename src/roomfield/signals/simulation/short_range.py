"""Senders that say one telegram and fall silent for seconds or minutes.

Meters (wireless M-Bus, EN 13757-4), LoRa (class A of LoRaWAN, airtimes by the maker's formula), remotes and sensors of
the short-range bands (EN 300 220). Standards from memory.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.simulation.component import Bench, Component, boxes, noise_like

Array = NDArray[np.float64]


def reports(bench: Bench, interval_s: float, jitter: float) -> Array:
    """Starts of reports at an interval that varies by a share of itself; a sender seen at all is seen once [s]."""
    rng = bench.rng
    count = int(bench.duration_s / (interval_s * (1 - jitter))) + 2
    steps = interval_s * (1 + jitter * rng.uniform(-1, 1, count))
    times = np.cumsum(steps) - rng.random() * steps[0] - steps[0] * rng.random()
    inside = times[(times > 0) & (times < 0.97 * bench.duration_s)]
    return inside if inside.size else np.array([rng.uniform(0.02, 0.9) * bench.duration_s])


def _apart(starts: Array, widths: Array, gap_s: float) -> tuple[Array, Array, NDArray[np.int64]]:
    """Bursts in order, those that begin before the last one's end left out; and which were kept."""
    order = np.argsort(starts, kind="stable")
    starts, widths = starts[order], widths[order]
    keep = np.r_[True, np.diff(starts) > widths[:-1] + gap_s]
    return starts[keep], widths[keep], order[keep]


METER_CHIPS_PER_S = {"S": 32768.0, "T": 100e3, "C": 100e3, "C2": 50e3, "N": 4800.0, "N-slow": 2400.0}
_METER_SHARES = {"S": 0.2, "T": 0.42, "C": 0.26, "C2": 0.04, "N": 0.05, "N-slow": 0.03}
_CHIPS_PER_BYTE = {"S": 16, "T": 12, "C": 8, "C2": 8, "N": 8, "N-slow": 8}


def telegram_s(mode: str, size: int, long_header: bool = False) -> float:
    """Length of a wireless M-Bus telegram [s] (EN 13757-4, from memory).

    Parameters
    ----------
    mode : str
        A key of ``METER_CHIPS_PER_S``.
    size : int
        Bytes on the air, length field and check sums included.
    long_header : bool
        In mode S: 576 chips of header instead of 48.
    """
    header = {"S": 576 if long_header else 48, "T": 48, "C": 64, "C2": 64}.get(mode, 32)
    return (header + _CHIPS_PER_BYTE[mode] * size + 4) / METER_CHIPS_PER_S[mode]


def _meter(bench: Bench) -> tuple[Array, Array]:
    """One meter: telegrams of one or two lengths at an interval that wanders a little; a few are answered."""
    rng = bench.rng
    mode = str(rng.choice(list(_METER_SHARES), p=list(_METER_SHARES.values())))
    sizes = rng.integers(14, 60, 2) if rng.random() < 0.75 else rng.integers(20, 270, 2)
    long_header = bool(rng.random() < 0.5)
    lengths = np.array([telegram_s(mode, int(size), long_header) for size in sizes])
    interval = float(rng.choice([2.0, 4.0, 8.0, 15.0, 60.0, 300.0]) * rng.uniform(0.7, 1.4))
    starts = reports(bench, interval, 0.05)
    widths = np.where(rng.random(starts.size) < rng.choice([0.0, 0.0, 0.12]), lengths[1], lengths[0])
    if rng.random() < 0.06:
        answer = telegram_s("S" if mode == "T" else mode, int(rng.integers(14, 40)))
        starts = np.r_[starts, starts + widths + rng.uniform(2e-3, 3e-3 if mode == "T" else 50e-3)]
        widths = np.r_[widths, np.full(widths.size, answer)]
    return starts, widths


def _hops(bench: Bench) -> tuple[Array, Array]:
    """Telegrams at any moment: many meters of a house, or one that hops and reports at once."""
    rng = bench.rng
    spacing = rng.uniform(0.6, 3.0) if rng.random() < 0.7 else rng.uniform(3.0, 12.0)
    count = max(1, int(bench.duration_s / spacing)) if rng.random() < 0.65 else 1
    starts = np.sort(rng.uniform(0, 0.97 * bench.duration_s, count))
    low_s, high_s = ((3e-3, 18e-3), (6e-3, 40e-3), (5e-3, 60e-3))[int(rng.choice(3, p=[0.68, 0.17, 0.15]))]
    return starts, rng.uniform(low_s, high_s, count)


def smart_meter(bench: Bench) -> Component:
    """One to eight meters of wireless M-Bus, or telegrams of 3 to 60 ms at any moment; often one in all the recording."""
    rng = bench.rng
    starts, widths, heights = [], [], []
    known = rng.random() < 0.6
    for index in range(int(rng.choice([1, 1, 1, 2, 3, 8])) if known else 1):
        at, long = _meter(bench) if known else _hops(bench)
        level = 0.0 if index == 0 else rng.uniform(-12, 0)
        starts.append(at)
        widths.append(long)
        heights.append(10 ** ((level + rng.normal(0, rng.choice([0, 1.5, 3]), at.size)) / 10))
    at, long, kept = _apart(np.concatenate(starts), np.concatenate(widths), 1e-3)
    power = boxes(bench, at, long, np.concatenate(heights)[kept])
    if rng.random() < 0.6:
        power = noise_like(bench, power, 10 ** rng.uniform(5.8, 7.5))
    return Component("smart_meter", "wireless M-Bus" if known else "telegrams", power, (), at, long)


def lora_airtime_s(spreading: int, size: int, bandwidth_hz: float = 125e3, coding: int = 1, preamble: int = 8) -> float:
    """Time on the air of a LoRa packet with header and check sum [s] (formula of the SX1272/76 data sheets, from memory).

    Parameters
    ----------
    spreading : int
        Spreading factor, 7 to 12.
    size : int
        Bytes of payload.
    coding : int
        1 for 4/5 to 4 for 4/8.
    """
    symbol_s = 2**spreading / bandwidth_hz
    slow = 2 if symbol_s > 16e-3 else 0
    bits = 8 * size - 4 * spreading + 28 + 16
    symbols = 8 + max(int(np.ceil(bits / (4 * (spreading - slow)))) * (coding + 4), 0)
    return float((preamble + 4.25 + symbols) * symbol_s)


def _node(bench: Bench) -> tuple[Array, Array, Array]:
    """One LoRa node: packets of one kind; now and then the gateway answers one or two seconds after the end."""
    rng = bench.rng
    bandwidth = float(rng.choice([125e3, 125e3, 125e3, 250e3, 500e3]))
    coding, spreading = int(rng.choice([1, 1, 1, 2, 4])), int(rng.integers(7, 13))
    size = int(rng.integers(12, 65 if spreading > 9 else 140))
    starts = reports(bench, float(np.exp(rng.uniform(np.log(1.5), np.log(120)))), float(rng.choice([0.02, 0.5])))
    widths = np.full(starts.size, lora_airtime_s(spreading, size, bandwidth, coding))
    if rng.random() < 0.2:
        widths = np.array([
            lora_airtime_s(spreading, int(s), bandwidth, coding) for s in rng.integers(12, size + 1, starts.size)
        ])  # fmt: skip
    heights = np.ones(starts.size)
    if rng.random() < 0.25:
        later = starts + widths + float(rng.choice([1.0, 2.0, 5.0]))
        starts, widths = np.r_[starts, later], np.r_[widths, np.full(later.size, lora_airtime_s(spreading, 14))]
        heights = np.r_[heights, np.full(later.size, 10 ** rng.uniform(-1.5, 0.3))]
    return starts, widths, heights


def _any_packets(bench: Bench) -> tuple[Array, Array, Array]:
    """Packets of 30 ms to 2 s at any moment."""
    rng = bench.rng
    spacing = rng.uniform(0.7, 4.0)
    count = int(bench.duration_s / spacing) + 2 if rng.random() < 0.75 else 1
    starts = np.cumsum(rng.exponential(spacing, count) + 0.1)
    starts += min(0.0, bench.duration_s * rng.uniform(0.05, 0.6) - starts[0])
    widths = np.exp(rng.uniform(np.log(0.03), np.log(1.6), count))
    return starts, widths, np.ones(count)


def lora(bench: Bench) -> Component:
    """One to three LoRa nodes with their answers, or packets of 30 ms to 2 s at any moment; constant envelope."""
    rng = bench.rng
    known = rng.random() < 0.75
    nodes = [_node(bench) if known else _any_packets(bench) for _ in range(int(rng.choice([1, 1, 1, 2, 3])))]
    levels = [1.0, *10 ** (rng.uniform(-10, 0, len(nodes) - 1) / 10)]
    heights = np.concatenate([node[2] * level for node, level in zip(nodes, levels, strict=True)])
    at, long, kept = _apart(np.concatenate([n[0] for n in nodes]), np.concatenate([n[1] for n in nodes]), 0.02)
    power = boxes(bench, at, long, heights[kept])
    return Component("lora", "nodes" if known else "packets", power, (), at, long)


def _pulse_width(bench: Bench, bits: NDArray[np.int64], chip_s: float) -> tuple[Array, Array]:
    ratio = float(bench.rng.choice([2.0, 3.0, 3.0]))
    whole = ratio + 1 if bench.rng.random() < 0.8 else 0.0
    marks = np.where(bits, ratio, 1.0)
    return marks * chip_s, (whole - marks if whole else np.ones(bits.size)) * chip_s


def _pulse_gap(bench: Bench, bits: NDArray[np.int64], chip_s: float) -> tuple[Array, Array]:
    short, long = bench.rng.choice([2, 3]), bench.rng.choice([4, 6])
    return np.full(bits.size, chip_s), np.where(bits, long, short) * chip_s


def _manchester(bench: Bench, bits: NDArray[np.int64], chip_s: float) -> tuple[Array, Array]:
    return _runs(np.ravel(np.column_stack([bits, 1 - bits])), chip_s)


def _plain(bench: Bench, bits: NDArray[np.int64], chip_s: float) -> tuple[Array, Array]:
    return _runs(np.r_[1, bits], chip_s)


def _runs(chips: NDArray[np.int64], chip_s: float) -> tuple[Array, Array]:
    """Marks and the spaces after them of a row of chips [s]."""
    edges = np.flatnonzero(np.diff(np.r_[0, chips, 0]))
    marks, ends = edges[1::2] - edges[::2], np.r_[edges[2::2], edges[-1] + 1]
    return np.asarray(marks * chip_s, np.float64), np.asarray((ends - edges[1::2]) * chip_s, np.float64)


_KEYINGS: tuple[Callable[[Bench, NDArray[np.int64], float], tuple[Array, Array]], ...] = (
    _pulse_width, _pulse_width, _pulse_gap, _manchester, _manchester, _plain,
)  # fmt: skip


def keyed_telegram(bench: Bench) -> tuple[Array, Array]:
    """On-off keyed bits of 0.3 to 10 kbit/s as starts and widths of the marks [s], often with a preamble before them."""
    rng = bench.rng
    chip = float(np.exp(rng.uniform(np.log(0.1e-3), np.log(1.3e-3))))
    bits = rng.integers(0, 2, int(rng.integers(12, 90)))
    marks, spaces = _KEYINGS[int(rng.integers(len(_KEYINGS)))](bench, bits, chip)
    if rng.random() < 0.5:
        even = int(rng.choice([4, 8, 12, 16, 24]))
        before = float(rng.choice([1, 2, 10])) * chip
        spaces_even = np.full(even, chip)
        spaces_even[-1] = before
        marks, spaces = np.r_[np.full(even, chip), marks], np.r_[spaces_even, spaces]
    if rng.random() < 0.3:
        marks, spaces = np.r_[rng.uniform(4, 24) * chip, marks], np.r_[rng.uniform(1, 10) * chip, spaces]
    starts = np.r_[0, np.cumsum(marks + spaces)[:-1]]
    short = starts + marks < 0.25
    return np.asarray(starts[short], np.float64), np.asarray(marks[short], np.float64)


def _presses(bench: Bench) -> Array:
    """Moments at which a button is pressed or a sensor reports [s]."""
    rng = bench.rng
    if rng.random() < 0.35:
        return reports(bench, float(rng.choice([8.0, 16.0, 31.0, 57.0])) * rng.uniform(0.9, 1.1), 0.01)
    count = max(1, int(rng.poisson(bench.duration_s / rng.uniform(1.5, 5)))) if rng.random() < 0.7 else 1
    return np.sort(rng.uniform(0, bench.duration_s * 0.9, count))


def ism_remote(bench: Bench) -> Component:
    """Presses of a button or reports of a sensor: a telegram said once or several times."""
    rng = bench.rng
    starts, widths, heights = [], [], []
    fsk, single, held = rng.random() < 0.08, rng.random() < 0.4, rng.random() < 0.15
    copies = 1 if single else int(rng.integers(2, 13))
    spread_db = float(rng.choice([0.0, 1.5, 3.0]))
    begin, marks = keyed_telegram(bench)
    gap = rng.uniform(2e-3, 40e-3)
    for at in _presses(bench):
        length = float(begin[-1] + marks[-1])
        times = int(rng.uniform(0.4, 2.0) / (length + gap)) + 1 if held else copies
        level = 10 ** (rng.normal(0, spread_db) / 10)
        for copy in range(times):
            starts.append(at + copy * (length + gap) + (np.zeros(1) if fsk else begin))
            widths.append(np.array([length]) if fsk else marks)
            heights.append(np.full(widths[-1].size, level))
        if rng.random() < 0.25:
            begin, marks = keyed_telegram(bench)
    flat = np.concatenate(starts), np.concatenate(widths)
    height = np.concatenate(heights)
    power = np.minimum(boxes(bench, *flat, height), np.float32(height.max()))
    return Component("ism_remote", "fsk" if fsk else "on-off keyed", power, (), *flat)
