"""Emitters that send packets when they have something to say, and mains-keyed ones.

Wi-Fi (IEEE 802.11), Bluetooth LE advertising (Core, Vol 6 Part B), IEEE 802.15.4, Mode S, microwave ovens.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.simulation.component import Bench, Component, boxes, noise_like

Array = NDArray[np.float64]
TIME_UNIT_S = 1024e-6


def _beacon_comb(bench: Bench, units: int, width_s: float, defer_s: float) -> tuple[Array, float]:
    """Beacon starts [s]: on the target times, some deferred by traffic, a few lost; and the true rate."""
    rng = bench.rng
    scale = 1 + bench.clock_error(20)
    period = units * TIME_UNIT_S / scale
    times = np.arange(-1, bench.duration_s / period + 1) * period + rng.random() * period
    late = np.where(rng.random(times.size) < rng.uniform(0.1, 0.9), rng.exponential(defer_s, times.size), 0.0)
    kept = rng.random(times.size) > rng.choice([0.0, 0.02, 0.1])
    return (times + late)[kept], 1 / period


def _beacon_width(bench: Bench) -> float:
    size = int(bench.rng.integers(90, 380))
    if bench.rng.random() < 0.5:
        return 192e-6 + 8e-6 * size
    return 20e-6 + 4e-6 * np.ceil((22 + 8 * size) / 24)


def wifi_beacon(bench: Bench) -> Component:
    """One to five networks that only send beacons."""
    rng = bench.rng
    networks = int(rng.choice([1, 1, 1, 2, 3, 5]))
    units = int(rng.choice([100, 100, 100, 100, 200, 300]))
    starts, widths, heights, rates = [], [], [], []
    shared = _beacon_width(bench)
    for index in range(networks):
        width = shared if rng.random() < 0.5 else _beacon_width(bench)
        comb, rate = _beacon_comb(bench, units, width, rng.choice([60e-6, 200e-6, 600e-6]))
        level = 1.0 if index == 0 else 10 ** (rng.uniform(-10, 0) / 10)
        starts.append(comb)
        widths.append(np.full(comb.size, width))
        heights.append(np.full(comb.size, level))
        rates.append(rate)
    flat = np.concatenate(starts), np.concatenate(widths), np.concatenate(heights)
    power = boxes(bench, *flat)
    if shared < 0.8e-3:
        power = noise_like(bench, power, 16.6e6)
    return Component("wifi_beacon", f"{units} TU x{networks}", power, tuple(rates), flat[0], flat[1])


def _frame_widths(bench: Bench, count: int, aggregated: bool) -> Array:
    rng = bench.rng
    if aggregated:
        return rng.uniform(0.4e-3, 5.4e-3, count)
    kind = rng.choice(3)
    if kind == 0:
        return np.asarray(rng.choice([28e-6, 44e-6, 52e-6, 60e-6, 120e-6, 340e-6], count))
    if kind == 1:
        return np.clip(rng.lognormal(np.log(150e-6), 0.8, count), 28e-6, 2.5e-3)
    return np.clip(rng.lognormal(np.log(500e-6), 0.9, count), 60e-6, 5e-3)


def _spells(bench: Bench, times: Array, idle_share: float, mean_s: float) -> NDArray[np.bool_]:
    """Which of the times fall in spells of traffic; idle spells take up the given share."""
    count = int(bench.duration_s / mean_s * 3) + 8
    means = np.where(np.arange(count) % 2, idle_share, 1 - idle_share) * mean_s
    edges = np.cumsum(bench.rng.exponential(means))
    return np.asarray(np.searchsorted(edges, times) % 2 == 0)


def wifi_data(bench: Bench) -> Component:
    """Traffic under listen-before-talk, each frame acknowledged, usually with the network's beacons."""
    rng = bench.rng
    if rng.random() < 0.2:
        return saturated_channel(bench)
    aggregated = rng.random() < 0.35
    gap = float(rng.choice([0.1e-3, 0.3e-3, 0.8e-3, 2e-3, 4e-3, 8e-3]))
    count = int(bench.duration_s / gap * 1.3) + 20
    widths = _frame_widths(bench, count, aggregated)
    ack = rng.choice([28e-6, 32e-6, 44e-6])
    silent = rng.random(count) < 0.03
    gaps = (
        rng.exponential(gap, count) + 34e-6 + np.where(silent, rng.exponential(rng.choice([0.0, 0.06, 0.2]), count), 0)
    )
    starts = np.cumsum(gaps + np.r_[0, (widths + 16e-6 + ack)[:-1]])
    ack_level = 10 ** (rng.uniform(-15, 3) / 10)
    spread = 10 ** (rng.normal(0, rng.choice([0.0, 1.0, 2.5]), count) / 10)
    all_starts = np.concatenate([starts, starts + widths + 16e-6])
    all_widths = np.concatenate([widths, np.full(count, ack)])
    heights = np.concatenate([spread, np.full(count, ack_level)])
    rates: tuple[float, ...] = ()
    if rng.random() < 0.8:
        width = _beacon_width(bench)
        comb, rate = _beacon_comb(bench, 100, width, gap / 2)
        all_starts, all_widths = np.r_[all_starts, comb], np.r_[all_widths, np.full(comb.size, width)]
        heights = np.r_[heights, np.full(comb.size, 10 ** (rng.uniform(-3, 2) / 10))]
        rates = (rate,)
    if rng.random() < 0.4:
        active = _spells(bench, all_starts, rng.uniform(0.2, 0.8), rng.uniform(0.05, 1.0))
        active[2 * count :] = True
        all_starts, all_widths, heights = all_starts[active], all_widths[active], heights[active]
    power = noise_like(bench, np.minimum(boxes(bench, all_starts, all_widths, heights), 2.5), 16.6e6)
    return Component(
        "wifi_data", f"gap {gap * 1e3:.1f} ms aggregated={aggregated}", power, rates, all_starts, all_widths
    )


def saturated_channel(bench: Bench) -> Component:
    """A channel that never rests: nothing between the exchanges but the back-off, 34 us and up to 15 slots of 9 us
    (IEEE 802.11-2020 clauses 10.3.3 and 17.4.4, from memory); mostly without beacons loud enough to be told from the rest.
    """
    rng = bench.rng
    count = int(bench.duration_s / 0.25e-3) + 20
    kind = rng.choice(3)
    if kind == 0:
        widths = rng.uniform(0.3e-3, 5.4e-3, count)
    elif kind == 1:
        widths = np.clip(rng.lognormal(np.log(400e-6), 0.9, count), 60e-6, 5e-3)
    else:
        widths = np.full(count, rng.uniform(0.12e-3, 2.5e-3))
        rare = rng.random(count) < rng.uniform(0, 0.3)
        widths[rare] = rng.uniform(60e-6, 5.4e-3, int(rare.sum()))
    ack = rng.choice([28e-6, 32e-6, 44e-6, 68e-6])
    gaps = 34e-6 + 9e-6 * rng.integers(0, 16, count)
    starts = np.cumsum(gaps + np.r_[0, (widths + 16e-6 + ack)[:-1]])
    heights = np.r_[
        10 ** (rng.normal(0, rng.choice([0.0, 1.0, 2.5]), count) / 10), np.full(count, 10 ** (rng.uniform(-15, 3) / 10))
    ]
    all_starts = np.concatenate([starts, starts + widths + 16e-6])
    all_widths = np.concatenate([widths, np.full(count, ack)])
    rates: tuple[float, ...] = ()
    if rng.random() < 0.35:
        comb, rate = _beacon_comb(bench, 100, _beacon_width(bench), 1e-3)
        all_starts, all_widths = np.r_[all_starts, comb], np.r_[all_widths, np.full(comb.size, _beacon_width(bench))]
        heights, rates = np.r_[heights, np.full(comb.size, 10 ** (rng.uniform(-3, 2) / 10))], (rate,)
    power = noise_like(bench, np.minimum(boxes(bench, all_starts, all_widths, heights), 2.5), 16.6e6)
    return Component("wifi_data", "saturated", power, rates, all_starts, all_widths)


def bluetooth_le_adv(bench: Bench) -> Component:
    """One to four advertisers: three packets per event, random delay of 0 to 10 ms between events."""
    rng = bench.rng
    starts, widths, heights = [], [], []
    for index in range(int(rng.choice([1, 1, 2, 3, 4]))):
        interval = float(rng.choice([0.02, 0.03, 0.1, 0.1, 0.1525, 0.2115, 0.3, 0.5, 1.0, 1.285, 2.0, 5.0]))
        width = float(rng.integers(10, 48)) * 8e-6
        step = width + rng.uniform(150e-6, 1.2e-3)
        events = (
            np.cumsum(interval + rng.uniform(0, 0.01, int(bench.duration_s / interval) + 2))
            - interval
            + rng.random() * min(interval, 0.9 * bench.duration_s)
        )
        three = events[:, None] + np.arange(3) * step
        level = 1.0 if index == 0 else 10 ** (rng.uniform(-10, 0) / 10)
        fade = 10 ** (np.tile(rng.normal(0, rng.choice([0, 1.5]), 3), events.size) / 10)
        starts.append(three.ravel())
        widths.append(np.full(three.size, width))
        heights.append(level * fade)
    flat = np.concatenate(starts), np.concatenate(widths), np.concatenate(heights)
    return Component("bluetooth_le_adv", "advertising", boxes(bench, *flat), (), flat[0], flat[1])


def zigbee(bench: Bench) -> Component:
    """Frames of 0.5 to 4.3 ms, most acknowledged by 352 us after 192 us."""
    rng = bench.rng
    spacing = float(rng.choice([0.05, 0.15, 0.5, 1.0, 3.0]))
    count = int(bench.duration_s / spacing) + 2
    times = np.cumsum(rng.exponential(spacing, count)) - 0.5 * spacing
    if not ((times > 0) & (times < 0.97 * bench.duration_s)).any():
        times[0] = bench.duration_s * rng.uniform(0.02, 0.9)
    sizes = rng.choice([25, 40, 60, 90, 133], count) if rng.random() < 0.5 else rng.integers(17, 134, count)
    widths = sizes * 32e-6
    answered = rng.random(count) < rng.uniform(0.5, 1.0)
    level = 1.0 if rng.random() < 0.4 else 10 ** (rng.uniform(-10, 6) / 10)
    starts = np.r_[times, (times + widths + 192e-6)[answered]]
    all_widths = np.r_[widths, np.full(int(answered.sum()), 352e-6)]
    heights = np.r_[np.ones(count), np.full(int(answered.sum()), level)]
    return Component(
        "zigbee", "frames and acknowledgements", boxes(bench, starts, all_widths, heights), (), starts, all_widths
    )


def mode_s_1090(bench: Bench) -> Component:
    """Squitters and replies of 64 or 120 us from aircraft at random times."""
    rng = bench.rng
    count = int(rng.poisson(bench.duration_s * float(np.exp(rng.uniform(np.log(4), np.log(150))))) + 3)
    times = np.sort(rng.uniform(0, bench.duration_s, count))
    widths = np.where(rng.random(count) < rng.uniform(0.3, 0.8), 120e-6, 64e-6)
    planes = 10 ** (rng.normal(0, 3, 8) / 10)
    heights = planes[rng.integers(0, 8, count)]
    power = boxes(bench, times, widths, heights / heights.max() * rng.uniform(0.5, 1.0))
    return Component("mode_s_1090", "replies", noise_like(bench, power, 1e6), (), times, widths)


def microwave_oven(bench: Bench) -> Component:
    """A magnetron keyed by the mains: half waves (transformer) or both halves (inverter)."""
    rng = bench.rng
    nominal = float(rng.choice([50.0, 60.0]))
    time = np.arange(bench.samples) / bench.rate_hz
    mains = nominal * (1 + rng.normal(0, 4e-4)) * np.ones(8) + rng.normal(0, rng.choice([0.0, 0.01]), 8).cumsum()
    phase = np.cumsum(np.interp(time, np.linspace(0, bench.duration_s, 8), mains)) / bench.rate_hz + rng.random()
    inverter = rng.random() < 0.25
    wave = np.sin(2 * np.pi * phase)
    wave = np.abs(wave) if inverter else wave
    threshold = rng.uniform(0.2, 0.65)
    power = np.where(wave > threshold, rng.uniform(0.2, 0.9) + wave - threshold, 0.0).astype(np.float32)
    if inverter:
        power *= 1 + 0.3 * np.sin(2 * np.pi * rng.uniform(20e3, 35e3) * time).astype(np.float32)
    if rng.random() < 0.3:
        cycle, part = rng.uniform(3, 20), rng.uniform(0.3, 0.8)
        power *= (time / cycle + rng.random()) % 1 < part
    slow = np.exp(rng.normal(0, rng.uniform(0.1, 0.7), bench.samples // 32 + 2))
    power *= np.interp(np.arange(bench.samples) / 32, np.arange(slow.size), slow).astype(np.float32)
    power = noise_like(bench, power, 10 ** rng.uniform(4.3, 6.2))
    rate = float(mains.mean()) * (2 if inverter else 1)
    return Component("microwave_oven", f"{nominal:.0f} Hz {'inverter' if inverter else 'transformer'}", power, (rate,))
