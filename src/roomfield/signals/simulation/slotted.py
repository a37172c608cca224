"""Slotted emitters of constant envelope: cordless, GSM, TETRA, DMR, Bluetooth.

Timing from ETSI EN 300 175-2, 3GPP TS 45.002, EN 300 392-2, TS 102 361-1 and the Bluetooth Core
specification, as listed in the table of technologies.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from roomfield.signals.simulation.component import Bench, Component, FloatArray, boxes, frame_starts

Array = NDArray[np.float64]


def dect(bench: Bench) -> Component:
    """A base in idle or in a call, with one or more bearers, the handset heard or not."""
    rng = bench.rng
    scale = 1 + bench.clock_error(15)
    frame, slot = 0.010 / scale, 0.010 / 24 / scale
    begin = frame_starts(bench, frame)
    bearers = int(rng.choice([1, 1, 1, 2, 3]))
    call = rng.random() < 0.5
    width = 83.3e-6 if (not call and rng.random() < 0.12) else 368.06e-6
    positions = rng.choice(12, bearers, replace=False)
    starts, heights = [], []
    for position in positions:
        starts.append(begin + position * slot)
        heights.append(np.full(begin.size, 1.0))
        if call and rng.random() < 0.8:
            level = 10 ** (rng.uniform(-10, 10) / 10) if rng.random() < 0.6 else 1.0
            starts.append(begin + (position + 12) * slot)
            heights.append(np.full(begin.size, level))
    height = np.concatenate(heights)
    power = boxes(bench, np.concatenate(starts), width, height / height.max())
    return Component(
        "dect",
        f"{'call' if call else 'idle'} bearers={bearers}",
        power,
        (100.0 * scale,),
        np.concatenate(starts),
        np.full(height.size, width),
    )


def _talk_spurts(bench: Bench, times: Array, mean_s: float = 1.2) -> NDArray[np.bool_]:
    edges = np.cumsum(bench.rng.exponential(mean_s, int(bench.duration_s / mean_s * 4) + 8))
    return (np.searchsorted(edges, times) % 2) == 0


def _held_between(bench: Bench, begin: Array, slots: NDArray[np.intp], slot: float, levels: Array) -> FloatArray:
    """What a base keeps between the slots: the carrier of its control channel need not fall to nothing.

    TS 45.008 clause 7.1 asks for continuous transmission on that carrier, from memory.
    """
    kept = 10 ** (-bench.rng.uniform(0.5, 25) / 10)
    starts = (begin[:, None] + slots * slot).ravel()
    return boxes(bench, starts, slot, kept * np.tile(levels[slots], begin.size))


def gsm(bench: Bench) -> Component:
    """A handset in a call (with or without DTX), a packet handset, or a carrier of a base."""
    rng = bench.rng
    scale = 1 + bench.clock_error(5)
    frame, slot = 0.12 / 26 / scale, 0.12 / 208 / scale
    begin = frame_starts(bench, frame)
    number = np.arange(begin.size)
    kind = rng.choice(["call", "packet", "carrier"], p=[0.55, 0.15, 0.3])
    width = rng.uniform(535e-6, 550e-6)
    if kind == "carrier":
        busy = np.ones(8, bool) if rng.random() < 0.6 else np.r_[True, rng.random(7) < 0.5]
        levels = np.where(rng.random(8) < 0.7, 1.0, 10 ** (rng.uniform(-6, 0, 8) / 10))
        slots = np.flatnonzero(busy)
        starts = (begin[:, None] + slots * slot).ravel()
        power = boxes(bench, starts, width, np.tile(levels[slots], begin.size))
        if rng.random() < 0.6:
            power = np.maximum(power, _held_between(bench, begin, slots, slot, levels))
        rate = 8 / 0.12 * 26 * scale if busy.all() else 26 / 0.12 * scale
        return Component(
            "gsm", f"base carrier, {slots.size} slots", power, (rate,), starts, np.full(starts.size, width)
        )
    slots = np.array([0]) if kind == "call" else np.arange(rng.integers(1, 5))
    idle = 25 if kind == "call" else rng.choice([12, 25])
    on = (number % 26) != idle
    if kind == "call" and rng.random() < 0.35:
        on &= _talk_spurts(bench, begin) | ((number % 26) == 12)
    if kind == "packet":
        on &= _talk_spurts(bench, begin, 0.6)
    starts = (begin[on][:, None] + slots * slot).ravel()
    power = boxes(bench, starts, width)
    return Component("gsm", f"handset {kind}", power, (26 / 0.12 * scale,), starts, np.full(starts.size, width))


def _dqpsk_envelope(bench: Bench, symbol_rate_hz: float, rolloff: float = 0.35) -> FloatArray:
    """Power of pi/4-DQPSK with a root-raised-cosine pulse on the bench's grid."""
    per_symbol, span = 8, 6
    count = int(bench.duration_s * symbol_rate_hz) + 2 * span
    phase = np.cumsum((2 * bench.rng.integers(0, 4, count) + 1) * np.pi / 4)
    train = np.zeros(count * per_symbol, complex)
    train[::per_symbol] = np.exp(1j * phase)
    t = np.arange(-span * per_symbol, span * per_symbol + 1) / per_symbol + 1e-9
    top = np.sin(np.pi * t * (1 - rolloff)) + 4 * rolloff * t * np.cos(np.pi * t * (1 + rolloff))
    pulse = top / (np.pi * t * (1 - (4 * rolloff * t + 1e-9) ** 2))
    shaped = np.abs(fftconvolve(train, pulse, "same")) ** 2
    shaped /= shaped.mean()
    at = np.arange(bench.samples) * (symbol_rate_hz * per_symbol / bench.rate_hz)
    return np.interp(at, np.arange(shaped.size), shaped).astype(np.float32)


def tetra(bench: Bench) -> Component:
    """A handset in one to four slots of four, or a base's continuous carrier."""
    rng = bench.rng
    scale = 1 + bench.clock_error(5)
    envelope = _dqpsk_envelope(bench, 18000 * scale)
    if rng.random() < 0.2:
        return Component("tetra", "base carrier", envelope, (18000 * scale,))
    frame, slot = 0.17 / 3 / scale, 0.17 / 12 / scale
    begin = frame_starts(bench, frame)
    number = np.arange(begin.size) + rng.integers(18)
    width = rng.uniform(13.0e-3, 14.0e-3)
    slots = int(rng.choice([1, 1, 1, 2]))
    on = (number % 18) != 17 if rng.random() < 0.85 else np.ones(begin.size, bool)
    starts = begin[on]
    power = boxes(bench, starts, width + (slots - 1) * slot) * envelope
    return Component("tetra", f"handset, {slots} of 4 slots", power, (1 / frame,), starts, np.full(starts.size, width))


def dmr(bench: Bench) -> Component:
    """A handset: 27.5 ms in every 60 ms, in overs of some seconds."""
    rng = bench.rng
    scale = 1 + bench.clock_error(10)
    frame = 0.060 / scale
    begin = frame_starts(bench, frame)
    on = np.ones(begin.size, bool) if rng.random() < 0.7 else _talk_spurts(bench, begin, 3.0)
    starts = begin[on]
    width = rng.uniform(27.0e-3, 28.0e-3)
    power = boxes(bench, starts, width)
    return Component("dmr", "handset", power, (1 / frame,), starts, np.full(starts.size, width))


def bluetooth_classic(bench: Bench) -> Component:
    """A voice link (HV3, eSCO), music (A2DP) or paging."""
    rng = bench.rng
    scale = 1 + bench.clock_error(20)
    slot = 625e-6 / scale
    kind = rng.choice(["hv3", "esco", "a2dp", "paging"], p=[0.35, 0.2, 0.3, 0.15])
    if kind == "hv3":
        starts, widths, heights, rate = _voice(bench, slot, 6, 366e-6)
    elif kind == "esco":
        starts, widths, heights, rate = _voice(bench, slot, 12, rng.uniform(366e-6, 1.6e-3))
    elif kind == "a2dp":
        starts, widths, heights, rate = _music(bench, slot)
    else:
        starts, widths, heights, rate = _paging(bench, slot)
    power = boxes(bench, starts, widths, heights)
    return Component("bluetooth_classic", str(kind), power, (rate,), starts, widths)


def _voice(bench: Bench, slot: float, every: int, width: float) -> tuple[Array, Array, Array, float]:
    begin = frame_starts(bench, every * slot)
    reply = np.ceil(width / slot) * slot
    level = 1.0 if bench.rng.random() < 0.5 else 10 ** (bench.rng.uniform(-10, 0) / 10)
    starts = np.concatenate([begin, begin + reply])
    heights = np.r_[np.ones(begin.size), np.full(begin.size, level)]
    if bench.rng.random() < 0.15:
        starts, heights = begin, np.ones(begin.size)
    return starts, np.full(starts.size, width), heights, 1 / (every * slot)


def _music(bench: Bench, slot: float) -> tuple[Array, Array, Array, float]:
    """Five-slot packets with one-slot returns, in groups, with gaps in whole slots."""
    rng = bench.rng
    level = 1.0 if rng.random() < 0.5 else 10 ** (rng.uniform(-10, 0) / 10)
    group, pause = rng.integers(2, 6), rng.integers(2, 12)
    at, starts, widths, heights = float(rng.random()) * slot, [], [], []
    while at < bench.duration_s:
        for _ in range(group):
            starts += [at, at + 5 * slot]
            widths += [rng.uniform(2.3e-3, 2.871e-3), 126e-6]
            heights += [1.0, level]
            at += 6 * slot
        at += 2 * slot * int(rng.integers(0, pause))
    return np.array(starts), np.array(widths), np.array(heights), 1 / (6 * slot)


def _paging(bench: Bench, slot: float) -> tuple[Array, Array, Array, float]:
    """Two identity packets of 68 us, half a slot apart, in every second slot."""
    begin = frame_starts(bench, 2 * slot)
    if bench.rng.random() < 0.5:
        begin = begin[_talk_spurts(bench, begin, 1.28)]
    starts = np.concatenate([begin, begin + slot / 2])
    return starts, np.full(starts.size, 68e-6), np.ones(starts.size), 1 / (2 * slot)
