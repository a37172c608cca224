"""Emitters whose power is laid out on a grid of OFDM symbols: LTE and NR, and UMTS's slots.

The share of a symbol's subcarriers that are on gives its power. Positions of synchronisation, broadcast,
control and reference signals follow 3GPP TS 36.211 clauses 6.6 to 6.11, TS 38.211 clause 7.4 and
TS 38.213 clause 4.1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.simulation.component import Bench, Component, FloatArray, boxes, frame_starts, noise_like

Array = NDArray[np.float64]

LTE_SYMBOL_EDGES_S = np.concatenate([[0], np.cumsum(np.tile([2208] + [2192] * 6, 2))]) / 30.72e6
TDD_LAYOUTS = {
    0: "DSUUUDSUUU", 1: "DSUUDDSUUD", 2: "DSUDDDSUDD", 3: "DSUUUDDDDD", 4: "DSUUDDDDDD", 5: "DSUDDDDDDD", 6: "DSUUUDSUUD",
}  # fmt: skip
NR_PATTERNS = ("DDDSU", "DDDSU", "DDSU", "DDDDDDDSUU", "DDDSUDDSUU", "DSUUU", "DDDDDDSUUU", "DDDDDDDDSU")
FULL_LOAD = 0.97


def _on_grid(bench: Bench, begin: Array, edges_s: Array, levels: Array) -> FloatArray:
    """Power of blocks: ``levels[block, symbol]`` between ``edges_s`` after each block's begin."""
    starts = (begin[:, None] + edges_s[:-1]).ravel()
    widths = np.broadcast_to(np.diff(edges_s), levels.shape).ravel()
    keep = levels.ravel() > 0
    return boxes(bench, starts[keep], widths[keep], levels.ravel()[keep])


def _busy(bench: Bench, count: int, load: float) -> NDArray[np.bool_]:
    """Which blocks carry data: all, independent, in spells of some blocks on and off, or at a load that changes."""
    rng = bench.rng
    if load >= FULL_LOAD:
        return np.ones(count, bool)
    kind = rng.random()
    if kind < 0.4:
        return rng.random(count) < load
    if kind < 0.7:
        return _spells(bench, count, load)
    level = np.repeat(rng.random(count // 20 + 2), 20)[:count]
    return rng.random(count) < np.where(level < load, min(1.0, load + 0.3), load * 0.3)


def _spells(bench: Bench, count: int, load: float) -> NDArray[np.bool_]:
    """Blocks in spells of exponential length, on and off by turns, as downloads make them."""
    mean = 10 ** bench.rng.uniform(0.3, 1.8)
    share = np.clip(np.array([load, 1 - load]), 0.02, 0.98)
    turns = int(count / mean) + 8
    lengths = 1 + bench.rng.exponential(2 * mean * share, (turns, 2)).astype(int)
    states = np.repeat(np.tile([True, False], turns), lengths.ravel())
    return np.resize(np.roll(states, int(bench.rng.integers(states.size))), count)


def _load(bench: Bench, choices: tuple[tuple[float, float], ...]) -> float:
    """A load out of one of the spans, or full load as of a test model or a download."""
    if bench.rng.random() < 0.07:
        return 1.0
    return float(bench.rng.uniform(*choices[bench.rng.integers(len(choices))]))


def _fill(bench: Bench, shape: tuple[int, ...], least: float) -> Array:
    """Share of the resource blocks that a busy block of time uses: all alike, many of them, or any number."""
    rng = bench.rng
    kind = rng.random()
    if kind < 0.35:
        return np.full(shape, rng.uniform(0.5, 1.0))
    if kind < 0.65:
        return rng.uniform(least, 1.0, shape)
    return rng.beta(0.6, 0.8, shape)


def _lte_frame(bench: Bench, resource_blocks: int, layout: str) -> tuple[Array, Array]:
    """Power without user data and share of subcarriers that it takes, ``[10, 14]``, of one radio frame."""
    rng = bench.rng
    tones = 12 * resource_blocks
    ports = int(rng.choice([1, 2, 2, 4]))
    boost = 10 ** (rng.choice([0.0, 0.0, 3.0, rng.uniform(-3, 3)]) / 10)
    taken = np.zeros((10, 14))
    taken[:, [0, 4, 7, 11]] = min(ports, 2) / 6
    if ports == 4:
        taken[:, [1, 8]] = 1 / 3
    share = boost * taken
    share[:, 0] += rng.uniform(0.02, 0.25)
    sync = 62 / tones * 10 ** (rng.choice([0.0, 0.0, 3.0, rng.uniform(-3, 6)]) / 10)
    if set(layout) == {"D"}:
        share[[0, 5], 5] += sync
        share[[0, 5], 6] += sync
    else:
        share[[0, 5], 13] += sync
        share[[1, 6], 2] += sync
    share[0, 7:11] += 72 / tones * rng.uniform(0.7, 1.0)
    return share, np.minimum(np.maximum(taken, share / max(boost, 1.0)), 1.0)


def _system_information(bench: Bench, levels: Array, resource_blocks: int, layout: str) -> None:
    """Add system information and paging of some resource blocks to levels ``[frame, subframe, symbol]``.

    The first block comes in subframe 5 of every second frame, the others in windows every 80 ms or a multiple; paging in
    subframe 9 or 4 (frequency division) or 0, 1, 5, 6 (time division) of some frames (TS 36.331 clause 5.2.1.2 and
    TS 36.304 clause 7.2, from memory).
    """
    rng = bench.rng
    share = min(max(25 / resource_blocks, 1.0), 3.0)
    frames = levels.shape[0]
    if rng.random() < 0.6:
        levels[::2, 5, 2:] += rng.uniform(0.0, 0.3) * share
    if rng.random() < 0.6:
        every = int(rng.choice([8, 16, 16, 32, 64]))
        for _ in range(int(rng.integers(1, 4))):
            frame, subframe = rng.integers(every), rng.choice([i for i in range(10) if layout[i] != "U"])
            levels[frame::every, subframe, 2:] += rng.uniform(0.03, 0.4) * share
    if rng.random() < 0.5:
        subframe = rng.choice([9, 9, 4] if "U" not in layout else [0, 1, 5, 6])
        paged = rng.random(frames) < rng.choice([0.05, 0.2, 0.6])
        levels[:, subframe, 2:] += (rng.uniform(0.03, 0.3) * share * paged)[:, None]


def _lte(bench: Bench, technology: str) -> Component:
    rng = bench.rng
    tdd = technology == "lte_tdd"
    replayed = rng.random() < 0.3
    scale = 1 + (0.0 if replayed or rng.random() < 0.4 else bench.clock_error(3))
    narrow = rng.random() < (0.5 if tdd else 0.25)
    blocks = 6 if narrow else int(rng.choice([15, 25, 25, 50, 50, 75, 100]))
    layout = TDD_LAYOUTS[int(rng.choice([0, 1, 1, 2, 2, 2, 3, 4, 5, 6]))] if tdd else "D" * 10
    load = _load(bench, ((0, 0.15), (0.15, 0.6), (0.6, 1.0)))
    begin = frame_starts(bench, 0.01 / scale)
    levels = _lte_levels(bench, begin.size, blocks, layout, load)
    power = _on_grid(bench, begin, _frame_edges(scale), levels.reshape(begin.size, 140))
    power *= np.float32(1 / max(float(levels.max()), 0.3))
    if rng.random() < 0.25:
        power, scale = _shuffle(bench, power, scale)
    power += np.float32(rng.choice([0.0, 0.0, 10 ** rng.uniform(-3, -0.7)]))
    power = _replayed(bench, power, 180e3 * blocks, scale) if replayed else noise_like(bench, power, 180e3 * blocks)
    return Component(technology, f"downlink {blocks} RB load={load:.2f} {layout}", power, (200.0 * scale,))


def _replayed(bench: Bench, power: FloatArray, bandwidth_hz: float, scale: float) -> FloatArray:
    """As from a signal generator with one stored frame: its fluctuation is the same in every frame."""
    frame = noise_like(bench, np.ones(round(0.01 * bench.rate_hz), np.float32), bandwidth_hz)
    at = np.arange(power.size) * (scale / (0.01 * bench.rate_hz)) % 1.0 * frame.size
    return np.asarray(power * frame[at.astype(int)], np.float32)


def _shuffle(bench: Bench, power: FloatArray, scale: float) -> tuple[FloatArray, float]:
    """A short capture stretched by repeating whole frames in random order (frame pairs from a pool of 50).

    Comes with the scale of its rates: blocks are whole samples, whatever the clock of the frames was.
    """
    block = round(0.02 / scale * bench.rate_hz)
    rows = power[: power.size // block * block].reshape(-1, block)[:50]
    order = bench.rng.integers(0, rows.shape[0], power.size // block + 1)
    return np.ascontiguousarray(rows[order].ravel()[: power.size]), 0.02 * bench.rate_hz / block


def _frame_edges(scale: float) -> Array:
    inner = (np.arange(10)[:, None] * 1e-3 + LTE_SYMBOL_EDGES_S[:-1]).ravel()
    return np.append(inner, 0.01) / scale


def _lte_levels(bench: Bench, frames: int, blocks: int, layout: str, load: float) -> Array:
    rng = bench.rng
    base, taken = _lte_frame(bench, blocks, layout)
    levels = np.repeat(base[None], frames, 0)
    _system_information(bench, levels, blocks, layout)
    busy = _busy(bench, frames * 10, load).reshape(frames, 10)
    data = np.where(busy, _fill(bench, (frames, 10), 0.4), 0.0) * 10 ** (
        rng.choice([0, 0, -3, rng.uniform(-6, 1)]) / 10
    )
    symbols = int(rng.choice([1, 1, 2, 3]))
    control = rng.uniform(0, 0.5, (frames, 10)) * (
        busy if load >= FULL_LOAD else rng.random((frames, 10)) < max(load, 0.05)
    )
    levels[:, :, :symbols] += control[:, :, None] * (1 - taken[:, :symbols])
    levels[:, :, symbols:] += data[:, :, None] * np.clip(1 - taken[:, symbols:], 0.2, 1)
    fading = 10 ** (
        np.interp(np.arange(frames), np.linspace(0, frames, 12), rng.normal(0, rng.choice([0, 0.3, 1.0]), 12)) / 10
    )
    special = int(rng.choice([3, 9, 10, 10, 11, 12]))
    uplink = 10 ** (rng.choice([rng.uniform(-40, -8), rng.uniform(-12, 2)]) / 10) if rng.random() < 0.5 else 0.0
    answers = _busy(bench, frames * 10, min(load + 0.2, 0.9)).reshape(frames, 10)
    for index, letter in enumerate(layout):
        if letter == "U":
            levels[:, index] = uplink * answers[:, index, None]
        elif letter == "S":
            levels[:, index, special:] = 0.0
    return levels * fading[:, None, None]


def lte_fdd(bench: Bench) -> Component:
    """A frequency-division base, idle to full."""
    return _lte(bench, "lte_fdd")


def lte_tdd(bench: Bench) -> Component:
    """A time-division base, idle to full."""
    return _lte(bench, "lte_tdd")


def _sync_blocks(bench: Bench, levels: Array, slots_per_ms: int, first: Array, period_ms: int, share: float) -> None:
    """Add synchronisation blocks of four symbols at the first symbols given (within their half frame)."""
    gains = 10 ** (-bench.rng.exponential(2.5, first.size) / 10)
    gains[bench.rng.integers(first.size)] = 1.0
    flat = levels.reshape(-1)
    step = period_ms * slots_per_ms * 14
    offset = int(bench.rng.integers(0, max(period_ms // 5, 1))) * 5 * slots_per_ms * 14
    for start in range(offset, flat.size, step):
        for gain, symbol in zip(gains, first, strict=True):
            flat[start + symbol : start + symbol + 4] = np.maximum(
                flat[start + symbol : start + symbol + 4], share * gain
            )


def _nr_symbol_edges(slots_per_ms: int) -> Array:
    return np.arange(15) / 14e3 / slots_per_ms


def _nr(bench: Bench, technology: str) -> Component:
    rng = bench.rng
    tdd = technology == "nr_tdd"
    per_ms = 2 if tdd or rng.random() < 0.15 else 1
    scale = 1 + (0.0 if rng.random() < 0.5 else bench.clock_error(3))
    pattern = str(rng.choice(NR_PATTERNS)) if tdd else "D"
    load = _load(bench, ((0.0, 0.0), (0.0, 0.0), (0.0, 0.2), (0.2, 0.7), (0.7, 1.0)))
    period_ms = int(rng.choice([20, 20, 20, 20, 10, 40, 5]))
    count = int(bench.duration_s * 1000 / 160 + 2) * 160 * per_ms
    levels = _nr_levels(bench, count, pattern, load)
    starts = np.concatenate([np.array([2, 8]) + 14 * n for n in range(4)])
    if per_ms == 2 and rng.random() < 0.2:
        starts = np.concatenate([np.array([4, 8, 16, 20]) + 28 * n for n in range(2)])
    beams = int(rng.choice([1, 2, 4, 4, 8] if tdd else [1, 2, 4, 4]))
    share = rng.uniform(0.35, 1.0)
    _sync_blocks(bench, levels, per_ms, starts[:beams], period_ms, share)
    if rng.random() < 0.6:
        _tracking(bench, levels, per_ms, rng.uniform(0.15, 0.35))
    if rng.random() < 0.6:
        _nr_broadcast(bench, levels, per_ms, pattern)
    begin = (np.arange(count) / per_ms * 1e-3 - rng.random() * 0.16) / scale
    power = _on_grid(bench, begin, _nr_symbol_edges(per_ms) / scale, levels)
    power *= np.float32(1 / max(float(levels.max()), 0.3))
    if rng.random() < 0.2:
        power, scale = _shuffle(bench, power, scale)
    power = noise_like(bench, power, float(rng.choice([4e6, 10e6, 18e6, 36e6, 98e6])))
    sync_rate = 1000.0 / period_ms * scale
    rates = (sync_rate,) if load < 0.15 or not tdd else (sync_rate, 1000.0 * per_ms / len(pattern) * scale)
    return Component(technology, f"{pattern} sync {period_ms} ms x{beams} load={load:.2f}", power, rates)


def _nr_levels(bench: Bench, slots: int, pattern: str, load: float) -> Array:
    rng = bench.rng
    levels = np.zeros((slots, 14))
    letters = np.array(list(pattern))[np.arange(slots) % len(pattern)]
    busy = _busy(bench, slots, load)
    fill = _fill(bench, (slots,), 0.3)
    levels[busy] = fill[busy, None]
    levels[:, 0] = np.where(busy, np.maximum(fill * rng.uniform(0.2, 1), 0.1), 0.0)
    if rng.random() < 0.3:
        levels[:, [2, 11]] *= rng.uniform(0.5, 1.3)
    if rng.random() < 0.4:
        alone = ~busy & (rng.random(slots) < rng.uniform(0.02, 0.4))
        levels[alone, 0] = rng.uniform(0.05, 0.4)
    levels[letters == "U"] = 0.0
    levels[letters == "S", int(rng.integers(4, 12)) :] = 0.0
    if rng.random() < 0.3:
        answers = (letters == "U") & _busy(bench, slots, min(load + 0.2, 0.9))
        levels[answers] = 10 ** (rng.uniform(-30, 2) / 10)
    return levels


def _nr_broadcast(bench: Bench, levels: Array, per_ms: int, pattern: str) -> None:
    """System information in a slot every 20 ms or a multiple, and channel state reference signals in one symbol.

    Periods as TS 38.331 and TS 38.214 clause 5.2.2.3 allow, from memory; uplink slots stay as they are.
    """
    rng = bench.rng
    extra = np.zeros_like(levels)
    every = int(rng.choice([20, 20, 40, 80, 160])) * per_ms
    extra[int(rng.integers(0, 5 * per_ms)) :: every, : int(rng.integers(4, 15))] = rng.uniform(0.05, 0.4)
    if rng.random() < 0.5:
        every = int(rng.choice([5, 10, 20, 40])) * per_ms
        extra[int(rng.integers(every)) :: every, int(rng.integers(4, 14))] += rng.uniform(0.1, 0.5)
    letters = np.array(list(pattern))[np.arange(levels.shape[0]) % len(pattern)]
    levels += extra * (letters == "D")[:, None]


def _tracking(bench: Bench, levels: Array, per_ms: int, share: float) -> None:
    """Tracking reference signals: two symbols in each of two adjacent slots, every 20 or 40 ms."""
    step = int(bench.rng.choice([20, 20, 40])) * per_ms
    offset = int(bench.rng.integers(step - 2))
    for slot in (offset, offset + 1):
        rows = levels[slot::step]
        rows[:, [4, 8]] = np.maximum(rows[:, [4, 8]], share)


def nr_tdd(bench: Bench) -> Component:
    """A time-division base with synchronisation bursts and a slot pattern."""
    return _nr(bench, "nr_tdd")


def nr_fdd(bench: Bench) -> Component:
    """A frequency-division base: synchronisation bursts, data in any slot."""
    return _nr(bench, "nr_fdd")


def nr_ue_tdd(bench: Bench) -> Component:
    """A handset that answers in the uplink slots of a time-division pattern."""
    rng = bench.rng
    scale = 1 + (0.0 if rng.random() < 0.5 else bench.clock_error(3))
    pattern = str(rng.choice(["DDDSU", "DDDSU", "DDSU", "DDDDDDDSUU", "DDDSUDDSUU", "DDDDDDSUUU"]))
    count = int(bench.duration_s * 2000) + len(pattern)
    letters = np.array(list(pattern))[np.arange(count) % len(pattern)]
    load = rng.uniform(0.15, 1.0)
    busy = _busy(bench, count, load)
    levels = np.zeros((count, 14))
    levels[(letters == "U") & busy] = 1.0
    if rng.random() < 0.4:
        levels[letters == "S", 12:] = rng.uniform(0.3, 1.0)
    if rng.random() < 0.3:
        levels[letters == "U", 12:] = np.maximum(levels[letters == "U", 12:], rng.uniform(0.3, 1))
    begin = np.asarray((np.arange(count) * 0.5e-3 - rng.random() * 0.5e-3 * len(pattern)) / scale, np.float64)
    power = _on_grid(bench, begin, np.asarray(_nr_symbol_edges(2) / scale, np.float64), levels)
    power = noise_like(bench, power, float(rng.choice([2e6, 5e6, 18e6, 40e6])))
    return Component("nr_ue_tdd", f"uplink of {pattern} load={load:.2f}", power, (2000.0 / len(pattern) * scale,))


def umts(bench: Bench) -> Component:
    """A base: steady, with the synchronisation channel in the first tenth of each 667 us slot."""
    rng = bench.rng
    scale = 1 + bench.clock_error(2)
    begin = frame_starts(bench, 0.01 / 15 / scale)
    power = np.ones(bench.samples, np.float32)
    power += boxes(bench, begin, 66.7e-6 / scale, rng.uniform(0.05, 0.4))
    steps = 10 ** (np.cumsum(rng.normal(0, 0.15, begin.size)) * 0.02)
    power *= np.interp(np.arange(bench.samples) / bench.rate_hz, begin, steps).astype(np.float32)
    return Component("umts", "base carrier", noise_like(bench, power, 3.84e6), (1500.0 * scale,))
